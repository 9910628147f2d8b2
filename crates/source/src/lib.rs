//! What puts energy in: panels with their controllers, chargers.
//!
//! A source offers a current at the battery's voltage. What the battery takes of it, and what its
//! voltage does, is not known here.

mod charger;
mod controller;
mod datasheet;
mod diode;
mod error;
mod panel;
mod profile;

pub use charger::Charger;
pub use controller::{Controller, Conversion};
pub use datasheet::DataSheet;
pub use diode::{Diode, MaxPower, Module};
pub use error::Error;
pub use panel::{Cells, Panel, USUAL_MAX_POWER_V};
pub use profile::{Profile, Stage};
