//! The rig looked over for a night: power budget, wires, voltages, cautions, and what would mend it.

mod advice;
mod caution;
mod course;
mod remark;
mod segment;

pub use advice::{Advice, Place};
use caution::TOUCH_V;
pub use caution::{Caution, DEFERRAL};
pub use course::{Budget, Passage};
pub use remark::Remark;
pub use segment::SegmentCheck;

use crate::{Collapse, Conditions, Night, Rig, Solution};

/// What an inspection takes as given.
#[derive(Debug, Clone, PartialEq)]
pub struct Terms {
    /// The air, hour by hour from nought on the trip's clock; the last goes on.
    pub air: Vec<Conditions>,
    /// The pack under load at dusk (V).
    pub dusk_v: f64,
    /// The pack when it is nearly empty (V).
    pub end_v: f64,
}

impl Terms {
    /// The air at a time on the trip's clock.
    #[must_use]
    pub fn air_at(&self, at_s: f64) -> Conditions {
        let hour = (at_s / 3600.0).max(0.0) as usize;
        self.air.get(hour).or(self.air.last()).copied().unwrap_or_default()
    }
}

/// One state of the rig: what it takes on average, and what it sees at its worst.
#[derive(Debug, Clone, PartialEq)]
pub struct StateBudget {
    /// What is on, in words.
    pub name: String,
    /// How long it holds in the window (s).
    pub lasting_s: f64,
    /// Mean loads over all the time it holds, with the pack as at dusk.
    pub mean: Solution,
    /// Greatest loads (no duty cycles, all peaks at once) at dusk.
    pub greatest_at_dusk: Result<Solution, Collapse>,
    /// The same with the pack nearly empty.
    pub greatest_at_end: Result<Solution, Collapse>,
}

/// Whether a device gets its least voltage, over all states in which it is on.
#[derive(Debug, Clone, PartialEq)]
pub struct DeviceCheck {
    /// The device.
    pub name: String,
    /// What it needs (V).
    pub least_v: Option<f64>,
    /// The least it sees at dusk (V); none if it is never on, or the voltage collapses.
    pub dusk_v: Option<f64>,
    /// The least it sees with the pack nearly empty (V).
    pub end_v: Option<f64>,
    /// Whether that is enough, for it and every converter before it.
    pub ok: bool,
    /// Single changes of a wire that would do; empty if it is fine, or none would.
    pub advice: Vec<Advice>,
}

/// The rig looked over.
#[derive(Debug, Clone, PartialEq)]
pub struct Inspection {
    /// The night from end to end.
    pub course: Vec<Passage>,
    /// Power budget by state, in the order they come up.
    pub states: Vec<StateBudget>,
    /// Wires: branches first, then those of devices, without plugs that have neither cable, fuse
    /// nor resistance.
    pub segments: Vec<SegmentCheck>,
    /// Devices, in the order of [`Rig::devices`].
    pub devices: Vec<DeviceCheck>,
    /// Out of the pack in the whole window (Wh), with the pack as at dusk.
    pub used_wh: f64,
    /// Of these, lost in wires (Wh).
    pub cable_wh: f64,
    /// Of these, lost in converters (Wh).
    pub converter_wh: f64,
    /// What can hurt someone or something.
    pub cautions: Vec<Caution>,
    /// What is no danger but good to know.
    pub remarks: Vec<Remark>,
}

impl Inspection {
    /// What a stretch of time takes, such as one night of several.
    #[must_use]
    pub fn budget(&self, from_s: f64, to_s: f64) -> Budget {
        Budget::of(&self.course, from_s, to_s)
    }
}

impl Rig {
    /// Looks the rig over for a night.
    ///
    /// # Errors
    /// If even the mean loads collapse with the pack as at dusk.
    pub fn inspect(&self, night: &Night, terms: &Terms) -> Result<Inspection, Collapse> {
        let course = course::of(self, night, terms)?;
        let mut states = Vec::with_capacity(night.states.len());
        for (index, state) in night.states.iter().enumerate() {
            let greatest = self.greatest_loads(state);
            let held = night.stretches.iter().filter(|stretch| stretch.state == index);
            states.push(StateBudget {
                name: self.state_name(state),
                lasting_s: held.map(|stretch| stretch.to_s - stretch.from_s).sum(),
                mean: self.solve(terms.dusk_v, &course::mean_loads(self, night, index, &course))?,
                greatest_at_dusk: self.solve(terms.dusk_v, &greatest),
                greatest_at_end: self.solve(terms.end_v, &greatest),
            });
        }
        let whole = Budget::of(&course, f64::NEG_INFINITY, f64::INFINITY);
        let segments = segment::check(self, &states, &course);
        let devices = self.check_devices(night, &states, terms);
        let cautions = caution::raise(self, &segments, &states);
        Ok(Inspection {
            used_wh: whole.used_wh,
            cable_wh: whole.cable_wh,
            converter_wh: whole.converter_wh,
            remarks: remark::make(self, night, &states, &course),
            segments,
            devices,
            cautions,
            states,
            course,
        })
    }

    fn check_devices(
        &self,
        night: &Night,
        states: &[StateBudget],
        terms: &Terms,
    ) -> Vec<DeviceCheck> {
        let check = |(d, device): (usize, &crate::Device)| {
            let on: Vec<usize> = (0..states.len())
                .filter(|&s| {
                    night
                        .states
                        .get(s)
                        .is_some_and(|state| state.0.get(d).is_some_and(Option::is_some))
                })
                .collect();
            let least = |seen: fn(&StateBudget) -> &Result<Solution, Collapse>| {
                let volts = on
                    .iter()
                    .map(|&s| seen(&states[s]).as_ref().ok().map(|seen| seen.devices[d].voltage_v));
                volts.reduce(|a, b| Some(a?.min(b?))).flatten()
            };
            let ok = on
                .iter()
                .all(|&s| states[s].greatest_at_end.as_ref().is_ok_and(|seen| seen.devices[d].ok));
            let advice = if ok { Vec::new() } else { advice::find(self, d, night, &on, terms) };
            DeviceCheck {
                name: device.name.clone(),
                least_v: device.least_voltage_v,
                dusk_v: least(|state| &state.greatest_at_dusk),
                end_v: least(|state| &state.greatest_at_end),
                ok,
                advice,
            }
        };
        self.devices().iter().enumerate().map(check).collect()
    }
}
