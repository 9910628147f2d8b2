//! What a night takes, stretch by stretch and hour by hour.

use super::Terms;
use crate::{Collapse, Conditions, Load, Night, Rig, Solution};

const HOUR_S: f64 = 3600.0;

/// A stretch of time with the same things on, within one hour of the air where anything asks for it.
#[derive(Debug, Clone, PartialEq)]
pub struct Passage {
    /// From (s on the trip's clock).
    pub from_s: f64,
    /// To (s).
    pub to_s: f64,
    /// Index among the states of the night.
    pub state: usize,
    /// The air.
    pub conditions: Conditions,
    /// Mean loads in it, with the pack as at dusk.
    pub mean: Solution,
}

impl Passage {
    pub(super) fn hours(&self) -> f64 {
        (self.to_s - self.from_s) / HOUR_S
    }
}

/// Energy of a stretch of time (Wh), with the pack as at dusk.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Budget {
    /// Out of the pack.
    pub used_wh: f64,
    /// Into each device, in the order of [`Rig::devices`].
    pub devices_wh: Vec<f64>,
    /// Lost in wires and connectors.
    pub cable_wh: f64,
    /// Lost in converters.
    pub converter_wh: f64,
}

impl Budget {
    /// What the passages within a stretch of time come to.
    pub(super) fn of(course: &[Passage], from_s: f64, to_s: f64) -> Budget {
        let mut sum = Budget::default();
        for passage in course {
            let hours = (passage.to_s.min(to_s) - passage.from_s.max(from_s)) / HOUR_S;
            if hours <= 0.0 {
                continue;
            }
            sum.used_wh += passage.mean.source_w() * hours;
            sum.cable_wh += passage.mean.cable_w() * hours;
            sum.converter_wh += passage.mean.converter_w() * hours;
            sum.devices_wh.resize(passage.mean.devices.len(), 0.0);
            for (device_wh, seen) in sum.devices_wh.iter_mut().zip(&passage.mean.devices) {
                *device_wh += seen.power_w * hours;
            }
        }
        sum
    }
}

/// The night cut into passages.
pub(super) fn of(rig: &Rig, night: &Night, terms: &Terms) -> Result<Vec<Passage>, Collapse> {
    let follows =
        rig.devices().iter().flat_map(|device| &device.uses).any(|used| used.follows.is_some());
    let mut course = Vec::new();
    for stretch in &night.stretches {
        let Some(state) = night.states.get(stretch.state) else { continue };
        let mut from_s = stretch.from_s;
        while from_s < stretch.to_s {
            let next_s =
                if follows { HOUR_S * ((from_s / HOUR_S).floor() + 1.0) } else { stretch.to_s };
            let to_s = next_s.min(stretch.to_s);
            let conditions = terms.air_at(0.5 * (from_s + to_s));
            let mean = rig.solve(terms.dusk_v, &rig.mean_loads(state, &conditions))?;
            course.push(Passage { from_s, to_s, state: stretch.state, conditions, mean });
            from_s = to_s;
        }
    }
    Ok(course)
}

/// The mean loads of a state over all passages in which it holds.
pub(super) fn mean_loads(rig: &Rig, night: &Night, state: usize, course: &[Passage]) -> Vec<Load> {
    let Some(uses) = night.states.get(state) else { return Vec::new() };
    let mut found: Vec<Load> = Vec::new();
    let mut hours = 0.0;
    for passage in course.iter().filter(|passage| passage.state == state) {
        hours += passage.hours();
        let loads = rig.mean_loads(uses, &passage.conditions);
        if found.is_empty() {
            found = loads;
            continue;
        }
        for (mean, load) in found.iter_mut().zip(loads) {
            *mean = mean.blend(load, passage.hours() / hours).unwrap_or(*mean);
        }
    }
    found
}
