//! Converters and inverters: a steady output voltage, at a price.

use crate::RigError;

/// A converter (or inverter) at the far end of a branch: what hangs on the branch sees its output.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Converter {
    /// Output (V).
    pub output_v: f64,
    /// Least voltage (V) at its input at which it works.
    pub least_input_v: f64,
    /// Loss without load (W).
    pub idle_w: f64,
    /// Loss that grows with output power (W/W).
    pub loss_share: f64,
    /// Loss that grows with its square (W/W²).
    pub loss_per_w: f64,
    /// Greatest output power (W); none if not known.
    pub rated_w: Option<f64>,
}

impl Converter {
    /// From what a maker states: the draw without load and the efficiency at rated power. The rest
    /// of the loss at rated power is taken as proportional to the load, which is on the safe side
    /// of a quadratic at part load.
    #[must_use]
    pub fn rated(output_v: f64, idle_w: f64, rated_w: f64, efficiency: f64) -> Converter {
        let loss_share = (1.0 / efficiency - 1.0 - idle_w / rated_w).max(0.0);
        Converter {
            output_v,
            least_input_v: 0.0,
            idle_w,
            loss_share,
            loss_per_w: 0.0,
            rated_w: Some(rated_w),
        }
    }

    /// What it loses (W) while it gives `output_w`: P0 + k1·P + k2·P².
    #[must_use]
    pub fn loss_w(&self, output_w: f64) -> f64 {
        self.idle_w + output_w * (self.loss_share + output_w * self.loss_per_w)
    }

    pub(crate) fn check(&self, name: &str) -> Result<(), RigError> {
        let wrong = |problem| Err(RigError::Converter { name: name.to_owned(), problem });
        let fine = |x: f64| x.is_finite() && x >= 0.0;
        if !(fine(self.output_v) && self.output_v > 0.0) {
            return wrong("its output voltage must be above zero");
        }
        if !fine(self.least_input_v) {
            return wrong("its least input voltage can't be negative");
        }
        if !(fine(self.idle_w) && fine(self.loss_share) && fine(self.loss_per_w)) {
            return wrong(
                "its losses can't be negative; an efficiency is above 0 % and at most 100 %",
            );
        }
        if self.rated_w.is_some_and(|w| !(fine(w) && w > 0.0)) {
            return wrong("its rated power must be above zero");
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn efficiency_at_rated_power_is_the_one_stated() {
        let converter = Converter::rated(19.0, 0.6, 90.0, 0.92);
        let input_w = 90.0 + converter.loss_w(90.0);
        assert!((90.0 / input_w - 0.92).abs() < 1e-12);
        assert_eq!(converter.loss_w(0.0), 0.6);
    }
}
