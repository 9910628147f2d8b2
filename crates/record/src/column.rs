//! What the columns of a record are.

/// What a column holds.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize,
)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// The moment, or the time since the start.
    Time,
    /// The day, where the time of day stands in a column of its own.
    Date,
    /// Voltage at the terminals.
    Voltage,
    /// Current.
    Current,
    /// Power.
    Power,
    /// Charge counted so far.
    Charge,
    /// Energy counted so far.
    Energy,
    /// Temperature of the pack or beside it.
    Temperature,
    /// What the instrument was doing: words such as "discharging", "rest", "CC".
    State,
}

impl Role {
    /// Every role there is.
    pub const ALL: [Role; 9] = [
        Role::Time,
        Role::Date,
        Role::Voltage,
        Role::Current,
        Role::Power,
        Role::Charge,
        Role::Energy,
        Role::Temperature,
        Role::State,
    ];

    /// What people call it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Role::Time => "time",
            Role::Date => "date",
            Role::Voltage => "voltage",
            Role::Current => "current",
            Role::Power => "power",
            Role::Charge => "charge",
            Role::Energy => "energy",
            Role::Temperature => "temperature",
            Role::State => "state",
        }
    }
}

/// How sure a guess is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum HowSure {
    /// Only likely: to be looked at.
    Likely,
    /// The heading or the values leave little doubt.
    Sure,
    /// A person said so.
    Told,
}

/// A column as it was taken.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Column {
    /// Counted from one.
    pub number: usize,
    /// As it stands in the file; empty where there is none.
    pub heading: String,
    /// What it was taken for.
    pub role: Role,
    /// In which unit or notation: "mV", "hh:mm:ss", "ISO 8601".
    pub unit: String,
    /// How sure that is.
    pub how_sure: HowSure,
}
