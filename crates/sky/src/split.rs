//! Beam and diffuse from the global irradiance alone.

use crate::clear::Irradiance;

/// Clearness is taken of a sun no lower than this (cosine of the zenith).
const LEAST_COS_ZENITH: f64 = 0.065;
/// Below this altitude all light counts as diffuse: a beam from dividing two small numbers would
/// be noise.
const LEAST_ALTITUDE_DEG: f64 = 3.0;

/// Splits the global irradiance by the clearness it shows (Erbs, Klein & Duffie 1982, *Solar
/// Energy* 28). Negative values (the offset of instruments at night) count as none.
#[must_use]
pub fn split_global(ghi_w_m2: f64, altitude_deg: f64, extraterrestrial_w_m2: f64) -> Irradiance {
    let ghi_w_m2 = ghi_w_m2.max(0.0);
    let sin = altitude_deg.to_radians().sin();
    split(ghi_w_m2, sin, altitude_deg, extraterrestrial_w_m2)
}

/// [`split_global`] for a caller who has the sine already.
pub(crate) fn split(ghi_w_m2: f64, sin: f64, altitude_deg: f64, outside_w_m2: f64) -> Irradiance {
    if altitude_deg < LEAST_ALTITUDE_DEG {
        return Irradiance { ghi_w_m2, dni_w_m2: 0.0, dhi_w_m2: ghi_w_m2 };
    }
    let clearness = (ghi_w_m2 / (outside_w_m2 * sin.max(LEAST_COS_ZENITH))).min(1.0);
    let dhi_w_m2 = ghi_w_m2 * diffuse_share(clearness);
    Irradiance { ghi_w_m2, dni_w_m2: (ghi_w_m2 - dhi_w_m2) / sin, dhi_w_m2 }
}

/// Diffuse share of the global irradiance at a clearness index.
fn diffuse_share(kt: f64) -> f64 {
    if kt <= 0.22 {
        1.0 - 0.09 * kt
    } else if kt <= 0.8 {
        0.9511 + kt * (-0.1604 + kt * (4.388 + kt * (-16.638 + kt * 12.336)))
    } else {
        0.165
    }
}
