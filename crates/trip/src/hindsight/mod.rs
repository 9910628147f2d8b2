//! After the trip: what was forecast against what a meter recorded, where they part, and which
//! single cause explains it.
//!
//! The record becomes windows of some minutes (`measured`), the forecast trips that are gone
//! through again as a meter would see them (`course`). `judge` holds the record against drawn
//! trips, `part` says where they part, `explain` varies one suspect after the other (`cause`)
//! until the simulated trip comes as near to the record as it can (`misfit`).

mod cause;
mod compare;
mod course;
mod drawn;
mod explain;
mod fit;
mod lens;
mod measured;
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
use course::{Course, Seen, World};
use drawn::Drawn;
use fit::{Fit, Fitter};
use lens::Lens;
use measured::Measured;
use outlying::Outlying;
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
        let first = self.explanations.first().map_or(f64::INFINITY, |first| first.chance);
        self.explanations.iter().skip(1).filter(move |next| next.chance > RIVAL * first)
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
    /// The amount at which all is as planned.
    pub planned: f64,
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

/// A record that parts further from the typical trip than this share of drawn trips did not go as
/// forecast.
const FURTHER: f64 = 0.95;
/// Of the trips that go as the plan allows and yet are called otherwise, so many owe it to a cause
/// that seems to explain them, the rest to their distance.
const BY_CAUSE: f64 = 0.8;
/// A second cause is needed if it takes more away than any would of this share of drawn trips.
const SECOND: f64 = 0.99;
/// A cause is nothing unusual within so many standard deviations.
const UNUSUAL: f64 = 2.0;
/// An explanation is alone if the next is less probable than this share of it.
const RIVAL: f64 = 0.25;

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
    let (explanations, other_chance) = explain::ranked(&fitter, &alone, &ordinary);
    let outlying = Outlying::new(&fitter, &ordinary, &alone);
    let further_than = further_than(&outlying, (&ordinary, &alone), explanations.first());
    let finding = finding(further_than, &explanations, other_chance);
    let mut judged = Judged { finding, explanations, other_chance, together: None };
    if finding != Finding::AsForecast {
        judged.look_for_a_second(&fitter, &outlying, &alone, &suspects);
    }
    let Judged { finding, explanations, other_chance, together } = judged;
    let compared = compare::compared(&world, (&measured, &lens), &typical, &drawn);
    let parted = finding != Finding::AsForecast;
    Ok(Hindsight {
        began,
        is_placed: record.start.is_none(),
        has_current: measured.has_current,
        covered_h: covered_s / 3600.0,
        gaps_h: measured.gaps_s / 3600.0,
        nights: nights(forecast, &measured, &shown, (&world, start_s)),
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
    let draws: Vec<_> = (0..400).map(|number| world.doubt.draw(seed, number)).collect();
    candidates(world, &covered, meter, mean_w.max(1.0), &draws)
}

/// The voltage at which a rig's size is judged.
const NOMINAL_V: f64 = 12.8;

/// How far out a record is, by its distance or by what the most telling cause takes of it, whichever
/// sets it further apart; an explanation that is nothing unusual sets nothing apart.
fn further_than(
    outlying: &Outlying,
    (ordinary, alone): (&Fit<'_>, &[Fit<'_>]),
    first: Option<&Explanation>,
) -> f64 {
    let is_unusual = first.is_some_and(|first| first.deviations.abs() >= UNUSUAL);
    let taken = alone.iter().map(|fit| ordinary.distance - fit.distance).fold(0.0, f64::max);
    let by_cause = if is_unusual { outlying.takes_less(taken) } else { 0.0 };
    // of two looks one is easily far out: each has its part of what may be
    let share = |nearer: f64, part: f64| 1.0 - (1.0 - nearer) / part;
    share(by_cause, BY_CAUSE)
        .max(share(outlying.nearer(ordinary.distance), 1.0 - BY_CAUSE))
        .max(0.0)
}

fn finding(further_than: f64, explanations: &[Explanation], other_chance: f64) -> Finding {
    let first = explanations.first().filter(|first| first.chance > other_chance);
    let rival = first
        .and_then(|first| explanations.get(1).filter(|next| next.chance > RIVAL * first.chance));
    match (first, rival) {
        _ if further_than < FURTHER => Finding::AsForecast,
        (Some(_), Some(_)) => Finding::Several,
        (Some(_), None) => Finding::Explained,
        (None, _) => Finding::Nothing,
    }
}

/// What was found of causes.
struct Judged {
    finding: Finding,
    explanations: Vec<Explanation>,
    other_chance: f64,
    together: Option<Together>,
}

impl Judged {
    /// Whether a second cause is needed beside the first, and which.
    fn look_for_a_second<'c>(
        &mut self,
        fitter: &Fitter<'_>,
        outlying: &Outlying,
        alone: &[Fit<'c>],
        suspects: &'c [Candidate],
    ) {
        let is_first = |fit: &&Fit<'_>| {
            self.explanations.first().is_none_or(|first| {
                fit.place.causes.iter().any(|(cause, _)| cause.what == first.what)
            })
        };
        let nearest = |a: &&Fit<'_>, b: &&Fit<'_>| a.distance.total_cmp(&b.distance);
        let Some(first) = alone.iter().filter(is_first).min_by(nearest) else { return };
        let Some(both) = explain::beside(fitter, first, suspects) else { return };
        let needed = outlying.takes_less(first.distance - both.distance);
        if needed < SECOND {
            return;
        }
        // it is not one alone
        self.finding = Finding::Nothing;
        let left = 1.0 - needed.max(self.other_chance);
        let all = 1.0 - self.other_chance;
        for explanation in &mut self.explanations {
            explanation.chance *= if all > 0.0 { left / all } else { 0.0 };
        }
        self.other_chance = 1.0 - left;
        let is_enough = outlying.nearer(both.distance) < FURTHER;
        if let ([(a, a_amount), (b, b_amount)], true) = (both.place.causes.as_slice(), is_enough) {
            let causes = [(a.what.clone(), *a_amount), (b.what.clone(), *b_amount)];
            let explains = 1.0 - fitter.bare(&both.place.causes) / fitter.bare(&[]);
            self.together = Some(Together { causes, explains });
        }
    }
}

/// Night by night, over the time that the record covers.
fn nights(
    forecast: &Forecast,
    measured: &Measured,
    typical: &[Option<Seen>],
    (world, start_s): (&World<'_>, f64),
) -> Vec<NightHindsight> {
    let on_clock = |at: Timestamp| seconds_between(world.calendar.noon, at);
    let within = |from_s: f64, to_s: f64| {
        measured
            .windows
            .iter()
            .zip(typical)
            .filter(move |(window, _)| (from_s..to_s).contains(&(start_s + window.middle_s())))
            .filter_map(|(window, shown)| Some((window, shown.as_ref()?)))
    };
    // out of the pack with sign 1, into it with -1: planned and measured
    let energy_wh = |from_s: f64, to_s: f64, sign: f64| {
        let mut sums = [0.0; 2];
        for (window, shown) in within(from_s, to_s) {
            let hours = window.stands_for_s / 3600.0;
            sums[0] += hours * (sign * shown.voltage_v * shown.current_a).max(0.0);
            sums[1] += hours * (sign * window.voltage_v * window.current_a).max(0.0);
        }
        sums.map(|wh| measured.has_current.then_some(wh))
    };
    forecast
        .nights
        .iter()
        .enumerate()
        .filter_map(|(at, night)| {
            let (from_s, to_s) = (on_clock(night.from), on_clock(night.to));
            let before = at.checked_sub(1).and_then(|before| forecast.nights.get(before));
            let day_s = before.map_or(from_s, |before| on_clock(before.to));
            let covered_s: f64 = within(from_s, to_s).map(|(window, _)| window.stands_for_s).sum();
            let mut least_v = [f64::INFINITY; 2];
            for (window, shown) in within(from_s, to_s) {
                least_v[0] = least_v[0].min(shown.voltage_v);
                least_v[1] = least_v[1].min(window.least_v);
            }
            (covered_s > 0.0).then(|| NightHindsight {
                evening: night.evening,
                covered: (covered_s / (to_s - from_s)).min(1.0),
                out_wh: energy_wh(from_s, to_s, 1.0),
                in_wh: energy_wh(day_s, from_s, -1.0),
                least_v,
            })
        })
        .collect()
}
