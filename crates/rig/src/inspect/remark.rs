//! What is no danger, but good to know before the night.

use super::{Passage, StateBudget, TOUCH_V};
use crate::schedule::Event;
use crate::{Conditions, Follows, Night, Rig};
use quantity::Kind;
use std::fmt::{Display, Formatter, Result};

/// Share of its input from which a converter's loss deserves a word (common practice, no source).
const COSTLY: f64 = 0.2;

/// Something to know about the rig in this night.
#[derive(Debug, Clone, PartialEq)]
pub enum Remark {
    /// A converter whose input falls below what it needs while something behind it is on.
    ConverterStarved {
        /// The branch.
        name: String,
        /// What it gets with the pack nearly empty (V).
        input_v: f64,
        /// What it needs (V).
        least_input_v: f64,
    },
    /// A converter or inverter that loses much.
    ConverterCost {
        /// The branch.
        name: String,
        /// Its loss in the window (Wh).
        loss_wh: f64,
        /// The same as a share of what it takes.
        share: f64,
    },
    /// A heater that can't keep the dew off in the worst hour.
    HeaterTooWeak {
        /// The device.
        device: String,
        /// What it takes (W).
        needs_w: f64,
        /// What the strip gives at 12 V (W), its duty cycle counted in.
        rated_w: f64,
    },
    /// A cooler that can't hold its temperature.
    CoolerAtLimit {
        /// The device.
        device: String,
        /// The air (°C).
        air_c: f64,
        /// The warmest air in which it could (°C).
        warmest_air_c: f64,
    },
    /// A use that hangs on something which does not happen in this night.
    NoSuchEvent {
        /// The device.
        device: String,
        /// The event.
        event: Event,
    },
}

impl Display for Remark {
    fn fmt(&self, f: &mut Formatter<'_>) -> Result {
        let (volt, watt, celsius) = (Kind::Voltage, Kind::Power, Kind::Temperature);
        match self {
            Remark::ConverterStarved { name, input_v, least_input_v } => write!(
                f,
                "the converter {name:?} gets {} with the pack nearly empty but needs {}: what hangs on it goes out",
                volt.show(*input_v),
                volt.show(*least_input_v)
            ),
            Remark::ConverterCost { name, loss_wh, share } => write!(
                f,
                "{name:?} loses {}, {} of what it takes",
                Kind::Energy.show(*loss_wh),
                Kind::Fraction.show(*share)
            ),
            Remark::HeaterTooWeak { device, needs_w, rated_w } => write!(
                f,
                "{device:?} would need {} to keep the dew off but gives {}",
                watt.show(*needs_w),
                watt.show(*rated_w)
            ),
            Remark::CoolerAtLimit { device, air_c, warmest_air_c } => write!(
                f,
                "{device:?} can't hold its temperature at {}: it can up to {}",
                celsius.show(*air_c),
                celsius.show(*warmest_air_c)
            ),
            Remark::NoSuchEvent { device, event } => write!(
                f,
                "{device:?} waits for {}, which this night does not have; it stays off",
                event.word()
            ),
        }
    }
}

pub(super) fn make(
    rig: &Rig,
    night: &Night,
    states: &[StateBudget],
    course: &[Passage],
) -> Vec<Remark> {
    let mut remarks = Vec::new();
    of_converters(rig, states, &mut remarks);
    of_weather(rig, night, course, &mut remarks);
    // one word a use: where there is no dark, it has no end either
    let mut told = None;
    for &(d, u, event) in &night.missing {
        if let Some(device) = rig.devices().get(d).filter(|_| told != Some((d, u))) {
            remarks.push(Remark::NoSuchEvent { device: device.name.clone(), event });
        }
        told = Some((d, u));
    }
    remarks
}

fn of_converters(rig: &Rig, states: &[StateBudget], remarks: &mut Vec<Remark>) {
    for (b, branch) in rig.branches().iter().enumerate() {
        let Some(converter) = branch.converter else { continue };
        let starved_v = states
            .iter()
            .filter_map(|state| state.greatest_at_end.as_ref().ok())
            .map(|seen| &seen.branches[b])
            .filter(|seen| seen.output_w() > 0.0)
            .map(|seen| seen.to_v)
            .fold(f64::INFINITY, f64::min);
        if starved_v < converter.least_input_v {
            remarks.push(Remark::ConverterStarved {
                name: branch.name.clone(),
                input_v: starved_v,
                least_input_v: converter.least_input_v,
            });
        }
        let (mut loss_wh, mut input_wh) = (0.0, 0.0);
        for state in states {
            let (seen, hours) = (&state.mean.branches[b], state.lasting_s / 3600.0);
            loss_wh += seen.converter_w * hours;
            input_wh += seen.to_v * seen.current_a * hours;
        }
        let share = loss_wh / input_wh;
        if input_wh > 0.0 && (share > COSTLY || converter.output_v > TOUCH_V) {
            remarks.push(Remark::ConverterCost { name: branch.name.clone(), loss_wh, share });
        }
    }
}

fn of_weather(rig: &Rig, night: &Night, course: &[Passage], remarks: &mut Vec<Remark>) {
    for (d, device) in rig.devices().iter().enumerate() {
        for (u, used) in device.uses.iter().enumerate() {
            let in_use = |state: usize| {
                night.states.get(state).is_some_and(|state| state.0.get(d) == Some(&Some(u)))
            };
            // the most of something over all the time it is on
            let most = |of: &dyn Fn(&Conditions) -> f64| {
                let on = course.iter().filter(|passage| in_use(passage.state));
                on.map(|passage| of(&passage.conditions)).fold(f64::NEG_INFINITY, f64::max)
            };
            let device = || device.name.clone();
            match used.follows {
                Some(Follows::Dew(heater)) => {
                    let needs_w = most(&|conditions| heater.power_w(conditions));
                    let rated_w = used.load.power_w(crate::device::NOMINAL_V) * used.when.duty;
                    if needs_w > rated_w {
                        let device = device();
                        remarks.push(Remark::HeaterTooWeak { device, needs_w, rated_w });
                    }
                }
                Some(Follows::Cooling(sensor)) => {
                    let air_c = most(&|conditions| conditions.air_c);
                    let warmest_air_c = sensor.warmest_air_c();
                    if air_c > warmest_air_c {
                        let device = device();
                        remarks.push(Remark::CoolerAtLimit { device, air_c, warmest_air_c });
                    }
                }
                None => {}
            }
        }
    }
}
