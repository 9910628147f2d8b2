//! Sunlight outside the air and under a cloudless sky.

use std::f64::consts::TAU;

/// Turbidity taken where nothing better is known: "clear, warm air" in the usual grading of the
/// Linke factor (2 very clear cold air, 3 clear warm air, 4 to 6 moist or stagnant air, above 6
/// polluted; from memory of Kasten 1996, *Solar Energy* 56).
pub const CLEAR_AIR_TURBIDITY: f64 = 3.0;

/// The mean of sunlight outside the air, W/m², as Spencer's series is used with.
const SOLAR_CONSTANT_W_M2: f64 = 1366.1;
const SEA_LEVEL_PA: f64 = 101_325.0;

/// Sunlight on the ground.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Irradiance {
    /// Global, on the level.
    pub ghi_w_m2: f64,
    /// Beam, on a plane that faces the sun.
    pub dni_w_m2: f64,
    /// Diffuse, on the level.
    pub dhi_w_m2: f64,
}

/// Beam outside the air by day of the year, 1 to 366 (Spencer 1971).
#[must_use]
pub fn extraterrestrial_w_m2(day_of_year: u16) -> f64 {
    let angle = TAU * (f64::from(day_of_year) - 1.0) / 365.0;
    let (sin, cos) = angle.sin_cos();
    let (sin_2, cos_2) = (2.0 * angle).sin_cos();
    SOLAR_CONSTANT_W_M2
        * (1.000_11 + 0.034_221 * cos + 0.001_28 * sin + 0.000_719 * cos_2 + 0.000_077 * sin_2)
}

/// How much air the beam crosses, 1 for a sun overhead at sea level (Kasten & Young 1989). Of the
/// apparent altitude, at or above the horizon.
#[must_use]
pub fn relative_air_mass(apparent_altitude_deg: f64) -> f64 {
    let altitude_deg = apparent_altitude_deg.max(0.0);
    let sin = altitude_deg.to_radians().sin();
    air_mass(sin, altitude_deg)
}

/// [`relative_air_mass`] for a caller who has the sine already.
pub(crate) fn air_mass(sin_altitude: f64, altitude_deg: f64) -> f64 {
    1.0 / (sin_altitude + 0.505_72 * (altitude_deg + 6.079_95).powf(-1.6364))
}

/// The cloudless sky over one place: what does not change with the sun.
#[derive(Debug, Clone, Copy)]
pub struct ClearSky {
    turbidity: f64,
    pressure_ratio: f64,
    cg1: f64,
    cg2: f64,
    haze: f64,
    beam: f64,
    beam_limit: f64,
}

impl ClearSky {
    /// The model of Ineichen & Perez 2002 (*Solar Energy* 73) at a height and a pressure, for a
    /// Linke turbidity at air mass 2.
    #[must_use]
    pub fn new(elevation_m: f64, pressure_pa: f64, turbidity: f64) -> Self {
        let fh1 = (-elevation_m / 8000.0).exp();
        let fh2 = (-elevation_m / 1250.0).exp();
        Self {
            turbidity,
            pressure_ratio: pressure_pa / SEA_LEVEL_PA,
            cg1: 5.09e-5 * elevation_m + 0.868,
            cg2: 3.92e-5 * elevation_m + 0.0387,
            haze: fh1 + fh2 * (turbidity - 1.0),
            beam: 0.664 + 0.163 / fh1,
            beam_limit: 1.0 - (0.1 - 0.2 * (-turbidity).exp()) / (0.1 + 0.882 / fh1),
        }
    }

    /// Sunlight for a sun at an apparent altitude and a beam outside the air; none with the sun
    /// below the horizon.
    #[must_use]
    pub fn at(&self, apparent_altitude_deg: f64, extraterrestrial_w_m2: f64) -> Irradiance {
        if apparent_altitude_deg <= 0.0 {
            return Irradiance::default();
        }
        let sin = apparent_altitude_deg.to_radians().sin();
        self.under(sin, air_mass(sin, apparent_altitude_deg), extraterrestrial_w_m2)
    }

    /// [`ClearSky::at`] for a caller who has sine and air mass already.
    pub(crate) fn under(&self, sin: f64, relative_air_mass: f64, outside_w_m2: f64) -> Irradiance {
        let air_mass = relative_air_mass * self.pressure_ratio;
        let ghi_w_m2 = self.cg1 * outside_w_m2 * sin * (-self.cg2 * air_mass * self.haze).exp();
        let beam = self.beam * (-0.09 * air_mass * (self.turbidity - 1.0)).exp();
        let most_w_m2 = ghi_w_m2 * (self.beam_limit / sin).max(0.0);
        let dni_w_m2 = (outside_w_m2 * beam).min(most_w_m2);
        Irradiance { ghi_w_m2, dni_w_m2, dhi_w_m2: ghi_w_m2 - dni_w_m2 * sin }
    }
}
