//! Numbers that lie outside what is possible.

/// A number outside what is possible.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("{what} is {}{}; expected {} to {}{}",
    rounded(*read, 9, f64::round), spaced(unit),
    rounded(*least, 4, f64::ceil), rounded(*most, 4, f64::floor), spaced(unit)
)]
pub struct OutOfBounds {
    /// Which number.
    pub what: &'static str,
    /// What was given.
    pub read: f64,
    /// The least possible.
    pub least: f64,
    /// The most possible.
    pub most: f64,
    /// The unit of the three.
    pub unit: &'static str,
}

/// To so many digits: what was read as good as whole, bounds inwards, so that what they say is right.
fn rounded(value: f64, digits: i32, round: fn(f64) -> f64) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    let scale = 10_f64.powi(digits - 1 - value.abs().log10().floor() as i32);
    if !scale.is_finite() {
        return value;
    }
    // so that what has no more digits stays what it is
    let near = (value * scale).round();
    if (value * scale - near).abs() < 1e-6 { near / scale } else { round(value * scale) / scale }
}

fn spaced(unit: &str) -> String {
    if unit.is_empty() { String::new() } else { format!(" {unit}") }
}

/// The number back if it lies within its bounds, both counted in.
///
/// # Errors
/// Where it does not; NaN never does.
pub fn within(
    what: &'static str,
    read: f64,
    (least, most): (f64, f64),
    unit: &'static str,
) -> Result<f64, OutOfBounds> {
    if (least..=most).contains(&read) {
        Ok(read)
    } else {
        Err(OutOfBounds { what, read, least, most, unit })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bounds_count_in_and_no_number_lies_in_none() {
        for read in [-90.0, 0.0, 90.0] {
            assert_eq!(within("the latitude", read, (-90.0, 90.0), "°"), Ok(read));
        }
        for read in [-90.1, f64::NAN, f64::INFINITY] {
            let error = within("the latitude", read, (-90.0, 90.0), "°").unwrap_err();
            assert_eq!(
                error.to_string(),
                format!("the latitude is {read} °; expected -90 to 90 °")
            );
        }
        let error = within("the clearness", 0.1 + 0.85, (0.05, 0.757_800_197), "").unwrap_err();
        assert_eq!(error.to_string(), "the clearness is 0.95; expected 0.05 to 0.7578");
        let error = within("the step", 1e-320, (1e-3, 86_400.0), "s").unwrap_err();
        assert_eq!(
            error.to_string(),
            format!("the step is {} s; expected 0.001 to 86400 s", 1e-320)
        );
    }
}
