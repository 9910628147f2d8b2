//! Cloudy and clear days in their usual order: a daily clearness series.

use statrs::function::erf::erf;

use crate::Error;
use quantity::within;

/// Correlation of one day's weather with the next, in the normal domain (Graham, Hollands & Huget
/// 1988, *Solar Energy* 40; kept in Graham & Hollands 1990, *Solar Energy* 44; from memory).
pub const DAY_TO_DAY: f64 = 0.29;

/// Steps of the tabulated distribution.
const TABLE: usize = 400;

/// How often a day is how clear: the distribution of the daily clearness index (light on the level
/// ground over light on the level outside the air) and its memory from day to day.
#[derive(Debug, Clone, PartialEq)]
pub struct DailyClearness {
    mean: f64,
    most: f64,
    persistence: f64,
    /// Distribution function at even steps of clearness from 0 to `most`.
    below: Vec<f64>,
}

impl DailyClearness {
    /// Days of a mean clearness, spread as they are found to be for that mean:
    /// `p(K) ~ (Kmax − K) exp(γ K)` (Hollands & Huget 1983, *Solar Energy* 30), where `Kmax` is
    /// theirs or, if that is less, what a clear day gives ([`crate::LevelDay::clear_day`]) and 15 %.
    ///
    /// # Errors
    /// When the mean is below 0.05 or above what clear days give.
    pub fn of_mean(mean: f64, clear_day: f64) -> Result<Self, Error> {
        let most = most_clear(mean, clear_day)?;
        // The mean grows with the slope, from nothing to the whole.
        let (mut low, mut high) = (-1e4, 1e4);
        for _ in 0..60 {
            let middle = f64::midpoint(low, high);
            if mean_share(middle) < mean / most { low = middle } else { high = middle }
        }
        let below = Self::tabulate(most, |share| hollands_huget(share, low));
        Ok(Self { mean, most, persistence: DAY_TO_DAY, below })
    }

    /// Days of a mean clearness and a stated spread (standard deviation), as a Beta distribution
    /// with these two moments between 0 and the most a clear day gives.
    ///
    /// # Errors
    /// When the mean is below 0.05 or above what clear days give, or no such days can have this
    /// spread.
    pub fn of_mean_and_spread(mean: f64, spread: f64, clear_day: f64) -> Result<Self, Error> {
        let most = most_clear(mean, clear_day)?;
        let centre = mean / most;
        // Wider than this, a Beta would have its days at the two ends only.
        let widest = (0.6 * centre * (1.0 - centre)).sqrt() * most;
        let spread = within("the spread of the daily clearness", spread, (0.005, widest), "")?;
        let weight = centre * (1.0 - centre) / (spread / most).powi(2) - 1.0;
        let (a, b) = (centre * weight, (1.0 - centre) * weight);
        let below = (0..=TABLE)
            .map(|step| statrs::function::beta::beta_reg(a, b, step as f64 / TABLE as f64))
            .collect();
        Ok(Self { mean, most, persistence: DAY_TO_DAY, below })
    }

    /// Another memory from day to day, 0 for none.
    ///
    /// # Errors
    /// When it is not within 0 to 0.95.
    pub fn with_persistence(self, persistence: f64) -> Result<Self, Error> {
        let persistence = within("the persistence of weather", persistence, (0.0, 0.95), "")?;
        Ok(Self { persistence, ..self })
    }

    /// The mean asked for.
    #[must_use]
    pub fn mean(&self) -> f64 {
        self.mean
    }

    /// The standard deviation of the days.
    #[must_use]
    pub fn spread(&self) -> f64 {
        // E[K²] = ∫ 2K (1 − F) dK.
        let step = self.most / TABLE as f64;
        let tail = |i: usize, below: f64| 2.0 * step * i as f64 * (1.0 - below);
        let square = trapezoid(self.below.iter().enumerate().map(|(i, f)| tail(i, *f)), step);
        (square - self.mean * self.mean).max(0.0).sqrt()
    }

    /// A clearness for each of a row of days from independent standard normal draws, one a day:
    /// a first-order autoregression in the normal domain, mapped through the distribution, so that
    /// mean and spread are the distribution's whatever the memory.
    pub fn series(&self, normals: &[f64]) -> Vec<f64> {
        let fresh = (1.0 - self.persistence * self.persistence).sqrt();
        let mut state: Option<f64> = None;
        normals
            .iter()
            .map(|draw| {
                let now = match state {
                    None => *draw,
                    Some(before) => self.persistence * before + fresh * draw,
                };
                state = Some(now);
                self.quantile(normal_below(now))
            })
            .collect()
    }

    /// The clearness that a share of days stays below.
    #[must_use]
    pub fn quantile(&self, share: f64) -> f64 {
        let share = share.clamp(0.0, 1.0);
        let next = self.below.partition_point(|below| *below < share).clamp(1, TABLE);
        let (Some(a), Some(b)) = (self.below.get(next - 1), self.below.get(next)) else {
            return self.mean;
        };
        let along = if b > a { ((share - a) / (b - a)).clamp(0.0, 1.0) } else { 0.5 };
        self.most * ((next - 1) as f64 + along) / TABLE as f64
    }

    /// The distribution function of a density over the shares 0..1 of the most.
    fn tabulate(most: f64, density: impl Fn(f64) -> f64) -> Vec<f64> {
        let step = most / TABLE as f64;
        let mut sum = 0.0;
        let mut sums = vec![0.0];
        for cell in 0..TABLE {
            let [a, b, c] =
                [0.0, 0.5, 1.0].map(|part| density((cell as f64 + part) / TABLE as f64));
            sum += step * (a + 4.0 * b + c) / 6.0;
            sums.push(sum);
        }
        sums.iter().map(|part| part / sum).collect()
    }
}

/// The most clear a day of a mean gets: `0.6313 + 0.267 K − 11.9 (K − 0.75)⁸` (Hollands & Huget
/// 1983), but no more than a clear day's own clearness and 15 % for air clearer than usual, which
/// is less where the sun stays low. (Days of a typical January in North Carolina reach 13 % above
/// the clear sky of turbidity 3.)
///
/// # Errors
/// When the mean is below 0.05 or too near to that most for days to differ at all.
fn most_clear(mean: f64, clear_day: f64) -> Result<f64, Error> {
    const NEAR: f64 = 0.97;
    const CLEARER: f64 = 1.15;
    let clear_day = within("a clear day's clearness", clear_day, (0.05, 1.0), "")?;
    let found = 0.6313 + 0.267 * mean - 11.9 * (mean - 0.75).powi(8);
    let most = found.min(CLEARER * clear_day);
    within("the mean daily clearness", mean, (0.05, NEAR * most), "")?;
    Ok(most)
}

/// Density, but for a factor, at a share of the most for a slope γ Kmax; kept from overflowing.
fn hollands_huget(share: f64, slope: f64) -> f64 {
    let lift = if slope > 0.0 { share - 1.0 } else { share };
    (1.0 - share) * (slope * lift).exp()
}

/// Mean share of that density: `∫ u (1 − u) exp(g u) du / ∫ (1 − u) exp(g u) du`.
fn mean_share(slope: f64) -> f64 {
    let g = slope;
    if g.abs() < 0.1 {
        // Both integrals lose their digits here; their series do not.
        let above = 1.0 / 6.0 + g * (1.0 / 12.0 + g * (1.0 / 40.0 + g / 180.0));
        let below = 1.0 / 2.0 + g * (1.0 / 6.0 + g * (1.0 / 24.0 + g / 120.0));
        return above / below;
    }
    // Divided by the greater of 1 and exp g.
    let (one, grown) = if g > 0.0 { ((-g).exp(), 1.0) } else { (1.0, g.exp()) };
    ((g - 2.0) * grown + (g + 2.0) * one) / (g * (grown - (1.0 + g) * one))
}

fn trapezoid(values: impl Iterator<Item = f64>, step: f64) -> f64 {
    let mut ends = (None, 0.0);
    let mut sum = 0.0;
    for value in values {
        ends = (ends.0.or(Some(value)), value);
        sum += value;
    }
    step * (sum - f64::midpoint(ends.0.unwrap_or(0.0), ends.1))
}

/// Share of standard normal draws below a value.
fn normal_below(value: f64) -> f64 {
    f64::midpoint(1.0, erf(value / std::f64::consts::SQRT_2))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Standard normal draws without a generator: quantiles of a sequence that fills the unit
    /// interval evenly, shuffled by its own irrational step.
    fn normals(count: usize) -> Vec<f64> {
        let step = 0.5 * (5.0_f64.sqrt() - 1.0);
        let mut seed = 0.5;
        let mut uniform = || {
            seed = (seed * 9301.0 + step) % 1.0;
            seed
        };
        (0..count)
            .map(|_| {
                let (a, b): (f64, f64) = (uniform().max(1e-12), uniform());
                (-2.0 * a.ln()).sqrt() * (std::f64::consts::TAU * b).cos()
            })
            .collect()
    }

    fn moments(days: &[f64]) -> (f64, f64, f64) {
        let n = days.len() as f64;
        let mean = days.iter().sum::<f64>() / n;
        let variance = days.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / n;
        let lagged = days.windows(2).map(|w| (w[0] - mean) * (w[1] - mean)).sum::<f64>() / n;
        (mean, variance.sqrt(), lagged / variance)
    }

    #[test]
    fn a_series_has_the_mean_the_spread_and_the_memory_asked_for() {
        let draws = normals(100_000);
        for (mean, clear_day) in [
            (0.15, 0.75),
            (0.3, 0.75),
            (0.4, 0.72),
            (0.5, 0.75),
            (0.6, 0.75),
            (0.7, 0.75),
            (0.3, 0.45),
            (0.4, 0.42),
        ] {
            let days = DailyClearness::of_mean(mean, clear_day).unwrap();
            assert!(days.series(&draws).iter().all(|day| *day <= 1.15 * clear_day));
            let (found, spread, memory) = moments(&days.series(&draws));
            // 100,000 days of a spread of 0.2 with memory 0.29 fix their mean to 0.0009.
            assert!((found - mean).abs() < 0.003, "{mean}: {found}");
            assert!((spread - days.spread()).abs() < 0.003, "{mean}: {spread}");
            // The map to clearness bends the memory a little.
            assert!((memory - DAY_TO_DAY).abs() < 0.04, "{mean}: {memory}");
        }
        for (mean, spread) in [(0.5, 0.1), (0.45, 0.2), (0.2, 0.08), (0.7, 0.05)] {
            let days = DailyClearness::of_mean_and_spread(mean, spread, 0.8).unwrap();
            assert!((days.spread() - spread).abs() < 0.001, "{}", days.spread());
            let (found, found_spread, _) = moments(&days.series(&draws));
            assert!((found - mean).abs() < 0.003, "{mean}: {found}");
            assert!((found_spread - spread).abs() < 0.003, "{spread}: {found_spread}");
        }
    }

    #[test]
    fn memory_can_be_had_or_not() {
        let draws = normals(100_000);
        for persistence in [0.0, 0.6] {
            let days =
                DailyClearness::of_mean(0.5, 0.75).unwrap().with_persistence(persistence).unwrap();
            let (mean, _, memory) = moments(&days.series(&draws));
            assert!((mean - 0.5).abs() < 0.005, "{mean}");
            assert!((memory - persistence).abs() < 0.03, "{persistence}: {memory}");
        }
    }

    #[test]
    fn what_no_climate_has_is_refused() {
        assert!(DailyClearness::of_mean(0.9, 0.75).is_err());
        assert!(DailyClearness::of_mean(0.45, 0.4).is_err());
        assert!(DailyClearness::of_mean(f64::NAN, 0.75).is_err());
        assert!(DailyClearness::of_mean(0.5, f64::NAN).is_err());
        assert!(DailyClearness::of_mean_and_spread(0.5, 0.5, 0.75).is_err());
    }
}
