//! Sunlight on a tilted plane.

use crate::clear::Irradiance;

/// Cosine of the zenith is held at this or more where it divides.
const LEAST_COS_ZENITH: f64 = 0.017_45;

/// How the diffuse light is spread over the sky.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum SkyModel {
    /// Evenly.
    Isotropic,
    /// Evenly, but for a part that comes from around the sun (Hay & Davies 1980).
    #[default]
    HayDavies,
    /// Even, around the sun, and along the horizon (Perez et al. 1990, *Solar Energy* 44, all
    /// sites composite).
    Perez,
}

/// Where the sun stands to a plane, and what comes from it.
#[derive(Debug, Clone, Copy)]
pub struct PlaneSun {
    /// Cosine of the sun's zenith angle (sine of its altitude).
    pub cos_zenith: f64,
    /// Cosine of the angle between the beam and the plane's normal.
    pub cos_incidence: f64,
    /// Beam outside the air.
    pub extraterrestrial_w_m2: f64,
    /// Relative air mass; used by the Perez model only.
    pub relative_air_mass: f64,
    /// Whether something on the horizon hides the sun. Beam and the glow around the sun are then
    /// left out.
    pub hidden: bool,
}

/// Sunlight on a plane, by where it comes from.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PlaneIrradiance {
    /// The beam.
    pub direct_w_m2: f64,
    /// From the sky.
    pub sky_w_m2: f64,
    /// Thrown back by the ground.
    pub ground_w_m2: f64,
}

impl PlaneIrradiance {
    /// All of it.
    #[must_use]
    pub fn global_w_m2(&self) -> f64 {
        self.direct_w_m2 + self.sky_w_m2 + self.ground_w_m2
    }
}

/// Light on a plane tilted by an angle whose cosine is given, over ground of an albedo.
#[must_use]
pub fn on_plane(
    model: SkyModel,
    light: &Irradiance,
    sun: &PlaneSun,
    cos_tilt: f64,
    albedo: f64,
) -> PlaneIrradiance {
    let facing = sun.cos_incidence.max(0.0);
    let direct_w_m2 = if sun.hidden { 0.0 } else { light.dni_w_m2 * facing };
    let even = f64::midpoint(1.0, cos_tilt);
    let sky_share = match model {
        SkyModel::Isotropic => even,
        SkyModel::HayDavies => {
            let around_sun = light.dni_w_m2 / sun.extraterrestrial_w_m2;
            let glow = around_sun * facing / sun.cos_zenith.max(LEAST_COS_ZENITH);
            (1.0 - around_sun) * even + if sun.hidden { 0.0 } else { glow }
        }
        SkyModel::Perez => perez_share(light, sun, facing, cos_tilt),
    };
    PlaneIrradiance {
        direct_w_m2,
        sky_w_m2: (light.dhi_w_m2 * sky_share).max(0.0),
        ground_w_m2: light.ghi_w_m2 * albedo * (1.0 - cos_tilt) / 2.0,
    }
}

/// Upper ends of the bins of sky clearness.
const CLEARNESS_ENDS: [f64; 7] = [1.065, 1.23, 1.5, 1.95, 2.8, 4.5, 6.2];

/// f11, f12, f13, f21, f22, f23 for each bin of sky clearness.
const BRIGHTENING: [[f64; 6]; 8] = [
    [-0.008, 0.588, -0.062, -0.06, 0.072, -0.022],
    [0.13, 0.683, -0.151, -0.019, 0.066, -0.029],
    [0.33, 0.487, -0.221, 0.055, -0.064, -0.026],
    [0.568, 0.187, -0.295, 0.109, -0.152, -0.014],
    [0.873, -0.392, -0.362, 0.226, -0.462, 0.001],
    [1.132, -1.237, -0.412, 0.288, -0.823, 0.056],
    [1.06, -1.6, -0.359, 0.264, -1.127, 0.131],
    [0.678, -0.327, -0.25, 0.156, -1.377, 0.251],
];

fn perez_share(light: &Irradiance, sun: &PlaneSun, facing: f64, cos_tilt: f64) -> f64 {
    if light.dhi_w_m2 <= 0.0 {
        return 0.0;
    }
    const COS_85_DEG: f64 = 0.087_155_742_747_658_17;
    let zenith = sun.cos_zenith.clamp(-1.0, 1.0).acos();
    let bent = 1.041 * zenith.powi(3);
    let clearness = ((light.dhi_w_m2 + light.dni_w_m2) / light.dhi_w_m2 + bent) / (1.0 + bent);
    let bin = CLEARNESS_ENDS.partition_point(|end| *end <= clearness);
    let [f11, f12, f13, f21, f22, f23] = BRIGHTENING.get(bin).copied().unwrap_or(BRIGHTENING[7]);
    let brightness = light.dhi_w_m2 * sun.relative_air_mass / sun.extraterrestrial_w_m2;
    let around_sun = (f11 + f12 * brightness + f13 * zenith).max(0.0);
    let horizon = f21 + f22 * brightness + f23 * zenith;
    let glow = around_sun * facing / sun.cos_zenith.max(COS_85_DEG);
    let sin_tilt = (1.0 - cos_tilt * cos_tilt).max(0.0).sqrt();
    (1.0 - around_sun) * f64::midpoint(1.0, cos_tilt)
        + if sun.hidden { 0.0 } else { glow }
        + horizon * sin_tilt
}
