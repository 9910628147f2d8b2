//! Night, sun, moon and air at a place, worked out without a network.
//!
//! Angles are in degrees, azimuths from north over east. Positions are *topocentric*: as seen by
//! somebody standing at the place. "Airless" leaves refraction out.

mod air;
mod crossing;
mod earth;
mod error;
mod moon;
mod night;
mod place;
mod sun;
mod time;
mod track;

pub use air::{dew_point_c, pressure_pa, relative_humidity, vapour_pressure_hpa};
pub use error::Error;
pub use moon::{Moon, moon_at};
pub use night::{MoonNight, Night, Phase};
pub use place::Place;
pub use sun::{Sun, refraction_deg, sun_at};
pub use track::{Direction, Track};
