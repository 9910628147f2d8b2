/// Why a record proves nothing: what was read and what would be right.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{file}: {trouble}; {}", .trouble.help())]
pub struct BenchError {
    /// The record.
    pub file: String,
    /// What is wrong with it.
    pub trouble: Trouble,
}

/// What is wrong with a record.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Trouble {
    /// Fewer than two samples.
    #[error("{samples} usable rows are too few")]
    TooFew {
        /// How many there are.
        samples: usize,
    },
    /// The current is nought throughout.
    #[error("no current flows in it, so it is neither a discharge nor a recharge")]
    NoCurrent,
    /// A sample is no number, the time falls, or the columns differ in length.
    #[error(
        "sample {sample} has no voltage or current that is a number, or lies before the one above it"
    )]
    Broken {
        /// Which one, from 1.
        sample: usize,
    },
}

impl Trouble {
    /// In a word, for programs.
    #[must_use]
    pub fn kind(self) -> &'static str {
        match self {
            Trouble::TooFew { .. } => "no-readings",
            Trouble::NoCurrent => "current",
            Trouble::Broken { .. } => "broken",
        }
    }

    /// What would be right.
    #[must_use]
    pub fn help(self) -> &'static str {
        match self {
            Trouble::TooFew { .. } => "a test needs at least two, with the load on",
            Trouble::NoCurrent => "check that the current's column was taken for it",
            Trouble::Broken { .. } => "every sample needs a time, a voltage and a current",
        }
    }
}
