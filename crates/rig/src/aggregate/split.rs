//! Where the power goes: devices, wires, converters.

use super::curve::{Curve, Points};
use super::{Aggregator, POINTS};
use crate::{Collapse, Load};

/// Power by where it goes, as a function of source voltage. What the source gives is the sum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Split {
    /// Into devices.
    pub load: Curve,
    /// Lost in wires and connectors.
    pub cable: Curve,
    /// Lost in converters (W), the same at any source voltage.
    pub converter_w: f64,
}

impl Aggregator<'_> {
    /// Where the power of a state goes, for a ledger of energy. Its three parts add up to
    /// [`super::Aggregate::source`] within the accuracy of both.
    ///
    /// # Errors
    /// If the rig collapses at any voltage of the range.
    pub fn split(&self, loads: &[Load]) -> Result<Split, Collapse> {
        let points = Points::between(self.low_v, self.high_v);
        let mut load_a = [0.0; POINTS];
        let mut cable_a = [0.0; POINTS];
        let mut converter_w = 0.0;
        for (k, &v) in points.v.iter().enumerate() {
            let seen = self.rig.solve(v, loads)?;
            load_a[k] = seen.load_w() / v;
            cable_a[k] = seen.cable_w() / v;
            converter_w = seen.converter_w();
        }
        // without wires: what the curves would be, but for the drops
        let (mut g_s, mut a_a) = (0.0, 0.0);
        for leaf in &self.rig.islands[0].leaves {
            if let super::End::Device(d) = leaf.end {
                match loads.get(d) {
                    Some(Load::Current(amp)) => a_a += amp,
                    Some(Load::Resistance(ohm)) => g_s += ohm / (ohm + leaf.ohm).powi(2),
                    _ => {}
                }
            }
        }
        let load = points.curve(&load_a, g_s, a_a);
        let cable = points.curve(&cable_a, 0.0, 0.0);
        Ok(Split { load, cable, converter_w })
    }
}
