//! One battery as a model: its circuit, its limits, and how well they are known.
//!
//! A [`Pack`] holds a [`Circuit`] (what the voltage does under a load), the [`Limits`] its
//! protection and its maker set, the [`Spread`] of what is uncertain, and the [`Provenance`] of
//! all three: a typical curve, values somebody stated, or a record it was measured from.
//! [`runtime`] asks how long it carries one load.
//!
//! Discharge current is positive everywhere, charge negative; SoC and shares are 0 to 1.

mod bank;
mod charge;
mod chemistry;
mod circuit;
mod demand;
mod doubt;
mod error;
mod file;
pub mod fit;
mod housing;
mod interval;
mod joined;
pub mod lanes;
mod limits;
mod load;
mod measured;
mod ocv;
mod pack;
mod replay;
mod runtime;
mod typical;

pub use bank::{Parallel, Strand};
pub use chemistry::Chemistry;
pub use circuit::{Circuit, Climate, Rise, State, Step, Warmth, Wells};
pub use demand::Demand;
pub use doubt::{Doubt, Steady};
pub use error::PackError;
pub use housing::{Heater, Housing, foam_kg};
pub use interval::{Likely, Start, likely_runtime, likely_runtime_from};
pub use joined::inrush_a;
pub use limits::Limits;
pub use load::Load;
pub use measured::{Sample, counted, samples};
pub use ocv::Ocv;
pub use pack::{Pack, Provenance, Spread};
pub use replay::{Replay, replay};
pub use runtime::{Ended, Runtime, runtime, runtime_from};
