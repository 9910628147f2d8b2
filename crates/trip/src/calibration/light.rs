//! What panels really give: each as it stands, under the light of its day.

use plan::{Plan, Supply};
use sky::{AimError, AirTemperature, Cloud, Light, Steps, Surroundings, light_off_aim};
use source::Conversion;

use crate::calendar::Calendar;
use crate::harvest::surroundings;
use crate::prepare::{air_hours, prepare};
use crate::timeline::{Step, Timeline};

/// Length of a step of light (s); straight between them.
const LIGHT_S: f64 = 300.0;
/// The battery's voltage at which a switching controller's current is taken.
const SWITCHING_V: f64 = 13.6;

/// Where a plan's panels stand, and when.
pub(super) struct Field<'a> {
    plan: &'a Plan,
    calendar: Calendar,
    /// With what they would give under a clear sky.
    pub(super) timeline: Timeline,
    pub(super) around: Surroundings,
    air_c: Vec<f64>,
}

impl<'a> Field<'a> {
    pub(super) fn of(plan: &'a Plan) -> Self {
        let (calendar, timeline) = prepare(plan).unwrap();
        let air_c = air_hours(plan, &calendar, calendar.ends_s()).unwrap();
        let around = surroundings(plan, &AirTemperature::Hourly(air_c.clone()));
        Self { plan, calendar, timeline, around, air_c }
    }

    /// What the panels give on the day before a night, under a share of the clear sky's light.
    pub(super) fn given(
        &self,
        night: usize,
        share: f64,
        off: &[AimError],
        warmer_k: f64,
    ) -> Vec<Given<'a>> {
        let sunny = self.timeline.blocks.iter().filter(|block| block.night == night);
        let mut sunny = sunny.filter(|block| block.supplied).flat_map(|block| {
            [block.steps.start, block.steps.end - 1].map(|step| self.timeline.steps[step].at_s)
        });
        let Some(from_s) = sunny.next() else { return Vec::new() };
        let to_s = sunny.next_back().unwrap_or(from_s) + 2.0 * LIGHT_S;
        let from_s = (from_s - LIGHT_S).max(0.0);
        let hour = (from_s / 3600.0) as usize;
        let from_s = 3600.0 * hour as f64;
        let start = self.calendar.instant(from_s);
        let count = ((to_s - from_s) / LIGHT_S).ceil() as usize;
        let steps = Steps { start, step_s: LIGHT_S, count };
        let air_c = self.air_c[hour..].iter().map(|air_c| air_c + warmer_k).collect();
        let around = Surroundings { air: AirTemperature::Hourly(air_c), ..self.around.clone() };
        let mut given = Vec::new();
        for (supply, off) in self.plan.supplies.iter().zip(off) {
            let Supply::Panel(supply) = supply else { continue };
            // between nine tenths and all of a clear sky's light beam and diffuse change from
            // Erbs's shares to the clear sky's own at once; docs/sky.md: "in tenths and straight
            // between"
            let (low, high, along) = if (0.9..1.0).contains(&share) {
                (0.9, 1.0, 10.0 * share - 9.0)
            } else {
                (share, share, 0.0)
            };
            let errors = [AimError::NONE, *off];
            let values = |share: f64| -> Vec<[f64; 2]> {
                let sky = Cloud::Share(share);
                let lights = light_off_aim(&around, (&supply.aim, errors), &sky, steps).unwrap();
                let of = |both: &[Light; 2]| both.map(|light| taken(supply, &light));
                lights.iter().map(of).collect()
            };
            let mut values_at = values(low);
            if along > 0.0 {
                for (low, high) in values_at.iter_mut().zip(values(high)) {
                    *low = std::array::from_fn(|of| low[of] + along * (high[of] - low[of]));
                }
            }
            given.push(Given {
                from_s,
                supply,
                waits_c: supply.charges_above_c.unwrap_or(f64::NEG_INFINITY),
                meant_ws: LIGHT_S * values_at.iter().map(|values| values[0]).sum::<f64>(),
                power_w: values_at.iter().map(|values| values[1]).collect(),
            });
        }
        given
    }
}

/// What a controller takes from its panel: a tracking one the most power, a switching one the
/// current at a battery's voltage (W).
pub(super) fn taken(supply: &plan::Panel, light: &Light) -> f64 {
    let (effective_w_m2, cell_c) = (light.poa_effective_w_m2, light.cell_temp_c);
    match supply.controller.conversion() {
        Conversion::Mppt { .. } => supply.panel.power_w(effective_w_m2, cell_c),
        Conversion::Pwm => {
            SWITCHING_V * supply.panel.current_a(effective_w_m2, cell_c, SWITCHING_V)
        }
    }
}

/// What panels would give as they are meant to stand (Ws).
pub(super) fn meant(given: &[Given<'_>]) -> f64 {
    given.iter().map(|panel| panel.meant_ws).sum()
}

/// What one panel gives on one day.
pub(super) struct Given<'a> {
    from_s: f64,
    supply: &'a plan::Panel,
    pub(super) waits_c: f64,
    /// As it is meant to stand.
    meant_ws: f64,
    /// As it stands, step by step.
    power_w: Vec<f64>,
}

impl Given<'_> {
    pub(super) fn scale(&mut self, factor: f64) {
        self.power_w.iter_mut().for_each(|power_w| *power_w *= factor);
    }

    pub(super) fn add_to(&self, step: &mut Step, middle_s: f64) {
        let along = (middle_s - self.from_s) / LIGHT_S - 0.5;
        let left = along.floor().max(0.0) as usize;
        let at = |step: usize| self.power_w.get(step).copied().unwrap_or(0.0);
        let along = (along - left as f64).clamp(0.0, 1.0);
        let power_w = at(left) + (at(left + 1) - at(left)) * along;
        let most_a = self.supply.controller.current_limit_a();
        match self.supply.controller.conversion() {
            Conversion::Mppt { efficiency } => {
                step.panel_w += efficiency * power_w;
                step.panel_cap_a += most_a;
            }
            Conversion::Pwm => step.panel_a += (power_w / SWITCHING_V).min(most_a),
        }
    }
}
