//! What can be wrong with the numbers a pack is made from.

/// Why a pack can't be made from what was given.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PackError {
    /// A word that names no chemistry.
    #[error("{0:?} is no chemistry known here; lfp, nmc, flooded, agm or gel would be right")]
    Chemistry(String),
    /// A number outside what makes sense.
    #[error("{what} is {value}; {right} would be right")]
    Value {
        /// Which number.
        what: &'static str,
        /// What was read.
        value: f64,
        /// What would be right.
        right: &'static str,
    },
    /// An open-circuit voltage table that is no curve.
    #[error("the open-circuit voltage table: {0}")]
    Ocv(String),
    /// A record from which no pack can be measured.
    #[error("no pack can be measured from this record: {0}")]
    Record(String),
}

/// `value` if it lies above `least` and is finite, else an error that says what would be right.
pub(crate) fn above(
    what: &'static str,
    value: f64,
    least: f64,
    right: &'static str,
) -> Result<f64, PackError> {
    if value.is_finite() && value > least {
        Ok(value)
    } else {
        Err(PackError::Value { what, value, right })
    }
}
