//! How a pack's capacity fades over the years.

use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use quantity::uncertainty::student_95;
use record::Record;

use crate::{Run, RunKind};

/// One capacity test of a pack.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CapacityTest {
    /// When it was.
    pub at: Timestamp,
    /// How many cycles the pack had behind it, where known.
    pub cycles: Option<f64>,
    /// What it gave (Ah).
    pub capacity_ah: f64,
}

impl CapacityTest {
    /// A discharge as a capacity test; nothing if the record does not tell its date, or if the run
    /// is none. A clock without a zone is taken as UTC, which is right to the day. Cycles are read
    /// from a line above the table that names them.
    #[must_use]
    pub fn of(record: &Record, run: &Run) -> Option<CapacityTest> {
        let discharge = run.discharge.as_ref().filter(|_| run.kind == RunKind::Discharge)?;
        let on_the_wall = || TimeZone::UTC.to_timestamp(record.local_start?).ok();
        let cycles = record.about.iter().find(|(name, _)| name.to_lowercase().contains("cycle"));
        Some(CapacityTest {
            at: run.start.or_else(on_the_wall)?,
            cycles: cycles.and_then(|(_, count)| count.trim().parse().ok()),
            capacity_ah: discharge.capacity_ah,
        })
    }
}

/// The trend of some capacity tests.
#[derive(Debug, Clone, PartialEq)]
pub struct Ageing {
    /// Against time, in years of 365.25 days since the first test.
    pub by_year: Trend,
    /// Against cycles, where all tests tell them.
    pub by_cycle: Option<Trend>,
    first: Timestamp,
    first_ah: f64,
}

/// When a pack has faded to four fifths.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct End {
    /// Of what: "the label" or "the first test".
    pub of: &'static str,
    /// When.
    pub reach: Reach,
}

/// A pack is called worn out at four fifths of its capacity (common practice, no source).
const WORN_OUT: f64 = 0.8;

/// A straight line through the tests, by ordinary least squares.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    /// Change per year or per cycle (Ah).
    pub slope_ah: f64,
    /// Half-width of its 95 % interval (Ah), with Student's t for n - 2.
    pub slope_u_ah: f64,
    /// Capacity at the first test, or at no cycles, on the line (Ah).
    pub intercept_ah: f64,
    /// Standard deviation of the tests about the line (Ah).
    pub residual_ah: f64,
    n: f64,
    mean_x: f64,
    sum_xx: f64,
}

/// When a trend comes down to a level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reach {
    /// The level (Ah).
    pub level_ah: f64,
    /// The best guess.
    pub date: Timestamp,
    /// Not before this, with 95 % for both ends together.
    pub earliest: Option<Timestamp>,
    /// Not after this; nothing if the trend is too weak to say.
    pub latest: Option<Timestamp>,
}

const YEAR_S: f64 = 365.25 * 86400.0;

impl Ageing {
    /// Of three tests or more on different dates; nothing of fewer.
    #[must_use]
    pub fn of(tests: &[CapacityTest]) -> Option<Ageing> {
        let CapacityTest { at: first, capacity_ah: first_ah, .. } =
            *tests.iter().min_by_key(|test| test.at)?;
        let years = |test: &CapacityTest| test.at.duration_since(first).as_secs_f64() / YEAR_S;
        let by_year = Trend::of(
            &tests.iter().map(|test| (years(test), test.capacity_ah)).collect::<Vec<_>>(),
        )?;
        let cycles: Option<Vec<(f64, f64)>> =
            tests.iter().map(|test| Some((test.cycles?, test.capacity_ah))).collect();
        let by_cycle = cycles.and_then(|cycles| Trend::of(&cycles));
        Some(Ageing { by_year, by_cycle, first, first_ah })
    }

    /// When the pack comes down to four fifths of its label (Ah), where one is given, and of its
    /// first test. Nothing of either if the trend does not lead there.
    #[must_use]
    pub fn ends(&self, rated_ah: Option<f64>) -> Vec<End> {
        let levels = [("the label", rated_ah), ("the first test", Some(self.first_ah))];
        let end = |(of, whole_ah): (&'static str, Option<f64>)| {
            Some(End { of, reach: self.reaches(WORN_OUT * whole_ah?)? })
        };
        levels.into_iter().filter_map(end).collect()
    }

    /// When the capacity falls to a level (Ah). Nothing if the trend does not lead there.
    #[must_use]
    pub fn reaches(&self, level_ah: f64) -> Option<Reach> {
        let [low, best, high] = self.by_year.reaches(level_ah)?;
        let date = |years: f64| {
            self.first.checked_add(SignedDuration::try_from_secs_f64(years * YEAR_S).ok()?).ok()
        };
        Some(Reach {
            level_ah,
            date: date(best?)?,
            earliest: low.and_then(date),
            latest: high.and_then(date),
        })
    }
}

impl Trend {
    fn of(points: &[(f64, f64)]) -> Option<Trend> {
        let n = points.len() as f64;
        if points.len() < 3 {
            return None;
        }
        let mean_x = points.iter().map(|(x, _)| x).sum::<f64>() / n;
        let mean_y = points.iter().map(|(_, y)| y).sum::<f64>() / n;
        let sum_xx = points.iter().map(|(x, _)| (x - mean_x).powi(2)).sum::<f64>();
        let sum_xy = points.iter().map(|(x, y)| (x - mean_x) * (y - mean_y)).sum::<f64>();
        if !(sum_xx > 0.0 && sum_xy.is_finite()) {
            return None;
        }
        let slope_ah = sum_xy / sum_xx;
        let intercept_ah = mean_y - slope_ah * mean_x;
        let residuals = points.iter().map(|(x, y)| (y - intercept_ah - slope_ah * x).powi(2));
        let residual_ah = (residuals.sum::<f64>() / (n - 2.0)).sqrt();
        let slope_u_ah = student_95(n - 2.0) * residual_ah / sum_xx.sqrt();
        Some(Trend { slope_ah, slope_u_ah, intercept_ah, residual_ah, n, mean_x, sum_xx })
    }

    /// Where the line reaches a level: the least, best and largest x of the 95 % interval, by
    /// inverse prediction of the mean line (Fieller, J. R. Stat. Soc. B 16 (1954) 175, from
    /// memory). An end is missing where a trend this weak may never get there.
    fn reaches(&self, level_ah: f64) -> Option<[Option<f64>; 3]> {
        let away_ah = self.intercept_ah + self.slope_ah * self.mean_x - level_ah;
        if self.slope_ah >= 0.0 {
            return None;
        }
        let best = self.mean_x - away_ah / self.slope_ah;
        // (away + slope d)² = t² s² (1/n + d²/Sxx), for d = x - mean of x
        let ts2 = (student_95(self.n - 2.0) * self.residual_ah).powi(2);
        let a = self.slope_ah.powi(2) - ts2 / self.sum_xx;
        let half_b = self.slope_ah * away_ah;
        let c = away_ah.powi(2) - ts2 / self.n;
        let inside = half_b * half_b - a * c;
        if a <= 0.0 || inside < 0.0 {
            return Some([None, Some(best), None]);
        }
        let [low, high] =
            [-1.0, 1.0].map(|sign| self.mean_x + (-half_b + sign * inside.sqrt()) / a);
        Some([Some(low), Some(best), Some(high)])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn test(days: i64, capacity_ah: f64) -> CapacityTest {
        let at = Timestamp::from_second(1_700_000_000 + days * 86400).unwrap();
        CapacityTest { at, cycles: None, capacity_ah }
    }

    #[test]
    fn too_little_to_say() {
        assert_eq!(Ageing::of(&[]), None);
        assert_eq!(Ageing::of(&[test(0, 40.0), test(300, 39.0)]), None);
        assert_eq!(Ageing::of(&[test(0, 40.0), test(0, 39.0), test(0, 39.5)]), None);
    }

    #[test]
    fn a_pack_that_does_not_fade_never_gets_there() {
        let ageing = Ageing::of(&[test(0, 40.0), test(300, 40.2), test(600, 40.4)]).unwrap();
        assert_eq!(ageing.reaches(32.0), None);
    }

    #[test]
    fn a_weak_trend_has_no_latest_date() {
        let ageing = Ageing::of(&[test(0, 40.0), test(300, 39.0), test(600, 39.9)]).unwrap();
        let reach = ageing.reaches(32.0).unwrap();
        assert_eq!((reach.earliest, reach.latest), (None, None));
    }
}
