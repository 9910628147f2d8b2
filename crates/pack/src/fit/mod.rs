//! A pack's model from any mixture of records.
//!
//! The open-circuit curve and the resistances enter the voltage linearly, so they are solved for
//! directly; only the wells, the time constant and the effects of temperature are searched, by
//! Levenberg and Marquardt's method. All of them start from what is known of the chemistry, each
//! with its uncertainty, and stay there where the records say nothing.

mod examine;
mod found;
mod linear;
mod problem;
mod sheet;
mod walk;
mod weigh;

use crate::{Chemistry, Pack, PackError, Provenance, Sample, Spread, State, replay};
use examine::{Examined, examine};
use linear::{Linear, Ohms, knots};
use problem::{Problem, Record, choose, thin};
use walk::{Known, Latent};

pub use sheet::{Rated, from_sheet};
use std::borrow::Cow;

/// A record to fit.
#[derive(Debug, Clone, Copy)]
pub struct Run<'a> {
    /// What it is called in the provenance.
    pub name: &'a str,
    /// Its rows.
    pub samples: &'a [Sample],
    /// Whether the pack was full when it began.
    pub from_full: bool,
}

/// A fitted pack and how well it fits.
#[derive(Debug, Clone)]
pub struct Fit {
    /// The pack.
    pub pack: Pack,
    /// The lowest voltage in V of the records, if they do not empty the battery: the capacity is
    /// then what they take out.
    pub not_below_v: Option<f64>,
    /// The parameters that were searched.
    pub parameters: Vec<Parameter>,
    /// How the model meets each record.
    pub runs: Vec<Met>,
    /// How a model from the other records predicts each record; empty where there is but one.
    pub left_out: Vec<Met>,
}

/// One fitted parameter.
#[derive(Debug, Clone, PartialEq)]
pub struct Parameter {
    /// What it is.
    pub name: &'static str,
    /// Its unit; "1" for none.
    pub unit: &'static str,
    /// Its value.
    pub value: f64,
    /// Its relative standard uncertainty.
    pub relative_u: f64,
    /// Why it stays near what is typical, if it does: the records hardly said more than was known
    /// before.
    pub held: Option<String>,
}

/// A record against a model.
#[derive(Debug, Clone, PartialEq)]
pub struct Met {
    /// The record.
    pub name: String,
    /// Root mean square of the voltage's error between 10 and 95 % of the charge delivered.
    pub rms_v: f64,
    /// Until the record's lowest voltage under load.
    pub measured_s: f64,
    /// The same by the model; `None` if its voltage never gets there.
    pub modelled_s: Option<f64>,
    /// Modelled less measured voltage against charge delivered, `(delivered_ah, off_v)`.
    pub residuals: Vec<(f64, f64)>,
}

impl Met {
    /// How much longer the model lasts than the record, as a share; `None` if its voltage never
    /// falls as low.
    #[must_use]
    pub fn time_off(&self) -> Option<f64> {
        Some(self.modelled_s? / self.measured_s - 1.0)
    }
}

/// Whether records can be fitted together, without doing it.
///
/// # Errors
/// As [`fit`].
pub fn belong(chemistry: Chemistry, runs: &[Run<'_>]) -> Result<(), PackError> {
    examine(chemistry, runs).map(|_| ())
}

/// Fits a pack to records, all of one battery. `progress` is told the share done, 0 to 1.
///
/// # Errors
/// [`PackError::Record`] if there is no record, or one can't be used or does not belong.
pub fn fit(
    name: &str,
    chemistry: Chemistry,
    rated_ah: f64,
    runs: &[Run<'_>],
    progress: &mut dyn FnMut(f64),
) -> Result<Fit, PackError> {
    let parts = if runs.len() > 1 { runs.len() + 1 } else { 1 };
    progress(0.0);
    let examined = examine(chemistry, runs)?;
    let thinned: Vec<Cow<'_, [Sample]>> = runs.iter().map(|run| thin(run.samples)).collect();
    let runs: Vec<Run<'_>> =
        runs.iter().zip(&thinned).map(|(run, samples)| Run { samples, ..*run }).collect();
    let runs = runs.as_slice();
    let begun_ah = begun(name, chemistry, rated_ah, &examined, runs)?;
    let runs: Vec<(Run<'_>, f64)> = runs.iter().copied().zip(begun_ah).collect();
    let solved = solve(name, chemistry, rated_ah, &examined, &runs)?;
    progress(1.0 / parts as f64);
    let mut left_out = Vec::new();
    for (index, (run, _)) in runs.iter().enumerate() {
        // one record left says nothing of other rates, and where one began is only known when
        // it is fitted
        if runs.len() > 1 && run.from_full {
            let others: Vec<_> =
                runs.iter().enumerate().filter(|(i, _)| *i != index).map(|(_, r)| *r).collect();
            if let Ok(other) = solve(name, chemistry, rated_ah, &examined, &others) {
                left_out.push(met(&other.pack, run, 0.0));
            }
        }
        progress((index + 2).min(parts) as f64 / parts as f64);
    }
    let runs: Vec<Met> = runs
        .iter()
        .zip(&solved.starts_ah)
        .map(|((run, _), begun_ah)| met(&solved.pack, run, *begun_ah))
        .collect();
    let mut pack = solved.pack;
    pack.spread = spread(&runs, &pack, &examined);
    Ok(Fit {
        pack,
        not_below_v: not_below_v(chemistry, &examined),
        parameters: solved.parameters,
        runs,
        left_out,
    })
}

fn met(pack: &Pack, run: &Run<'_>, begun_ah: f64) -> Met {
    let start = State::rested(1.0 - begun_ah / pack.circuit.capacity_ah);
    let replay = replay(pack, start, run.samples);
    let residuals = choose(run.samples)
        .into_iter()
        .filter_map(|i| Some((run.samples.get(i)?.delivered_ah, *replay.off_v.get(i)?)))
        .collect();
    Met {
        name: run.name.to_owned(),
        rms_v: replay.rms_v,
        measured_s: replay.lowest_s,
        modelled_s: replay.reached_s,
        residuals,
    }
}

struct Solved {
    pack: Pack,
    parameters: Vec<Parameter>,
    starts_ah: Vec<f64>,
}

fn solve(
    name: &str,
    chemistry: Chemistry,
    rated_ah: f64,
    examined: &Examined,
    runs: &[(Run<'_>, f64)],
) -> Result<Solved, PackError> {
    let mut pack = Pack::typical_of(chemistry, examined.cells, rated_ah)?;
    let typical = pack.circuit.clone();
    let linear = Linear {
        knots: knots(),
        below_soc: typical.rise.below_soc,
        prior: Ohms {
            r0_ohm: typical.r0_ohm,
            rise_ohm: typical.r0_ohm * typical.rise.share,
            r1_ohm: typical.r1_ohm,
        },
    };
    let records: Vec<Record<'_>> = runs
        .iter()
        .map(|(run, begun_ah)| Record {
            samples: run.samples,
            chosen: choose(run.samples),
            begun_ah: *begun_ah,
            begun_u_ah: if run.from_full { 0.0 } else { START_U * rated_ah },
        })
        .collect();
    let unsolved = || PackError::Record("the rows do not determine a curve".to_owned());
    let (free, kept) = free(runs, examined);
    let mut problem = Problem::new(records, Latent::prior(&typical), free, linear).solved();
    let weights = weigh::weights(&problem, problem.found().ok_or_else(unsolved)?);
    problem.set_weights(weights);
    let problem = problem.solved();
    let found = problem.found().ok_or_else(unsolved)?;
    let mut parameters = found::parameters(&problem, found);
    parameters.extend(kept.into_iter().map(|(known, why)| Parameter {
        name: known.name,
        unit: known.unit,
        value: known.of(&problem.prior),
        relative_u: known.spread,
        held: Some(why.to_owned()),
    }));
    pack.name = name.to_owned();
    pack.circuit = found::circuit(&typical, &problem.linear, found)?;
    pack.variants = found::variants(&typical, &problem, found)?;
    // what the pack lost to itself is in what it gave
    pack.idle_a = 0.0;
    pack.limits.allow(examined.largest_a, examined.lowest_v);
    pack.provenance = Provenance::Measured {
        from: runs.iter().map(|(run, _)| run.name.to_owned()).collect(),
        notes: notes(chemistry, examined, &parameters),
    };
    let starts_ah = problem.starts_ah();
    Ok(Solved { pack, parameters, starts_ah })
}

/// Standard uncertainty, over the label, of where a record began by its voltage.
const START_U: f64 = 0.03;

/// The charge in Ah taken when each record began: where a pack fitted to those that began full
/// meets the others best.
fn begun(
    name: &str,
    chemistry: Chemistry,
    rated_ah: f64,
    examined: &Examined,
    runs: &[Run<'_>],
) -> Result<Vec<f64>, PackError> {
    if runs.iter().all(|run| run.from_full) {
        return Ok(vec![0.0; runs.len()]);
    }
    let full: Vec<_> = runs.iter().filter(|r| r.from_full).map(|r| (*r, 0.0)).collect();
    if full.is_empty() {
        return Err(PackError::Record(
            "none of them begins with the battery full; at least one must".to_owned(),
        ));
    }
    let pack = solve(name, chemistry, rated_ah, examined, &full)?.pack;
    let begun = |run: &Run<'_>| {
        let candidates = (0..50).map(|i| f64::from(i) * 0.02 * pack.circuit.capacity_ah);
        let off = |begun_ah: &f64| {
            let start = State::rested(1.0 - begun_ah / pack.circuit.capacity_ah);
            replay(&pack, start, run.samples).off_v.iter().map(|v| v * v).sum::<f64>()
        };
        candidates.min_by(|a, b| off(a).total_cmp(&off(b))).unwrap_or(0.0)
    };
    Ok(runs.iter().map(|run| if run.from_full { 0.0 } else { begun(run) }).collect())
}

/// The lowest voltage of the records, if it is not that of an empty battery.
fn not_below_v(chemistry: Chemistry, examined: &Examined) -> Option<f64> {
    let empty_v = chemistry.empty_v(examined.cells);
    (examined.lowest_v > empty_v + 0.5).then_some(examined.lowest_v)
}

fn notes(chemistry: Chemistry, examined: &Examined, parameters: &[Parameter]) -> Vec<String> {
    let mut notes = Vec::new();
    let held: Vec<&str> = parameters.iter().filter(|p| p.held.is_some()).map(|p| p.name).collect();
    if !held.is_empty() {
        notes.push(format!(
            "what these records cannot tell is held near what is typical of {chemistry}: {}",
            held.join(", ")
        ));
    }
    let Examined { up_to_a, one_current, .. } = *examined;
    if one_current {
        notes.push(format!(
            "all records have the same steady current: at other currents it is taken to behave \
             as is typical of {chemistry}"
        ));
    }
    notes.push(format!(
        "measured up to {up_to_a:.1} A; beyond that it is an extrapolation, the less sure the \
         further"
    ));
    if let Some(lowest_v) = not_below_v(chemistry, examined) {
        notes.push(format!(
            "no record goes below {lowest_v:.2} V; what the battery holds below that is not known \
             and is not counted"
        ));
    }
    notes
}

/// What is uncertain besides what the fit itself leaves open (see [`Pack::variants`]).
fn spread(runs: &[Met], pack: &Pack, examined: &Examined) -> Spread {
    /// A pack does not give the same twice (common practice, no source).
    const REPEATABILITY: f64 = 0.01;
    /// Nor has it the same resistance twice (common practice, no source).
    const RESISTANCE: f64 = 0.03;
    let mean_square = |of: &dyn Fn(&Met) -> Option<f64>| {
        let values: Vec<f64> = runs.iter().filter_map(of).filter(|x| x.is_finite()).collect();
        values.iter().map(|x| x * x).sum::<f64>() / values.len().max(1) as f64
    };
    let time = mean_square(&|met| Some(met.modelled_s? / met.measured_s - 1.0)).sqrt();
    // how well the records tell the resistances is in the variants
    let told = pack.variants.iter().any(|variant| variant.r0_ohm != pack.circuit.r0_ohm);
    Spread {
        capacity: REPEATABILITY.hypot(time.min(0.1)),
        resistance: if told { RESISTANCE } else { UNTOLD },
        ocv_v: mean_square(&|met| Some(met.rms_v)).sqrt(),
        up_to_a: Some(examined.up_to_a),
        from_a: examined.one_current.then_some(examined.up_to_a),
    }
}

/// Relative standard uncertainty of the resistances that are typical of a chemistry (common
/// practice, no source).
const UNTOLD: f64 = 0.3;

/// What the records can tell apart: temperature only if they differ in it, the wells and the time
/// constant only if the current does, charging only if they have some. The rest is kept as it is,
/// with the reason.
fn free(runs: &[(Run<'_>, f64)], examined: &Examined) -> (Vec<Known>, Vec<(Known, &'static str)>) {
    const APART_K: f64 = 8.0;
    let samples = || runs.iter().flat_map(|(run, _)| run.samples);
    let temperatures = || samples().map(|s| s.temperature_c.unwrap_or(25.0));
    let coldest_c = temperatures().fold(f64::INFINITY, f64::min);
    let warmest_c = temperatures().fold(f64::NEG_INFINITY, f64::max);
    let charged = samples().any(|s| s.current_a < 0.0);
    let [wells @ .., efficiency] = Known::ALL;
    let (currents, temperature) = wells.split_at(3);
    let (mut free, mut kept) = (Vec::new(), Vec::new());
    let mut search = |known: &[Known], told: bool, why: &'static str| {
        if told {
            free.extend(known);
        } else {
            kept.extend(known.iter().map(|known| (*known, why)));
        }
    };
    search(currents, !examined.one_current, "the records have one steady current");
    let apart = warmest_c - coldest_c > APART_K;
    search(temperature, apart, "the records do not differ by 8 °C in temperature");
    search(&[efficiency], charged, "the records hold no charging");
    (free, kept)
}
