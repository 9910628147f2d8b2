//! The turning Earth: nutation, sidereal time, and where an observer stands on it.

use crate::Place;
use crate::time::centuries_tt;

/// Nutation of the axis and the obliquity of the ecliptic.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Nutation {
    /// In longitude, degrees.
    pub(crate) longitude_deg: f64,
    /// True obliquity of date, degrees.
    pub(crate) obliquity_deg: f64,
}

/// Multiples of D, M, M', F, Ω; sine coefficient of Δψ and cosine coefficient of Δε in 0.0001″,
/// with their change a century.
///
/// The largest terms of the IAU 1980 theory (Seidelmann 1982; Meeus, *Astronomical Algorithms*,
/// table 22.A). What is left out stays below 0.03″.
const TERMS: [([f64; 5], [f64; 2], [f64; 2]); 24] = [
    ([0.0, 0.0, 0.0, 0.0, 1.0], [-171_996.0, -174.2], [92_025.0, 8.9]),
    ([-2.0, 0.0, 0.0, 2.0, 2.0], [-13_187.0, -1.6], [5_736.0, -3.1]),
    ([0.0, 0.0, 0.0, 2.0, 2.0], [-2_274.0, -0.2], [977.0, -0.5]),
    ([0.0, 0.0, 0.0, 0.0, 2.0], [2_062.0, 0.2], [-895.0, 0.5]),
    ([0.0, 1.0, 0.0, 0.0, 0.0], [1_426.0, -3.4], [54.0, -0.1]),
    ([0.0, 0.0, 1.0, 0.0, 0.0], [712.0, 0.1], [-7.0, 0.0]),
    ([-2.0, 1.0, 0.0, 2.0, 2.0], [-517.0, 1.2], [224.0, -0.6]),
    ([0.0, 0.0, 0.0, 2.0, 1.0], [-386.0, -0.4], [200.0, 0.0]),
    ([0.0, 0.0, 1.0, 2.0, 2.0], [-301.0, 0.0], [129.0, -0.1]),
    ([-2.0, -1.0, 0.0, 2.0, 2.0], [217.0, -0.5], [-95.0, 0.3]),
    ([-2.0, 0.0, 1.0, 0.0, 0.0], [-158.0, 0.0], [0.0, 0.0]),
    ([-2.0, 0.0, 0.0, 2.0, 1.0], [129.0, 0.1], [-70.0, 0.0]),
    ([0.0, 0.0, -1.0, 2.0, 2.0], [123.0, 0.0], [-53.0, 0.0]),
    ([2.0, 0.0, 0.0, 0.0, 0.0], [63.0, 0.0], [0.0, 0.0]),
    ([0.0, 0.0, 1.0, 0.0, 1.0], [63.0, 0.1], [-33.0, 0.0]),
    ([2.0, 0.0, -1.0, 2.0, 2.0], [-59.0, 0.0], [26.0, 0.0]),
    ([0.0, 0.0, -1.0, 0.0, 1.0], [-58.0, -0.1], [32.0, 0.0]),
    ([0.0, 0.0, 1.0, 2.0, 1.0], [-51.0, 0.0], [27.0, 0.0]),
    ([-2.0, 0.0, 2.0, 0.0, 0.0], [48.0, 0.0], [0.0, 0.0]),
    ([0.0, 0.0, -2.0, 2.0, 1.0], [46.0, 0.0], [-24.0, 0.0]),
    ([2.0, 0.0, 0.0, 2.0, 2.0], [-38.0, 0.0], [16.0, 0.0]),
    ([0.0, 0.0, 2.0, 2.0, 2.0], [-31.0, 0.0], [13.0, 0.0]),
    ([0.0, 0.0, 2.0, 0.0, 0.0], [29.0, 0.0], [0.0, 0.0]),
    ([-2.0, 0.0, 1.0, 2.0, 2.0], [29.0, 0.0], [-12.0, 0.0]),
];

/// Nutation and obliquity at Julian centuries of terrestrial time since J2000 (Meeus, ch. 22).
pub(crate) fn nutation(t: f64) -> Nutation {
    let arguments = [
        297.850_36 + t * (445_267.111_480 + t * (-0.001_914_2 + t / 189_474.0)),
        357.527_72 + t * (35_999.050_340 + t * (-0.000_160_3 - t / 300_000.0)),
        134.962_98 + t * (477_198.867_398 + t * (0.008_697_2 + t / 56_250.0)),
        93.271_91 + t * (483_202.017_538 + t * (-0.003_682_5 + t / 327_270.0)),
        125.044_52 + t * (-1_934.136_261 + t * (0.002_070_8 + t / 450_000.0)),
    ];
    let (mut longitude, mut obliquity) = (0.0, 0.0);
    for (multiples, [psi, psi_t], [epsilon, epsilon_t]) in &TERMS {
        let angle_deg: f64 = multiples.iter().zip(&arguments).map(|(m, a)| m * a).sum();
        let (sin, cos) = angle_deg.rem_euclid(360.0).to_radians().sin_cos();
        longitude += (psi + psi_t * t) * sin;
        obliquity += (epsilon + epsilon_t * t) * cos;
    }
    let mean_arcsec = 84_381.448 + t * (-46.8150 + t * (-0.000_59 + t * 0.001_813));
    Nutation {
        longitude_deg: longitude / 3.6e7,
        obliquity_deg: (mean_arcsec + obliquity / 1e4) / 3600.0,
    }
}

/// Greenwich mean sidereal angle without its slow quadratic part, degrees, at days of universal
/// time since J2000 (Meeus, equation 12.4).
pub(crate) fn mean_sidereal_deg(days: f64) -> f64 {
    // Whole days turn the Earth by whole turns plus a little: keeps the digits of the angle.
    (280.460_618_37 + 0.985_647_366_29 * days + 360.0 * days.fract()).rem_euclid(360.0)
}

/// What apparent sidereal time has beyond [`mean_sidereal_deg`]: the quadratic part and the
/// equation of the equinoxes, degrees.
pub(crate) fn sidereal_correction_deg(days: f64, nutation: &Nutation) -> f64 {
    let t = centuries_tt(days);
    0.000_387_933 * t * t + nutation.longitude_deg * nutation.obliquity_deg.to_radians().cos()
}

/// An observer's place in the frame of the turning Earth.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Observer {
    /// Distance from the axis, km.
    pub(crate) from_axis_km: f64,
    /// Distance above the plane of the equator, km.
    pub(crate) above_equator_km: f64,
    /// Sine and cosine of the geodetic latitude.
    pub(crate) latitude_sin_cos: (f64, f64),
    /// Longitude, degrees east.
    pub(crate) longitude_deg: f64,
}

impl Observer {
    /// On the WGS 84 ellipsoid (NIMA TR8350.2: a = 6378.137 km, 1/f = 298.257223563).
    pub(crate) fn at(place: &Place) -> Self {
        const EQUATOR_KM: f64 = 6378.137;
        const FLATTENING: f64 = 1.0 / 298.257_223_563;
        let (sin, cos) = place.latitude_deg().to_radians().sin_cos();
        let squeeze = (1.0 - FLATTENING) * (1.0 - FLATTENING);
        let normal_km = EQUATOR_KM / (cos * cos + squeeze * sin * sin).sqrt();
        let height_km = place.elevation_m() / 1000.0;
        Self {
            from_axis_km: (normal_km + height_km) * cos,
            above_equator_km: (normal_km * squeeze + height_km) * sin,
            latitude_sin_cos: (sin, cos),
            longitude_deg: place.longitude_deg(),
        }
    }
}
