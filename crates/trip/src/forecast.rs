//! Will it last till dawn: the answer, night by night.

use jiff::Timestamp;
use jiff::civil::Date;
use plan::Plan;
use quantity::uncertainty::wilson_95;
use rayon::prelude::*;
use serde::Serialize;
use sky::Night;

use crate::calendar::Calendar;
use crate::draws::{Doubt, Draw};
use crate::engine::{self, Cause, Cell, Outcome, Stop};
use crate::error::TripError;
use crate::ledger::{self, Ledger, Use};
use crate::loads::Loads;
use crate::prepare::prepare;
use crate::skies::Skies;
use crate::timeline::Timeline;
use crate::trace::Trace;

/// How a forecast is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Settings {
    /// How many random trips.
    pub draws: usize,
    /// Where their randomness comes from; the same seed gives the same forecast.
    pub seed: u64,
}

impl Default for Settings {
    fn default() -> Self {
        Settings { draws: 1000, seed: 1 }
    }
}

/// A probability with its 95 % interval, as far as the number of draws tells it (Wilson 1927).
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Chance {
    /// Share of the draws.
    pub share: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Chance {
    fn of(hits: usize, draws: usize) -> Self {
        let (low, high) = wilson_95(hits, draws);
        Chance { share: hits as f64 / draws as f64, low, high }
    }
}

/// Something stopped that should have run.
#[derive(Debug, Clone, PartialEq)]
pub struct Failure {
    /// When.
    pub time: Timestamp,
    /// Which device; all of them where the pack's protection opened.
    pub device: Option<String>,
    /// Why.
    pub cause: Cause,
}

/// How often a device failed first, among the draws.
#[derive(Debug, Clone, PartialEq)]
pub struct Culprit {
    /// Which device; all of them where the pack's protection opened.
    pub device: Option<String>,
    /// In which share of the draws it was the first to fail that night.
    pub share: f64,
    /// The median of the times at which it did.
    pub median_time: Timestamp,
}

/// One night of a trip, with the day before it.
#[derive(Debug, Clone)]
pub struct NightForecast {
    /// The date of its evening at the site.
    pub evening: Date,
    /// What the sky does.
    pub night: Night,
    /// Its beginning, usually sunset.
    pub from: Timestamp,
    /// Its end, usually sunrise.
    pub to: Timestamp,
    /// Whether everything ran in the central case.
    pub carried: bool,
    /// How probable that is.
    pub chance: Chance,
    /// SoC at its beginning, in the central case.
    pub soc_dusk: f64,
    /// SoC at its end.
    pub soc_dawn: f64,
    /// Into devices since the last sunrise (Wh).
    pub used_wh: f64,
    /// Out of the sources since the last sunrise (Wh).
    pub harvest_wh: f64,
    /// The device that came nearest to its least voltage, in the central case.
    pub worst_device: Option<String>,
    /// The least voltage it saw.
    pub least_voltage_v: Option<f64>,
    /// The voltage it needs.
    pub needed_v: Option<f64>,
    /// The first failure of the central case.
    pub first_failure: Option<Failure>,
    /// What fails first in the draws that fail, most frequent first.
    pub culprits: Vec<Culprit>,
}

/// One step of the central case, for pictures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// The end of the step.
    pub time: Timestamp,
    /// State of charge.
    pub soc: f64,
    /// At the pack's terminals (V).
    pub terminal_v: f64,
    /// At the device with the least to spare (V); none while nothing is on.
    pub worst_v: Option<f64>,
    /// That device's least voltage (V).
    pub needed_v: Option<f64>,
    /// Into devices (W).
    pub load_w: f64,
    /// Out of the sources (W).
    pub harvest_w: f64,
}

/// Where the middle 80 % of the draws lie at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// When.
    pub time: Timestamp,
    /// 10 % and 90 % quantiles of the state of charge.
    pub soc: [f64; 2],
    /// 10 % and 90 % quantiles of the voltage at the terminals (V).
    pub terminal_v: [f64; 2],
    /// What 95 % of the draws that carry the night (or the one that comes) have at least; `None`
    /// where too few carry it to tell.
    pub carried: Option<Carried>,
}

/// What the draws that carry a night have at least at one time: who has less will hardly reach
/// dawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Carried {
    /// 5 % quantile of the state of charge.
    pub soc: f64,
    /// 5 % quantile of the voltage at the terminals (V).
    pub terminal_v: f64,
}

/// The answer to a plan.
#[derive(Debug, Clone)]
pub struct Forecast {
    /// Night by night.
    pub nights: Vec<NightForecast>,
    /// How probable it is that every night is carried.
    pub trip: Chance,
    /// The energy balance of the central case.
    pub ledger: Ledger,
    /// The central case, step by step.
    pub points: Vec<Point>,
    /// What the draws make of it.
    pub bands: Vec<Band>,
    /// Devices that never run on some night, since the sky does not do what their schedule hangs
    /// on; a sentence each.
    pub remarks: Vec<String>,
    /// How it was made.
    pub settings: Settings,
}

/// Draws side by side in one pass of the engine.
const LANES: usize = 16;
/// Bands are drawn from so many draws at most, so that memory does not grow with their number.
const BAND_DRAWS: usize = 1000;
/// A 5 % quantile of fewer draws than this says little.
const LEAST_CARRYING: usize = 40;

/// Simulates a plan: its central case, and random draws over all that is uncertain.
///
/// # Errors
/// If the sky can't be worked out for its dates, or the rig is too large.
pub fn forecast(plan: &Plan, settings: Settings) -> Result<Forecast, TripError> {
    if settings.draws == 0 {
        return Err(TripError::NoDraws);
    }
    let (calendar, timeline) = prepare(plan)?;
    let cell = cell_of(plan);
    let doubt = doubt(plan, timeline.nights);
    let mut loads = loads_of(plan, &timeline);

    let central = doubt.central();
    let mut trace = Trace::default();
    let [outcome] =
        engine::run(&timeline, &cell, &mut loads, std::array::from_ref(&central), Some(&mut trace));
    let uses = ledger::uses(&trace, &plan.gear.rig, &mut loads, &central);
    let ledger = ledger::close(&trace, &uses, &cell);

    let outcomes = draw_all(&timeline, &cell, &loads, &doubt, settings);
    let nights = (0..timeline.nights)
        .map(|night| night_forecast(plan, &calendar, night, (&trace, &uses, &outcome), &outcomes))
        .collect();
    let all_carried =
        outcomes.iter().filter(|outcome| outcome.failures.iter().all(Option::is_none)).count();
    Ok(Forecast {
        nights,
        trip: Chance::of(all_carried, settings.draws),
        ledger,
        points: points(plan, &calendar, &trace, &uses),
        bands: bands(&calendar, &timeline, &outcomes),
        remarks: remarks(plan, &calendar),
        settings,
    })
}

/// The chance of each night alone: what [`forecast`] says of them, without all the rest.
pub(crate) fn chances(plan: &Plan, settings: Settings) -> Result<Vec<Chance>, TripError> {
    if settings.draws == 0 {
        return Err(TripError::NoDraws);
    }
    let (_, timeline) = prepare(plan)?;
    let cell = cell_of(plan);
    let doubt = doubt(plan, timeline.nights);
    let outcomes = draw_all(&timeline, &cell, &loads_of(plan, &timeline), &doubt, settings);
    let carried =
        |night: usize| outcomes.iter().filter(|outcome| outcome.failures[night].is_none()).count();
    Ok((0..timeline.nights).map(|night| Chance::of(carried(night), settings.draws)).collect())
}

fn cell_of(plan: &Plan) -> Cell<'_> {
    let pack = &plan.battery.pack;
    Cell {
        circuit: &pack.circuit,
        limits: &pack.limits,
        soc_start: plan.battery.soc_start,
        idle_a: pack.idle_a,
    }
}

fn loads_of<'a>(plan: &'a Plan, timeline: &'a Timeline) -> Loads<'a> {
    // the rig is asked about voltages from well below any device's least to a charger's highest
    let least_v = plan
        .gear
        .rig
        .devices()
        .iter()
        .filter_map(|device| device.least_voltage_v)
        .fold(f64::MAX, f64::min);
    let full_v = plan.battery.pack.circuit.ocv.at(1.0);
    let high_v = timeline.blocks.iter().map(|block| block.hold_v).fold(full_v, f64::max) * 1.05;
    Loads::new(
        (&plan.gear.rig, &plan.gear.only_when_clear),
        &timeline.sets,
        0.9 * least_v.min(0.8 * full_v),
        high_v,
        standing_w(plan),
    )
}

/// What controllers draw all the time.
fn standing_w(plan: &Plan) -> f64 {
    let own = |supply: &plan::Supply| match supply {
        plan::Supply::Panel(panel) => panel.controller.own_draw_w(),
        plan::Supply::Charger(_) => 0.0,
    };
    plan.supplies.iter().map(own).sum()
}

fn doubt(plan: &Plan, days: usize) -> Doubt {
    let spread = &plan.battery.pack.spread;
    let of = |given: &quantity::Given| given.plus_minus.unwrap_or(0.0) / plan::COVERAGE_95;
    let air_k = of(&plan.air.night_c).max(of(&plan.air.day_c));
    Doubt {
        capacity: spread.capacity,
        resistance: spread.resistance,
        ocv_v: spread.ocv_v,
        skies: Skies::alike(&plan.sun, days, air_k),
        devices: plan.gear.load_spread.clone(),
    }
}

/// All draws, in their order.
fn draw_all(
    timeline: &Timeline,
    cell: &Cell<'_>,
    loads: &Loads<'_>,
    doubt: &Doubt,
    settings: Settings,
) -> Vec<Outcome> {
    let groups: Vec<usize> = (0..settings.draws).step_by(LANES).collect();
    let of_group = |loads: &mut Loads<'_>, first: usize| -> Vec<Outcome> {
        let draws: [Draw; LANES] =
            std::array::from_fn(|lane| doubt.draw(settings.seed, (first + lane) as u64));
        let mut outcomes = Vec::from(engine::run(timeline, cell, loads, &draws, None));
        outcomes.truncate(settings.draws - first);
        if first >= BAND_DRAWS {
            outcomes.iter_mut().for_each(|outcome| outcome.path = Vec::new());
        }
        outcomes
    };
    groups
        .into_par_iter()
        .map_init(|| loads.clone(), |loads, first| of_group(loads, first))
        .collect::<Vec<_>>()
        .into_iter()
        .flatten()
        .collect()
}

fn night_forecast(
    plan: &Plan,
    calendar: &Calendar,
    night: usize,
    (trace, uses, central): (&Trace, &[Use], &Outcome),
    outcomes: &[Outcome],
) -> NightForecast {
    let evening = &calendar.evenings[night];
    let devices = plan.gear.rig.devices();
    let name = |index: Option<usize>| index.map(|index| devices[index].name.clone());
    let failure = |stop: &Stop| Failure {
        time: calendar.instant(stop.at_s),
        device: name(stop.device),
        cause: stop.cause,
    };
    let (mut used_wh, mut harvest_wh) = (0.0, 0.0);
    let mut worst: Option<(usize, f64)> = None;
    let spare_v = |(index, v): &(usize, f64)| v - devices[*index].least_voltage_v.unwrap_or(0.0);
    for (moment, used) in trace.moments.iter().zip(uses).filter(|(moment, _)| moment.night == night)
    {
        used_wh += used.load_w * moment.dt_s / 3600.0;
        harvest_wh += moment.voltage_v * moment.source_a * moment.dt_s / 3600.0;
        worst = [worst, used.worst]
            .into_iter()
            .flatten()
            .min_by(|a, b| spare_v(a).total_cmp(&spare_v(b)));
    }
    let carried = outcomes.iter().filter(|outcome| outcome.failures[night].is_none()).count();
    NightForecast {
        evening: evening.date,
        night: evening.night.clone(),
        from: calendar.instant(evening.from_s),
        to: calendar.instant(evening.to_s),
        carried: central.failures[night].is_none(),
        chance: Chance::of(carried, outcomes.len()),
        soc_dusk: central.soc[night][0],
        soc_dawn: central.soc[night][1],
        used_wh,
        harvest_wh,
        worst_device: worst.map(|(index, _)| devices[index].name.clone()),
        least_voltage_v: worst.map(|(_, v)| v),
        needed_v: worst.and_then(|(index, _)| devices[index].least_voltage_v),
        first_failure: central.failures[night].as_ref().map(failure),
        culprits: culprits(calendar, night, outcomes, &name),
    }
}

fn culprits(
    calendar: &Calendar,
    night: usize,
    outcomes: &[Outcome],
    name: &dyn Fn(Option<usize>) -> Option<String>,
) -> Vec<Culprit> {
    let mut stops: Vec<Stop> =
        outcomes.iter().filter_map(|outcome| outcome.failures[night]).collect();
    stops.sort_by(|a, b| a.device.cmp(&b.device).then(a.at_s.total_cmp(&b.at_s)));
    let mut culprits: Vec<Culprit> = stops
        .chunk_by(|a, b| a.device == b.device)
        .map(|group| Culprit {
            device: name(group[0].device),
            share: group.len() as f64 / outcomes.len() as f64,
            median_time: calendar.instant(group[group.len() / 2].at_s),
        })
        .collect();
    culprits.sort_by(|a, b| b.share.total_cmp(&a.share));
    culprits
}

fn points(plan: &Plan, calendar: &Calendar, trace: &Trace, uses: &[Use]) -> Vec<Point> {
    let devices = plan.gear.rig.devices();
    trace
        .moments
        .iter()
        .zip(uses)
        .map(|(moment, used)| Point {
            time: calendar.instant(moment.at_s + moment.dt_s),
            soc: moment.soc,
            terminal_v: moment.voltage_v,
            worst_v: used.worst.map(|(_, v)| v),
            needed_v: used.worst.and_then(|(index, _)| devices[index].least_voltage_v),
            load_w: used.load_w,
            harvest_w: moment.voltage_v * moment.source_a,
        })
        .collect()
}

fn bands(calendar: &Calendar, timeline: &Timeline, outcomes: &[Outcome]) -> Vec<Band> {
    let with_path: Vec<&Outcome> =
        outcomes.iter().filter(|outcome| !outcome.path.is_empty()).collect();
    let quantile = |draws: &[&Outcome], block: usize, which: usize, shares: [f64; 2]| {
        let mut values: Vec<f32> = draws.iter().map(|outcome| outcome.path[block][which]).collect();
        values.sort_by(f32::total_cmp);
        shares.map(|share| f64::from(values[((values.len() - 1) as f64 * share).round() as usize]))
    };
    let carrying: Vec<Vec<&Outcome>> = (0..timeline.nights)
        .map(|night| {
            let carries = |outcome: &&&Outcome| outcome.failures[night].is_none();
            with_path.iter().filter(carries).copied().collect()
        })
        .collect();
    let least = |night: usize, block: usize| {
        let draws = &carrying[night];
        (draws.len() >= LEAST_CARRYING).then(|| {
            let [soc, _] = quantile(draws, block, 0, [0.05, 0.05]);
            let [terminal_v, _] = quantile(draws, block, 1, [0.05, 0.05]);
            Carried { soc, terminal_v }
        })
    };
    timeline
        .blocks
        .iter()
        .enumerate()
        .filter_map(|(index, block)| {
            let last = timeline.steps.get(block.steps.clone())?.last()?;
            let time = calendar.instant(last.at_s + block.dt_s);
            let soc = quantile(&with_path, index, 0, [0.1, 0.9]);
            let terminal_v = quantile(&with_path, index, 1, [0.1, 0.9]);
            Some(Band { time, soc, terminal_v, carried: least(block.night, index) })
        })
        .collect()
}

/// Devices whose schedule hangs on something the sky does not do.
fn remarks(plan: &Plan, calendar: &Calendar) -> Vec<String> {
    let mut remarks = Vec::new();
    for device in plan.gear.rig.devices() {
        for used in &device.uses {
            let missing: Vec<String> = calendar
                .evenings
                .iter()
                .filter(|evening| {
                    !calendar.moments(evening, |moments| used.when.missing(moments)).is_empty()
                })
                .map(|evening| evening.date.to_string())
                .collect();
            if !missing.is_empty() {
                let (name, when) = (&device.name, &used.when);
                remarks.push(format!(
                    "{name} (\"{when}\") does not run on the evenings of {}: the sky does not do what its schedule hangs on",
                    missing.join(", ")
                ));
            }
        }
    }
    remarks
}
