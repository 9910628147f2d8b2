//! The moon by the series of Meeus, *Astronomical Algorithms* (2nd ed. 1998), chapters 47 and 48.

mod series;

use jiff::Timestamp;

use crate::earth::nutation;
use crate::time::{centuries_tt, days_since_j2000};
use crate::track::{Geocentric, seen};
use crate::{Error, Place, sun};

/// Radius of the moon, km (IAU mean).
pub(crate) const RADIUS_KM: f64 = 1737.4;

/// Where the moon stands and how it is lit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moon {
    /// Altitude of the centre, airless, as seen from the place.
    pub altitude_deg: f64,
    /// Azimuth from north over east.
    pub azimuth_deg: f64,
    /// Distance from the place.
    pub distance_km: f64,
    /// Lit share of the disc, 0 new to 1 full, as seen from the Earth's centre.
    pub lit_fraction: f64,
}

/// The moon at one instant: within about 0.005°, lit fraction within 0.0001.
///
/// # Errors
/// When the instant lies outside the years 1950 to 2100.
pub fn moon_at(place: &Place, at: Timestamp) -> Result<Moon, Error> {
    let days = days_since_j2000(at)?;
    let geocentric = geocentric_km(days);
    let seen = seen(place, days, geocentric);
    Ok(Moon {
        altitude_deg: seen.altitude_deg(),
        azimuth_deg: seen.azimuth_deg(),
        distance_km: seen.distance_km,
        lit_fraction: lit_fraction(geocentric, sun::geocentric_km(days)),
    })
}

/// Apparent geocentric place on the equator of date.
pub(crate) fn geocentric_km(days: f64) -> Geocentric {
    let t = centuries_tt(days);
    let ecliptic = series::ecliptic(t);
    let nutation = nutation(t);
    let (sin_lon, cos_lon) =
        (ecliptic.longitude_deg + nutation.longitude_deg).to_radians().sin_cos();
    let (sin_lat, cos_lat) = ecliptic.latitude_deg.to_radians().sin_cos();
    let (sin_eps, cos_eps) = nutation.obliquity_deg.to_radians().sin_cos();
    let [x, y, z] = [cos_lat * cos_lon, cos_lat * sin_lon, sin_lat];
    [x, y * cos_eps - z * sin_eps, y * sin_eps + z * cos_eps]
        .map(|axis| axis * ecliptic.distance_km)
}

/// Lit share of the disc from the places of moon and sun (Meeus, equations 48.1 and 48.3).
fn lit_fraction(moon: Geocentric, sun: Geocentric) -> f64 {
    let to_sun = [sun[0] - moon[0], sun[1] - moon[1], sun[2] - moon[2]];
    let dot = |a: Geocentric, b: Geocentric| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
    // Cosine of the angle at the moon between the sun and the Earth.
    let cos_phase = -dot(to_sun, moon) / (dot(to_sun, to_sun) * dot(moon, moon)).sqrt();
    f64::midpoint(1.0, cos_phase).clamp(0.0, 1.0)
}
