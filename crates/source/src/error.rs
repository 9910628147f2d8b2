//! What can be wrong with a panel, a controller or a charger.

/// Why a source can't be what it is said to be.
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
    /// Data-sheet values that do not belong to one panel.
    #[error("the panel's data sheet does not fit together: {reason}")]
    DataSheet {
        /// What does not fit, and what would.
        reason: String,
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
