//! Trips as the plan allows them, seen by meters.

use nalgebra::DVector;
use rayon::prelude::*;

use super::course::{Seen, World};
use super::lens::Lens;
use super::measured::Measured;
use super::scatter::Scatter;
use super::yardstick::Yardstick;

/// So many of the forecast's draws are gone through.
const DRAWN: u64 = 100;

/// Drawn trips.
pub(super) struct Drawn {
    pub(super) trips: Vec<Trip>,
}

/// One of them.
pub(super) struct Trip {
    /// What its meter shows in each window of the record.
    pub(super) shown: Vec<Option<Seen>>,
    /// What it has counted by then (Ah).
    pub(super) out_ah: Vec<f64>,
    /// Of the scatter.
    numbers: DVector<f64>,
}

impl Drawn {
    /// `lens` lays the record on the trip.
    pub(super) fn new(
        world: &World<'_>,
        (measured, lens): (&Measured, &Lens),
        scatter: &Scatter,
    ) -> Self {
        let trips = (0..DRAWN)
            .into_par_iter()
            .map(|number| {
                let numbers = scatter.numbers(world, number);
                let (mut way, mut lens) = (world.as_planned(), *lens);
                scatter.apply(world, numbers.as_slice(), &mut way, &mut lens);
                let course = world.run(&way);
                Trip {
                    shown: lens.shown(&course, &measured.windows),
                    out_ah: measured.counted_ah(&course, &lens),
                    numbers,
                }
            })
            .collect();
        Self { trips }
    }

    /// The numbers of those that lie nearest to the record, by the yardstick and by themselves.
    pub(super) fn nearest(&self, yardstick: &Yardstick<'_>, count: usize) -> Vec<DVector<f64>> {
        let mut near: Vec<(f64, &DVector<f64>)> = self
            .trips
            .iter()
            .map(|Trip { shown, numbers, .. }| {
                (yardstick.distance(&yardstick.off(shown)) + numbers.norm_squared(), numbers)
            })
            .collect();
        near.sort_by(|a, b| a.0.total_cmp(&b.0));
        near.into_iter().take(count).map(|(_, numbers)| numbers.clone()).collect()
    }
}
