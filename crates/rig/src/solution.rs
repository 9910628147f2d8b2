//! What a rig sees and carries at one instant.

/// What a device sees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DeviceSeen {
    /// Voltage at the device (V).
    pub voltage_v: f64,
    /// Current it takes (A).
    pub current_a: f64,
    /// Power it takes (W).
    pub power_w: f64,
    /// Whether it gets its least voltage and every converter before it gets its own. A device that
    /// is off is always fine.
    pub ok: bool,
}

/// Relative room for rounding in a difference of powers.
const ROUNDING: f64 = 1e-9;

/// What a wire carries.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SegmentSeen {
    /// Voltage at its beginning (V).
    pub from_v: f64,
    /// Voltage at its end (V), before a converter there.
    pub to_v: f64,
    /// Current (A).
    pub current_a: f64,
    /// Loss in the wire (W).
    pub loss_w: f64,
    /// Loss in the converter at its end (W).
    pub converter_w: f64,
}

impl SegmentSeen {
    /// What the converter at its end gives (W); what arrives there, if there is none.
    #[must_use]
    pub fn output_w(&self) -> f64 {
        // an idle converter takes just its loss: what rounding leaves of it is no output
        let output_w = self.to_v * self.current_a - self.converter_w;
        if output_w < ROUNDING * self.converter_w { 0.0 } else { output_w }
    }
}

/// The rig at one instant.
#[derive(Debug, Clone, PartialEq)]
pub struct Solution {
    /// At the pack's terminals (V).
    pub source_v: f64,
    /// Out of the pack (A).
    pub source_a: f64,
    /// In the order of [`Rig::devices`](crate::Rig::devices).
    pub devices: Vec<DeviceSeen>,
    /// In the order of [`Rig::branches`](crate::Rig::branches).
    pub branches: Vec<SegmentSeen>,
    /// Each device's own wire, in the order of [`Rig::devices`](crate::Rig::devices).
    pub wires: Vec<SegmentSeen>,
}

impl Solution {
    /// Power out of the pack (W).
    #[must_use]
    pub fn source_w(&self) -> f64 {
        self.source_v * self.source_a
    }

    /// Power the devices take (W).
    #[must_use]
    pub fn load_w(&self) -> f64 {
        total(self.devices.iter().map(|seen| seen.power_w))
    }

    /// Power lost in wires and connectors (W).
    #[must_use]
    pub fn cable_w(&self) -> f64 {
        total(self.branches.iter().chain(&self.wires).map(|seen| seen.loss_w))
    }

    /// Power lost in converters (W).
    #[must_use]
    pub fn converter_w(&self) -> f64 {
        total(self.branches.iter().map(|seen| seen.converter_w))
    }
}

/// A sum that is 0 for nothing; that of the standard library is -0, and would be printed so.
fn total(values: impl Iterator<Item = f64>) -> f64 {
    values.fold(0.0, |sum, value| sum + value)
}
