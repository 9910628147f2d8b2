//! Light on a panel and the warmth of its cells, along a series of instants.

use jiff::Timestamp;

use crate::aim::{Aim, AimError, Normals, Turn};
use crate::clear::{self, CLEAR_AIR_TURBIDITY, ClearSky, Irradiance, extraterrestrial_w_m2};
use crate::incidence::Incidence;
use crate::plane::{PlaneSun, SkyModel, on_plane};
use crate::sun::refraction_deg;
use crate::time::{SECONDS_PER_DAY, later};
use crate::{Error, Horizon, Place, Track, pressure_pa, split};
use quantity::within;

/// Air temperature taken for refraction: a matter of 0.02° at the horizon.
const REFRACTION_AIR_C: f64 = 12.0;

/// What surrounds a panel.
#[derive(Debug, Clone, PartialEq)]
pub struct Surroundings {
    /// Where it stands.
    pub place: Place,
    /// The skyline; it hides the sun.
    pub horizon: Horizon,
    /// Linke turbidity at air mass 2.
    pub turbidity: f64,
    /// Share of light thrown back by the ground.
    pub albedo: f64,
    /// Air temperature along the series.
    pub air: AirTemperature,
    /// Wind at the panel.
    pub wind_mps: f64,
    /// How diffuse light is spread over the sky.
    pub model: SkyModel,
    /// What the cover does to a slanting beam.
    pub incidence: Incidence,
    /// How the cells warm.
    pub warming: Warming,
}

/// Air temperature along a series.
#[derive(Debug, Clone, PartialEq)]
pub enum AirTemperature {
    /// The same throughout.
    Constant(f64),
    /// Hour by hour from the series' start, straight between; the last one holds on.
    Hourly(Vec<f64>),
}

/// Cells above the air: `poa / (u0 + u1 wind)` (Faiman 2008, *Progress in Photovoltaics* 16).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Warming {
    /// Loss in still air, W/(m²K).
    pub u0: f64,
    /// Loss added by wind, W/(m²K) a m/s.
    pub u1: f64,
}

impl Default for Warming {
    /// Faiman's means over the modules he measured: 25.0 and 6.84.
    fn default() -> Self {
        Self { u0: 25.0, u1: 6.84 }
    }
}

impl Warming {
    /// Cell temperature under an irradiance on the plane, in air of a temperature and wind.
    #[must_use]
    pub fn cell_c(&self, poa_w_m2: f64, air_c: f64, wind_mps: f64) -> f64 {
        air_c + poa_w_m2 / (self.u0 + self.u1 * wind_mps)
    }
}

impl Surroundings {
    /// A site with a level horizon and the usual assumptions: clear warm air (turbidity 3),
    /// albedo 0.25 and wind 2 m/s *(common practice, no source)*, 12 °C.
    #[must_use]
    pub fn at(place: Place) -> Self {
        Self {
            place,
            horizon: Horizon::default(),
            turbidity: CLEAR_AIR_TURBIDITY,
            albedo: 0.25,
            air: AirTemperature::Constant(12.0),
            wind_mps: 2.0,
            model: SkyModel::default(),
            incidence: Incidence::default(),
            warming: Warming::default(),
        }
    }

    /// # Errors
    /// When turbidity, albedo, wind or a temperature can't be.
    fn check(&self) -> Result<(), Error> {
        within("the turbidity", self.turbidity, (1.0, 15.0), "")?;
        within("the albedo", self.albedo, (0.0, 1.0), "")?;
        within("the wind", self.wind_mps, (0.0, 100.0), "m/s")?;
        let temperatures = match &self.air {
            AirTemperature::Constant(one) => std::slice::from_ref(one),
            AirTemperature::Hourly(many) => many.as_slice(),
        };
        for air_c in temperatures {
            within("the air temperature", *air_c, (-90.0, 70.0), "°C")?;
        }
        Ok(())
    }
}

impl AirTemperature {
    pub(crate) fn at(&self, elapsed_s: f64) -> f64 {
        match self {
            Self::Constant(air_c) => *air_c,
            Self::Hourly(hours) => {
                let along = (elapsed_s / 3600.0).max(0.0);
                let from = along as usize;
                let last = hours.last().copied().unwrap_or(REFRACTION_AIR_C);
                let a = hours.get(from).copied().unwrap_or(last);
                let b = hours.get(from + 1).copied().unwrap_or(last);
                a + (b - a) * (along - from as f64).min(1.0)
            }
        }
    }
}

/// Clouds over a series.
#[derive(Debug, Clone, PartialEq)]
pub enum Cloud {
    /// None: the clear sky.
    Clear,
    /// A share of the clear sky's global irradiance, the same for the whole series; below 1 it is
    /// split into beam and diffuse by the clearness it gives, from 1 up (air clearer than the
    /// turbidity says) beam and diffuse grow alike.
    Share(f64),
}

/// Light and warmth at one instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Light {
    /// On the panel's plane, with the beam lessened by the cover: what makes current.
    pub poa_effective_w_m2: f64,
    /// On the panel's plane: what warms it.
    pub poa_global_w_m2: f64,
    /// Temperature of the cells.
    pub cell_temp_c: f64,
    /// Temperature of the air.
    pub air_temp_c: f64,
    /// Global irradiance on the level.
    pub ghi_w_m2: f64,
}

/// Evenly spaced instants: the middles of `count` steps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Steps {
    /// Where the first step begins.
    pub start: Timestamp,
    /// Length of a step.
    pub step_s: f64,
    /// How many.
    pub count: usize,
}

/// Light on a panel in the middle of each step, under a sky that is clear or evenly clouded.
///
/// # Errors
/// When the surroundings can't be, the step is not longer than nothing, or the instants lie
/// outside the years 1950 to 2100.
pub fn light_on_panel(
    around: &Surroundings,
    aim: &Aim,
    cloud: &Cloud,
    steps: Steps,
) -> Result<Vec<Light>, Error> {
    let lights = light_off_aim(around, (aim, [AimError::NONE]), cloud, steps)?;
    Ok(lights.into_iter().map(|[light]| light).collect())
}

/// As [`light_on_panel`], for panels that do not stand quite as they were meant to: step by step one
/// for each error.
///
/// # Errors
/// As [`light_on_panel`].
pub fn light_off_aim<const N: usize>(
    around: &Surroundings,
    aim: (&Aim, [AimError; N]),
    cloud: &Cloud,
    steps: Steps,
) -> Result<Vec<[Light; N]>, Error> {
    let pressure_pa = pressure_pa(around.place.elevation_m());
    let clear = ClearSky::new(around.place.elevation_m(), pressure_pa, around.turbidity);
    let share = match cloud {
        Cloud::Clear => 1.0,
        Cloud::Share(share) => within("the clouds' share of clear light", *share, (0.0, 2.0), "")?,
    };
    let sample = |_step: usize, elapsed_s: f64, sun: Option<&High>| {
        let irradiance = sun.map_or_else(Irradiance::default, |sun| {
            let light = clear.under(sun.sin, sun.air_mass, sun.outside_w_m2);
            if share >= 1.0 {
                Irradiance {
                    ghi_w_m2: share * light.ghi_w_m2,
                    dni_w_m2: share * light.dni_w_m2,
                    dhi_w_m2: share * light.dhi_w_m2,
                }
            } else {
                split::split(light.ghi_w_m2 * share, sun.sin, sun.apparent_deg, sun.outside_w_m2)
            }
        });
        Sample { irradiance, air_c: around.air.at(elapsed_s), wind_mps: around.wind_mps }
    };
    along(around, aim, steps, sample)
}

/// A sun above the level horizon.
pub(crate) struct High {
    /// Apparent altitude.
    pub(crate) apparent_deg: f64,
    /// Its sine.
    pub(crate) sin: f64,
    /// Relative air mass.
    pub(crate) air_mass: f64,
    /// Beam outside the air.
    pub(crate) outside_w_m2: f64,
}

/// What the sky and the air do in one step.
pub(crate) struct Sample {
    pub(crate) irradiance: Irradiance,
    pub(crate) air_c: f64,
    pub(crate) wind_mps: f64,
}

/// Light on panels in the middle of each step, for whatever tells the sky and the air: a function
/// of the step, the seconds since the start and the sun, if it is up. The panels have one aim, each
/// with an error of its own.
pub(crate) fn along<const N: usize>(
    around: &Surroundings,
    (aim, errors): (&Aim, [AimError; N]),
    steps: Steps,
    mut sample: impl FnMut(usize, f64, Option<&High>) -> Sample,
) -> Result<Vec<[Light; N]>, Error> {
    around.check()?;
    let step_s = within("the step", steps.step_s, (1e-3, SECONDS_PER_DAY), "s")?;
    let sun = Track::of_sun(&around.place, steps.start, step_s * steps.count as f64)?;
    let pressure_pa = pressure_pa(around.place.elevation_m());
    let mut normals = Normals::new(aim, steps.start, around.place.longitude_deg());
    let turns = errors.map(Turn::by);
    let mut outside = Outside::default();
    let level = around.horizon.is_level();
    let light = |step: usize| {
        let elapsed_s = (step as f64 + 0.5) * step_s;
        let seen = sun.at(elapsed_s);
        let altitude_deg = seen.altitude_deg();
        let lifted_deg = refraction_deg(altitude_deg, pressure_pa, REFRACTION_AIR_C);
        let apparent_deg = altitude_deg + lifted_deg;
        if apparent_deg <= 0.0 {
            return [dark(sample(step, elapsed_s, None).air_c); N];
        }
        let (sin, cos) = apparent_deg.to_radians().sin_cos();
        let high = High {
            apparent_deg,
            sin,
            air_mass: clear::air_mass(sin, apparent_deg),
            outside_w_m2: outside.at(steps.start, elapsed_s),
        };
        let Sample { irradiance, air_c, wind_mps } = sample(step, elapsed_s, Some(&high));
        let meant = normals.at(elapsed_s, &sun);
        // Refraction lifts the sun along its vertical.
        let level_scale = cos / (1.0 - seen.up * seen.up).max(1e-24).sqrt();
        let hidden = !level && around.horizon.altitude_deg(seen.azimuth_deg()) > apparent_deg;
        turns.map(|turn| {
            let normal = turn.of(meant);
            let cos_incidence = level_scale * (seen.east * normal.east + seen.north * normal.north)
                + sin * normal.up;
            let on_sun = PlaneSun {
                cos_zenith: sin,
                cos_incidence,
                extraterrestrial_w_m2: high.outside_w_m2,
                relative_air_mass: high.air_mass,
                hidden,
            };
            let plane = on_plane(around.model, &irradiance, &on_sun, normal.up, around.albedo);
            let poa_global_w_m2 = plane.global_w_m2();
            let lost = plane.direct_w_m2 * (1.0 - around.incidence.share(cos_incidence));
            Light {
                poa_effective_w_m2: poa_global_w_m2 - lost,
                poa_global_w_m2,
                cell_temp_c: around.warming.cell_c(poa_global_w_m2, air_c, wind_mps),
                air_temp_c: air_c,
                ghi_w_m2: irradiance.ghi_w_m2,
            }
        })
    };
    Ok((0..steps.count).map(light).collect())
}

fn dark(air_temp_c: f64) -> Light {
    Light {
        poa_effective_w_m2: 0.0,
        poa_global_w_m2: 0.0,
        cell_temp_c: air_temp_c,
        air_temp_c,
        ghi_w_m2: 0.0,
    }
}

/// Beam outside the air, worked out once a day (of universal time).
#[derive(Default)]
struct Outside {
    w_m2: f64,
    until_s: Option<f64>,
}

impl Outside {
    fn at(&mut self, start: Timestamp, elapsed_s: f64) -> f64 {
        if self.until_s.is_none_or(|until_s| elapsed_s >= until_s) {
            let now = later(start, elapsed_s);
            let of_day_s = (now.as_millisecond() as f64 / 1000.0).rem_euclid(SECONDS_PER_DAY);
            let day = now.to_zoned_datetime(jiff::tz::TimeZone::UTC).day_of_year();
            self.w_m2 = extraterrestrial_w_m2(day.unsigned_abs());
            self.until_s = Some(elapsed_s + SECONDS_PER_DAY - of_day_s);
        }
        self.w_m2
    }
}
