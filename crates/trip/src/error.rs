//! Why a plan can't be simulated.

/// What is wrong with a plan as a whole, though each of its values can be.
#[derive(Debug, thiserror::Error)]
pub enum TripError {
    /// The sky says no.
    #[error("{0}")]
    Sky(#[from] sky::Error),
    /// More devices than fit.
    #[error("the rig has {found} devices; at most {most} can be simulated", most = crate::loads::MOST_DEVICES)]
    TooManyDevices {
        /// How many there are.
        found: usize,
    },
    /// A weather file that has nothing of a day.
    #[error("the weather file has no reading of {date}; its days are {first} to {last}")]
    NoReading {
        /// The day asked for.
        date: jiff::civil::Date,
        /// The first it has.
        first: jiff::civil::Date,
        /// The last it has.
        last: jiff::civil::Date,
    },
    /// The rig can't stand even at the beginning.
    #[error("with the pack as charged at dusk, {0}")]
    Collapse(#[from] rig::Collapse),
    /// A plan without a panel has no harvest.
    #[error("the plan has no panel; write one such as [sources.panel] with panel = \"100 W\"")]
    NoPanel,
    /// A record of another time.
    #[error(
        "the record is of {} to {}, the trip of {} to {}: it covers no time of it; if its clock was wrong, say when its first row was: --began 2026-10-09T17:30",
        minute(record[0]), minute(record[1]), minute(trip[0]), minute(trip[1])
    )]
    RecordElsewhere {
        /// From its first reading to its last.
        record: [jiff::Timestamp; 2],
        /// From beginning to end.
        trip: [jiff::Timestamp; 2],
    },
    /// Nothing to draw.
    #[error("at least one draw is needed")]
    NoDraws,
    /// A catalogue with too much in it.
    #[error("the catalogue makes {found} combinations or more; at most {most} are gone through; leave some items out or lower their `most`", most = crate::sizing::MOST_COMBINATIONS)]
    TooManyCombinations {
        /// How many there are.
        found: usize,
    },
    /// A pack that can't be doubled.
    #[error("{0}")]
    Pack(#[from] pack::PackError),
    /// A rig that can't be wired anew.
    #[error("{0}")]
    Rig(#[from] rig::RigError),
}

fn minute(at: jiff::Timestamp) -> String {
    at.strftime("%Y-%m-%d %H:%M UTC").to_string()
}
