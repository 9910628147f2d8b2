//! What is uncertain, drawn at random.
//!
//! Draw `k` of a seed is the same whatever else is drawn, on any number of threads, and for two
//! plans that differ in one thing only: pack, days and devices have streams of their own, and a
//! day or a device more comes last in its stream.

use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;

use crate::skies::{Day, Skies};

/// One draw: factors and shifts against the central case.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Draw {
    /// Factor on the pack's capacity.
    pub(crate) capacity: f64,
    /// Factor on its resistances.
    pub(crate) resistance: f64,
    /// Shift of its open-circuit voltage (V).
    pub(crate) ocv_v: f64,
    /// What the sky does, by night: on the day before it and in the night.
    pub(crate) days: Vec<Day>,
    /// Factor on each device's load.
    pub(crate) devices: Vec<f64>,
}

/// Standard deviations of all that is drawn.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Doubt {
    /// Relative.
    pub(crate) capacity: f64,
    /// Relative.
    pub(crate) resistance: f64,
    /// In V.
    pub(crate) ocv_v: f64,
    pub(crate) skies: Skies,
    /// Relative, for each device.
    pub(crate) devices: Vec<f64>,
}

impl Doubt {
    /// The central case: nothing deviates.
    pub(crate) fn central(&self) -> Draw {
        Draw {
            capacity: 1.0,
            resistance: 1.0,
            ocv_v: 0.0,
            days: self.skies.central(),
            devices: vec![1.0; self.devices.len()],
        }
    }

    /// Draw number `number` of a seed.
    pub(crate) fn draw(&self, seed: u64, number: u64) -> Draw {
        const STREAMS: u128 = 3;
        let mut streams: [Pcg64; STREAMS as usize] = std::array::from_fn(|subject| {
            Pcg64::new(u128::from(seed), u128::from(number) * STREAMS + subject as u128)
        });
        let [pack, sky, gear] = &mut streams;
        let normal = |random: &mut Pcg64| -> f64 { StandardNormal.sample(random) };
        Draw {
            capacity: factor(self.capacity, normal(pack)),
            // resistances are positive and err by factors
            resistance: (self.resistance * normal(pack)).exp(),
            ocv_v: self.ocv_v * normal(pack),
            days: self.skies.draw(|| normal(sky)),
            devices: self.devices.iter().map(|spread| factor(*spread, normal(gear))).collect(),
        }
    }
}

impl Draw {
    /// Share of the clear-sky harvest that arrives on the day before a night.
    pub(crate) fn sun(&self, night: usize) -> f64 {
        self.days.get(night).map_or(1.0, |day| day.sun)
    }

    /// Share of a night without cloud.
    pub(crate) fn clear(&self, night: usize) -> f64 {
        self.days.get(night).map_or(1.0, |day| day.clear)
    }

    /// Air against the usual (K), on the day before a night and in it.
    pub(crate) fn air_k(&self, night: usize) -> f64 {
        self.days.get(night).map_or(0.0, |day| day.air_k)
    }
}

/// A normal factor about 1, kept off the values that can't be.
fn factor(spread: f64, z: f64) -> f64 {
    (1.0 + spread * z).max(0.05)
}

#[cfg(test)]
mod tests {
    use plan::Sun;

    use super::*;

    fn doubt() -> Doubt {
        Doubt {
            capacity: 0.02,
            resistance: 0.2,
            ocv_v: 0.01,
            skies: Skies::alike(&Sun { mean: 0.65, spread: 0.2, persistence: 0.29 }, 2, 2.0),
            devices: vec![0.1, 0.0],
        }
    }

    #[test]
    fn a_draw_is_the_same_every_time_and_whatever_is_added_behind() {
        let mut more = doubt();
        more.devices.push(0.3);
        let (one, again, other) = (doubt().draw(7, 3), doubt().draw(7, 3), more.draw(7, 3));
        assert_eq!(one, again);
        assert_eq!(
            (one.capacity, &one.days, one.devices[0]),
            (other.capacity, &other.days, other.devices[0])
        );
        assert_ne!(one, doubt().draw(7, 4));
        assert_ne!(one, doubt().draw(8, 3));
    }

    #[test]
    fn draws_have_the_mean_the_spread_and_the_persistence_asked_for() {
        let doubt = doubt();
        let draws: Vec<Draw> = (0..20_000).map(|number| doubt.draw(1, number)).collect();
        let mean_of =
            |of: &dyn Fn(&Draw) -> f64| draws.iter().map(of).sum::<f64>() / draws.len() as f64;
        let check = |what: &str, of: &dyn Fn(&Draw) -> f64, mean: f64, spread: f64| {
            let found = mean_of(of);
            let deviation = mean_of(&|draw| (of(draw) - found).powi(2)).sqrt();
            // five standard errors of the mean, and of the deviation
            let room = 5.0 * spread / (draws.len() as f64).sqrt();
            assert!((found - mean).abs() <= room + 1e-12, "{what}: mean {found}, not {mean}");
            assert!(
                (deviation - spread).abs() <= room + 0.01 * spread,
                "{what}: spread {deviation}, not {spread}"
            );
        };
        check("capacity", &|draw| draw.capacity, 1.0, 0.02);
        check("air", &|draw| draw.air_k(0), 0.0, 2.0);
        check("second day's air", &|draw| draw.air_k(1), 0.0, 2.0);
        check("first day's sun", &|draw| draw.sun(0), 0.65, 0.2);
        check("second day's sun", &|draw| draw.sun(1), 0.65, 0.2);
        check("a device", &|draw| draw.devices[0], 1.0, 0.1);
        check("a sure device", &|draw| draw.devices[1], 1.0, 0.0);
        let together = mean_of(&|draw| (draw.sun(0) - 0.65) * (draw.sun(1) - 0.65)) / 0.04;
        // the copula's correlation is that of the normal variables; of the shares a little less
        assert!((0.24..0.32).contains(&together), "correlation from day to day {together}");
        let warmer = mean_of(&|draw| draw.air_k(0) * draw.air_k(1)) / 4.0;
        assert!((0.60..0.70).contains(&warmer), "correlation of the air {warmer}");
    }
}
