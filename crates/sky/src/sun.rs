//! The sun by the Solar Position Algorithm (Reda & Andreas 2004, NREL/TP-560-34302).

use jiff::Timestamp;
use solar_positioning::{Location, SolarPositions, time::JulianDate};

use crate::time::{days_since_j2000, delta_t_s};
use crate::track::Geocentric;
use crate::{Error, Place};

const J2000_JD: f64 = 2_451_545.0;
pub(crate) const AU_KM: f64 = 149_597_870.7;
/// Radius of the sun's disc as SPA takes it.
const DISC_RADIUS_DEG: f64 = 0.266_67;
/// Refraction at the horizon as SPA takes it.
const HORIZON_REFRACTION_DEG: f64 = 0.5667;

/// Where the sun stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sun {
    /// Altitude of the centre, airless.
    pub altitude_deg: f64,
    /// Azimuth from north over east.
    pub azimuth_deg: f64,
    /// Distance from the Earth, astronomical units.
    pub distance_au: f64,
}

impl Sun {
    /// Altitude as refraction lifts it, see [`refraction_deg`].
    #[must_use]
    pub fn apparent_altitude_deg(&self, pressure_pa: f64, temperature_c: f64) -> f64 {
        self.altitude_deg + refraction_deg(self.altitude_deg, pressure_pa, temperature_c)
    }
}

/// The sun at one instant, within 0.0003° (the algorithm's own statement).
///
/// # Errors
/// When the instant lies outside the years 1950 to 2100.
pub fn sun_at(place: &Place, at: Timestamp) -> Result<Sun, Error> {
    let days = days_since_j2000(at)?;
    let outside = |_| Error::Date { read: at.to_string() };
    let prepared = SolarPositions::new()
        .for_time_from_julian(julian(days).map_err(outside)?)
        .map_err(outside)?;
    let location = Location { latitude: place.latitude_deg(), longitude: place.longitude_deg() };
    let position = prepared.at(location, place.elevation_m(), None).map_err(outside)?;
    Ok(Sun {
        altitude_deg: position.elevation_angle(),
        azimuth_deg: position.azimuth(),
        distance_au: prepared.earth_radius_vector().unwrap_or(1.0),
    })
}

/// How far the air lifts a body standing at an airless altitude (SPA, equation 42); nothing once
/// the whole disc is below the horizon.
#[must_use]
pub fn refraction_deg(altitude_deg: f64, pressure_pa: f64, temperature_c: f64) -> f64 {
    if altitude_deg < -(DISC_RADIUS_DEG + HORIZON_REFRACTION_DEG) {
        return 0.0;
    }
    let bent_deg = (altitude_deg + 10.3 / (altitude_deg + 5.11)).to_radians();
    pressure_pa / 101_000.0 * 283.0 / (273.0 + temperature_c) * 1.02 / (60.0 * bent_deg.tan())
}

/// Apparent geocentric place on the equator of date.
pub(crate) fn geocentric_km(days: f64) -> Geocentric {
    let prepared = julian(days).and_then(|jd| SolarPositions::new().for_time_from_julian(jd));
    // The algorithm covers −2000 to 6000 and the days were checked to lie in 1950–2100.
    let Ok(prepared) = prepared else { return [AU_KM, 0.0, 0.0] };
    let distance_km = prepared.earth_radius_vector().unwrap_or(1.0) * AU_KM;
    let (sin_ra, cos_ra) = prepared.right_ascension().to_radians().sin_cos();
    let (sin_dec, cos_dec) = prepared.declination().to_radians().sin_cos();
    [distance_km * cos_dec * cos_ra, distance_km * cos_dec * sin_ra, distance_km * sin_dec]
}

fn julian(days: f64) -> solar_positioning::Result<JulianDate> {
    JulianDate::new(J2000_JD + days, delta_t_s(days))
}
