//! The rig of a plan looked over for the nights of its trip.

use jiff::Timestamp;
use jiff::civil::Date;
use pack::Circuit;
use plan::Plan;
use rig::{Budget, Inspection, Load, Night, Rig, Terms};

use crate::calendar::{Calendar, Evening};
use crate::error::TripError;
use crate::prepare::{air_hours, conditions_in};

/// The charge (0..1) that a pack still holds when it counts as nearly empty (common practice, no
/// source).
pub const NEARLY_EMPTY: f64 = 0.10;

/// What a rig takes and sees through the nights of a trip.
#[derive(Debug, Clone)]
pub struct Survey {
    /// What was taken as given: the pack's voltages, the air.
    pub terms: Terms,
    /// Where the clock of `night` and `found` shows nought.
    pub clock_start: Timestamp,
    /// All nights as one window.
    pub night: Night,
    /// What was found.
    pub found: Inspection,
    /// Night by night.
    pub nights: Vec<SurveyedNight>,
}

/// One night, from one noon to the next.
#[derive(Debug, Clone, PartialEq)]
pub struct SurveyedNight {
    /// The date of its evening at the site.
    pub evening: Date,
    /// Its noons on the clock of the survey (s).
    pub from_s: f64,
    /// See `from_s`.
    pub to_s: f64,
    /// What it takes, with the pack as at dusk.
    pub budget: Budget,
}

/// Looks the rig of a plan over.
///
/// The pack is taken at rest and steadily loaded: at dusk with the charge the plan begins with, at
/// the end with [`NEARLY_EMPTY`] left; both in the coldest air of the night and under the greatest
/// mean load of any state.
///
/// # Errors
/// If the sky can't be worked out for its dates, or the rig can't stand even at dusk.
pub fn survey(plan: &Plan) -> Result<Survey, TripError> {
    let calendar = Calendar::new(&plan.site.place, &plan.site.zone, plan.dates.evenings())?;
    let rig = &plan.gear.rig;
    let night_of = |evening: &Evening| calendar.moments(evening, |moments| rig.night(moments));
    let night = calendar.evenings.iter().map(night_of).reduce(Night::then);
    let night = night.unwrap_or(Night { states: vec![], stretches: vec![], missing: vec![] });
    let last_s = night.stretches.last().map_or(0.0, |stretch| stretch.to_s);
    let hourly_c = air_hours(plan, &calendar, last_s)?;
    let hours = (last_s / 3600.0).ceil() as usize;
    let air: Vec<_> = (0..hours)
        .map(|hour| conditions_in(plan, &hourly_c, 3600.0 * (hour as f64 + 0.5)))
        .collect();

    let states = night.states.iter().flat_map(|state| {
        let mean = |conditions| rig.mean_loads(state, conditions);
        air.iter().take(24).map(mean).collect::<Vec<_>>()
    });
    let heaviest = heaviest(rig, states);
    let circuit = &plan.battery.pack.circuit;
    let loaded_v = |soc: f64| loaded_v(rig, circuit, soc, plan.air.night_c.value, &heaviest);
    let soc = plan.battery.soc_start;
    let dusk_v = loaded_v(soc);
    let terms = Terms { air, dusk_v, end_v: loaded_v(NEARLY_EMPTY.min(soc)) };
    let found = rig.inspect(&night, &terms)?;
    let nights = calendar
        .evenings
        .iter()
        .map(|evening| {
            let [from_s, to_s] = evening.window_s;
            let budget = found.budget(from_s, to_s);
            SurveyedNight { evening: evening.date, from_s, to_s, budget }
        })
        .collect();
    Ok(Survey { terms, clock_start: calendar.noon, night, found, nights })
}

const NOMINAL_V: f64 = 12.0;

/// The loads that ask for most.
fn heaviest(rig: &Rig, states: impl Iterator<Item = Vec<Load>>) -> Vec<Load> {
    let power_w = |loads: &Vec<Load>| -> f64 {
        // with the wires' part of it where they let it through
        rig.solve(NOMINAL_V, loads).map_or_else(
            |_| loads.iter().map(|load| load.power_w(NOMINAL_V)).sum(),
            |seen| seen.source_w(),
        )
    };
    states.max_by(|a, b| power_w(a).total_cmp(&power_w(b))).unwrap_or_default()
}

/// Rounds in which voltage and current settle; each brings the error down by the ratio of the
/// pack's resistance to the load's, a tenth or less.
const ROUNDS: usize = 40;

/// Voltage at the pack's terminals under a steady load; its open-circuit voltage where the load
/// can't be met.
fn loaded_v(rig: &Rig, circuit: &Circuit, soc: f64, air_c: f64, loads: &[Load]) -> f64 {
    let resistance = circuit.climate(air_c).resistance;
    let low = circuit.rise.depth(soc);
    let r0_ohm = circuit.r0_ohm * (1.0 + circuit.rise.share * low * low);
    let ohm = resistance * (r0_ohm + circuit.r1_ohm);
    let open_v = circuit.ocv.at(soc) + circuit.offset_v;
    let mut v = open_v;
    for _ in 0..ROUNDS {
        let Ok(seen) = rig.solve(v, loads) else { return open_v };
        v = 0.5 * (v + open_v - ohm * seen.source_a).max(0.0);
    }
    v
}
