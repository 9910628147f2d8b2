/// Why a record proves nothing.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum BenchError {
    /// Fewer than two samples.
    #[error(
        "{file}: {samples} usable rows are too few; a test needs at least two, with the load on"
    )]
    TooFew {
        /// The record.
        file: String,
        /// How many there are.
        samples: usize,
    },
    /// The current is nought throughout.
    #[error(
        "{file}: no current flows in it, so it is neither a discharge nor a recharge; is the current's column the right one?"
    )]
    NoCurrent {
        /// The record.
        file: String,
    },
    /// A sample is no number, the time falls, or the columns differ in length.
    #[error(
        "{file}: sample {sample} has no voltage or current that is a number, or lies before the one above it"
    )]
    Broken {
        /// The record.
        file: String,
        /// Which one, from 1.
        sample: usize,
    },
}
