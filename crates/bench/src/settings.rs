//! What the person says about a test.

use quantity::Kind;
use quantity::uncertainty::{Accuracy, AccuracyError};

/// What a record is to be measured against.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// The least voltage at which the gear works (V).
    pub cutoff_v: f64,
    /// What the pack is made of, where it matters how warm a test was.
    pub family: Option<Family>,
    /// The label's capacity (Ah).
    pub rated_ah: Option<f64>,
    /// The label's energy (Wh).
    pub rated_wh: Option<f64>,
    /// The accuracy of the meter, where it is known.
    pub instrument: Option<Instrument>,
    /// The panel's rating, for a day on it (W).
    pub panel_w: Option<f64>,
    /// What the charger's label promises, for a recharge with it (A).
    pub charger_a: Option<f64>,
    /// Another charger, to tell how long that one would take (A).
    pub other_charger_a: Option<f64>,
    /// How long after a step of the current its resistance is taken (s).
    pub delay_s: f64,
    /// How the gear hangs on the pack, to tell what it gets.
    pub at_gear: Option<Gear>,
}

impl Default for Settings {
    fn default() -> Self {
        Settings {
            cutoff_v: 12.0,
            family: None,
            rated_ah: None,
            rated_wh: None,
            instrument: None,
            panel_w: None,
            charger_a: None,
            other_charger_a: None,
            delay_s: 10.0,
            at_gear: None,
        }
    }
}

/// Packs whose capacity depends on the temperature in the same way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Family {
    /// Flooded, AGM or gel.
    LeadAcid,
    /// LFP, NMC and their kin.
    Lithium,
}

/// The limits of error of a meter that records voltage and current.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Instrument {
    /// Of the current.
    pub current: Accuracy,
    /// Of the voltage.
    pub voltage: Accuracy,
    /// Of the clock, as a share: 5e-5 for 50 ppm.
    pub clock: f64,
}

impl Instrument {
    /// Reads an accuracy as a data sheet states it: "0.5 % + 2 digits" for both readings, or each
    /// by name: "current 0.5 % + 10 mA, voltage 0.1 % + 1 digit, clock 50 ppm".
    ///
    /// # Errors
    /// If a part is no accuracy.
    pub fn read(text: &str) -> Result<Instrument, AccuracyError> {
        let mut instrument = Instrument::default();
        for part in text.split([',', ';']).map(str::trim) {
            if let Some(rest) = part.strip_prefix("current") {
                instrument.current = Accuracy::read(Kind::Current, rest)?;
            } else if let Some(rest) = part.strip_prefix("voltage") {
                instrument.voltage = Accuracy::read(Kind::Voltage, rest)?;
            } else if let Some(rest) = part.strip_prefix("clock") {
                let ppm =
                    rest.trim().strip_suffix("ppm").and_then(|n| n.trim().parse::<f64>().ok());
                let wrong =
                    || AccuracyError::Part { read: part.to_owned(), example: "clock 50 ppm" };
                instrument.clock =
                    ppm.filter(|ppm| (0.0..=1e5).contains(ppm)).ok_or_else(wrong)? * 1e-6;
            } else {
                instrument.current = Accuracy::read(Kind::Current, part)?;
                instrument.voltage = Accuracy::read(Kind::Voltage, part)?;
            }
        }
        Ok(instrument)
    }
}

/// The lead between the pack and the gear, and what the gear draws.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gear {
    /// Both conductors and the connectors (Ω).
    pub lead_ohm: f64,
    /// What the gear draws.
    pub load: Load,
}

/// A load on the pack.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Load {
    /// The current of the record, as it was.
    Recorded,
    /// A constant current (A).
    Current(f64),
    /// A constant power at the gear (W).
    Power(f64),
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_accuracy_for_both_or_each_by_name() {
        let both = Instrument::read("0.5 % + 2 digits").unwrap();
        assert_eq!(both.current, both.voltage);
        let each = Instrument::read("current 1 % + 10 mA, voltage 0.1 %, clock 50 ppm").unwrap();
        assert!((each.current.offset - 0.01).abs() < 1e-12 && each.current.gain == 0.01);
        assert!((each.voltage.gain - 0.001).abs() < 1e-12 && (each.clock - 5e-5).abs() < 1e-15);
        assert!(Instrument::read("clock 50 s").is_err());
        assert!(Instrument::read("good").is_err());
    }
}
