//! What the sky may do on the days of a trip: how much of a clear day's harvest arrives, how much
//! of the night is clear, how much warmer or colder the air is than usual.

mod dimming;
mod spread;
mod stock;

use plan::{Plan, Sun, Weather};

use crate::error::TripError;
use spread::Spread;
use stock::Stock;

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
    suns: Suns,
    /// Standard deviation of the air from day to day.
    air_k: f64,
}

/// How the days' suns are drawn.
#[derive(Debug, Clone, PartialEq)]
enum Suns {
    /// Each from its own distribution.
    Spread {
        days: Vec<Spread>,
        /// Correlation of one day with the next, in the normal domain.
        persistence: f64,
    },
    /// Days that were.
    Stock(Stock),
}

/// From one day to the next the air's temperature keeps this share of its departure from the
/// usual: Richardson 1981, *Water Resources Research* 17, found lag-one correlations of 0.6 to 0.7
/// for the highest and lowest of the day (from memory).
const AIR_KEPT: f64 = 0.65;

impl Skies {
    /// What a plan says of the sky and the air.
    pub(crate) fn of_plan(plan: &Plan) -> Result<Self, TripError> {
        let half = |given: &quantity::Given| given.plus_minus.unwrap_or(0.0) / plan::COVERAGE_95;
        let air_k = half(&plan.air.night_c).max(half(&plan.air.day_c));
        let suns = match &plan.weather {
            Weather::Share(sun) => return Ok(Self::alike(sun, plan.dates.nights, air_k)),
            Weather::Clearness(days) => Suns::Spread {
                persistence: days.first().map_or(0.0, |day| day.persistence),
                days: dimming::spreads(plan, days)?,
            },
            Weather::File(file) => Suns::Stock(Stock::of(plan, file)?),
        };
        Ok(Self { suns, air_k })
    }

    /// Days that are alike in their chances.
    pub(crate) fn alike(sun: &Sun, days: usize, air_k: f64) -> Self {
        let spread = Spread::of_share(sun);
        let suns = Suns::Spread { days: vec![spread; days], persistence: sun.persistence };
        Self { suns, air_k }
    }

    /// The days of the central case: the mean of each.
    pub(crate) fn central(&self) -> Vec<Day> {
        match &self.suns {
            Suns::Spread { days, .. } => days.iter().map(Spread::mean).collect(),
            Suns::Stock(stock) => stock.means(),
        }
    }

    /// The share of the clear-sky harvest that 10 % and 90 % of days like that before an evening
    /// stay below.
    pub(crate) fn range(&self, evening: usize) -> [f64; 2] {
        match &self.suns {
            Suns::Spread { days, .. } => {
                // 10 % of a standard-normal variable
                const TENTH_Z: f64 = 1.281_551_566;
                let at = |z: f64| days.get(evening).map_or(1.0, |day| day.at(z)[0]);
                [at(-TENTH_Z), at(TENTH_Z)]
            }
            Suns::Stock(stock) => stock.range(evening),
        }
    }

    /// Days at random, from independent standard-normal numbers.
    pub(crate) fn draw(&self, mut normal: impl FnMut() -> f64) -> Vec<Day> {
        let mut air_z = normal();
        match &self.suns {
            Suns::Spread { days, persistence } => {
                let mut sun_z = normal();
                let mut drawn = Vec::with_capacity(days.len());
                for day in days {
                    let [sun, clear] = day.at(sun_z);
                    drawn.push(Day { sun, clear, air_k: self.air_k * air_z });
                    sun_z = kept(*persistence, sun_z, normal());
                    air_z = kept(AIR_KEPT, air_z, normal());
                }
                drawn
            }
            Suns::Stock(stock) => {
                let mut drawn = stock.draw(&mut normal);
                for day in &mut drawn {
                    // a file without temperatures leaves the air to wander by itself
                    if !stock.has_air() {
                        day.air_k = self.air_k * air_z;
                    }
                    air_z = kept(AIR_KEPT, air_z, normal());
                }
                drawn
            }
        }
    }
}

/// The next of a row of standard-normal numbers that keeps a share of the one before (first-order
/// autoregression).
fn kept(share: f64, before: f64, fresh: f64) -> f64 {
    share * before + (1.0 - share * share).max(0.0).sqrt() * fresh
}

#[cfg(test)]
mod tests {
    use statrs::distribution::{ContinuousCDF, Normal};

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
        let spread = Spread::of_share(&sun);
        // even shares of all days
        let normal = Normal::standard();
        let clear = (0..2000)
            .map(|at| {
                let z = normal.inverse_cdf((f64::from(at) + 0.5) / 2000.0);
                spread.at(z)[1]
            })
            .sum::<f64>()
            / 2000.0;
        let central = spread.mean();
        assert!((central.clear - clear).abs() < 2e-3, "{central:?}, not {clear}");
        assert_eq!(central.sun, 0.65);
    }
}
