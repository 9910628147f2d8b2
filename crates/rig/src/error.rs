//! What can be wrong with a rig.

use crate::{Load, Section};
use quantity::Kind;

/// Why a rig can't be built as described. Names are those of the plan, so that its line is found.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RigError {
    /// Two things of one name.
    #[error(
        "there are two things called {name:?} in the rig; a device or branch has one name and one feed"
    )]
    Twice {
        /// The name.
        name: String,
    },
    /// A feed that is nowhere.
    #[error("{name:?} is fed from {feed:?}, but there is no branch of that name{}", known(.branches))]
    UnknownFeed {
        /// Who is fed.
        name: String,
        /// From what.
        feed: String,
        /// The branches there are.
        branches: Vec<String>,
    },
    /// Branches that feed each other.
    #[error("{}", loops(.names))]
    Loop {
        /// The branches of the loop.
        names: Vec<String>,
    },
    /// A cable of no length.
    #[error(
        "the cable of {name:?} is {length_m} m long; its length (one way) must be above zero, or leave the cable out"
    )]
    Length {
        /// Whose cable.
        name: String,
        /// Its length.
        length_m: f64,
    },
    /// No such wire.
    #[error("the cable of {name:?} has a section of {section}; write one such as {}", Kind::WireArea.examples())]
    Section {
        /// Whose cable.
        name: String,
        /// Its section.
        section: Section,
    },
    /// Copper at an impossible temperature.
    #[error("the copper of {name:?} can't be at {copper_c} °C; write a temperature such as {}", Kind::Temperature.examples())]
    CopperTemperature {
        /// Whose cable.
        name: String,
        /// Its temperature.
        copper_c: f64,
    },
    /// Connectors with an impossible resistance.
    #[error("the connectors of {name:?} can't have {ohm} Ω; write a resistance such as {}", Kind::Resistance.examples())]
    Connectors {
        /// Whose connectors.
        name: String,
        /// Their resistance.
        ohm: f64,
    },
    /// A fuse that is none.
    #[error(
        "the fuse of {name:?} is rated {rated_a} A; its rating must be above zero, and its distance along the wire not negative"
    )]
    Fuse {
        /// Whose fuse.
        name: String,
        /// Its rating.
        rated_a: f64,
    },
    /// An impossible load.
    #[error(
        "{name:?} can't draw {load}; power and current are not negative, a resistance is above zero"
    )]
    Load {
        /// Whose load.
        name: String,
        /// The load.
        load: Load,
    },
    /// A device that is never said to draw anything.
    #[error("{name:?} has no use; say what it draws and when")]
    NoUse {
        /// The device.
        name: String,
    },
    /// A least voltage that can't be.
    #[error("{name:?} can't need at least {least_v} V; write a voltage such as {}", Kind::Voltage.examples())]
    LeastVoltage {
        /// The device.
        name: String,
        /// What it says.
        least_v: f64,
    },
    /// A device that would start below what it needs.
    #[error(
        "{name:?} restarts at {at_v} V, but it needs at least {least_v} V; it starts at that or above"
    )]
    RestartTooLow {
        /// The device.
        name: String,
        /// What it says.
        at_v: f64,
        /// What it needs.
        least_v: f64,
    },
    /// A device behind a converter that would start at a voltage of its own.
    #[error(
        "{name:?} is fed by the converter {feed:?} and restarts when that does: leave out the voltage, \"restarts\" is enough"
    )]
    RestartBehind {
        /// The device.
        name: String,
        /// The converter's branch.
        feed: String,
    },
    /// A share of time that is none.
    #[error("the peak of {name:?} is there for a share of {share} of the time; write 0 to 1")]
    PeakShare {
        /// The device.
        name: String,
        /// The share.
        share: f64,
    },
    /// A peak in another unit than the steady load.
    #[error(
        "the peak of {name:?} and its steady load must be written in the same unit, both W, both A or both Ω"
    )]
    PeakKind {
        /// The device.
        name: String,
    },
    /// A heater or cooler with impossible figures.
    #[error("{name:?} can't follow the weather so: {problem}")]
    Follows {
        /// The device.
        name: String,
        /// What is wrong and what would be right.
        problem: &'static str,
    },
    /// A converter with impossible figures.
    #[error("the converter of {name:?}: {problem}")]
    Converter {
        /// The branch.
        name: String,
        /// What is wrong and what would be right.
        problem: &'static str,
    },
    /// A device behind a converter that can never give it enough.
    #[error("{name:?} needs at least {least_v} V, but the converter {feed:?} gives {output_v} V")]
    OutputTooLow {
        /// The device.
        name: String,
        /// What it needs.
        least_v: f64,
        /// The converter's branch.
        feed: String,
        /// What that gives.
        output_v: f64,
    },
    /// A converter behind another that can never feed it.
    #[error(
        "the converter of {name:?} needs at least {least_input_v} V, but {feed:?} before it gives {output_v} V"
    )]
    InputTooLow {
        /// The branch.
        name: String,
        /// What it needs.
        least_input_v: f64,
        /// The branch of the converter before it.
        feed: String,
        /// What that gives.
        output_v: f64,
    },
}

impl RigError {
    /// The device or branch it speaks of, so that its line in the plan can be found.
    #[must_use]
    pub fn name(&self) -> Option<&str> {
        match self {
            RigError::Twice { name }
            | RigError::UnknownFeed { name, .. }
            | RigError::Length { name, .. }
            | RigError::Section { name, .. }
            | RigError::CopperTemperature { name, .. }
            | RigError::Connectors { name, .. }
            | RigError::Fuse { name, .. }
            | RigError::Load { name, .. }
            | RigError::NoUse { name }
            | RigError::LeastVoltage { name, .. }
            | RigError::RestartTooLow { name, .. }
            | RigError::RestartBehind { name, .. }
            | RigError::PeakShare { name, .. }
            | RigError::PeakKind { name }
            | RigError::Follows { name, .. }
            | RigError::Converter { name, .. }
            | RigError::OutputTooLow { name, .. }
            | RigError::InputTooLow { name, .. } => Some(name),
            RigError::Loop { names } => names.first().map(String::as_str),
        }
    }
}

fn loops(names: &[String]) -> String {
    match names {
        [one] => format!(
            "{one:?} is fed from itself; leave `feed` out for the pack, or name another branch"
        ),
        _ => format!(
            "{} feed each other in a loop; one of them must be fed from the pack",
            names.join(" and ")
        ),
    }
}

fn known(branches: &[String]) -> String {
    if branches.is_empty() {
        " (the rig has none)".to_owned()
    } else {
        format!(" (there are: {})", branches.join(", "))
    }
}

/// There is no voltage at which the loads get what they ask for: more current would only bring
/// less power (P = V·I has no solution behind the wire).
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error(
    "the voltage collapses at {at:?}: behind its wire no voltage brings the power asked for; thicker or shorter wire, a higher voltage or less load would"
)]
pub struct Collapse {
    /// The branch or device where.
    pub at: String,
}
