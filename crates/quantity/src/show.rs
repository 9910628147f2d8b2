//! Printing values: with their unit, and no more digits than they deserve.

use crate::Kind;

/// A number to so many significant digits, never in powers of ten: 493.366 to 4 is "493.4".
#[must_use]
pub fn significant(value: f64, digits: usize) -> String {
    if !value.is_finite() {
        return "–".to_owned();
    }
    format!("{value:.*}", decimals_for(value, digits))
}

fn decimals_for(value: f64, digits: usize) -> usize {
    if value == 0.0 {
        return digits.saturating_sub(1).min(2);
    }
    let before = value.abs().log10().floor() as i64 + 1;
    (digits as i64 - before).clamp(0, 9) as usize
}

/// A value and its uncertainty, the latter to two digits and the former to the same place:
/// "38.48 ± 0.12 Ah".
#[must_use]
pub fn with_uncertainty(value: f64, plus_minus: f64, unit: &str) -> String {
    if !(plus_minus.is_finite() && plus_minus > 0.0) {
        return format!("{} {unit}", significant(value, 4));
    }
    let decimals = decimals_for(plus_minus, 2);
    format!("{value:.decimals$} ± {plus_minus:.decimals$} {unit}")
}

impl Kind {
    /// A value of this kind as people read it, to four significant digits: "9 W", "2.5 mm²",
    /// "2 h 30 min", "56.9 N", "95 %".
    #[must_use]
    pub fn show(self, value: f64) -> String {
        match self {
            Kind::Duration => show_duration(value),
            Kind::Latitude => {
                format!("{} {}", trimmed(value.abs(), 5), if value < 0.0 { 'S' } else { 'N' })
            }
            Kind::Longitude => {
                format!("{} {}", trimmed(value.abs(), 5), if value < 0.0 { 'W' } else { 'E' })
            }
            Kind::Angle => format!("{}°", trimmed(value, 4)),
            Kind::Fraction => format!("{} %", trimmed(value * 100.0, 3)),
            Kind::TemperatureCoefficient => format!("{} %/K", trimmed(value * 100.0, 3)),
            Kind::DailyRate => format!("{} %/day", trimmed(value * 100.0, 3)),
            Kind::Resistance if value != 0.0 && value.abs() < 1.0 => {
                format!("{} mΩ", trimmed(value * 1e3, 4))
            }
            _ => format!("{} {}", trimmed(value, 4), self.unit()),
        }
    }
}

/// As [`significant`], without zeros at the end that say nothing.
fn trimmed(value: f64, digits: usize) -> String {
    let text = significant(value, digits);
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// "45 s", "12 min", "2 h 30 min", "3 d 4 h".
fn show_duration(seconds: f64) -> String {
    if !seconds.is_finite() {
        return "–".to_owned();
    }
    if seconds.abs() < 59.95 {
        return format!("{} s", trimmed(seconds, 3));
    }
    let minutes = (seconds / 60.0).round() as i64;
    match (minutes / 1440, minutes / 60 % 24, minutes % 60) {
        (0, 0, m) => format!("{m} min"),
        (0, h, 0) => format!("{h} h"),
        (0, h, m) => format!("{h} h {m:02} min"),
        (d, h, _) if d >= 3 => format!("{d} d {h} h"),
        (d, h, m) => format!("{} h {m:02} min", d * 24 + h),
    }
}

/// Seconds as a clock shows them, for elapsed time: "9:37:10".
#[derive(Debug, Clone, Copy)]
pub struct Clock(
    /// Seconds.
    pub f64,
);

impl std::fmt::Display for Clock {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if !self.0.is_finite() {
            return f.write_str("–");
        }
        let whole = self.0.round().abs() as u64;
        let sign = if self.0 <= -0.5 { "-" } else { "" };
        write!(f, "{sign}{}:{:02}:{:02}", whole / 3600, whole / 60 % 60, whole % 60)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits() {
        for (value, digits, text) in [
            (493.366, 4, "493.4"),
            (0.023_456, 3, "0.0235"),
            (12345.6, 3, "12346"),
            (0.0, 3, "0.00"),
            (f64::NAN, 3, "–"),
        ] {
            assert_eq!(significant(value, digits), text);
        }
        assert_eq!(with_uncertainty(38.4778, 0.119, "Ah"), "38.48 ± 0.12 Ah");
        assert_eq!(with_uncertainty(493.366, 8.2, "Wh"), "493.4 ± 8.2 Wh");
    }

    #[test]
    fn values_with_units() {
        for (kind, value, text) in [
            (Kind::Power, 9.0, "9 W"),
            (Kind::Duration, 9000.0, "2 h 30 min"),
            (Kind::Duration, 7200.0, "2 h"),
            (Kind::Duration, 45.0, "45 s"),
            (Kind::Duration, 59.99, "1 min"),
            (Kind::Duration, 273_600.0, "3 d 4 h"),
            (Kind::Latitude, -33.5, "33.5 S"),
            (Kind::Fraction, 0.905, "90.5 %"),
            (Kind::Resistance, 0.024, "24 mΩ"),
            (Kind::WireArea, 2.5, "2.5 mm²"),
        ] {
            assert_eq!(kind.show(value), text);
        }
        assert_eq!(Clock(34630.0).to_string(), "9:37:10");
    }

    #[test]
    fn what_is_shown_can_be_read_again() {
        for kind in Kind::ALL {
            let range = kind.range();
            for share in [0.0, 0.1, 0.37, 1.0] {
                let value = range.start() + share * (range.end().min(1e4) - range.start());
                let text = kind.show(value);
                let again = kind
                    .read(&text)
                    .unwrap_or_else(|error| panic!("{kind:?} {value}: {text:?}: {error}"));
                // a duration is shown to the hour once it is three days long
                let room =
                    if kind == Kind::Duration { 3600.0 } else { 2e-3 * value.abs().max(1.0) };
                assert!(
                    (again - value).abs() <= room,
                    "{kind:?}: {value} shown as {text:?}, read as {again}"
                );
            }
        }
    }
}
