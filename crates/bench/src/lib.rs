//! What a record proves: capacity, energy, share above the cutoff, resistance, recharge.

mod ageing;
mod comparison;
mod counter;
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
mod repeats;
mod resistance;
mod run;
mod settings;
mod solar;
pub mod temperature;
mod trace;

pub use ageing::{Ageing, CapacityTest, Reach, Trend};
pub use comparison::{Entry, Place, compare};
pub use curve::CurvePoint;
pub use discharge::{AboveCutoff, Discharge};
pub use doubt::{Doubt, Doubts};
pub use efficiency::Efficiency;
pub use error::BenchError;
pub use field::{Field, Level, Night};
pub use phase::{Phase, PhaseKind};
pub use recharge::{Recharge, TimeTo};
pub use repeats::{Claim, Difference, Repeats};
pub use resistance::Resistance;
pub use run::{Run, RunKind, measure};
pub use settings::{Gear, Instrument, Load, Settings};
pub use solar::Solar;
