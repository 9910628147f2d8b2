//! What the plan allows to be otherwise, as independent standard-normal numbers: those that a draw
//! is made of, in the order in which it asks for them, then those of the meter's own small errors.

use nalgebra::DVector;
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;

use super::course::{Way, World};
use super::lens::{ERRORS, Lens};
use crate::draws::normals;

/// The ordinary scatter of trips and meters.
pub(super) struct Scatter {
    seed: u64,
    /// How many numbers a draw is made of.
    of_draw: usize,
}

impl Scatter {
    pub(super) fn of(world: &World<'_>, seed: u64) -> Self {
        let mut of_draw = 0;
        world.doubt.draw_from(|_| {
            of_draw += 1;
            0.0
        });
        Self { seed, of_draw }
    }

    /// How many numbers there are, the meter's among them.
    pub(super) fn count(&self) -> usize {
        self.of_draw + ERRORS
    }

    /// The numbers of one of the forecast's draws, seen by a meter at random.
    pub(super) fn numbers(&self, world: &World<'_>, number: u64) -> DVector<f64> {
        let mut numbers = Vec::with_capacity(self.count());
        let mut of_draw = normals(self.seed, number);
        world.doubt.draw_from(|subject| {
            let z = of_draw(subject);
            numbers.push(z);
            z
        });
        let mut random = self.random(number, 0);
        numbers.extend((0..ERRORS).map(|_| -> f64 { StandardNormal.sample(&mut random) }));
        DVector::from_vec(numbers)
    }

    /// Random numbers beside those of the draws: `which` is 0 for a meter's errors.
    pub(super) fn random(&self, number: u64, which: u64) -> Pcg64 {
        // beyond the streams of the draws' subjects
        let stream = u128::from(which + 1) << 100 | u128::from(number);
        Pcg64::new(u128::from(self.seed), stream)
    }

    /// Has a trip go, and be seen, with these numbers.
    pub(super) fn apply(&self, world: &World<'_>, numbers: &[f64], way: &mut Way, lens: &mut Lens) {
        let (of_draw, of_meter) = numbers.split_at(self.of_draw.min(numbers.len()));
        let mut of_draw = of_draw.iter();
        way.draw = world.doubt.draw_from(|_| of_draw.next().copied().unwrap_or(0.0));
        lens.err(of_meter);
    }
}
