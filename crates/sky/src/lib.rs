//! Night, sun, moon and air at a place, worked out without a network.
//!
//! Angles are in degrees, azimuths from north over east. Positions are *topocentric*: as seen by
//! somebody standing at the place. "Airless" leaves refraction out.

mod aim;
mod air;
mod clear;
mod clearness;
mod crossing;
mod day;
mod earth;
mod error;
mod horizon;
mod incidence;
mod light;
mod moon;
mod night;
mod place;
mod plane;
mod season;
mod split;
mod sun;
mod time;
mod track;
mod warmth;
pub mod weather;

pub use aim::{Aim, AimError, Facing};
pub use air::{dew_point_c, pressure_pa, relative_humidity, vapour_pressure_hpa};
pub use clear::{
    CLEAR_AIR_TURBIDITY, ClearSky, Irradiance, extraterrestrial_w_m2, relative_air_mass,
};
pub use clearness::{DAY_TO_DAY, DailyClearness};
pub use day::{LevelDay, cloud_cover};
pub use error::Error;
pub use horizon::Horizon;
pub use incidence::Incidence;
pub use light::{
    AirTemperature, Cloud, Light, Steps, Surroundings, Warming, light_off_aim, light_on_panel,
};
pub use moon::{Moon, moon_at};
pub use night::{MoonNight, Night, Phase};
pub use place::Place;
pub use plane::{PlaneIrradiance, PlaneSun, SkyModel, on_plane};
pub use season::{SeasonNight, season};
pub use split::split_global;
pub use sun::{Sun, refraction_deg, sun_at};
pub use track::{Direction, Track};
pub use warmth::{AirCurve, DayAir, wandering_days};
