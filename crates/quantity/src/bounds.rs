//! Numbers that lie outside what is possible.

/// A number outside what is possible.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("{what} is {read} {unit}; expected {least} to {most} {unit}")]
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
    }
}
