//! Less for one device: off or half as much, from some hour of the night on; and a lower cutoff.

use plan::Plan;
use quantity::Kind;
use rig::schedule::{Edge, Event, Span, When};
use rig::{Device, Load, Rig, Use};

use super::{Before, Change, Fix, Late, with};
use crate::calendar::FullHour;
use crate::error::TripError;
use crate::forecast::{Trial, trial};

/// Lower cutoffs, for the devices whose makers let them be set.
pub(super) fn cutoffs(plan: &Plan) -> Vec<Change> {
    let devices = plan.gear.rig.devices().iter().zip(&plan.gear.least_settable_v);
    devices
        .filter_map(|(device, settable_v)| {
            let (now_v, settable_v) = (device.least_voltage_v?, (*settable_v)?);
            if settable_v >= now_v {
                return None;
            }
            let volts = |v: f64| Kind::Voltage.show(v);
            let text = format!(
                "set the {}'s cutoff to {} instead of {}",
                device.name,
                volts(settable_v),
                volts(now_v)
            );
            let changed = change_device(plan, &device.name, |device| {
                device.least_voltage_v = Some(settable_v);
            })?;
            Some(Change::free(text, changed))
        })
        .collect()
}

/// How a device is spared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Way {
    Off,
    /// It runs half of the time.
    Half,
}

/// The plan with a device eased from a time of each night (seconds of the day) until sunrise, or all
/// the time.
pub(super) fn ease(plan: &Plan, name: &str, way: Way, from_s: Option<f64>) -> Option<Plan> {
    let late =
        from_s.map(|from_s| Span::Between(Edge::Clock(from_s), Edge::Sky(Event::Sunrise, 0.0)));
    // of uses that are on at once the last in the list counts
    change_device(plan, name, |device| match way {
        Way::Off => {
            let when = When::of(vec![late.unwrap_or(Span::Always)], 1.0);
            device.uses.push(Use::new(Load::OFF, when));
        }
        Way::Half => {
            let halved = |used: &Use| {
                let when = When { duty: 0.5 * used.when.duty, within: late, ..used.when.clone() };
                Use { when, ..used.clone() }
            };
            let halves: Vec<Use> = device.uses.iter().map(halved).collect();
            device.uses.extend(halves);
        }
    })
}

fn change_device(plan: &Plan, name: &str, change: impl FnOnce(&mut Device)) -> Option<Plan> {
    let rig = &plan.gear.rig;
    let mut devices = rig.devices().to_vec();
    change(devices.iter_mut().find(|device| device.name == name)?);
    let rig = Rig::new(rig.branches().to_vec(), devices).ok()?;
    Some(with(plan, |changed| changed.gear.rig = rig))
}

/// What easing one device does: off, and at half, each all the time and from an hour on. That hour is
/// the latest that is enough; where none is, half-way through its night. Of all these one is for
/// a short list: that which takes least from the device and is enough, or else the one that gains
/// most.
pub(super) fn eased(before: &Before<'_>, device: &Device) -> Result<Vec<Fix>, TripError> {
    let hours = Hours::of(before, &device.name);
    let mut found: Vec<Eased> = Vec::new();
    for way in [Way::Off, Way::Half] {
        let trying = Trying { before, device, way, hours: &hours };
        let Some(always) = trying.judge(None)? else { continue };
        let late = if before.falls_short() && before.is_enough(&always.fix) {
            trying.latest_enough()?
        } else {
            hours.middle().map(|hour| trying.judge(Some(hour))).transpose()?.flatten()
        };
        found.push(always);
        found.extend(late);
    }
    let enough = (0..found.len())
        .filter(|at| before.falls_short() && before.is_enough(&found[*at].fix))
        .min_by(|a, b| found[*a].taken_s.total_cmp(&found[*b].taken_s));
    let chosen = enough.or_else(|| {
        let gain = |at: usize| found[at].fix.gain;
        (0..found.len()).reduce(|a, b| if gain(b) > gain(a) { b } else { a })
    });
    for (at, eased) in found.iter_mut().enumerate() {
        eased.fix.is_listed &= Some(at) == chosen;
    }
    Ok(found.into_iter().map(|eased| eased.fix).collect())
}

/// A device eased in one way.
struct Eased {
    fix: Fix,
    /// What it takes from the device in the weakest night (s of its full running).
    taken_s: f64,
}

/// One way of easing one device, to be tried from different hours on.
struct Trying<'a> {
    before: &'a Before<'a>,
    device: &'a Device,
    way: Way,
    hours: &'a Hours,
}

impl Trying<'_> {
    fn plan(&self, from: Option<FullHour>) -> Option<Plan> {
        ease(self.before.plan, &self.device.name, self.way, from.map(|hour| hour.clock_s))
    }

    fn judge(&self, from: Option<FullHour>) -> Result<Option<Eased>, TripError> {
        let Some(plan) = self.plan(from) else { return Ok(None) };
        let trial = trial(&plan, self.before.settings)?;
        Ok(Some(self.eased(from, plan, trial)))
    }

    /// From the latest hour on from which it is enough, if any is.
    fn latest_enough(&self) -> Result<Option<Eased>, TripError> {
        let late = self.before.latest_enough(&self.hours.full, |hour| self.plan(Some(hour)))?;
        Ok(late.map(|Late { hour, plan, trial }| self.eased(Some(hour), plan, trial)))
    }

    fn eased(&self, from: Option<FullHour>, plan: Plan, trial: Trial) -> Eased {
        let name = &self.device.name;
        let what = match (self.way, from) {
            (Way::Off, None) => format!("leave the {name} off"),
            (Way::Off, Some(_)) => format!("switch the {name} off"),
            (Way::Half, _) => format!("run the {name} half of the time"),
        };
        let text = match from {
            Some(hour) => format!("{what} from {} on", hour.time().strftime("%H:%M")),
            None => what,
        };
        let all_s = self.hours.after_s(from);
        let taken_s = if self.way == Way::Half { 0.5 * all_s } else { all_s };
        Eased { fix: self.before.compare(Change::free(text, plan), trial), taken_s }
    }
}

/// When a device runs around the weakest night.
struct Hours {
    /// From and to (s on the trip's clock), with the duty cycle.
    on: Vec<(f64, f64, f64)>,
    /// The end of the night (s).
    sunrise_s: f64,
    /// The full hours of the clock at which it has run and will run again, in order.
    full: Vec<FullHour>,
}

impl Hours {
    fn of(before: &Before<'_>, name: &str) -> Hours {
        let rig = &before.plan.gear.rig;
        let evening = before.weakest_evening();
        let night =
            evening.map(|evening| before.calendar.moments(evening, |moments| rig.night(moments)));
        let duty = |state: usize| {
            let index = rig.device(name)?;
            let used = *night.as_ref()?.states.get(state)?.0.get(index)?;
            Some(rig.devices().get(index)?.uses.get(used?)?.when.duty)
        };
        let stretches = night.iter().flat_map(|night| &night.stretches);
        let on = stretches
            .filter_map(|stretch| Some((stretch.from_s, stretch.to_s, duty(stretch.state)?)))
            .collect();
        let sunrise_s = evening.map_or(0.0, |evening| evening.to_s);
        let mut hours = Hours { on, sunrise_s, full: Vec::new() };
        let all = evening.map(|evening| before.calendar.full_hours(evening)).unwrap_or_default();
        let night_s = evening.map_or(0.0, |evening| hours.between_s(evening.from_s, sunrise_s));
        let splits = |hour: &FullHour| {
            let after_s = hours.after_s(Some(*hour));
            after_s > 0.0 && after_s < night_s
        };
        let full = all.into_iter().filter(splits).collect();
        hours.full = full;
        hours
    }

    /// How long it runs between two moments (s of its full running).
    fn between_s(&self, from_s: f64, to_s: f64) -> f64 {
        let of = |(on_s, off_s, duty): &(f64, f64, f64)| {
            duty * (off_s.min(to_s) - on_s.max(from_s)).max(0.0)
        };
        self.on.iter().map(of).sum()
    }

    /// How long it runs from an hour on until sunrise, or altogether.
    fn after_s(&self, hour: Option<FullHour>) -> f64 {
        match hour {
            Some(hour) => self.between_s(hour.at_s, self.sunrise_s),
            None => self.between_s(f64::NEG_INFINITY, f64::INFINITY),
        }
    }

    /// The hour half-way through what it runs at night.
    fn middle(&self) -> Option<FullHour> {
        let after_s = |hour: &FullHour| self.after_s(Some(*hour));
        let most_s = self.full.first().map(after_s)?;
        let from_half = |hour: &FullHour| (after_s(hour) - 0.5 * most_s).abs();
        self.full.iter().min_by(|a, b| from_half(a).total_cmp(&from_half(b))).copied()
    }
}
