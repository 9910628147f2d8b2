//! Where the night is spent.

use jiff::civil::Date;
use jiff::{Timestamp, tz::TimeZone};

use quantity::within;

use crate::error::Error;
use crate::time::{SECONDS_PER_DAY, later};

/// A point on the ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    latitude_deg: f64,
    longitude_deg: f64,
    elevation_m: f64,
}

impl Place {
    /// A place by latitude (north positive), longitude (east positive) and height above the sea.
    ///
    /// # Errors
    /// When a number is not one of a place on the ground: latitude within ±90°, longitude within
    /// ±180°, elevation from −500 m (the Dead Sea's shore lies at −430 m) to 9000 m.
    pub fn new(latitude_deg: f64, longitude_deg: f64, elevation_m: f64) -> Result<Self, Error> {
        Ok(Self {
            latitude_deg: within("the latitude", latitude_deg, (-90.0, 90.0), "°")?,
            longitude_deg: within("the longitude", longitude_deg, (-180.0, 180.0), "°")?,
            elevation_m: within("the elevation", elevation_m, (-500.0, 9000.0), "m")?,
        })
    }

    /// Latitude, north positive.
    #[must_use]
    pub fn latitude_deg(&self) -> f64 {
        self.latitude_deg
    }

    /// Longitude, east positive.
    #[must_use]
    pub fn longitude_deg(&self) -> f64 {
        self.longitude_deg
    }

    /// Height above the sea.
    #[must_use]
    pub fn elevation_m(&self) -> f64 {
        self.elevation_m
    }

    /// Noon by the mean sun of the place's own meridian, rounded to the minute.
    ///
    /// # Errors
    /// When the date lies outside the years 1950 to 2100.
    pub fn mean_noon(&self, date: Date) -> Result<Timestamp, Error> {
        let outside = || Error::Date { read: date.to_string() };
        if !(1950..=2100).contains(&date.year()) {
            return Err(outside());
        }
        let noon = date.at(12, 0, 0, 0).to_zoned_datetime(TimeZone::UTC).map_err(|_| outside())?;
        let ahead_min = (self.longitude_deg * 4.0).round();
        Ok(later(noon.timestamp(), -60.0 * ahead_min))
    }

    /// The whole hours by which a clock that follows the sun is ahead of UTC, as ships keep it at
    /// sea: within half an hour of the mean sun everywhere, whatever clock people live by.
    #[must_use]
    pub fn hours_ahead(&self) -> i8 {
        (self.longitude_deg / 15.0).round() as i8
    }

    /// That clock.
    #[must_use]
    pub fn hour_clock(&self) -> TimeZone {
        TimeZone::fixed(jiff::tz::offset(self.hours_ahead()))
    }

    /// The midnight twelve hours before [`Place::mean_noon`].
    ///
    /// # Errors
    /// As there.
    pub fn mean_midnight(&self, date: Date) -> Result<Timestamp, Error> {
        Ok(later(self.mean_noon(date)?, -SECONDS_PER_DAY / 2.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn impossible_coordinates_are_named() {
        let said = |place: Result<Place, Error>| place.unwrap_err().to_string();
        assert_eq!(said(Place::new(91.0, 0.0, 0.0)), "the latitude is 91 °; expected -90 to 90 °");
        assert!(said(Place::new(0.0, 181.0, 0.0)).starts_with("the longitude is 181 °"));
        assert!(said(Place::new(0.0, 0.0, f64::NAN)).starts_with("the elevation is NaN m"));
    }

    #[test]
    fn clocks_at_sea_are_within_half_an_hour_of_the_sun() {
        let ahead = [7.4, 7.6, -4.2, 170.1, -180.0]
            .map(|lon| Place::new(0.0, lon, 0.0).unwrap().hours_ahead());
        assert_eq!(ahead, [0, 1, 0, 11, -12]);
    }
}
