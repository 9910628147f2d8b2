//! The file's days, and those that belong to a season.

use jiff::civil::Date;
use jiff::{SignedDuration, Timestamp, tz::TimeZone};

use super::Weather;
use super::text::instant;
use crate::{DayAir, Error, LevelDay, Steps};

/// One whole day of a weather file, in the terms the draws use.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeatherDay {
    /// Its date by the file's clock.
    pub date: Date,
    /// Light on the level over that outside the air.
    pub clearness: f64,
    /// Light on the level over that of a clear sky.
    pub share_of_clear: f64,
    /// Lowest and highest air temperature; absent where the file has none.
    pub air: Option<DayAir>,
    /// Mean dew point; absent where the file has none.
    pub dew_point_c: Option<f64>,
}

const DAY_S: f64 = 86_400.0;

impl Weather {
    /// The dates that have a reading, by the file's clock, in order.
    #[must_use]
    pub fn dates(&self) -> Vec<Date> {
        let mut dates: Vec<Date> =
            self.readings.iter().filter_map(|reading| self.date_of(reading.start)).collect();
        dates.dedup();
        dates
    }

    /// A date from midnight to midnight by the file's clock, at the file's own steps; for a
    /// typical year any date.
    ///
    /// # Errors
    /// When the date lies outside the years 1950 to 2100.
    pub fn day(&self, date: Date) -> Result<Steps, Error> {
        let outside = || Error::Date { read: date.to_string() };
        let start = instant(date, 0, self.clock_h).ok_or_else(outside)?;
        let count = (DAY_S / self.interval_s).round() as usize;
        Ok(Steps { start, step_s: self.interval_s, count })
    }

    /// The whole days (every reading with light) within so many days of a date's place in the
    /// year, from whatever year: a stock of real days to draw from. Neighbours in the list that
    /// are neighbours in the calendar keep the weather's memory.
    ///
    /// # Errors
    /// When the turbidity can't be or a date lies outside the years 1950 to 2100.
    pub fn season(
        &self,
        around: Date,
        within_days: u16,
        turbidity: f64,
    ) -> Result<Vec<WeatherDay>, Error> {
        let mut days = Vec::new();
        for date in self.dates() {
            let apart = (i32::from(date.day_of_year()) - i32::from(around.day_of_year())).abs();
            if apart.min(365 - apart) <= i32::from(within_days)
                && let Some(day) = self.whole_day(date, turbidity)?
            {
                days.push(day);
            }
        }
        Ok(days)
    }

    fn whole_day(&self, date: Date, turbidity: f64) -> Result<Option<WeatherDay>, Error> {
        let steps = self.day(date)?;
        let level = LevelDay::from(&self.place, steps.start, turbidity)?;
        let mut light_wh_m2 = 0.0;
        let mut air: Option<DayAir> = None;
        let mut dew = (0.0, 0_usize);
        for step in 0..steps.count {
            let at = crate::time::later(steps.start, (step as f64 + 0.5) * steps.step_s);
            let Some(reading) = self.reading_at(at) else { return Ok(None) };
            let Some(ghi_w_m2) = reading.ghi_w_m2 else { return Ok(None) };
            light_wh_m2 += ghi_w_m2.max(0.0) * steps.step_s / 3600.0;
            if let Some(air_c) = reading.air_c {
                let so_far = air.unwrap_or(DayAir { lowest_c: air_c, highest_c: air_c });
                air = Some(DayAir {
                    lowest_c: so_far.lowest_c.min(air_c),
                    highest_c: so_far.highest_c.max(air_c),
                });
            }
            if let Some(dew_point_c) = reading.dew_point_c {
                dew = (dew.0 + dew_point_c, dew.1 + 1);
            }
        }
        let clearness = level.clearness_of_peak_sun_hours(light_wh_m2 / 1000.0);
        Ok(Some(WeatherDay {
            date,
            clearness,
            share_of_clear: level.share_of_clear(clearness),
            air,
            dew_point_c: (dew.1 > 0).then(|| dew.0 / dew.1 as f64),
        }))
    }

    fn date_of(&self, at: Timestamp) -> Option<Date> {
        let ahead = SignedDuration::from_secs((self.clock_h * 3600.0) as i64);
        Some(at.checked_add(ahead).ok()?.to_zoned_datetime(TimeZone::UTC).date())
    }
}

#[cfg(test)]
mod tests {
    use super::super::check::{TYPICAL_YEAR, in_typical_year};
    use super::*;

    #[test]
    fn typical_years_have_no_leap_day() {
        let leap: Timestamp = "2024-02-29T12:00Z".parse().unwrap();
        let there = in_typical_year(leap, -5.0);
        assert_eq!(there, format!("{TYPICAL_YEAR}-02-28T12:00Z").parse().unwrap());
        // By the station's clock, not by UTC.
        let new_year: Timestamp = "2024-01-01T02:00Z".parse().unwrap();
        let there = in_typical_year(new_year, -5.0);
        assert_eq!(there, format!("{}-01-01T02:00Z", TYPICAL_YEAR + 1).parse().unwrap());
    }
}
