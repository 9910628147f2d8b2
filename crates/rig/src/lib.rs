//! The devices and how they are fed: cables, schedules, voltages.
//!
//! A [`Rig`] is a radial tree: the pack's terminals, then branches (a fuse, a cable, connectors,
//! perhaps a converter, ending in a hub), and devices on their own wires. It knows when each
//! device runs ([`schedule::When`]), what each draws ([`Load`]), and what voltage reaches it.
//!
//! Voltages come in two ways: [`Rig::solve`] is exact and tells everything about one instant;
//! [`Aggregator`] boils a state of the rig down to a few coefficients for a simulation that asks
//! a million times.

mod aggregate;
mod ampacity;
mod brownout;
mod converter;
mod copper;
mod device;
mod error;
mod inspect;
mod load;
mod night;
pub mod schedule;
mod solution;
mod sweep;
mod tree;
mod weather;

pub use aggregate::{Aggregate, Aggregator, Curve, Sag, Split};
pub use ampacity::ampacity_a;
pub use brownout::{AfterBrownout, AfterBrownoutError, RESTART_ABOVE_V, RESTART_AFTER_S};
pub use converter::Converter;
pub use copper::{Cable, Section, Wire};
pub use device::{Device, Fuse, Peak, Use};
pub use error::{Collapse, RigError};
pub use inspect::{
    Advice, Budget, Caution, DEFERRAL, DeviceCheck, Inspection, Passage, Place, Remark,
    SegmentCheck, StateBudget, Terms,
};
pub use load::Load;
pub use night::{Night, State, Stretch};
pub use solution::{DeviceSeen, SegmentSeen, Solution};
pub use tree::{Branch, Rig};
pub use weather::{Conditions, CooledSensor, DewHeater, Follows};
