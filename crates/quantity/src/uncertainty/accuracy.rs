//! What a meter's maker promises: "0.5 % + 2 digits".

use super::{rectangular, resolution};
use crate::{Kind, ReadError};

/// The limits of error of one kind of reading. Gain and offset are each the same through a run
/// and do not average out.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Accuracy {
    /// Of the reading, as a share: 0.005 for "0.5 %".
    pub gain: f64,
    /// Steps of the last digit.
    pub digits: f64,
    /// In the unit of the reading.
    pub offset: f64,
}

/// Why a text is no accuracy.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AccuracyError {
    /// A part of it is neither a share nor digits nor a value with a unit.
    #[error(
        "{read:?} is no part of an accuracy; write it such as \"0.5 % + 2 digits\" or \"0.2 % + {example}\""
    )]
    Part {
        /// What stood there.
        read: String,
        /// A value with the unit that would be right.
        example: &'static str,
    },
    /// The value in it can't be.
    #[error(transparent)]
    Value(#[from] ReadError),
}

impl Accuracy {
    /// Reads "0.5 % + 2 digits", "1 %", "0.2 % + 10 mA" for readings of this kind.
    ///
    /// ```
    /// use quantity::{Kind, uncertainty::Accuracy};
    /// let accuracy = Accuracy::read(Kind::Current, "0.5 % + 2 digits")?;
    /// assert_eq!((accuracy.gain, accuracy.digits), (0.005, 2.0));
    /// # Ok::<(), quantity::uncertainty::AccuracyError>(())
    /// ```
    ///
    /// # Errors
    /// If a part is neither a share, nor digits, nor a value of the kind.
    pub fn read(kind: Kind, text: &str) -> Result<Accuracy, AccuracyError> {
        let mut accuracy = Accuracy::default();
        for part in text.split('+') {
            let part = part.trim().trim_start_matches('±').trim_start();
            let wrong = || AccuracyError::Part {
                read: part.to_owned(),
                example: if kind == Kind::Voltage { "10 mV" } else { "10 mA" },
            };
            let lower = part.to_lowercase();
            if let Some(count) = ["digits", "digit", "dgts", "dgt", "counts", "count"]
                .iter()
                .find_map(|word| lower.strip_suffix(word))
            {
                let count: f64 = count.trim().parse().map_err(|_| wrong())?;
                if !(0.0..=1e4).contains(&count) {
                    return Err(wrong());
                }
                accuracy.digits += count;
            } else if lower.contains('%') || lower.contains("percent") {
                let share = lower.split(" of ").next().unwrap_or(&lower);
                accuracy.gain += Kind::Fraction.read(share)?;
            } else if part.ends_with(|last: char| last.is_alphabetic()) {
                accuracy.offset += kind.read(part)?;
            } else {
                return Err(wrong());
            }
        }
        Ok(accuracy)
    }

    /// Half-width of the part that does not depend on the reading, for a display with this step.
    #[must_use]
    pub fn constant(&self, step: f64) -> f64 {
        self.offset + self.digits * step
    }

    /// Standard uncertainty of one reading on a display with this step: gain, constant part and
    /// last digit, each rectangular (JCGM 100:2008, 4.3.7, F.2.2.1).
    #[must_use]
    pub fn of_reading(&self, reading: f64, step: f64) -> f64 {
        let gain = rectangular(self.gain * reading.abs());
        let constant = rectangular(self.constant(step));
        gain.hypot(constant).hypot(resolution(step))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn as_people_write_it() {
        for (kind, text, gain, digits, offset) in [
            (Kind::Current, "0.5 % + 2 digits", 0.005, 2.0, 0.0),
            (Kind::Current, "±1%+3dgt", 0.01, 3.0, 0.0),
            (Kind::Voltage, "0.1 % of reading + 10 mV", 0.001, 0.0, 0.01),
            (Kind::Current, "0.02 A", 0.0, 0.0, 0.02),
            (Kind::Current, "0.2 percent", 0.002, 0.0, 0.0),
        ] {
            let read = Accuracy::read(kind, text).unwrap();
            let close = |a: f64, b: f64| (a - b).abs() < 1e-12;
            assert!(
                close(read.gain, gain) && close(read.digits, digits) && close(read.offset, offset),
                "{text}: {read:?}"
            );
        }
    }

    #[test]
    fn refusals() {
        for text in ["", "good", "2 digits + ", "0.5", "-1 digits", "0.5 % + 2 V", "300 %"] {
            assert!(Accuracy::read(Kind::Current, text).is_err(), "{text:?}");
        }
    }

    #[test]
    fn one_reading() {
        let accuracy = Accuracy { gain: 0.01, digits: 1.0, offset: 0.0 };
        let expected =
            ((0.1_f64).powi(2) / 3.0 + 0.1_f64.powi(2) / 3.0 + 0.05_f64.powi(2) / 3.0).sqrt();
        assert!((accuracy.of_reading(10.0, 0.1) - expected).abs() < 1e-12);
    }
}
