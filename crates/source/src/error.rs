//! What can be wrong with a panel, a controller or a charger.

/// Why a source can't be what it is said to be.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Error {
    /// A number outside what is possible.
    #[error(transparent)]
    OutOfBounds(#[from] quantity::OutOfBounds),
    /// Data-sheet values that do not belong to one panel.
    #[error("the panel's data sheet does not fit together: {reason}")]
    DataSheet {
        /// What does not fit, and what would.
        reason: String,
    },
}
