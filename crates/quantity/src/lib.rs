//! Values as people write them, and how sure they are.
//!
//! Inside the program a number is an `f64` whose name ends in its unit (`capacity_ah`,
//! `voltage_v`, `elapsed_s`). This room is the border: it reads "1.8 m", "14 AWG", "-3 °C" or
//! "2h30" into such numbers, says what would have been right when it can't, and prints numbers
//! with their units. It knows nothing of batteries.

mod bounds;
mod duration;
mod kind;
mod number;
mod read;
mod show;
pub mod uncertainty;
pub mod wire;

pub use bounds::{OutOfBounds, within};
pub use kind::Kind;
pub use read::{Given, ReadError};
pub use show::{Clock, significant, with_uncertainty};
