//! A body's way across the sky, fast: positions between nodes.
//!
//! A full series costs microseconds. A body's place among the stars moves so slowly that a cubic
//! between a few nodes a day is as good as the series, and what moves fast, the Earth's turning,
//! is exact and cheap. Both sun and moon are followed this way.

use jiff::Timestamp;

use crate::earth::{Observer, mean_sidereal_deg, nutation, sidereal_correction_deg};
use crate::time::{SECONDS_PER_DAY, centuries_tt, days_since_j2000};
use crate::{Error, Place, moon, sun};

/// Where a body stands as seen from a place: a unit vector and a distance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Direction {
    /// East part of the unit vector.
    pub east: f64,
    /// North part of the unit vector.
    pub north: f64,
    /// Upward part of the unit vector: the sine of the airless altitude.
    pub up: f64,
    /// Distance from the place, km.
    pub distance_km: f64,
}

impl Direction {
    /// Altitude of the centre above the level horizon, without refraction.
    #[must_use]
    pub fn altitude_deg(&self) -> f64 {
        self.up.clamp(-1.0, 1.0).asin().to_degrees()
    }

    /// Azimuth from north over east, 0 to 360.
    #[must_use]
    pub fn azimuth_deg(&self) -> f64 {
        self.east.atan2(self.north).to_degrees().rem_euclid(360.0)
    }
}

/// Geocentric place of a body on the equator of date, km.
pub(crate) type Geocentric = [f64; 3];

/// A body followed from one instant to a later one at a place.
#[derive(Debug, Clone)]
pub struct Track {
    observer: Observer,
    start_days: f64,
    node_days: f64,
    /// For each stretch between nodes, the cubic of each coordinate.
    stretches: Vec<[[f64; 4]; 3]>,
}

impl Track {
    /// The sun, followed for a number of seconds. Within 0.0001° of the full series.
    ///
    /// # Errors
    /// When the instants lie outside the years 1950 to 2100.
    pub fn of_sun(place: &Place, start: Timestamp, length_s: f64) -> Result<Self, Error> {
        Self::of(place, start, length_s, 1.0, sun::geocentric_km)
    }

    /// The moon, followed for a number of seconds. Within 0.0001° of the full series.
    ///
    /// # Errors
    /// When the instants lie outside the years 1950 to 2100.
    pub fn of_moon(place: &Place, start: Timestamp, length_s: f64) -> Result<Self, Error> {
        Self::of(place, start, length_s, 0.25, moon::geocentric_km)
    }

    fn of(
        place: &Place,
        start: Timestamp,
        length_s: f64,
        node_days: f64,
        body: impl Fn(f64) -> Geocentric,
    ) -> Result<Self, Error> {
        let start_days = days_since_j2000(start)?;
        let length_days = length_s.max(0.0) / SECONDS_PER_DAY;
        days_since_j2000(crate::time::later(start, length_s.max(0.0)))?;
        let stretches = (length_days / node_days).floor() as usize + 1;
        // One node beyond each end serves the outer cubics.
        let nodes: Vec<Geocentric> = (0..stretches + 3)
            .map(|node| {
                let days = start_days + (node as f64 - 1.0) * node_days;
                turning_with_mean_equinox(days, body(days))
            })
            .collect();
        let stretches = nodes
            .windows(4)
            .map(|w| [0, 1, 2].map(|axis| cubic([w[0][axis], w[1][axis], w[2][axis], w[3][axis]])))
            .collect();
        Ok(Self { observer: Observer::at(place), start_days, node_days, stretches })
    }

    /// Where the body stands some seconds after the start; beyond the ends, the outer cubic
    /// carries on.
    #[must_use]
    pub fn at(&self, elapsed_s: f64) -> Direction {
        let elapsed_days = elapsed_s / SECONDS_PER_DAY;
        let along = elapsed_days / self.node_days;
        let stretch = (along.max(0.0) as usize).min(self.stretches.len().saturating_sub(1));
        let Some(cubics) = self.stretches.get(stretch) else {
            return Direction { east: 0.0, north: 0.0, up: -1.0, distance_km: 0.0 };
        };
        let u = along - stretch as f64;
        let place = |c: &[f64; 4]| c[0] + u * (c[1] + u * (c[2] + u * c[3]));
        let [x, y, z] = [place(&cubics[0]), place(&cubics[1]), place(&cubics[2])];
        seen_from(&self.observer, self.start_days + elapsed_days, [x, y, z])
    }
}

/// A geocentric place as seen by an observer.
fn seen_from(observer: &Observer, days: f64, [x, y, z]: Geocentric) -> Direction {
    let turned = (mean_sidereal_deg(days) + observer.longitude_deg).to_radians();
    let (sin, cos) = turned.sin_cos();
    // From the Earth's centre to the observer, who stands on the meridian after the turn.
    let outward = x * cos + y * sin - observer.from_axis_km;
    let eastward = y * cos - x * sin;
    let upward = z - observer.above_equator_km;
    let (sin, cos) = observer.latitude_sin_cos;
    let north = upward * cos - outward * sin;
    let up = upward * sin + outward * cos;
    let distance_km = (eastward * eastward + north * north + up * up).sqrt();
    Direction {
        east: eastward / distance_km,
        north: north / distance_km,
        up: up / distance_km,
        distance_km,
    }
}

/// A body seen at one instant, from its geocentric place on the equator of date.
pub(crate) fn seen(place: &Place, days: f64, geocentric: Geocentric) -> Direction {
    seen_from(&Observer::at(place), days, turning_with_mean_equinox(days, geocentric))
}

/// Turns a geocentric place back by what apparent sidereal time has beyond its linear part, so
/// that the linear part alone turns the Earth.
fn turning_with_mean_equinox(days: f64, [x, y, z]: Geocentric) -> Geocentric {
    let correction_deg = sidereal_correction_deg(days, &nutation(centuries_tt(days)));
    let (sin, cos) = correction_deg.to_radians().sin_cos();
    [x * cos + y * sin, y * cos - x * sin, z]
}

/// Coefficients in u of the cubic through values at u = −1, 0, 1, 2.
fn cubic([a, b, c, d]: [f64; 4]) -> [f64; 4] {
    [b, -a / 3.0 - b / 2.0 + c - d / 6.0, (a + c) / 2.0 - b, (b - c) / 2.0 + (d - a) / 6.0]
}
