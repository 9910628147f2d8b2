//! A device, its uses and what they draw.

use quantity::{Given, Kind};
use rig::{Device, Load, Peak, Use};

use super::feed::{read_feed, read_wire};
use super::weather;
use crate::error::PlanError;
use crate::section::Section;
use crate::site::COVERAGE_95;

/// A use or load, and the relative standard uncertainty of the load where one is stated.
pub(super) type Stated<T> = (T, Option<f64>);

pub(super) fn read(name: String, entry: &mut Section<'_>) -> Result<Stated<Device>, PlanError> {
    let mut uses = Vec::new();
    let mut spread = None;
    for (state, mut below) in entry.named_sections("uses")? {
        let (used, stated) = read_use(state, &mut below)?;
        // the least known state counts for all of them
        spread = [spread, stated].into_iter().flatten().reduce(f64::max);
        uses.push(used);
        below.finish()?;
    }
    if uses.is_empty() {
        let (used, stated) = read_use(String::new(), entry)?;
        spread = stated;
        uses.push(used);
    }
    let shed = entry.maybe_count("shed", 0..=1000)?;
    let device = Device {
        name,
        uses,
        least_voltage_v: entry.maybe("least_voltage", Kind::Voltage)?,
        after_brownout: entry.maybe_parsed("after_brownout")?.unwrap_or_default(),
        shed_order: shed.and_then(|order| u32::try_from(order).ok()),
        feed: read_feed(entry)?,
        wire: read_wire(entry)?,
    };
    Ok((device, spread))
}

/// The lowest voltage the device's cutoff may be set to: not above the one it is set to.
pub(super) fn read_settable(
    entry: &mut Section<'_>,
    least_voltage_v: Option<f64>,
) -> Result<Option<f64>, PlanError> {
    let settable_v = entry.maybe("least_settable", Kind::Voltage)?;
    if let (Some(settable_v), Some(least_v)) = (settable_v, least_voltage_v)
        && settable_v > least_v
    {
        return Err(entry.error(
            "least_settable",
            format!(
                "this is the lowest voltage the cutoff may be set to; it is not above the least voltage it works at now, {}",
                Kind::Voltage.show(least_v)
            ),
        ));
    }
    Ok(settable_v)
}

fn read_use(name: String, entry: &mut Section<'_>) -> Result<Stated<Use>, PlanError> {
    if let Some(charging) = entry.maybe_section("charging")? {
        let (used, spread) = weather::read_charging(charging)?;
        return Ok((Use { name: if name.is_empty() { used.name } else { name }, ..used }, spread));
    }
    let ((load, follows), spread) = match weather::read_cooling(entry)? {
        Some(((load, follows), spread)) => ((load, Some(follows)), spread),
        None => {
            let (load, spread) = read_load(entry)?;
            ((load, weather::read_dew(entry)?), spread)
        }
    };
    let when = entry.maybe_parsed("when")?.ok_or_else(|| {
        entry.missing("when", "\"dark\", \"night\", \"21:30 to 02:00\" or \"always\"")
    })?;
    let peak = match entry.maybe_section("peak")? {
        Some(mut below) => {
            let (peak, _) = read_load(&mut below)?;
            let share = below.maybe("share", Kind::Fraction)?.unwrap_or(0.0);
            below.finish()?;
            if load.blend(peak, share).is_none() {
                return Err(entry.error(
                    "peak",
                    "a peak and the load it stands on are written in the same unit, both W, both A or both Ω",
                ));
            }
            Some(Peak { load: peak, share })
        }
        None => None,
    };
    Ok((Use { name, load, when, peak, follows }, spread))
}

pub(super) fn read_load(entry: &mut Section<'_>) -> Result<Stated<Load>, PlanError> {
    let power = entry.maybe_given("power", Kind::Power)?;
    let current = entry.maybe_given("current", Kind::Current)?;
    let resistance = entry.maybe_given("resistance", Kind::Resistance)?;
    match (power, current, resistance) {
        (Some(given), None, None) => Ok((Load::Power(given.value), relative(given))),
        (None, Some(given), None) => Ok((Load::Current(given.value), relative(given))),
        (None, None, Some(given)) if given.value > 0.0 => {
            Ok((Load::Resistance(given.value), relative(given)))
        }
        (None, None, Some(_)) => {
            Err(entry.error("resistance", "a resistance is above zero, such as \"18 ohm\""))
        }
        (None, None, None) => {
            Err(entry
                .missing("power", "\"9 W\" (or current = \"0.8 A\", or resistance = \"18 ohm\")"))
        }
        _ => Err(entry.error_here("write one of `power`, `current` and `resistance`, not several")),
    }
}

/// The relative standard uncertainty of a value, where one is stated.
pub(super) fn relative(given: Given) -> Option<f64> {
    given.plus_minus.filter(|_| given.value > 0.0).map(|half| half / COVERAGE_95 / given.value)
}
