//! After the trip: what was forecast against what a meter recorded, where they part, and which
//! single cause explains it.
//!
//! The record becomes windows of some minutes (`measured`), the forecast trips that are gone
//! through again (`course`) as a meter would see them (`lens`). The trip that comes nearest to the
//! record is looked for (`fit`, by the measure of `yardstick`) among those that the plan allows
//! (`scatter`), then with one cause after the other besides (`cause`, `explain`). How far out the
//! record lies (`outlying`) and what each cause leaves say what it comes to (`judged`); `part` says
//! where they part.

mod cause;
mod compare;
mod course;
mod drawn;
mod explain;
mod fit;
mod judged;
mod lens;
mod measured;
mod nights;
mod outlying;
mod part;
mod place;
mod scatter;
#[cfg(test)]
mod tests;
mod yardstick;

use jiff::Timestamp;
use jiff::civil::Date;
use plan::Plan;
use record::Record;

pub use cause::Suspect;

use crate::answer::Forecast;
use crate::calendar::seconds_between;
use crate::error::TripError;
use cause::{Candidate, candidates};
use course::{Course, World};
use drawn::Drawn;
use fit::Fitter;
use judged::Judged;
use lens::Lens;
use measured::Measured;
use scatter::Scatter;
use yardstick::Yardstick;

/// A forecast looked back on.
#[derive(Debug, Clone, PartialEq)]
pub struct Hindsight {
    /// When the record began.
    pub began: Timestamp,
    /// Whether that was found by where the record fits best, since it does not tell.
    pub is_placed: bool,
    /// Whether it has a measured current.
    pub has_current: bool,
    /// How much of the trip it covers (h).
    pub covered_h: f64,
    /// How long nothing was recorded within it (h).
    pub gaps_h: f64,
    /// Each night that it covers, with the day before it.
    pub nights: Vec<NightHindsight>,
    /// Record and forecast side by side, some minutes at a time.
    pub compared: Vec<Compared>,
    /// The share of drawn trips that lie nearer to the typical one than the record does.
    pub further_than: f64,
    /// Where record and forecast part; empty if all went as forecast.
    pub partings: Vec<Parting>,
    /// What it comes to.
    pub finding: Finding,
    /// What explains how far it lies from the typical trip, the surest first.
    pub explanations: Vec<Explanation>,
    /// The chance that none of them alone is it.
    pub other_chance: f64,
    /// Two causes that together explain what none does alone.
    pub together: Option<Together>,
    /// What was guessed or odd in reading the record, each a sentence for people.
    pub notices: Vec<String>,
}

impl Hindsight {
    /// The explanations that fit about as well as the first.
    pub fn rivals(&self) -> impl Iterator<Item = &Explanation> {
        judged::rivals(&self.explanations)
    }
}

/// What a look back comes to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Finding {
    /// The record lies where drawn trips lie.
    AsForecast,
    /// The first explanation stands out.
    Explained,
    /// Some explanations fit about as well; the record can't tell them apart.
    Several,
    /// No single cause explains it.
    Nothing,
}

/// One night, planned and measured over the time that the record covers.
#[derive(Debug, Clone, PartialEq)]
pub struct NightHindsight {
    /// The date of its evening.
    pub evening: Date,
    /// Share of the night that the record covers.
    pub covered: f64,
    /// Out of the pack by night (Wh), planned and measured; `None` without a current.
    pub out_wh: [Option<f64>; 2],
    /// Into the pack on the day before (Wh), planned and measured.
    pub in_wh: [Option<f64>; 2],
    /// The least voltage at the terminals by night (V), planned and measured.
    pub least_v: [f64; 2],
}

/// Record and forecast in one window of some minutes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Compared {
    /// Its middle.
    pub time: Timestamp,
    /// How much time it stands for (s).
    pub stands_for_s: f64,
    /// Measured at the terminals (V).
    pub voltage_v: f64,
    /// The same in the typical trip.
    pub typical_v: f64,
    /// 10 % and 90 % quantiles of the drawn trips, seen by a meter as good as meters are.
    pub band_v: [f64; 2],
    /// Measured out of the pack (A).
    pub current_a: Option<f64>,
    /// The same in the typical trip.
    pub typical_a: f64,
    /// Measured out of the pack since the record began, gaps left out (Ah).
    pub out_ah: Option<f64>,
    /// The same in the typical trip, over the same time.
    pub typical_ah: f64,
    /// 10 % and 90 % quantiles of the drawn trips.
    pub band_ah: [f64; 2],
}

/// A time in which the record lies outside the middle 80 % of the drawn trips.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Parting {
    /// What parts.
    pub what: Measure,
    /// From its first window.
    pub from: Timestamp,
    /// To its last.
    pub to: Timestamp,
    /// Whether it lasts to the end of the record.
    pub to_the_end: bool,
    /// Where it is greatest, measured less typical (V or Ah).
    pub most: f64,
    /// When that is.
    pub most_at: Timestamp,
}

/// What is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measure {
    /// Voltage at the terminals (V).
    Voltage,
    /// Charge out of the pack since the record began (Ah).
    Charge,
}

/// A cause by itself, with the amount that fits the record best.
#[derive(Debug, Clone, PartialEq)]
pub struct Explanation {
    /// Which.
    pub what: Suspect,
    /// How much; what it means stands with the suspect.
    pub amount: f64,
    /// The share of the distance between record and typical trip that goes away (0..1); the ordinary
    /// scatter of everything else has its share as well.
    pub explains: f64,
    /// The chance that this alone is what was otherwise.
    pub chance: f64,
    /// How many standard deviations it was off.
    pub deviations: f64,
    /// Whether those are what the plan allows it; else what is usual.
    pub is_allowed_for: bool,
}

/// Two causes at once.
#[derive(Debug, Clone, PartialEq)]
pub struct Together {
    /// Which, with their amounts.
    pub causes: [(Suspect, f64); 2],
    /// The share of the distance that both together take away.
    pub explains: f64,
}

/// Compares a forecast with a record of the pack's voltage, and current where it has one.
///
/// Where the record does not tell when it began, it is laid where it fits best.
///
/// # Errors
/// If the record covers no time of the trip, or the plan can't be simulated.
pub fn hindsight(
    plan: &Plan,
    forecast: &Forecast,
    record: &Record,
) -> Result<Hindsight, TripError> {
    let world = World::of(plan)?;
    let measured = Measured::of(record);
    let typical = world.run(&world.as_planned());
    let start_s = match record.start {
        Some(start) => seconds_between(world.calendar.noon, start),
        None => place::placed(&typical, &measured),
    };
    let lens = Lens::clear(start_s);
    let began = world.calendar.instant(start_s);
    let shown = lens.shown(&typical, &measured.windows);
    let met = measured.windows.iter().zip(&shown).filter(|(_, shown)| shown.is_some());
    let covered_s: f64 = met.map(|(window, _)| window.stands_for_s).sum();
    if covered_s == 0.0 {
        return Err(TripError::RecordElsewhere {
            record: [began, world.calendar.instant(start_s + measured.length_s)],
            trip: typical.span_s().map(|at_s| world.calendar.instant(at_s)),
        });
    }
    let seed = forecast.settings.seed;
    let scatter = Scatter::of(&world, seed);
    let drawn = Drawn::new(&world, (&measured, &lens), &scatter);
    let evenings = world.calendar.evenings.iter();
    let night_spans = evenings.map(|evening| [evening.from_s - start_s, evening.to_s - start_s]);
    let yardstick = Yardstick::new(&measured, &shown, night_spans, world.floor_v());
    let fitter = Fitter {
        world: &world,
        measured: &measured,
        scatter: &scatter,
        yardstick: &yardstick,
        lens,
    };
    let suspects = suspects(&world, &measured, (&typical, start_s), seed, record.start.is_some());
    let (ordinary, alone) = explain::fits(&fitter, &drawn, &suspects);
    let Judged { further_than, finding, explanations, other_chance, together } =
        Judged::of(&fitter, (&ordinary, &alone), &suspects);
    let compared = compare::compared(&world, (&measured, &lens), (&typical, &shown), &drawn);
    let parted = finding != Finding::AsForecast;
    Ok(Hindsight {
        began,
        is_placed: record.start.is_none(),
        has_current: measured.has_current,
        covered_h: covered_s / 3600.0,
        gaps_h: measured.gaps_s / 3600.0,
        nights: nights::nights(forecast, &measured, &shown, (&world, start_s)),
        partings: if parted { part::partings(&compared) } else { Vec::new() },
        compared,
        further_than,
        together,
        finding,
        explanations,
        other_chance,
        notices: record.notices.clone(),
    })
}

/// Whoever may have been otherwise.
fn suspects(
    world: &World<'_>,
    measured: &Measured,
    (typical, start_s): (&Course, f64),
    seed: u64,
    has_clock: bool,
) -> Vec<Candidate> {
    let ends_s = start_s + measured.length_s;
    let evenings = &world.calendar.evenings;
    // the day before an evening is over at its sunset, and begins at the sunrise before
    let begun = |at: usize| at.checked_sub(1).is_none_or(|before| evenings[before].to_s < ends_s);
    let covered: Vec<Date> = evenings
        .iter()
        .enumerate()
        .filter(|(at, _)| begun(*at))
        .map(|(_, evening)| evening.date)
        .collect();
    let [begins_s, to_s] = typical.span_s();
    let mean_w =
        NOMINAL_V * 3600.0 * typical.out_ah(begins_s, to_s, &mut 0).abs() / (to_s - begins_s);
    let meter = (measured.has_current, has_clock);
    let draws: Vec<_> = (0..OF_THE_SKY).map(|number| world.doubt.draw(seed, number)).collect();
    candidates(world, &covered, meter, mean_w.max(1.0), &draws)
}

/// So many draws tell how far the sky usually is off.
const OF_THE_SKY: u64 = 400;
/// The voltage at which a rig's size is judged.
const NOMINAL_V: f64 = 12.8;
