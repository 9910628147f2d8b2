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
    /// Dew point against what is usual in such air (K).
    pub(crate) dew_k: f64,
}

/// The days of a trip, as they may be.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Skies {
    suns: Suns,
    /// Standard deviation of the air from day to day.
    air_k: f64,
    /// The same of the dew point in air as warm as usual.
    dew_k: f64,
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
        let dew_k = half(&plan.air.dew_point_c);
        let suns = match &plan.weather {
            Weather::Share(sun) => return Ok(Self::alike(sun, plan.dates.nights, [air_k, dew_k])),
            Weather::Clearness(days) => Suns::Spread {
                persistence: days.first().map_or(0.0, |day| day.persistence),
                days: dimming::spreads(plan, days)?,
            },
            Weather::File(file) => Suns::Stock(Stock::of(plan, file)?),
        };
        Ok(Self { suns, air_k, dew_k })
    }

    /// Days that are alike in their chances; air and dew point with their standard deviations (K).
    pub(crate) fn alike(sun: &Sun, days: usize, [air_k, dew_k]: [f64; 2]) -> Self {
        let spread = Spread::of_share(sun);
        let suns = Suns::Spread { days: vec![spread; days], persistence: sun.persistence };
        Self { suns, air_k, dew_k }
    }

    /// Skies whose days change smoothly with the numbers they are drawn from: those of a file jump
    /// from one day to another. Each day has the file's mean and spread, by itself.
    pub(crate) fn smooth(self) -> Self {
        let Suns::Stock(stock) = &self.suns else { return self };
        let days = stock
            .means_and_deviations()
            .into_iter()
            .map(|[mean, spread]| Spread::of_share(&Sun { mean, spread, persistence: 0.0 }));
        let deviation_k = stock.air_deviations_k();
        let air_k = if stock.has_air() { deviation_k[0] } else { self.air_k };
        let dew_k = if stock.has_dew() { deviation_k[1] } else { self.dew_k };
        Self { suns: Suns::Spread { days: days.collect(), persistence: 0.0 }, air_k, dew_k }
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

    /// Days at random, from independent standard-normal numbers: for the sky and the air's warmth,
    /// and for how damp it is.
    pub(crate) fn draw(
        &self,
        mut normal: impl FnMut() -> f64,
        mut damp: impl FnMut() -> f64,
    ) -> Vec<Day> {
        let mut air_z = normal();
        let mut drawn = match &self.suns {
            Suns::Spread { days, persistence } => {
                let mut sun_z = normal();
                let mut drawn = Vec::with_capacity(days.len());
                for day in days {
                    let [sun, clear] = day.at(sun_z);
                    drawn.push(Day { sun, clear, air_k: self.air_k * air_z, dew_k: 0.0 });
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
        };
        if !matches!(&self.suns, Suns::Stock(stock) if stock.has_dew()) {
            let mut damp_z = damp();
            for day in &mut drawn {
                day.dew_k = self.dew_k * damp_z;
                damp_z = kept(AIR_KEPT, damp_z, damp());
            }
        }
        drawn
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
        let skies = Skies::alike(&sun, 2, [0.0; 2]);
        let mut far = [-9.0, 0.0, 2.0].into_iter().cycle();
        let days = skies.draw(|| far.next().unwrap(), || 3.0);
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

    const PLAN: &str = r#"
        format = 1
        [site]
        latitude = "36.1 N"
        longitude = "79.95 W"
        [air]
        night = "2 °C ± 4 K"
        day = "12 °C ± 4 K"
        [trip]
        first_evening = "2027-01-14"
        nights = 4
        [weather]
        WEATHER
        [pack]
        chemistry = "LFP"
        rated = "40 Ah"
        [rig.devices.mount]
        power = "9 W"
        when = "dark"
        [sources.panel]
        panel = "100 W"
        TILT
        controller = { kind = "MPPT", absorb = "14.4 V" }
    "#;

    fn skies(weather: &str, tilt: &str) -> Skies {
        let text = PLAN.replace("WEATHER", weather).replace("TILT", tilt);
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/measured");
        let plan = Plan::parse("plan.toml", std::path::Path::new(folder), &text).unwrap();
        Skies::of_plan(&plan).unwrap()
    }

    fn drawn(skies: &Skies) -> Vec<Vec<Day>> {
        let mut random = rand_pcg::Pcg64::new(1, 1);
        let mut normal = || -> f64 {
            rand_distr::Distribution::sample(&rand_distr::StandardNormal, &mut random)
        };
        (0..20_000).map(|_| skies.draw(&mut normal, || 0.0)).collect()
    }

    /// Mean, standard deviation, and correlation with the day after, of a number of the first day.
    fn moments(draws: &[Vec<Day>], of: fn(&Day) -> f64) -> [f64; 3] {
        let mean = |of: &dyn Fn(&[Day]) -> f64| {
            draws.iter().map(|days| of(days)).sum::<f64>() / draws.len() as f64
        };
        let middle = mean(&|days| of(&days[0]));
        let square = mean(&|days| (of(&days[0]) - middle).powi(2));
        let both = mean(&|days| (of(&days[0]) - middle) * (of(&days[1]) - middle));
        [middle, square.sqrt(), both / square]
    }

    #[test]
    fn days_about_a_mean_clearness_have_it_and_remember() {
        // on the level the harvest goes with the light, and the light with the clearness asked for
        let level = skies("clearness = \"45 % ± 25 %\"\npersistence = \"60 %\"", "flat = true");
        let [mean, spread, memory] = moments(&drawn(&level), |day| day.sun);
        let clear_day = {
            let place = sky::Place::new(36.1, -79.95, 0.0).unwrap();
            let start = place.mean_midnight("2027-01-14".parse().unwrap()).unwrap();
            sky::LevelDay::from(&place, start, 3.0).unwrap().clear_day()
        };
        let standard = 0.25 / plan::COVERAGE_95;
        // under cloud cells stay cool, and the cover keeps nothing back as it does of a low sun's
        // beam: the harvest loses a little less than the light, by a tenth at most
        let more = mean / (0.45 / clear_day);
        assert!((1.0..1.1).contains(&more), "mean {mean}, {more} of the light's");
        let wider = spread / (standard / clear_day);
        assert!((0.9..1.1).contains(&wider), "spread {spread}, {wider} of the light's");
        assert!((0.52..0.62).contains(&memory), "memory {memory}");
        let central = level.central()[0];
        assert!((central.sun - mean).abs() < 0.01, "central {central:?}, drawn {mean}");
        let [clear, ..] = moments(&drawn(&level), |day| day.clear);
        assert!((central.clear - clear).abs() < 0.01, "central {central:?}, drawn {clear}");
        let [low, high] = level.range(0);
        assert!(low < mean - spread && mean + spread < high, "{low} to {high}");
        // a panel that faces the sun loses its beam: more is lost than on the level
        let upright = skies("clearness = \"45 % ± 25 %\"", "tilt = \"60°\"\nazimuth = \"180°\"");
        assert!(upright.central()[0].sun < central.sun - 0.03, "{:?}", upright.central()[0]);
    }

    #[test]
    fn days_of_a_file_come_in_their_order() {
        let file = skies("file = \"tmy3-723170-greensboro-jan-jul.csv\"", "flat = true");
        let Suns::Stock(stock) = &file.suns else { panic!("{file:?}") };
        let draws = drawn(&file);
        let known = stock.means().len();
        assert_eq!((known, draws[0].len()), (4, 4));
        for (evening, central) in file.central().iter().enumerate() {
            let mean = draws.iter().map(|days| days[evening].sun).sum::<f64>() / draws.len() as f64;
            // five standard errors; later days lean to the end of the file, where there are no next
            assert!((mean - central.sun).abs() < 0.03, "{mean}, {central:?}");
        }
        // cold and clear, warm and dull come as they came, day after day
        let warm = moments(&draws, |day| day.air_k);
        assert!(warm[1] > 2.0 && warm[2] > 0.3, "{warm:?}");
        // so does how damp they were
        let damp = moments(&draws, |day| day.dew_k);
        assert!(damp[0].abs() < 0.5 && damp[1] > 1.0 && damp[2] > 0.2, "{damp:?}");
        let again = drawn(&file);
        assert_eq!(draws, again);
    }
}
