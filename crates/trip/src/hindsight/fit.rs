//! The trip that comes nearest to a record: as the plan allows it, or with causes besides.
//!
//! The ordinary scatter ([`Scatter`]) is fitted along with whatever is tried, at the price of its own
//! improbability, the amounts of causes for nothing (a maximum a-posteriori fit). A cause that is
//! tried thus need not explain the ordinary scatter of everything else. Steps are those of Levenberg
//! (1944) and Marquardt (1963), each followed by a new simulation, from which the derivatives learn
//! (Broyden 1965).

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};
use rayon::prelude::*;

use super::cause::Candidate;
use super::course::{Course, Seen, Way, World};
use super::drawn::Drawn;
use super::lens::Lens;
use super::measured::Measured;
use super::scatter::Scatter;
use super::yardstick::{Off, Yardstick};

/// A shifted record must still lie on this share of the trip that it covered.
const LEAST_OVERLAP: f64 = 0.7;
/// The most steps with derivatives that only learn.
const STEPS: usize = 12;
/// A step that gains less than this is the last.
const GAIN: f64 = 0.1;
/// Derivatives are taken over this share of a standard deviation to both sides.
const STEP: f64 = 0.5;
/// The ordinary is fitted from the typical trip and from so many drawn ones, those that lie nearest.
const STARTS: usize = 2;
/// What it costs to have the amount of a cause be off by its usual deviation: nothing, but for what
/// keeps the equations solvable.
const FREE: f64 = 1e-4;
/// The damping that follows a step that led further off, and how fast it grows and falls (common
/// practice, no source).
const DAMPING: [f64; 2] = [0.3, 5.0];

/// A record, and what trips are fitted to it with.
pub(super) struct Fitter<'a> {
    pub(super) world: &'a World<'a>,
    pub(super) measured: &'a Measured,
    pub(super) scatter: &'a Scatter,
    pub(super) yardstick: &'a Yardstick<'a>,
    /// Lays the record on the trip.
    pub(super) lens: Lens,
}

/// A trip beside the typical one: numbers of the ordinary scatter, and amounts of causes.
#[derive(Debug, Clone)]
pub(super) struct Place<'c> {
    pub(super) scatter: DVector<f64>,
    pub(super) causes: Vec<(&'c Candidate, f64)>,
}

/// The place where a record fits best.
#[derive(Debug, Clone)]
pub(super) struct Fit<'c> {
    pub(super) distance: f64,
    pub(super) place: Place<'c>,
    /// What one unit of each number of the scatter, then one usual deviation of each cause, does to
    /// the readings there.
    pub(super) effects: DMatrix<f64>,
}

/// A place with what it shows.
struct Tried<'c> {
    place: Place<'c>,
    shown: Vec<Option<Seen>>,
    off: Off,
    distance: f64,
}

impl Fitter<'_> {
    /// The trip at the middle of the scatter.
    pub(super) fn middle<'c>(&self) -> Place<'c> {
        Place { scatter: DVector::zeros(self.scatter.count()), causes: Vec::new() }
    }

    fn way(&self, place: &Place<'_>) -> (Way, Lens) {
        let (mut way, mut lens) = (self.world.as_planned(), self.lens);
        self.scatter.apply(self.world, place.scatter.as_slice(), &mut way, &mut lens);
        for (candidate, amount) in &place.causes {
            candidate.apply(self.world, *amount, &mut way, &mut lens);
        }
        (way, lens)
    }

    /// The trip at a place, and how the meter saw it.
    fn course(&self, place: &Place<'_>) -> (Course, Lens) {
        let (way, lens) = self.way(place);
        (self.world.run(&way), lens)
    }

    /// Infinite if the record hardly lies on the trip.
    fn distance(&self, off: &Off) -> f64 {
        if off.overlap < LEAST_OVERLAP { f64::INFINITY } else { self.yardstick.distance(off) }
    }

    fn shown(&self, place: &Place<'_>) -> Vec<Option<Seen>> {
        let (course, lens) = self.course(place);
        lens.shown(&course, &self.measured.windows)
    }

    fn tried<'c>(&self, place: Place<'c>) -> Tried<'c> {
        let shown = self.shown(&place);
        let off = self.yardstick.off(&shown);
        let distance = self.distance(&off) + place.scatter.norm_squared();
        Tried { place, shown, off, distance }
    }

    /// What one unit of each number does to the readings at a place: of the scatter, then of causes.
    pub(super) fn effects(&self, place: &Place<'_>) -> DMatrix<f64> {
        let scatter: Vec<DVector<f64>> = (0..place.scatter.len())
            .into_par_iter()
            .map(|number| {
                // to both sides, so that what bends is met on the mean
                let [less, more] = [-STEP, STEP].map(|step| {
                    let mut place = place.clone();
                    place.scatter[number] += step;
                    self.shown(&place)
                });
                self.yardstick.between(&more, &less) / (2.0 * STEP)
            })
            .collect();
        let causes = (0..place.causes.len()).map(|at| self.effect_of_cause(place, at));
        DMatrix::from_columns(&scatter.into_iter().chain(causes).collect::<Vec<_>>())
    }

    /// What one usual deviation of a cause does to the readings at a place.
    pub(super) fn effect_of_cause(&self, place: &Place<'_>, at: usize) -> DVector<f64> {
        let (candidate, amount) = place.causes[at];
        let [low, high] =
            [-STEP, STEP].map(|step| candidate.within(amount + step * candidate.usual));
        let [less, more] = [low, high].map(|amount| {
            let mut place = place.clone();
            place.causes[at].1 = amount;
            self.shown(&place)
        });
        self.yardstick.between(&more, &less) * (candidate.usual / (high - low).max(1e-12))
    }

    /// Goes from a place as long as it gets nearer to the record.
    fn descend<'c>(&self, start: Place<'c>, mut effects: DMatrix<f64>) -> Fit<'c> {
        let mut here = self.tried(start);
        let mut damping = 0.0;
        for step in 0..STEPS {
            let change = self.step(&here, &effects, damping, step == 0);
            let next = self.tried(here.place.gone(&change));
            // bounds may have held it back
            let change = next.place.numbers() - here.place.numbers();
            let length = change.norm_squared();
            if length < 1e-12 {
                break;
            }
            let did = self.yardstick.between(&next.shown, &here.shown);
            effects += (did - &effects * &change) * change.transpose() / length;
            let gained = here.distance - next.distance;
            if gained > 0.0 {
                here = next;
                damping = if damping > DAMPING[0] { damping / DAMPING[1] } else { 0.0 };
                if gained < GAIN {
                    break;
                }
            } else {
                damping = if damping > 0.0 { damping * DAMPING[1] } else { DAMPING[0] };
            }
        }
        Fit { distance: here.distance, place: here.place, effects }
    }

    /// The step towards the record.
    fn step(
        &self,
        here: &Tried<'_>,
        effects: &DMatrix<f64>,
        damping: f64,
        first: bool,
    ) -> DVector<f64> {
        // from far off what counts is known only once it has come nearer
        let looks = if first { 3 } else { 1 };
        let numbers = here.place.numbers();
        let scatter = here.place.scatter.len();
        let mut change = DVector::zeros(numbers.len());
        let mut left = here.off.values.clone();
        for _ in 0..looks {
            let normal = Normal::new(effects, &self.yardstick.weights(&left), scatter, damping);
            change = normal.solve(&here.off.values, &numbers);
            left = &here.off.values - effects * &change;
        }
        change
    }

    /// The better of a fit and one from another place.
    fn from<'c>(&self, best: Fit<'c>, start: Place<'c>, effects: DMatrix<f64>) -> Fit<'c> {
        let fit = self.descend(start, effects);
        if fit.distance < best.distance { fit } else { best }
    }

    /// The same fit from where it ended, with derivatives of that place.
    pub(super) fn again<'c>(&self, fit: Fit<'c>) -> Fit<'c> {
        let effects = self.effects(&fit.place);
        let again = self.descend(fit.place.clone(), effects.clone());
        if again.distance < fit.distance { again } else { Fit { effects, ..fit } }
    }

    /// Where the record fits best without any cause.
    pub(super) fn ordinary(&self, drawn: &Drawn) -> Fit<'static> {
        let middle = self.middle();
        let effects = self.effects(&middle);
        let mut best = self.descend(middle, effects.clone());
        for numbers in drawn.nearest(self.yardstick, STARTS) {
            let start = Place { scatter: numbers, causes: Vec::new() };
            best = self.from(best, start, effects.clone());
        }
        self.again(best)
    }

    /// The same, now that causes have shown where else the scatter may lie: a cause must not look
    /// telling only because the fit without it stopped too soon.
    pub(super) fn ordinary_again(&self, before: Fit<'static>, alone: &[Fit<'_>]) -> Fit<'static> {
        let scatter = self.scatter.count();
        let mut nearest: Vec<&Fit<'_>> = alone.iter().collect();
        nearest.sort_by(|a, b| a.distance.total_cmp(&b.distance));
        let fits: Vec<Fit<'static>> = nearest
            .par_iter()
            .take(3)
            .map(|fit| {
                let start = Place { scatter: fit.place.scatter.clone(), causes: Vec::new() };
                self.descend(start, fit.effects.columns(0, scatter).into_owned())
            })
            .collect();
        let best = fits.into_iter().min_by(|a, b| a.distance.total_cmp(&b.distance));
        match best.filter(|best| best.distance < before.distance) {
            Some(best) => self.again(best),
            None => before,
        }
    }

    /// Where the record fits best with some amount of a cause. `ordinary` is it without.
    pub(super) fn with_cause<'c>(&self, candidate: &'c Candidate, ordinary: &Fit<'c>) -> Fit<'c> {
        let best = self.with_another(ordinary, candidate);
        let middle = Place { causes: vec![(candidate, candidate.planned)], ..self.middle() };
        let start = self.glance(&middle, candidate);
        let effects = self.widened(&ordinary.effects, &start);
        self.again(self.from(best, start, effects))
    }

    /// Where the record fits best with one more cause.
    pub(super) fn with_another<'c>(&self, fit: &Fit<'c>, candidate: &'c Candidate) -> Fit<'c> {
        let mut near = fit.place.clone();
        near.causes.push((candidate, candidate.planned));
        // far from the plan a glance at some amounts tells from where to go
        let far = self.glance(&near, candidate);
        let count = self.scatter.count();
        let of_scatter = fit.effects.columns(0, count).into_owned();
        let effects = self.widened(&of_scatter, &near);
        let best = self.descend(near, effects);
        let effects = self.widened(&of_scatter, &far);
        self.from(best, far, effects)
    }

    /// Derivatives of the scatter with those of a place's causes.
    fn widened(&self, of_scatter: &DMatrix<f64>, place: &Place<'_>) -> DMatrix<f64> {
        let (count, rows) = (place.scatter.len(), of_scatter.nrows());
        let mut effects = of_scatter.clone().resize_horizontally(count + place.causes.len(), 0.0);
        for at in 0..place.causes.len() {
            let effect = self.effect_of_cause(place, at);
            effects.view_mut((0, count + at), (rows, 1)).copy_from(&effect);
        }
        effects
    }

    /// A place with that amount of its last cause with which it lies nearest to the record.
    fn glance<'c>(&self, place: &Place<'c>, candidate: &'c Candidate) -> Place<'c> {
        let with = |amount: f64| {
            let mut place = place.clone();
            if let Some(last) = place.causes.last_mut() {
                *last = (candidate, amount);
            }
            place
        };
        // what only the meter does leaves the trip the same
        let same = candidate.is_of_the_meter().then(|| self.course(place).0);
        let distance = |place: &Place<'c>| match &same {
            Some(course) => {
                let (_, lens) = self.way(place);
                let off = self.yardstick.off(&lens.shown(course, &self.measured.windows));
                self.distance(&off)
            }
            None => self.tried(place.clone()).distance,
        };
        let places = candidate.grid.iter().map(|amount| {
            let place = with(*amount);
            (distance(&place), place)
        });
        places.min_by(|a, b| a.0.total_cmp(&b.0)).map_or_else(|| place.clone(), |best| best.1)
    }

    /// The distance of the record from the typical trip but for a cause, without any scatter.
    pub(super) fn bare(&self, causes: &[(&Candidate, f64)]) -> f64 {
        let (mut way, mut lens) = (self.world.as_planned(), self.lens);
        for (candidate, amount) in causes {
            candidate.apply(self.world, *amount, &mut way, &mut lens);
        }
        let shown = lens.shown(&self.world.run(&way), &self.measured.windows);
        self.yardstick.distance(&self.yardstick.off(&shown))
    }
}

impl Place<'_> {
    /// Scatter and causes, these in usual deviations.
    fn numbers(&self) -> DVector<f64> {
        let causes = self.causes.iter().map(|(candidate, amount)| amount / candidate.usual);
        let count = self.scatter.len() + self.causes.len();
        DVector::from_iterator(count, self.scatter.iter().copied().chain(causes))
    }

    fn gone(&self, change: &DVector<f64>) -> Self {
        let count = self.scatter.len();
        let mut place = self.clone();
        place.scatter += change.rows(0, count);
        for ((candidate, amount), change) in place.causes.iter_mut().zip(change.iter().skip(count))
        {
            *amount = candidate.within(*amount + change * candidate.usual);
        }
        place
    }
}

/// The normal equations of a fit, where readings count so much.
pub(super) struct Normal {
    weighted: DMatrix<f64>,
    /// How many numbers cost their squares.
    scatter: usize,
    inner: Option<Cholesky<f64, Dyn>>,
}

impl Normal {
    /// The first `scatter` columns cost their squares, what stands behind is free.
    pub(super) fn new(
        effects: &DMatrix<f64>,
        weights: &DVector<f64>,
        scatter: usize,
        damping: f64,
    ) -> Self {
        let mut weighted = effects.clone();
        for mut column in weighted.column_iter_mut() {
            column.component_mul_assign(weights);
        }
        let columns = effects.ncols();
        let mut inner = DMatrix::zeros(columns, columns);
        for a in 0..columns {
            for b in 0..=a {
                let product = effects.column(a).dot(&weighted.column(b));
                (inner[(a, b)], inner[(b, a)]) = (product, product);
            }
            inner[(a, a)] += if a < scatter { 1.0 } else { FREE };
            inner[(a, a)] *= 1.0 + damping;
        }
        Normal { weighted, scatter, inner: inner.cholesky() }
    }

    /// The change of the numbers that fits differences best, if they do everywhere what they do here.
    fn solve(&self, off: &DVector<f64>, numbers: &DVector<f64>) -> DVector<f64> {
        let mut right = self.weighted.tr_mul(off);
        for at in 0..self.scatter {
            right[at] -= numbers[at];
        }
        self.inner.as_ref().map_or_else(|| DVector::zeros(right.len()), |inner| inner.solve(&right))
    }

    /// Differences less what the scatter makes of them, weighted.
    pub(super) fn unexplained(&self, off: &DVector<f64>, weights: &DVector<f64>) -> DVector<f64> {
        let right = self.weighted.tr_mul(off);
        let Some(inner) = &self.inner else { return off.component_mul(weights) };
        off.component_mul(weights) - &self.weighted * inner.solve(&right)
    }
}
