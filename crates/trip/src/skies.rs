//! What the sky may do on the days of a trip: how much of a clear day's harvest arrives, how much
//! of the night is clear, how much warmer or colder the air is than usual.

use plan::Sun;
use statrs::distribution::{Beta, ContinuousCDF, Normal};

/// A day and the night it leads to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Day {
    /// Share of the clear-sky harvest that arrives.
    pub(crate) sun: f64,
    /// Share of the night without cloud.
    pub(crate) clear: f64,
    /// Air against the usual (K).
    pub(crate) air_k: f64,
}

/// The days of a trip, as they may be.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Skies {
    days: Vec<Spread>,
    /// Correlation of one day's sun with the next, in the normal domain.
    persistence: f64,
    /// Standard deviation of the air from day to day.
    air_k: f64,
}

/// From one day to the next the air's temperature keeps this share of its departure from the
/// usual: Richardson 1981, *Water Resources Research* 17, found lag-one correlations of 0.6 to 0.7
/// for the highest and lowest of the day (from memory).
const AIR_KEPT: f64 = 0.65;

impl Skies {
    /// Days that are alike in their chances.
    pub(crate) fn alike(sun: &Sun, days: usize, air_k: f64) -> Self {
        let spread = Spread::of(beta(sun).as_ref(), sun.mean);
        Self { days: vec![spread; days], persistence: sun.persistence, air_k }
    }

    /// The days of the central case: the mean of each.
    pub(crate) fn central(&self) -> Vec<Day> {
        self.days.iter().map(|day| day.mean).collect()
    }

    /// Days at random, from independent standard-normal numbers.
    pub(crate) fn draw(&self, mut normal: impl FnMut() -> f64) -> Vec<Day> {
        let (mut sun_z, mut air_z) = (normal(), normal());
        let mut days = Vec::with_capacity(self.days.len());
        for day in &self.days {
            let [sun, clear] = day.at(sun_z);
            days.push(Day { sun, clear, air_k: self.air_k * air_z });
            sun_z = kept(self.persistence, sun_z, normal());
            air_z = kept(AIR_KEPT, air_z, normal());
        }
        days
    }
}

/// The next of a row of standard-normal numbers that keeps a share of the one before (first-order
/// autoregression).
fn kept(share: f64, before: f64, fresh: f64) -> f64 {
    share * before + (1.0 - share * share).max(0.0).sqrt() * fresh
}

/// How one day's sky is spread: what belongs to a standard-normal number.
#[derive(Debug, Clone, PartialEq)]
struct Spread {
    mean: Day,
    /// Sun and clear share for z from -`Z_END` to `Z_END` in equal steps; empty where every day
    /// is the mean.
    quantiles: Vec<[f64; 2]>,
}

const Z_END: f64 = 4.0;
const Z_STEPS: usize = 256;

impl Spread {
    fn of(shares: Option<&Beta>, mean: f64) -> Self {
        let day = |sun: f64| [sun, 1.0 - sky::cloud_cover(sun)];
        let Some(beta) = shares else {
            let [sun, clear] = day(mean);
            return Self { mean: Day { sun, clear, air_k: 0.0 }, quantiles: Vec::new() };
        };
        let mut spread = Self::from_quantiles(|below| day(beta.inverse_cdf(below).clamp(0.0, 1.0)));
        // the mean asked for, without the little that the table's ends cut off
        spread.mean.sun = mean;
        spread
    }

    /// From sun and clear share at a share of days.
    fn from_quantiles(at: impl Fn(f64) -> [f64; 2]) -> Self {
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
        Self { mean: Day { sun, clear, air_k: 0.0 }, quantiles }
    }

    fn at(&self, z: f64) -> [f64; 2] {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sun_without_spread_is_its_mean() {
        let sun = Sun { mean: 0.8, spread: 0.0, persistence: 0.3 };
        let skies = Skies::alike(&sun, 2, 0.0);
        let mut far = [-9.0, 0.0, 2.0].into_iter().cycle();
        let days = skies.draw(|| far.next().unwrap());
        assert!(days.iter().all(|day| day.sun == 0.8 && day.air_k == 0.0), "{days:?}");
    }

    #[test]
    fn the_central_night_is_clear_for_the_mean_share() {
        let sun = Sun { mean: 0.65, spread: 0.2, persistence: 0.29 };
        let skies = Skies::alike(&sun, 1, 0.0);
        // even shares of all days
        let normal = Normal::standard();
        let clear = (0..2000)
            .map(|at| {
                let z = normal.inverse_cdf((f64::from(at) + 0.5) / 2000.0);
                skies.days[0].at(z)[1]
            })
            .sum::<f64>()
            / 2000.0;
        let central = skies.central()[0];
        assert!((central.clear - clear).abs() < 2e-3, "{central:?}, not {clear}");
        assert_eq!(central.sun, 0.65);
    }
}
