//! The curved part of the fit: what the least-squares solver varies.

use super::linear::{Linear, RESISTANCES, Solution};
use super::walk::{Known, Latent, Row, walk};
use crate::Sample;
use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::{DMatrix, DVector, Dyn, Owned};
use std::borrow::Cow;

/// One record, and the rows of it that are fitted.
pub(super) struct Record<'a> {
    pub(super) samples: &'a [Sample],
    pub(super) chosen: Vec<usize>,
    /// Charge in Ah already taken at its start, and how well that is known.
    pub(super) begun_ah: f64,
    pub(super) begun_u_ah: f64,
}

/// Rows that are fitted of each record for its charge, besides those after steps.
const ROWS: f64 = 400.0;
/// A change of current by this share of the largest is a step.
const STEP_SHARE: f64 = 0.2;
/// Rows at about these times after a step are fitted.
const AFTER_STEP_S: [f64; 11] =
    [0.0, 1.0, 3.0, 10.0, 30.0, 100.0, 200.0, 400.0, 800.0, 1600.0, 3200.0];

/// The rows to fit: evenly spread over the charge moved, and close together after steps.
pub(super) fn choose(samples: &[Sample]) -> Vec<usize> {
    let moved: f64 = samples
        .windows(2)
        .map(|w| w.last().map_or(0.0, |b| (b.delivered_ah - w[0].delivered_ah).abs()))
        .sum();
    let largest_a = samples.iter().map(|s| s.current_a.abs()).fold(0.0, f64::max);
    let mut chosen = Vec::new();
    let (mut due_ah, mut moved_ah) = (0.0, 0.0);
    let (mut stepped_s, mut delay) = (f64::NAN, AFTER_STEP_S.len());
    for (index, pair) in samples.windows(2).enumerate() {
        let (a, b) = (&pair[0], &pair[1]);
        let is_step = (b.current_a - a.current_a).abs() > STEP_SHARE * largest_a;
        if is_step {
            chosen.push(index);
            (stepped_s, delay) = (b.elapsed_s, 0);
        }
        moved_ah += (b.delivered_ah - a.delivered_ah).abs();
        let rest_due = AFTER_STEP_S.get(delay).is_some_and(|d| b.elapsed_s >= stepped_s + d);
        if rest_due || moved_ah >= due_ah {
            chosen.push(index + 1);
        }
        while AFTER_STEP_S.get(delay).is_some_and(|d| b.elapsed_s >= stepped_s + d) {
            delay += 1;
        }
        while moved > 0.0 && moved_ah >= due_ah {
            due_ah += moved / ROWS;
        }
    }
    if !samples.is_empty() {
        chosen.push(samples.len() - 1);
    }
    chosen.dedup();
    chosen
}

/// Records longer than this are thinned to about as many rows.
const MANY: usize = 20_000;

/// A long record with fewer rows: steps of the current are kept, and what was counted between the
/// rows that stay is not lost.
pub(super) fn thin(samples: &[Sample]) -> Cow<'_, [Sample]> {
    if samples.len() <= MANY {
        return Cow::Borrowed(samples);
    }
    let every = samples.len().div_ceil(MANY);
    let largest_a = samples.iter().map(|s| s.current_a.abs()).fold(0.0, f64::max);
    let steps = |a: Option<&Sample>, b: &Sample| {
        a.is_none_or(|a| (a.current_a - b.current_a).abs() > STEP_SHARE * largest_a)
    };
    let kept = samples.iter().enumerate().filter(|(i, row)| {
        let before = i.checked_sub(1).and_then(|i| samples.get(i));
        i % every == 0 || steps(before, row) || steps(samples.get(i + 1), row)
    });
    Cow::Owned(kept.map(|(_, row)| *row).collect())
}

pub(super) struct Problem<'a> {
    pub(super) records: Vec<Record<'a>>,
    pub(super) prior: Latent,
    /// What is varied of the latent parameters; the starts of records follow.
    pub(super) free: Vec<Known>,
    pub(super) linear: Linear,
    /// One over each row's standard uncertainty in V, record after record.
    pub(super) weights: Vec<f64>,
    z: DVector<f64>,
    found: Option<Found>,
}

/// The model at one set of parameters.
#[derive(Clone)]
pub(super) struct Found {
    pub(super) latent: Latent,
    pub(super) capacity_ah: f64,
    pub(super) rows: Vec<Row>,
    pub(super) solution: Solution,
}

impl<'a> Problem<'a> {
    /// Standard uncertainty of a row before anything else is known.
    const FIRST_U_V: f64 = 0.02;

    pub(super) fn new(
        records: Vec<Record<'a>>,
        prior: Latent,
        free: Vec<Known>,
        linear: Linear,
    ) -> Self {
        let rows = records.iter().map(|r| r.chosen.len()).sum();
        let starts = records.iter().filter(|r| r.begun_u_ah > 0.0).count();
        let z = DVector::zeros(free.len() + starts);
        let weights = vec![1.0 / Self::FIRST_U_V; rows];
        let mut problem = Self { records, prior, free, linear, weights, z, found: None };
        problem.found = problem.model(&problem.z);
        problem
    }

    /// Solves it from where it stands.
    pub(super) fn solved(self) -> Self {
        if self.z.is_empty() {
            return self;
        }
        let solver = LevenbergMarquardt::new().with_ftol(1e-7).with_xtol(1e-5).with_patience(30);
        solver.minimize(self).0
    }

    pub(super) fn found(&self) -> Option<&Found> {
        self.found.as_ref()
    }

    /// The model with the varied parameters moved by `by`, in units of their prior uncertainty.
    pub(super) fn moved(&self, by: &DVector<f64>) -> Option<Found> {
        self.model(&(&self.z + by))
    }

    pub(super) fn set_weights(&mut self, weights: Vec<f64>) {
        self.weights = weights;
        self.found = self.model(&self.z);
    }

    /// Charge in Ah taken at the start of each record.
    pub(super) fn starts_ah(&self) -> Vec<f64> {
        self.begun_ah(&self.z)
    }

    fn latent(&self, z: &DVector<f64>) -> Latent {
        let mut latent = self.prior;
        for (known, z) in self.free.iter().zip(z.iter()) {
            known.moved(&mut latent, &self.prior, *z);
        }
        latent
    }

    /// Each record's charge taken at its start.
    fn begun_ah(&self, z: &DVector<f64>) -> Vec<f64> {
        let mut unknown = z.iter().skip(self.free.len());
        let begun = self.records.iter().map(|record| {
            let z = if record.begun_u_ah > 0.0 { unknown.next().copied() } else { None };
            record.begun_ah + record.begun_u_ah * z.unwrap_or(0.0)
        });
        begun.collect()
    }

    fn model(&self, z: &DVector<f64>) -> Option<Found> {
        let latent = self.latent(z);
        let mut rows = Vec::with_capacity(self.weights.len());
        for (record, begun_ah) in self.records.iter().zip(self.begun_ah(z)) {
            let mut chosen = record.chosen.iter().peekable();
            walk(record.samples, begun_ah, &latent, |index, row| {
                if chosen.next_if(|&&next| next == index).is_some() {
                    rows.push(row);
                }
            });
        }
        // the records end where nothing is left at hand at the deepest of them
        let capacity_ah = rows.iter().map(|r| r.taken_ah).fold(0.0, f64::max);
        let solution = self.linear.solve(&rows, &self.weights, capacity_ah)?;
        Some(Found { latent, capacity_ah, rows, solution })
    }

    fn residuals_of(&self, found: &Found, z: &DVector<f64>) -> DVector<f64> {
        let data = found.solution.off_v.iter().zip(&self.weights).map(|(off_v, w)| off_v * w);
        let ohms = found.solution.ohms;
        let prior = &self.linear.prior;
        let resistances: [f64; RESISTANCES] = [
            ohms.r0_ohm / prior.r0_ohm - 1.0,
            ohms.rise_ohm / prior.rise_ohm - 1.0,
            ohms.r1_ohm / prior.r1_ohm - 1.0,
        ];
        let priors =
            resistances.into_iter().map(|off| off / Linear::PRIOR).chain(z.iter().copied());
        DVector::from_iterator(self.weights.len() + RESISTANCES + z.len(), data.chain(priors))
    }

    /// Covariance of the varied parameters, in units of their prior standard uncertainty.
    pub(super) fn covariance(&self) -> Option<DMatrix<f64>> {
        if self.z.is_empty() {
            return None;
        }
        let slopes = self.jacobian()?;
        (slopes.transpose() * slopes).try_inverse()
    }
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for Problem<'_> {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, z: &DVector<f64>) {
        self.z.copy_from(z);
        self.found = self.model(z);
    }

    fn params(&self) -> DVector<f64> {
        self.z.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        Some(self.residuals_of(self.found.as_ref()?, &self.z))
    }

    /// By differences on both sides: the curve's knots make forward ones too coarse.
    fn jacobian(&self) -> Option<DMatrix<f64>> {
        const STEP: f64 = 0.02;
        let columns = (0..self.z.len()).map(|i| {
            let at = |step: f64| {
                let mut z = self.z.clone();
                z[i] += step;
                Some(self.residuals_of(&self.model(&z)?, &z))
            };
            Some((at(STEP)? - at(-STEP)?) / (2.0 * STEP))
        });
        Some(DMatrix::from_columns(&columns.collect::<Option<Vec<_>>>()?))
    }
}
