//! How long another charger would take.

use crate::trace::median;
use crate::{Recharge, Run};

impl Run {
    /// How long a charger of this current would have taken for this recharge (s), by
    /// [`Recharge::with_charger_s`] with the middle one of the resistances seen in it.
    #[must_use]
    pub fn with_charger_s(&self, current_a: f64) -> Option<f64> {
        let ohms: Vec<f64> = self.resistances.iter().map(|step| step.ohm).collect();
        let resistance_ohm = (!ohms.is_empty()).then(|| median(ohms));
        self.recharge.as_ref()?.with_charger_s(current_a, resistance_ohm)
    }
}

impl Recharge {
    /// How long a charger of this current would have taken for the same charge up to the same
    /// voltage limit (s).
    ///
    /// What the pack accepts at the limit depends on its charge: in the recorded absorption it is
    /// the current itself; before, the room left below the limit lets in more,
    /// `I + (limit - V) / R`. The other charger gives its current or that, whichever is less. So a
    /// weaker charger needs nothing but the record; a stronger one needs the pack's resistance.
    ///
    /// Nothing if the record can't tell: a stronger charger without a resistance or without an
    /// absorption in the record.
    #[must_use]
    pub fn with_charger_s(&self, current_a: f64, resistance_ohm: Option<f64>) -> Option<f64> {
        if !(current_a.is_finite() && current_a > 0.0) {
            return None;
        }
        let resistance_ohm = resistance_ohm.filter(|ohm| *ohm > 0.0);
        let is_stronger = current_a > 1.02 * self.cc_current_a;
        if is_stronger && (resistance_ohm.is_none() || self.cv_voltage_v.is_none()) {
            return None;
        }
        let mut hours = 0.0;
        for pair in self.curve.windows(2) {
            let [from, to] = pair else { continue };
            let accepted_a = [from, to].map(|point| {
                let recorded_a = -point.current_a;
                match (self.cv_voltage_v, resistance_ohm) {
                    (Some(limit_v), Some(ohm)) => {
                        recorded_a + (limit_v - point.voltage_v).max(0.0) / ohm
                    }
                    // within a hundredth of the plateau the charger held it, not the pack
                    _ if recorded_a >= 0.99 * self.cc_current_a => f64::INFINITY,
                    _ => recorded_a,
                }
            });
            let given_a =
                accepted_a.map(|accepted_a| accepted_a.min(current_a)).iter().sum::<f64>() / 2.0;
            if given_a > 0.0 {
                hours += (to.charge_ah - from.charge_ah) / given_a;
            }
        }
        Some(hours * 3600.0)
    }
}
