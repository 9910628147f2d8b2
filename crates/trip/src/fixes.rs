//! What would mend it: single changes, each simulated with the same random draws, ranked by what
//! they do for the weakest night; and what to switch off to reach dawn.

use jiff::civil::Time;
use pack::Housing;
use plan::{Plan, Supply};
use quantity::Kind;
use rig::schedule::{Edge, Event, Span, When};
use rig::{Device, Load, Place, Rig, Use};
use sky::Aim;

use crate::answer::{Chance, Forecast, Settings};
use crate::error::TripError;
use crate::forecast::chances;

/// One change and what it does.
#[derive(Debug, Clone, PartialEq)]
pub struct Fix {
    /// What is changed, in words: "a second pack like pack one".
    pub change: String,
    /// The chance of each night with it.
    pub nights: Vec<Chance>,
    /// How much surer the weakest night becomes.
    pub gain: f64,
}

impl Fix {
    /// The chance of the weakest night with it.
    #[must_use]
    pub fn weakest(&self) -> f64 {
        weakest(&self.nights)
    }
}

/// Switching off, to reach dawn with the wanted confidence.
#[derive(Debug, Clone, PartialEq)]
pub struct Shedding {
    /// Each device to switch off and from what time on, in the order to do it.
    pub steps: Vec<Shed>,
    /// The chance of each night with all of it.
    pub nights: Vec<Chance>,
    /// Whether that is enough.
    pub enough: bool,
}

/// One device to switch off.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shed {
    /// Its name.
    pub device: String,
    /// From this time of each night on, by the site's clock; none for the whole night.
    pub from: Option<Time>,
}

fn weakest(nights: &[Chance]) -> f64 {
    nights.iter().map(|chance| chance.share).fold(1.0, f64::min)
}

/// Single changes to a plan, best first. `progress` is told how many of how many are done and may
/// say to stop; what is done by then is returned.
///
/// # Errors
/// As [`crate::forecast()`].
pub fn fixes(
    plan: &Plan,
    forecast: &Forecast,
    settings: Settings,
    mut progress: impl FnMut(usize, usize) -> bool,
) -> Result<Vec<Fix>, TripError> {
    let before = forecast.nights.iter().map(|night| night.chance.share).fold(1.0, f64::min);
    let changes = changes(plan, forecast);
    let count = changes.len();
    let mut fixes = Vec::with_capacity(count);
    for (done, (change, changed)) in changes.into_iter().enumerate() {
        if !progress(done, count) {
            break;
        }
        let nights = chances(&changed, settings)?;
        let gain = weakest(&nights) - before;
        fixes.push(Fix { change, nights, gain });
    }
    fixes.sort_by(|a, b| b.gain.total_cmp(&a.gain));
    Ok(fixes)
}

fn changes(plan: &Plan, forecast: &Forecast) -> Vec<(String, Plan)> {
    let mut changes = Vec::new();
    if let Ok(pair) = plan.battery.pack.bank(1, 2) {
        let change = format!("a second pack like {}, in parallel", plan.battery.pack.name);
        changes.push((change, with(plan, |changed| changed.battery.pack = pair)));
    }
    changes.extend(warmer(plan));
    changes.extend(panel_changes(plan));
    changes.extend(wire_changes(plan, forecast));
    changes.extend(device_changes(plan));
    changes
}

fn with(plan: &Plan, change: impl FnOnce(&mut Plan)) -> Plan {
    let mut changed = plan.clone();
    change(&mut changed);
    changed
}

/// The foam of a box that anyone can build.
const FOAM_M: f64 = 0.05;

/// A box of foam around the pack, where its mass is known.
fn warmer(plan: &Plan) -> Option<(String, Plan)> {
    let boxed = Housing::insulated(plan.battery.mass_kg?, FOAM_M);
    (boxed.loss_w_per_k < 0.9 * plan.battery.housing?.loss_w_per_k).then(|| {
        let change = format!("the pack in a box of {} foam", Kind::Length.show(FOAM_M));
        (change, with(plan, |changed| changed.battery.housing = Some(boxed)))
    })
}

/// A panel is turned by hand so often.
const TURN_S: f64 = 7200.0;

fn panel_changes(plan: &Plan) -> Vec<(String, Plan)> {
    let mut changes = Vec::new();
    for (index, supply) in plan.supplies.iter().enumerate() {
        let Supply::Panel(panel) = supply else { continue };
        let change = format!("a second panel and controller like {}", panel.name);
        changes.push((change, with(plan, |changed| changed.supplies.push(supply.clone()))));
        if !matches!(panel.aim, Aim::Tracked { .. }) {
            let change = format!(
                "turn {} towards the sun every {}",
                panel.name,
                Kind::Duration.show(TURN_S)
            );
            let turned = with(plan, |changed| {
                if let Some(Supply::Panel(panel)) = changed.supplies.get_mut(index) {
                    panel.aim = Aim::Tracked { every_s: TURN_S };
                }
            });
            changes.push((change, turned));
        }
    }
    changes
}

/// The next thicker cable for each device that fails first, and for the branches it hangs on.
fn wire_changes(plan: &Plan, forecast: &Forecast) -> Vec<(String, Plan)> {
    let rig = &plan.gear.rig;
    let mut places: Vec<Place> = Vec::new();
    for name in forecast
        .nights
        .iter()
        .flat_map(|night| &night.culprits)
        .filter_map(|culprit| culprit.device.as_deref())
    {
        let Some(index) = rig.device(name) else { continue };
        let mut feed = rig.devices().get(index).and_then(|device| device.feed.as_deref());
        places.push(Place::Device(index));
        while let Some(branch) =
            feed.and_then(|name| rig.branches().iter().position(|branch| branch.name == name))
        {
            places.push(Place::Branch(branch));
            feed = rig.branches().get(branch).and_then(|branch| branch.feed.as_deref());
        }
    }
    let mut seen = Vec::new();
    places.retain(|place| {
        let new = !seen.contains(place);
        seen.push(*place);
        new
    });
    places.into_iter().filter_map(|place| thicker(plan, place)).collect()
}

fn thicker(plan: &Plan, place: Place) -> Option<(String, Plan)> {
    let rig = &plan.gear.rig;
    let mut wire = *rig.wire(place)?;
    let cable = wire.cable.as_mut()?;
    let section = cable.section.thicker()?;
    let change = format!("{section} instead of {} to the {}", cable.section, rig.name_at(place)?);
    cable.section = section;
    let rig = rig.with_wire(place, wire).ok()?;
    Some((change, with(plan, |changed| changed.gear.rig = rig)))
}

/// The middle of the small hours: what is switched off then has done its share of the night.
const LATE_S: f64 = 2.0 * 3600.0;

fn device_changes(plan: &Plan) -> Vec<(String, Plan)> {
    let mut changes = Vec::new();
    for device in plan.gear.rig.devices() {
        let name = &device.name;
        if let Some(changed) = shed(plan, name, Some(LATE_S)) {
            changes.push((format!("switch the {name} off at 02:00"), changed));
        }
        if let Some(changed) = shed(plan, name, None) {
            changes.push((format!("leave the {name} off"), changed));
        }
        if let Some(changed) = change_device(plan, name, |device| {
            device.uses.iter_mut().for_each(|used| used.when.duty *= 0.5);
        }) {
            changes.push((format!("run the {name} half of the time"), changed));
        }
    }
    changes
}

/// The plan with a device switched off from a time of the night (seconds of the day) until sunrise,
/// or altogether.
fn shed(plan: &Plan, name: &str, from_s: Option<f64>) -> Option<Plan> {
    let span = from_s.map_or(Span::Always, |from_s| {
        Span::Between(Edge::Clock(from_s), Edge::Sky(Event::Sunrise, 0.0))
    });
    let nothing = Use::new(Load::OFF, When::of(vec![span], 1.0));
    // the last use in the list counts
    change_device(plan, name, |device| device.uses.push(nothing))
}

fn change_device(plan: &Plan, name: &str, change: impl FnOnce(&mut Device)) -> Option<Plan> {
    let rig = &plan.gear.rig;
    let mut devices = rig.devices().to_vec();
    change(devices.iter_mut().find(|device| device.name == name)?);
    let rig = Rig::new(rig.branches().to_vec(), devices).ok()?;
    Some(with(plan, |changed| changed.gear.rig = rig))
}

/// Hours of the night at which something may be switched off, latest first, as seconds of the day;
/// none for not at all that night.
const HOURS: [Option<f64>; 9] = [
    Some(5.0 * 3600.0),
    Some(4.0 * 3600.0),
    Some(3.0 * 3600.0),
    Some(2.0 * 3600.0),
    Some(3600.0),
    Some(0.0),
    Some(23.0 * 3600.0),
    Some(22.0 * 3600.0),
    None,
];

/// What to switch off, and when, to reach every dawn with the wanted confidence: the devices the
/// plan gives a place in its shedding order, each as late as is enough. None if the plan gives no
/// such order, or nothing need be switched off.
///
/// # Errors
/// As [`crate::forecast()`].
pub fn shedding(
    plan: &Plan,
    forecast: &Forecast,
    settings: Settings,
) -> Result<Option<Shedding>, TripError> {
    let wanted = plan.dates.confidence;
    let mut order: Vec<&Device> =
        plan.gear.rig.devices().iter().filter(|device| device.shed_order.is_some()).collect();
    order.sort_by_key(|device| device.shed_order);
    if order.is_empty() || forecast.nights.iter().all(|night| night.chance.share >= wanted) {
        return Ok(None);
    }
    let mut so_far = plan.clone();
    let mut found = Shedding { steps: Vec::new(), nights: Vec::new(), enough: false };
    for device in order {
        let try_from = |hour: Option<f64>| -> Result<Option<(Plan, Vec<Chance>)>, TripError> {
            let Some(changed) = shed(&so_far, &device.name, hour) else { return Ok(None) };
            let nights = chances(&changed, settings)?;
            Ok(Some((changed, nights)))
        };
        // the latest hour that is enough, if any is: later is never surer
        let (mut enough, mut too_late) = (HOURS.len(), 0);
        while too_late < enough {
            let middle = (too_late + enough) / 2;
            let sure =
                try_from(HOURS[middle])?.is_some_and(|(_, nights)| weakest(&nights) >= wanted);
            if sure { enough = middle } else { too_late = middle + 1 }
        }
        let hour = HOURS.get(enough).copied().unwrap_or(None);
        let Some((changed, nights)) = try_from(hour)? else { continue };
        found.steps.push(Shed { device: device.name.clone(), from: hour.map(time_of) });
        found.enough = weakest(&nights) >= wanted;
        found.nights = nights;
        so_far = changed;
        if found.enough {
            break;
        }
    }
    Ok(Some(found))
}

fn time_of(second: f64) -> Time {
    Time::midnight().wrapping_add(jiff::SignedDuration::from_secs(second as i64))
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::forecast::forecast;

    const SETTINGS: Settings = Settings { draws: 200, seed: 3, within: None };

    /// One night on a typical pack that is a little too small.
    fn plan(more: &str) -> Plan {
        plan_with("33 Ah", more)
    }

    fn plan_with(rated: &str, more: &str) -> Plan {
        let text = format!(
            r#"
format = 1
[site]
latitude = "56.9 N"
longitude = "4.2 W"
zone = "UTC"
[trip]
first_evening = "2026-10-09"
nights = 1
confidence = "95 %"
[pack]
chemistry = "LFP"
rated = "{rated}"
[rig.devices.mount]
power = "10 W ± 2 W"
least_voltage = "11 V"
when = "night"
[rig.devices.heater]
power = "18 W ± 4 W"
least_voltage = "11 V"
when = "night"
cable = {{ length = "3 m", section = "20 AWG" }}
{more}
"#
        );
        Plan::parse("test.toml", Path::new(""), &text).unwrap()
    }

    fn fixes_of(plan: &Plan) -> (Forecast, Vec<Fix>) {
        let forecast = forecast(plan, SETTINGS, |_| true).unwrap();
        let fixes = fixes(plan, &forecast, SETTINGS, |_, _| true).unwrap();
        (forecast, fixes)
    }

    #[test]
    fn fixes_are_ranked_and_none_that_lightens_the_load_makes_it_worse() {
        let (forecast, fixes) = fixes_of(&plan(""));
        let before = forecast.nights[0].chance.share;
        assert!((0.05..0.95).contains(&before), "the plan should be unsure: {before}");
        assert!(fixes.windows(2).all(|pair| pair[0].gain >= pair[1].gain));
        assert!(fixes.iter().all(|fix| fix.gain >= 0.0), "{fixes:?}");
        let of = |change: &str| fixes.iter().find(|fix| fix.change.starts_with(change)).unwrap();
        assert!(of("a second pack").weakest() > 0.99);
        assert!(of("leave the heater off").gain >= of("run the heater half").gain);
        assert!(of("leave the heater off").gain >= of("switch the heater off at 02:00").gain);
        assert!(of("switch the heater off").gain > of("switch the mount off").gain, "{fixes:?}");
        assert!(
            fixes.iter().any(|fix| fix.change.contains("instead of 20 AWG to the heater")),
            "{fixes:?}"
        );
    }

    #[test]
    fn asking_can_be_stopped() {
        let plan = plan("");
        let forecast = forecast(&plan, SETTINGS, |_| true).unwrap();
        let fixes = fixes(&plan, &forecast, SETTINGS, |done, _| done < 2).unwrap();
        assert_eq!(fixes.len(), 2);
    }

    #[test]
    fn a_shedding_plan_is_enough_and_no_earlier_than_need_be() {
        let plan = plan("shed = 1");
        let forecast = forecast(&plan, SETTINGS, |_| true).unwrap();
        let found = shedding(&plan, &forecast, SETTINGS).unwrap().unwrap();
        assert!(found.enough && found.nights[0].share >= 0.95, "{found:?}");
        let [step] = &found.steps[..] else { panic!("{found:?}") };
        assert_eq!(step.device, "heater");
        let from = step.from.unwrap();
        let later = shed(&plan, "heater", Some(f64::from(from.hour() + 1) * 3600.0)).unwrap();
        assert!(chances(&later, SETTINGS).unwrap()[0].share < 0.95, "an hour later would do too");
    }

    #[test]
    fn nothing_is_shed_without_need_or_without_an_order() {
        for plan in [plan(""), plan_with("80 Ah", "shed = 1")] {
            let forecast = forecast(&plan, SETTINGS, |_| true).unwrap();
            assert_eq!(shedding(&plan, &forecast, SETTINGS).unwrap(), None);
        }
    }
}
