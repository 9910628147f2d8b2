//! How one day's sky is spread.

use plan::Sun;
use statrs::distribution::{Beta, ContinuousCDF, Normal};

use super::Day;

/// How one day's sky is spread: what belongs to a standard-normal number.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Spread {
    mean: Day,
    /// Sun and clear share for z from -`Z_END` to `Z_END` in equal steps; empty where every day
    /// is the mean.
    quantiles: Vec<[f64; 2]>,
}

const Z_END: f64 = 4.0;
const Z_STEPS: usize = 256;

impl Spread {
    /// A share of the clear-sky harvest and how it is spread.
    pub(super) fn of_share(sun: &Sun) -> Self {
        let day = |share: f64| [share, 1.0 - sky::cloud_cover(share)];
        let Some(beta) = beta(sun) else { return Self::certain(day(sun.mean)) };
        let mut spread = Self::from_quantiles(|below| day(beta.inverse_cdf(below).clamp(0.0, 1.0)));
        // the mean asked for, without the little that the table's ends cut off
        spread.mean.sun = sun.mean;
        spread
    }

    /// Days that are all alike.
    pub(super) fn certain([sun, clear]: [f64; 2]) -> Self {
        Self { mean: Day { sun, clear, air_k: 0.0, dew_k: 0.0 }, quantiles: Vec::new() }
    }

    pub(super) fn mean(&self) -> Day {
        self.mean
    }

    /// From sun and clear share at a share of days.
    pub(super) fn from_quantiles(at: impl Fn(f64) -> [f64; 2]) -> Self {
        let normal = Normal::standard();
        let z = |step: usize| Z_END * (2.0 * step as f64 / Z_STEPS as f64 - 1.0);
        let quantiles: Vec<[f64; 2]> = (0..=Z_STEPS).map(|step| at(normal.cdf(z(step)))).collect();
        let mut mean = [0.0; 2];
        let mut whole = 0.0;
        for (step, values) in quantiles.iter().enumerate() {
            let weight = (-0.5 * z(step) * z(step)).exp();
            whole += weight;
            for (sum, value) in mean.iter_mut().zip(values) {
                *sum += weight * value;
            }
        }
        let [sun, clear] = mean.map(|sum| sum / whole);
        Self { mean: Day { sun, clear, air_k: 0.0, dew_k: 0.0 }, quantiles }
    }

    pub(super) fn at(&self, z: f64) -> [f64; 2] {
        let x = (z.clamp(-Z_END, Z_END) / Z_END + 1.0) * 0.5 * Z_STEPS as f64;
        let left = (x as usize).min(Z_STEPS - 1);
        match self.quantiles.get(left..=left + 1) {
            Some([a, b]) => {
                let along = x - left as f64;
                [0, 1].map(|of| a[of] + (b[of] - a[of]) * along)
            }
            _ => [self.mean.sun, self.mean.clear],
        }
    }
}

/// The daily share of the clear-sky harvest: a beta distribution with the mean and the standard
/// deviation asked for; one day hangs on the one before through a normal variable (a first-order
/// Gaussian copula). None where there is no spread.
fn beta(sun: &Sun) -> Option<Beta> {
    let variance = sun.spread * sun.spread;
    let room = sun.mean * (1.0 - sun.mean);
    if variance <= 0.0 || room <= variance {
        return None;
    }
    let weight = room / variance - 1.0;
    Beta::new(sun.mean * weight, (1.0 - sun.mean) * weight).ok()
}
