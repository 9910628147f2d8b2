//! One battery: a circuit, its limits, and where the numbers come from.

use crate::file::PackFile;
use crate::{Chemistry, Circuit, Limits};
use serde::{Deserialize, Serialize};
use std::borrow::Cow;

/// One battery as bought.
///
/// With `serde` it is written as named numbers whose names carry the unit; what is read is checked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "PackFile", into = "PackFile")]
pub struct Pack {
    /// What its owner calls it.
    pub name: String,
    /// What it is made of, where known.
    pub chemistry: Option<Chemistry>,
    /// What its label says.
    pub rated_ah: f64,
    /// Its electrical model.
    pub circuit: Circuit,
    /// What it draws on itself: its protection, and self-discharge, as a current.
    pub idle_a: f64,
    /// What its protection and maker allow.
    pub limits: Limits,
    /// How well the model is known.
    pub spread: Spread,
    /// What else the model may be by the records it was measured from: each circuit lies one
    /// standard uncertainty away in a direction of its own. Empty where nothing was measured.
    pub variants: Vec<Circuit>,
    /// Where the model comes from.
    pub provenance: Provenance,
}

impl Pack {
    /// Relative standard uncertainty of its capacity: that of its spread and of what the fit left
    /// open.
    #[must_use]
    pub fn capacity_u(&self) -> f64 {
        let off = |variant: &Circuit| variant.capacity_ah / self.circuit.capacity_ah - 1.0;
        let fitted: f64 = self.variants.iter().map(|variant| off(variant).powi(2)).sum();
        self.spread.capacity.hypot(fitted.sqrt())
    }

    /// Standard uncertainty (V) of its voltage when half full, under a steady current (A) at 25 °C:
    /// that of its spread and of what the fit left open.
    #[must_use]
    pub fn voltage_u(&self, current_a: f64) -> f64 {
        let drop_v = |circuit: &Circuit| (circuit.r0_ohm + circuit.r1_ohm) * current_a;
        let under = |circuit: &Circuit| circuit.ocv.at(0.5) + circuit.offset_v - drop_v(circuit);
        let central_v = under(&self.circuit);
        let fitted: f64 = self.variants.iter().map(|one| (under(one) - central_v).powi(2)).sum();
        let spread = self.spread.ocv_v.hypot(drop_v(&self.circuit) * self.spread.resistance);
        spread.hypot(fitted.sqrt())
    }
}

/// Standard uncertainties of the model, for draws and intervals, on top of what [`Pack::variants`]
/// hold.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Spread {
    /// Of the capacity, relative.
    pub capacity: f64,
    /// Of all resistances together, relative.
    pub resistance: f64,
    /// Of the open-circuit voltage, the same everywhere on the curve.
    pub ocv_v: f64,
    /// The largest steady discharge current in A that was measured, where something was.
    pub up_to_a: Option<f64>,
    /// The one steady current in A at which all was measured, where it was one.
    pub from_a: Option<f64>,
}

/// Where a model comes from.
#[derive(Debug, Clone, PartialEq)]
pub enum Provenance {
    /// The chemistry's typical curve: nothing was measured.
    Typical {
        /// Where the typical curve was taken from.
        source: Cow<'static, str>,
    },
    /// Values that somebody stated.
    Stated,
    /// A data sheet's capacities by rate, on the typical curve: nothing was measured.
    Sheet {
        /// How well the sheet is met, in a sentence.
        note: String,
    },
    /// Measured from records.
    Measured {
        /// The records.
        from: Vec<String>,
        /// What the records could not tell, in words, a sentence each.
        notes: Vec<String>,
    },
}
