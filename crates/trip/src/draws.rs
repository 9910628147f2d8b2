//! What is uncertain, drawn at random.
//!
//! Draw `k` of a seed is the same whatever else is drawn, on any number of threads, and for two
//! plans that differ in one thing only: each has a stream of its own, and what every plan has
//! comes first in it.

use plan::Sun;
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;
use statrs::distribution::{Beta, ContinuousCDF, Normal};

/// One draw: factors and shifts against the central case.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Draw {
    /// Factor on the pack's capacity.
    pub(crate) capacity: f64,
    /// Factor on its resistances.
    pub(crate) resistance: f64,
    /// Shift of its open-circuit voltage (V).
    pub(crate) ocv_v: f64,
    /// Shift of the air's temperature (K).
    pub(crate) air_k: f64,
    /// Share of the clear-sky harvest that arrives, by day.
    pub(crate) sun: Vec<f64>,
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
    /// In K.
    pub(crate) air_k: f64,
    pub(crate) sun: SunShare,
    /// How many days a sun share is needed for.
    pub(crate) days: usize,
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
            air_k: 0.0,
            sun: vec![self.sun.mean; self.days],
            devices: vec![1.0; self.devices.len()],
        }
    }

    /// Draw number `number` of a seed.
    pub(crate) fn draw(&self, seed: u64, number: u64) -> Draw {
        let mut random = Pcg64::new(u128::from(seed), u128::from(number));
        let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
        let capacity = factor(self.capacity, normal());
        // resistances are positive and err by factors
        let resistance = (self.resistance * normal()).exp();
        let ocv_v = self.ocv_v * normal();
        let air_k = self.air_k * normal();
        let mut today = normal();
        let sun = (0..self.days)
            .map(|_| {
                let share = self.sun.at(today);
                let kept = self.sun.persistence;
                today = kept * today + (1.0 - kept * kept).max(0.0).sqrt() * normal();
                share
            })
            .collect();
        let devices = self.devices.iter().map(|spread| factor(*spread, normal())).collect();
        Draw { capacity, resistance, ocv_v, air_k, sun, devices }
    }
}

/// A normal factor about 1, kept off the values that can't be.
fn factor(spread: f64, z: f64) -> f64 {
    (1.0 + spread * z).max(0.05)
}

/// The daily share of the clear-sky harvest: a beta distribution with the mean and the standard
/// deviation asked for; one day hangs on the one before through a normal variable (a first-order
/// Gaussian copula).
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct SunShare {
    pub(crate) mean: f64,
    persistence: f64,
    /// Quantiles for z from -`Z_END` to `Z_END` in equal steps; empty where every day is the mean.
    quantiles: Vec<f64>,
}

const Z_END: f64 = 4.0;
const Z_STEPS: usize = 256;

impl SunShare {
    pub(crate) fn new(sun: &Sun) -> Self {
        let quantiles = beta(sun).map_or_else(Vec::new, |beta| {
            let normal = Normal::standard();
            (0..=Z_STEPS)
                .map(|step| {
                    let z = Z_END * (2.0 * step as f64 / Z_STEPS as f64 - 1.0);
                    beta.inverse_cdf(normal.cdf(z)).clamp(0.0, 1.0)
                })
                .collect()
        });
        Self { mean: sun.mean, persistence: sun.persistence, quantiles }
    }

    /// The share for a standard-normal variable.
    fn at(&self, z: f64) -> f64 {
        let x = (z.clamp(-Z_END, Z_END) / Z_END + 1.0) * 0.5 * Z_STEPS as f64;
        let left = (x as usize).min(Z_STEPS - 1);
        match self.quantiles.get(left..=left + 1) {
            Some([a, b]) => a + (b - a) * (x - left as f64),
            _ => self.mean,
        }
    }
}

/// None where there is no spread.
fn beta(sun: &Sun) -> Option<Beta> {
    let variance = sun.spread * sun.spread;
    let room = sun.mean * (1.0 - sun.mean);
    if variance <= 0.0 || room <= variance {
        return None;
    }
    let weight = room / variance - 1.0;
    Beta::new(sun.mean * weight, (1.0 - sun.mean) * weight).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn doubt() -> Doubt {
        Doubt {
            capacity: 0.02,
            resistance: 0.2,
            ocv_v: 0.01,
            air_k: 2.0,
            sun: SunShare::new(&Sun { mean: 0.65, spread: 0.2, persistence: 0.29 }),
            days: 2,
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
            (one.capacity, &one.sun, one.devices[0]),
            (other.capacity, &other.sun, other.devices[0])
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
        check("air", &|draw| draw.air_k, 0.0, 2.0);
        check("first day's sun", &|draw| draw.sun[0], 0.65, 0.2);
        check("second day's sun", &|draw| draw.sun[1], 0.65, 0.2);
        check("a device", &|draw| draw.devices[0], 1.0, 0.1);
        check("a sure device", &|draw| draw.devices[1], 1.0, 0.0);
        let together = mean_of(&|draw| (draw.sun[0] - 0.65) * (draw.sun[1] - 0.65)) / 0.04;
        // the copula's correlation is that of the normal variables; of the shares a little less
        assert!((0.24..0.32).contains(&together), "correlation from day to day {together}");
    }

    #[test]
    fn a_sun_without_spread_is_its_mean() {
        let sun = SunShare::new(&Sun { mean: 0.8, spread: 0.0, persistence: 0.3 });
        assert_eq!([sun.at(-9.0), sun.at(0.0), sun.at(2.0)], [0.8; 3]);
    }
}
