//! One trip step by step, for the timeline and the ledger.

use pack::State;

use crate::loads::Mask;

/// One step of the central case, or a part of the step in which something went off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Moment {
    /// Its beginning on the trip's clock.
    pub(crate) at_s: f64,
    pub(crate) dt_s: f64,
    pub(crate) night: usize,
    pub(crate) set: usize,
    pub(crate) off: Mask,
    /// At its end.
    pub(crate) state: State,
    /// How warm the pack is (°C).
    pub(crate) pack_c: f64,
    /// Mean at the terminals.
    pub(crate) voltage_v: f64,
    /// Out of the pack.
    pub(crate) current_a: f64,
    /// Out of the sources.
    pub(crate) source_a: f64,
    /// What they could have given besides.
    pub(crate) unused: Unused,
    /// Into the pack's own heater.
    pub(crate) heater_w: f64,
}

/// Currents that sources could have given and did not (A), by what kept them from it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Unused {
    /// The pack was full, or its voltage held.
    pub(crate) full_a: f64,
    /// The pack refused charge for its temperature.
    pub(crate) temperature_a: f64,
    /// The pack takes no more current.
    pub(crate) limit_a: f64,
    /// A source waited for a warmer pack.
    pub(crate) waited_a: f64,
}

/// A device that came back by itself after a brownout.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Restart {
    pub(crate) at_s: f64,
    pub(crate) night: usize,
    /// Index into the rig's devices.
    pub(crate) device: usize,
}

/// All steps in order, and what came back on.
#[derive(Debug, Clone, Default)]
pub(crate) struct Trace {
    pub(crate) moments: Vec<Moment>,
    pub(crate) restarts: Vec<Restart>,
}
