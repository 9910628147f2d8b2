//! Reading one value.

use crate::{Kind, duration, number, wire};

/// A value as given, with the uncertainty stated beside it, if any.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Given {
    /// The value in the kind's own unit.
    pub value: f64,
    /// Half-width of the 95 % interval in the same unit: "9 W ± 1 W", "9 W ± 10 %".
    pub plus_minus: Option<f64>,
}

/// Why a text is no value of its kind. Displays as a sentence that says what would be right.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ReadError {
    /// There is no number at the front.
    #[error("{read:?} does not begin with a number; write a {} such as {}", .kind.name(), .kind.examples())]
    NoNumber {
        /// The kind that was asked for.
        kind: Kind,
        /// The text.
        read: String,
    },
    /// A comma before three digits can be a thousands mark or a decimal comma.
    #[error(
        "{read:?} can be read in two ways; write the number without a thousands mark and with a decimal point"
    )]
    Ambiguous {
        /// The text.
        read: String,
    },
    /// There is a number but no unit, where one is needed.
    #[error("{read:?} has no unit; write a {} such as {}", .kind.name(), .kind.examples())]
    NoUnit {
        /// The kind that was asked for.
        kind: Kind,
        /// The text.
        read: String,
    },
    /// The unit is none of this kind.
    #[error("{unit:?} is no unit of {}; write it such as {}", .kind.name(), .kind.examples())]
    WrongUnit {
        /// The kind that was asked for.
        kind: Kind,
        /// What stood where the unit should.
        unit: String,
    },
    /// The value can't be.
    #[error("{read:?} is outside what a {} can be here ({} to {})", .kind.name(), .kind.show(*.kind.range().start()), .kind.show(*.kind.range().end()))]
    OutOfRange {
        /// The kind that was asked for.
        kind: Kind,
        /// The text.
        read: String,
    },
}

impl Kind {
    /// Reads one value, in the kind's own unit.
    ///
    /// ```
    /// use quantity::Kind;
    /// assert_eq!(Kind::Length.read("1.8 m"), Ok(1.8));
    /// assert_eq!(Kind::Duration.read("2h30"), Ok(9000.0));
    /// assert_eq!(Kind::Latitude.read("33.5 S"), Ok(-33.5));
    /// ```
    ///
    /// # Errors
    /// If the text is not a value of this kind, or one beyond [`Kind::range`].
    pub fn read(self, text: &str) -> Result<f64, ReadError> {
        let read = || text.trim().to_owned();
        let value = match self {
            Kind::Duration => self.read_duration_s(text)?,
            Kind::WireArea if text.to_ascii_lowercase().contains("awg") => {
                match wire::read_awg(text) {
                    Some(gauge) => wire::awg_mm2(gauge),
                    None => return Err(ReadError::WrongUnit { kind: self, unit: read() }),
                }
            }
            Kind::Latitude | Kind::Longitude if text.contains(['\'', '′', '"', '″']) => {
                self.read_degrees_minutes(text)?
            }
            _ => self.read_scaled(text)?,
        };
        if self.range().contains(&value) {
            Ok(value)
        } else {
            Err(ReadError::OutOfRange { kind: self, read: read() })
        }
    }

    /// Reads a value with the uncertainty a person may have written beside it.
    ///
    /// The part behind "±" or "+-" is a value of the same kind or a share of it; it is taken as
    /// the half-width of a 95 % interval.
    ///
    /// ```
    /// use quantity::Kind;
    /// let given = Kind::Power.read_given("9 W ± 10 %").unwrap();
    /// assert_eq!((given.value, given.plus_minus), (9.0, Some(0.9)));
    /// ```
    ///
    /// # Errors
    /// If either part can't be read.
    pub fn read_given(self, text: &str) -> Result<Given, ReadError> {
        let Some((main, margin)) = ["±", "+-", "+/-"].iter().find_map(|mark| text.split_once(mark))
        else {
            return Ok(Given { value: self.read(text)?, plus_minus: None });
        };
        let value = self.read(main)?;
        let margin = margin.trim();
        let plus_minus = if margin.ends_with('%') && self != Kind::Fraction {
            Kind::Fraction.read(margin)? * value.abs()
        } else {
            let difference =
                if self == Kind::Temperature { Kind::TemperatureDifference } else { self };
            difference.read(margin)?
        };
        Ok(Given { value, plus_minus: Some(plus_minus) })
    }

    fn read_scaled(self, text: &str) -> Result<f64, ReadError> {
        let (value, rest) = self.split_number(text)?;
        let written = rest.trim();
        if written.is_empty() {
            return if self.facts().bare {
                Ok(value)
            } else {
                Err(ReadError::NoUnit { kind: self, read: text.trim().to_owned() })
            };
        }
        // exact first: "mW" and "MW" differ, "KM" for "km" is only a habit
        let units = self.facts().units;
        let unit = units.iter().find(|unit| unit.spelling == written).or_else(|| {
            let mut alike = units.iter().filter(|unit| unit.spelling.eq_ignore_ascii_case(written));
            alike.next().filter(|_| !written.starts_with('M'))
        });
        match unit {
            Some(unit) => Ok(value * unit.scale + unit.shift),
            None => self.read_degree_and_letter(value, written),
        }
    }

    /// "56.9° N": the sign of degrees between number and letter.
    fn read_degree_and_letter(self, value: f64, written: &str) -> Result<f64, ReadError> {
        let wrong = || ReadError::WrongUnit { kind: self, unit: written.to_owned() };
        if !matches!(self, Kind::Latitude | Kind::Longitude) {
            return Err(wrong());
        }
        let letter = written.trim_start_matches(['°', 'º']).trim();
        if letter.len() == written.len() {
            return Err(wrong());
        }
        let unit =
            self.facts().units.iter().find(|unit| unit.spelling.eq_ignore_ascii_case(letter));
        unit.map(|unit| value * unit.scale).ok_or_else(wrong)
    }

    /// "56°54'12\" N".
    fn read_degrees_minutes(self, text: &str) -> Result<f64, ReadError> {
        let wrong = || ReadError::WrongUnit { kind: self, unit: text.trim().to_owned() };
        let mut rest = text.trim();
        let mut value = 0.0;
        let mut negative = false;
        for (scale, marks) in
            [(1.0, ['°', 'º']), (1.0 / 60.0, ['\'', '′']), (1.0 / 3600.0, ['"', '″'])]
        {
            let Ok((part, after)) = number::split(rest) else { break };
            let Some(after) = after.trim_start().strip_prefix(marks) else { return Err(wrong()) };
            if scale < 1.0 && !(0.0..60.0).contains(&part) {
                return Err(wrong());
            }
            negative |= part < 0.0;
            value += part.abs() * scale;
            rest = after.trim_start();
        }
        let side = match rest {
            "" => 1.0,
            letter => self
                .facts()
                .units
                .iter()
                .find(|unit| unit.spelling.len() == 1 && unit.spelling.eq_ignore_ascii_case(letter))
                .map(|unit| unit.scale)
                .ok_or_else(wrong)?,
        };
        Ok(if negative { -value } else { value } * side)
    }

    fn read_duration_s(self, text: &str) -> Result<f64, ReadError> {
        if let Some(seconds) = duration::read_s(text) {
            return Ok(seconds);
        }
        let (_, rest) = self.split_number(text)?;
        let unit = rest.trim().to_owned();
        Err(if unit.is_empty() {
            ReadError::NoUnit { kind: self, read: text.trim().to_owned() }
        } else {
            ReadError::WrongUnit { kind: self, unit }
        })
    }

    fn split_number(self, text: &str) -> Result<(f64, &str), ReadError> {
        let read = || text.trim().to_owned();
        number::split(text).map_err(|error| match error {
            number::NumberError::Missing => ReadError::NoNumber { kind: self, read: read() },
            number::NumberError::Ambiguous => ReadError::Ambiguous { read: read() },
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(kind: Kind, text: &str, value: f64) {
        let found = kind.read(text).unwrap_or_else(|error| panic!("{text:?}: {error}"));
        assert!(
            (found - value).abs() <= 1e-9 * value.abs().max(1.0),
            "{text:?} gave {found}, not {value}"
        );
    }

    #[test]
    fn values_as_people_write_them() {
        check(Kind::Power, "9 W", 9.0);
        check(Kind::Power, "30", 30.0);
        check(Kind::Power, "1.2kW", 1200.0);
        check(Kind::Power, "350 mW", 0.35);
        check(Kind::Charge, "40Ah", 40.0);
        check(Kind::Charge, "2200 mah", 2.2);
        check(Kind::Length, "6 ft", 1.8288);
        check(Kind::Length, "80cm", 0.8);
        check(Kind::WireArea, "2.5 mm²", 2.5);
        check(Kind::WireArea, "1,5 mm2", 1.5);
        check(Kind::WireArea, "14 AWG", wire::awg_mm2(14));
        check(Kind::Temperature, "-3 °C", -3.0);
        check(Kind::Temperature, "27 °F", -25.0 / 9.0);
        check(Kind::Temperature, "300 K", 26.85);
        check(Kind::Duration, "2h30", 9000.0);
        check(Kind::Latitude, "56.9 N", 56.9);
        check(Kind::Latitude, "33.5°S", -33.5);
        check(Kind::Latitude, "-33.5", -33.5);
        check(Kind::Latitude, "56°54' N", 56.9);
        check(Kind::Longitude, "4°12'36\" W", -4.21);
        check(Kind::Fraction, "95 %", 0.95);
        check(Kind::Fraction, "0.95", 0.95);
        check(Kind::TemperatureCoefficient, "-0.4 %/K", -0.004);
        check(Kind::Resistance, "24 mΩ", 0.024);
        check(Kind::Elevation, "2100 ft", 640.08);
        check(Kind::Speed, "7.2 km/h", 2.0);
    }

    #[test]
    fn slips_are_named() {
        for (kind, text, says) in [
            (Kind::Power, "nine", "does not begin with a number"),
            (Kind::Power, "9 Q", "\"Q\" is no unit of power"),
            (Kind::Power, "9 MW", "\"MW\" is no unit of power"),
            (Kind::Charge, "40", "has no unit"),
            (Kind::Power, "1,200 W", "two ways"),
            (Kind::Latitude, "95 N", "outside"),
            (Kind::Latitude, "56.9 E", "no unit of latitude"),
            (Kind::Duration, "90", "has no unit"),
            (Kind::WireArea, "14", "has no unit"),
            (Kind::WireArea, "99 AWG", "no unit of wire section"),
            (Kind::Power, "-5 W", "outside"),
            (Kind::Fraction, "130 %", "outside"),
        ] {
            let error = kind.read(text).expect_err(text).to_string();
            assert!(error.contains(says), "{text:?}: {error}");
        }
    }

    #[test]
    fn uncertainty_beside_a_value() {
        for (kind, text, value, margin) in [
            (Kind::Power, "9 W ± 1 W", 9.0, 1.0),
            (Kind::Power, "9 W +- 10 %", 9.0, 0.9),
            (Kind::Temperature, "-3 °C ± 2 K", -3.0, 2.0),
        ] {
            let given = kind.read_given(text).unwrap();
            assert!(
                (given.value - value).abs() < 1e-12
                    && (given.plus_minus.unwrap() - margin).abs() < 1e-12,
                "{text}"
            );
        }
        assert_eq!(Kind::Power.read_given("9 W").unwrap().plus_minus, None);
    }
}
