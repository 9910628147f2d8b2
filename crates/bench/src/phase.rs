//! What happens in a run, in order.

use crate::piece::Sum;
use crate::trace::{Stretch, Trace, Way};

/// A part of a run with one thing going on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Phase {
    /// What goes on.
    pub kind: PhaseKind,
    /// Since the start of the record (s).
    pub from_s: f64,
    /// Since the start of the record (s).
    pub to_s: f64,
    /// Charge, out of the pack positive (Ah).
    pub ah: f64,
    /// Energy, out of the pack positive (Wh).
    pub wh: f64,
}

/// What goes on in a phase.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PhaseKind {
    /// No current.
    Rest,
    /// Current out of the pack.
    Discharge,
    /// Current into the pack, limited by the source: bulk.
    ConstantCurrent,
    /// Current into the pack, limited by the voltage: absorption.
    ConstantVoltage,
    /// Current into the pack at a lower voltage, after it is full.
    Float,
    /// Current into the pack, as a panel gives it.
    Charge,
    /// No current and no voltage: the pack's protection has opened.
    Open,
}

impl PhaseKind {
    /// In words, as a program reads them.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            PhaseKind::Rest => "rest",
            PhaseKind::Discharge => "discharge",
            PhaseKind::ConstantCurrent => "cc",
            PhaseKind::ConstantVoltage => "cv",
            PhaseKind::Float => "float",
            PhaseKind::Charge => "charge",
            PhaseKind::Open => "protection open",
        }
    }
}

/// A stretch as a phase; charging ones are told apart by [`crate::recharge`].
pub(crate) fn phase(trace: &Trace, stretch: &Stretch) -> Phase {
    let sum: Sum = trace.pieces(stretch).collect();
    let flows = matches!(stretch.way, Way::Out | Way::In);
    Phase {
        kind: match stretch.way {
            Way::Rest => PhaseKind::Rest,
            Way::Open => PhaseKind::Open,
            Way::Out => PhaseKind::Discharge,
            Way::In => PhaseKind::Charge,
        },
        from_s: trace.elapsed_s(stretch.samples.start),
        to_s: trace.elapsed_s(stretch.samples.end - 1),
        ah: if flows { sum.charge_ah } else { 0.0 },
        wh: if flows { sum.energy_wh } else { 0.0 },
    }
}
