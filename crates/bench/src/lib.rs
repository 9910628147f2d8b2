//! What a record proves: capacity, energy, share above the cutoff, resistance, recharge.

mod curve;
mod discharge;
mod doubt;
mod error;
mod piece;
mod run;
mod settings;
mod trace;

pub use curve::CurvePoint;
pub use discharge::{AboveCutoff, Discharge};
pub use doubt::{Doubt, Doubts};
pub use error::BenchError;
pub use run::{Phase, PhaseKind, Run, RunKind, measure};
pub use settings::{Gear, Instrument, Load, Settings};
