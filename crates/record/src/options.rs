//! What a person overrules.

use crate::Role;

/// A column as a person names it.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(untagged)]
pub enum Which {
    /// Counted from one.
    Number(usize),
    /// By its heading, upper and lower case alike.
    Heading(String),
}

/// Which way a positive current flows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Sign {
    /// Out of the pack.
    DischargePositive,
    /// Into the pack.
    ChargePositive,
}

/// The order of the parts of a date written in numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DateOrder {
    /// 31.12.2026
    DayMonthYear,
    /// 12/31/2026
    MonthDayYear,
    /// 2026-12-31
    YearMonthDay,
}

/// What a person says about one column.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct ColumnChoice {
    /// What it holds.
    pub role: Role,
    /// Which one it is.
    pub which: Which,
    /// Its unit, where the file doesn't say or says it wrongly.
    pub unit: Option<String>,
}

impl ColumnChoice {
    /// A column as people write it: its heading or number, with its unit if need be: "3",
    /// "U batt", "U batt in mV". Nothing if no column is named.
    #[must_use]
    pub fn read(role: Role, text: &str) -> Option<ColumnChoice> {
        let (which, unit) = match text.rsplit_once(" in ") {
            Some((which, unit)) => (which.trim(), Some(unit.trim().to_owned())),
            None => (text.trim(), None),
        };
        let which = match which.parse::<usize>() {
            Ok(number) if number > 0 => Which::Number(number),
            _ if which.is_empty() => return None,
            _ => Which::Heading(which.to_owned()),
        };
        Some(ColumnChoice { role, which, unit })
    }
}

/// What a person overrules; by default everything is found out from the file.
#[derive(Debug, Clone, Default, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ReadOptions {
    /// Which column is which.
    pub columns: Vec<ColumnChoice>,
    /// Which way a positive current flows.
    pub sign: Option<Sign>,
    /// The zone of clock times that don't tell theirs: "Europe/Riga", "+03:00".
    pub zone: Option<String>,
    /// The order of the parts of a date.
    pub date_order: Option<DateOrder>,
    /// For files without a time column: the time between two rows (s).
    pub interval_s: Option<f64>,
    /// For files without a current: the constant current out of the pack (A), stated, not measured.
    pub stated_current_a: Option<f64>,
    /// Whether a record that has a voltage alone will do: each of its currents is then NaN.
    pub voltage_alone: bool,
    /// The sheet of a workbook; the first with a table otherwise.
    pub sheet: Option<String>,
}
