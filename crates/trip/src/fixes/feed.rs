//! What lies between the pack and the devices: thicker cables, and converters that raise the voltage.

use plan::Plan;
use quantity::Kind;
use rig::{Branch, Converter, Place, Rig};

use super::{Change, with};
use crate::answer::Forecast;

pub(super) fn changes(plan: &Plan, forecast: &Forecast) -> Vec<Change> {
    let rig = &plan.gear.rig;
    let short = fall_short(rig, forecast);
    let mut places: Vec<Place> = worst_cable(rig, forecast).into_iter().collect();
    for device in &short {
        places.push(Place::Device(*device));
        places.extend(branches_to(rig, *device).map(Place::Branch));
    }
    let mut seen = Vec::new();
    places.retain(|place| {
        let is_new = !seen.contains(place);
        seen.push(*place);
        is_new
    });
    let mut changes: Vec<Change> =
        places.into_iter().filter_map(|place| thicker(plan, place)).collect();
    if let Some(device) = short.first() {
        changes.extend(raised_alone(plan, *device));
        changes.extend(branches_to(rig, *device).next().and_then(|hub| raised_all(plan, hub)));
    }
    changes
}

/// The devices that fail first in the draws, the most frequent first; where it is the pack that
/// stops all of them, the one with the least to spare in the typical trip.
fn fall_short(rig: &Rig, forecast: &Forecast) -> Vec<usize> {
    let mut shares = vec![0.0; rig.devices().len()];
    let culprits = forecast.nights.iter().flat_map(|night| &night.culprits);
    for culprit in culprits {
        if let Some(device) = culprit.device.as_deref().and_then(|name| rig.device(name)) {
            shares[device] += culprit.share;
        }
    }
    let mut short: Vec<usize> = (0..shares.len()).filter(|device| shares[*device] > 0.0).collect();
    short.sort_by(|a, b| shares[*b].total_cmp(&shares[*a]));
    if short.is_empty() {
        let nights = forecast.nights.iter();
        let weakest = nights.min_by(|a, b| a.chance.share.total_cmp(&b.chance.share));
        let worst = weakest.and_then(|night| night.worst_device.as_deref());
        short.extend(worst.and_then(|name| rig.device(name)));
    }
    short
}

/// The cable that takes the most volts.
fn worst_cable(rig: &Rig, forecast: &Forecast) -> Option<Place> {
    let segments = &forecast.survey.as_ref()?.found.segments;
    let cables = segments.iter().filter(|segment| segment.wire.cable.is_some());
    let worst = cables.max_by(|a, b| a.drop_v.total_cmp(&b.drop_v))?;
    let branch = rig.branches().iter().position(|branch| branch.name == worst.to);
    branch.map(Place::Branch).or(rig.device(&worst.to).map(Place::Device))
}

/// The branches from a device to the pack, nearest first.
fn branches_to(rig: &Rig, device: usize) -> impl Iterator<Item = usize> {
    let find = |name: &str| rig.branches().iter().position(|branch| branch.name == name);
    let feed = rig.devices().get(device).and_then(|device| device.feed.as_deref());
    std::iter::successors(feed.and_then(find), move |branch| {
        rig.branches()[*branch].feed.as_deref().and_then(find)
    })
}

/// The next thicker cable; of its weight the copper alone is known.
fn thicker(plan: &Plan, place: Place) -> Option<Change> {
    let rig = &plan.gear.rig;
    let mut wire = *rig.wire(place)?;
    let cable = wire.cable?;
    let thicker = rig::Cable { section: cable.section.thicker()?, ..cable };
    let text =
        format!("{} instead of {} to the {}", thicker.section, cable.section, rig.name_at(place)?);
    wire.cable = Some(thicker);
    let rig = rig.with_wire(place, wire).ok()?;
    let kg = thicker.copper_kg() - cable.copper_kg();
    let changed = with(plan, |changed| changed.gear.rig = rig);
    Some(Change::bought(text, changed, Some(kg), None))
}

/// What 12 V gear is mostly built for, the voltage of a vehicle while its engine runs (common
/// practice, no source).
const STEADY_V: f64 = 13.8;
/// A step-up converter of such gear works down to this (common practice, no source).
const LEAST_INPUT_V: f64 = 9.0;
/// Without load it draws this (W; common practice, no source).
const IDLE_W: f64 = 0.5;
/// Of what it takes it passes on so much at full load (common practice, no source).
const EFFICIENCY: f64 = 0.92;

const CONVERTER: &str = "A converter gives more volts than the pack: only as each device's maker allows, rated for the greatest load, with a fuse before it. Reckoned as 92 % efficient with 0.5 W of its own, from 9 V up.";

/// A converter that raises the pack's voltage to a steady one, for so much power.
fn converter(most_w: f64) -> Converter {
    Converter {
        least_input_v: LEAST_INPUT_V,
        ..Converter::rated(STEADY_V, IDLE_W, most_w.max(IDLE_W), EFFICIENCY)
    }
}

/// The most that a device draws (W).
fn most_w(device: &rig::Device) -> f64 {
    device.uses.iter().map(|used| used.greatest().power_w(STEADY_V)).fold(0.0, f64::max)
}

/// Whether a device is of the 12 V kind, fed by the pack itself, and would work at the steady
/// voltage.
fn is_for_it(rig: &Rig, index: usize) -> bool {
    let least_v = rig.devices().get(index).and_then(|device| device.least_voltage_v);
    !rig.is_behind_converter(index)
        && least_v.is_some_and(|least_v| (LEAST_INPUT_V..STEADY_V).contains(&least_v))
}

/// A steady voltage for one device, where its own wire begins.
fn raised_alone(plan: &Plan, index: usize) -> Option<Change> {
    let rig = &plan.gear.rig;
    if !is_for_it(rig, index) {
        return None;
    }
    let (mut branches, mut devices) = (rig.branches().to_vec(), rig.devices().to_vec());
    let device = devices.get_mut(index)?;
    let name = format!("converter for the {}", device.name);
    let text = format!(
        "a converter to a steady {} for the {}, if its maker allows that",
        Kind::Voltage.show(STEADY_V),
        device.name
    );
    branches.push(Branch {
        name: name.clone(),
        feed: device.feed.replace(name),
        wire: rig::Wire::default(),
        converter: Some(converter(most_w(device))),
    });
    Some(converted(plan, text, Rig::new(branches, devices).ok()?))
}

/// A steady voltage for all that hangs on a branch, where its cable ends.
fn raised_all(plan: &Plan, hub: usize) -> Option<Change> {
    let rig = &plan.gear.rig;
    let behind: Vec<usize> = (0..rig.devices().len())
        .filter(|device| branches_to(rig, *device).any(|branch| branch == hub))
        .collect();
    let mut branches = rig.branches().to_vec();
    if behind.len() < 2 || !behind.iter().all(|device| is_for_it(rig, *device)) {
        return None;
    }
    let all_w = behind.iter().map(|device| most_w(&rig.devices()[*device])).sum();
    let text = format!(
        "a converter to a steady {} at the {} for all that hangs on it, if their makers allow that",
        Kind::Voltage.show(STEADY_V),
        branches[hub].name
    );
    branches[hub].converter = Some(converter(all_w));
    Some(converted(plan, text, Rig::new(branches, rig.devices().to_vec()).ok()?))
}

fn converted(plan: &Plan, text: String, rig: Rig) -> Change {
    let changed = with(plan, |changed| changed.gear.rig = rig);
    Change { caution: Some(CONVERTER), ..Change::bought(text, changed, None, None) }
}
