//! What a record proves: capacity, energy, share above the cutoff, resistance, recharge.

mod curve;
mod discharge;
mod doubt;
mod efficiency;
mod error;
mod field;
mod kind;
mod notice;
mod phase;
mod piece;
mod recharge;
mod resistance;
mod run;
mod settings;
mod solar;
mod trace;

pub use curve::CurvePoint;
pub use discharge::{AboveCutoff, Discharge};
pub use doubt::{Doubt, Doubts};
pub use efficiency::Efficiency;
pub use error::BenchError;
pub use field::{Field, Level, Night};
pub use phase::{Phase, PhaseKind};
pub use recharge::{Recharge, TimeTo};
pub use resistance::Resistance;
pub use run::{Run, RunKind, measure};
pub use settings::{Gear, Instrument, Load, Settings};
pub use solar::Solar;
