//! Air temperature and dew point through the day, from the day's lowest and highest.

use jiff::Timestamp;
use jiff::civil::Date;

use crate::{Error, Night, Place};

/// Hours from local mean noon to the warmest of the day: 14:00 (de Wit et al. 1978).
const WARMEST_AFTER_NOON_S: f64 = 2.0 * 3600.0;
/// Coldest, from local mean midnight, where the sun does not rise.
const COLDEST_WITHOUT_SUNRISE_S: f64 = 6.0 * 3600.0;

/// One date's air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DayAir {
    /// Lowest, at sunrise of the date.
    pub lowest_c: f64,
    /// Highest, in the afternoon of the date.
    pub highest_c: f64,
}

/// Temperature along the days: knots at each lowest and highest, half a cosine between.
///
/// The lowest comes at sunrise, the highest at 14:00 local mean time (de Wit, Goudriaan & van Laar
/// 1978, *Simulation of Assimilation, Respiration and Transpiration of Crops*; compared with
/// others by Reicosky et al. 1989, *Agricultural and Forest Meteorology* 46).
#[derive(Debug, Clone, PartialEq)]
pub struct AirCurve {
    knots: Vec<(Timestamp, f64)>,
}

impl AirCurve {
    /// The curve over a row of dates from the first, each with its lowest and highest. Before the
    /// first knot and after the last the temperature stays.
    ///
    /// # Errors
    /// When a date lies outside the years 1950 to 2100.
    pub fn over(place: &Place, first: Date, days: &[DayAir]) -> Result<Self, Error> {
        let mut knots = Vec::with_capacity(2 * days.len());
        for (date, day) in first.series(jiff::Span::new().days(1)).zip(days) {
            let outside = |_| Error::Date { read: date.to_string() };
            // The window of the evening before ends at this date's noon and has its sunrise.
            let before = Night::of(place, date.yesterday().map_err(outside)?)?;
            let coldest = before.sunrise.unwrap_or_else(|| {
                crate::time::later(before.end, COLDEST_WITHOUT_SUNRISE_S - 12.0 * 3600.0)
            });
            knots.push((coldest, day.lowest_c));
            knots.push((crate::time::later(before.end, WARMEST_AFTER_NOON_S), day.highest_c));
        }
        Ok(Self { knots })
    }

    /// Air temperature at an instant.
    #[must_use]
    pub fn at_c(&self, at: Timestamp) -> f64 {
        let next = self.knots.partition_point(|(knot, _)| *knot <= at);
        let before = next.checked_sub(1).and_then(|i| self.knots.get(i));
        match (before, self.knots.get(next)) {
            (Some((from, a)), Some((to, b))) => {
                let along =
                    at.duration_since(*from).as_secs_f64() / to.duration_since(*from).as_secs_f64();
                let turned = (std::f64::consts::PI * along).cos();
                f64::midpoint(*a, *b) + (a - b) / 2.0 * turned
            }
            (Some((_, end)), None) | (None, Some((_, end))) => *end,
            (None, None) => f64::NAN,
        }
    }

    /// Air temperature hour by hour from an instant, for [`crate::AirTemperature::Hourly`].
    #[must_use]
    pub fn hourly_c(&self, start: Timestamp, hours: usize) -> Vec<f64> {
        (0..hours).map(|hour| self.at_c(crate::time::later(start, 3600.0 * hour as f64))).collect()
    }

    /// Dew point at an instant for a dew point that stays through the day: air that cools below it
    /// gives up water and takes its dew point along.
    #[must_use]
    pub fn dew_point_c(&self, at: Timestamp, daily_dew_point_c: f64) -> f64 {
        daily_dew_point_c.min(self.at_c(at))
    }
}

/// A row of days that wander about the usual lowest and highest: each day both are shifted by the
/// same departure of a spread (standard deviation, K), which remembers the day before by a share
/// (first-order autoregression); from independent standard normal draws, one a day.
#[must_use]
pub fn wandering_days(
    usual: DayAir,
    spread_k: f64,
    persistence: f64,
    normals: &[f64],
) -> Vec<DayAir> {
    let persistence = persistence.clamp(0.0, 0.99);
    let fresh = (1.0 - persistence * persistence).sqrt();
    let mut state: Option<f64> = None;
    normals
        .iter()
        .map(|draw| {
            let now = state.map_or(*draw, |before| persistence * before + fresh * draw);
            state = Some(now);
            let shift_k = spread_k * now;
            DayAir { lowest_c: usual.lowest_c + shift_k, highest_c: usual.highest_c + shift_k }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coldest_at_sunrise_warmest_after_noon() {
        let place = Place::new(50.0, 15.0, 300.0).unwrap();
        let days =
            [DayAir { lowest_c: 2.0, highest_c: 14.0 }, DayAir { lowest_c: 4.0, highest_c: 10.0 }];
        let first = Date::constant(2026, 10, 9);
        let curve = AirCurve::over(&place, first, &days).unwrap();
        let sunrise = Night::of(&place, first).unwrap().sunrise.unwrap();
        assert!((curve.at_c(sunrise) - 4.0).abs() < 1e-9);
        // 14:00 at 15° E is 13:00 UTC.
        let warmest: Timestamp = "2026-10-09T13:00Z".parse().unwrap();
        assert!((curve.at_c(warmest) - 14.0).abs() < 1e-9);
        assert_eq!(curve.at_c("2026-10-01T00:00Z".parse().unwrap()), 2.0);
        assert_eq!(curve.at_c("2026-10-20T00:00Z".parse().unwrap()), 10.0);
        // Half-way through the night, half-way down.
        let middle = warmest + sunrise.duration_since(warmest) / 2;
        assert!((curve.at_c(middle) - 9.0).abs() < 1e-3);
        assert_eq!(curve.dew_point_c(warmest, 6.0), 6.0);
        assert!((curve.dew_point_c(sunrise, 6.0) - 4.0).abs() < 1e-9);
        let hours = curve.hourly_c(warmest, 3);
        assert_eq!(hours.len(), 3);
        assert!(hours[0] > hours[1] && hours[1] > hours[2]);
    }

    #[test]
    fn a_polar_night_has_a_curve_too() {
        let place = Place::new(78.0, 15.0, 0.0).unwrap();
        let day = DayAir { lowest_c: -20.0, highest_c: -12.0 };
        let curve = AirCurve::over(&place, Date::constant(2026, 12, 20), &[day; 3]).unwrap();
        let all = curve.hourly_c("2026-12-20T00:00Z".parse().unwrap(), 72);
        assert!(all.iter().all(|c| (-20.0..=-12.0).contains(c)));
    }

    #[test]
    fn days_wander_by_the_spread_asked_for() {
        let usual = DayAir { lowest_c: 3.0, highest_c: 11.0 };
        let days = wandering_days(usual, 4.0, 0.6, &[1.0, 0.0, -0.5]);
        assert_eq!(days[0], DayAir { lowest_c: 7.0, highest_c: 15.0 });
        assert!((days[1].lowest_c - (3.0 + 4.0 * 0.6)).abs() < 1e-12);
        assert!((days[2].highest_c - (11.0 + 4.0 * (0.36 - 0.4))).abs() < 1e-12);
    }
}
