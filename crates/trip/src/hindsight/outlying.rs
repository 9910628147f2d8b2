//! How far out a record lies among the trips that the plan allows.
//!
//! Near the fit without any cause these are taken to be normal: the squared distance then follows a
//! χ² distribution, and what a cause takes of it, left free, the square of a standard-normal number.
//! Of all causes the most telling counts; how far out that is hangs on how alike they are, and is
//! drawn.

use nalgebra::{DMatrix, DVector};
use rand_distr::{Distribution, StandardNormal};
use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::fit::{Fit, Fitter, Normal, Place};

/// So often it is drawn what the most telling cause takes.
const DRAWS: usize = 4000;

/// A cause of which a usual deviation does less than this, in standard deviations of what can be told,
/// does nothing.
const NOTHING: f64 = 1e-3;

/// What trips that the plan allows come to.
pub(super) struct Outlying {
    chi: Option<ChiSquared>,
    /// What the most telling cause takes of each of some draws, rising.
    taken: Vec<f64>,
}

impl Outlying {
    /// About the fit without any cause; `alone` is each cause by itself.
    pub(super) fn new(fitter: &Fitter<'_>, ordinary: &Fit<'_>, alone: &[Fit<'_>]) -> Self {
        Self {
            chi: ChiSquared::new(fitter.yardstick.count).ok(),
            taken: taken(&likeness(fitter, ordinary, alone), fitter),
        }
    }

    /// The share of them that lie nearer than this squared distance.
    pub(super) fn nearer(&self, distance: f64) -> f64 {
        self.chi.map_or(0.0, |chi| chi.cdf(distance))
    }

    /// The share of them of which no cause takes so much.
    pub(super) fn takes_less(&self, taken: f64) -> f64 {
        self.taken.partition_point(|of_draw| *of_draw < taken) as f64 / DRAWS as f64
    }
}

/// How alike causes are in what they do beside the scatter: the correlations of their amounts.
fn likeness(fitter: &Fitter<'_>, ordinary: &Fit<'_>, alone: &[Fit<'_>]) -> DMatrix<f64> {
    let effects: Vec<DVector<f64>> = alone
        .iter()
        .filter_map(|fit| fit.place.causes.first())
        .map(|(candidate, _)| {
            let causes = vec![(*candidate, candidate.planned)];
            let place = Place { scatter: ordinary.place.scatter.clone(), causes };
            fitter.effect_of_cause(&place, 0)
        })
        .collect();
    // of what model and meter are not good for, not of what this record has besides
    let weights = fitter.yardstick.weights(&DVector::zeros(ordinary.effects.nrows()));
    let normal = Normal::new(&ordinary.effects, &weights, ordinary.effects.ncols(), 0.0);
    let beside: Vec<(DVector<f64>, DVector<f64>, f64)> = effects
        .into_iter()
        .map(|effect| {
            let beside = normal.unexplained(&effect, &weights);
            let length = effect.dot(&beside).max(0.0).sqrt();
            (effect, beside, length)
        })
        .filter(|(.., length)| *length > NOTHING)
        .collect();
    DMatrix::from_fn(beside.len(), beside.len(), |a, b| {
        let ((effect, _, long), (_, beside, broad)) = (&beside[a], &beside[b]);
        effect.dot(beside) / (long * broad)
    })
}

/// What the most telling cause takes of each of some draws, rising.
fn taken(likeness: &DMatrix<f64>, fitter: &Fitter<'_>) -> Vec<f64> {
    let count = likeness.nrows();
    let mut steadied = likeness.clone();
    for at in 0..count {
        // causes that do the very same have no factor of their own
        steadied[(at, at)] = 1.0 + 1e-6;
    }
    let Some(factor) = steadied.cholesky() else { return vec![f64::INFINITY; DRAWS] };
    let lower = factor.l();
    let mut random = fitter.scatter.random(0, 1);
    let mut taken: Vec<f64> = (0..DRAWS)
        .map(|_| {
            let z = DVector::from_fn(count, |_, _| -> f64 { StandardNormal.sample(&mut random) });
            (&lower * z).iter().fold(0.0, |most, x| f64::max(most, x * x))
        })
        .collect();
    taken.sort_by(f64::total_cmp);
    taken
}
