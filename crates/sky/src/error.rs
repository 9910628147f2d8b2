//! What can be wrong with a place, a date or a panel.

/// Why the sky could not be worked out.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Error {
    /// A number outside what is possible.
    #[error("{what} is {read} {unit}; expected {least} to {most} {unit}")]
    OutOfRange {
        /// Which number.
        what: &'static str,
        /// What was given.
        read: f64,
        /// The least possible.
        least: f64,
        /// The most possible.
        most: f64,
        /// The unit of the three.
        unit: &'static str,
    },
    /// A date the series are not made for.
    #[error(
        "the date {read} lies outside the years 1950 to 2100, for which sun and moon are worked out"
    )]
    Date {
        /// What was given.
        read: String,
    },
}

/// The number back if it lies within its bounds; NaN never does.
pub(crate) fn within(
    what: &'static str,
    read: f64,
    (least, most): (f64, f64),
    unit: &'static str,
) -> Result<f64, Error> {
    if (least..=most).contains(&read) {
        Ok(read)
    } else {
        Err(Error::OutOfRange { what, read, least, most, unit })
    }
}
