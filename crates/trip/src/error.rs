//! Why a plan can't be simulated.

/// What is wrong with a plan as a whole, though each of its values can be.
#[derive(Debug, thiserror::Error)]
pub enum TripError {
    /// The sky says no.
    #[error("the nights of this trip can't be worked out: {0}")]
    Sky(#[from] sky::Error),
    /// More devices than fit.
    #[error("the rig has {found} devices; at most {most} can be simulated", most = crate::loads::MOST_DEVICES)]
    TooManyDevices {
        /// How many there are.
        found: usize,
    },
    /// Nothing to draw.
    #[error("at least one draw is needed")]
    NoDraws,
}
