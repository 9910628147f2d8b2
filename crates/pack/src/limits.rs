//! What the protection and the maker allow.

use serde::{Deserialize, Serialize};

/// Limits of a pack; `None` where there is none, or it is not known.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Limits {
    /// The protection opens when the terminals fall to this.
    pub undervoltage_v: Option<f64>,
    /// The protection closes again when the terminals, unloaded, are back at this, or when a
    /// charger is put on.
    pub release_v: Option<f64>,
    /// Charging is ended at this.
    pub overvoltage_v: Option<f64>,
    /// The most it may give, continuously.
    pub discharge_a: Option<f64>,
    /// The most it may take.
    pub charge_a: Option<f64>,
    /// Charging harms it below this temperature.
    pub charge_least_c: Option<f64>,
    /// Whether the pack itself refuses charge below `charge_least_c`. If it does not, it *will*
    /// be charged in frost, and be harmed.
    pub refuses_frost: bool,
    /// Neither charge nor discharge above this temperature.
    pub most_c: Option<f64>,
    /// Emptied further than to this SoC it ages fast: half for lead-acid (common practice, no
    /// source). Advice, nothing that acts.
    pub advised_soc: Option<f64>,
    /// Voltage a charger holds until the current has fallen (absorption, for lead-acid).
    pub charge_v: Option<f64>,
    /// Voltage a charger holds after that, where there is one.
    pub float_v: Option<f64>,
}

/// A charger may stand this far above the voltage that a lead-acid battery is charged to (common
/// practice, no source).
const LEAD_ROOM_V: f64 = 0.15;

impl Limits {
    /// The highest voltage (V) at which a charge may be ended, where that is known: the protection's,
    /// or a little above the usual one.
    #[must_use]
    pub fn bears_v(&self) -> Option<f64> {
        self.overvoltage_v.or(self.charge_v.map(|v| v + LEAD_ROOM_V))
    }

    /// Moves typical limits out of the way of what a record shows the pack to do.
    pub(crate) fn allow(&mut self, current_a: f64, voltage_v: f64) {
        self.discharge_a = self.discharge_a.map(|most_a| most_a.max(current_a));
        self.undervoltage_v = self.undervoltage_v.map(|cut_v| cut_v.min(voltage_v));
    }
}
