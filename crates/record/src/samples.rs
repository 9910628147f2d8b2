//! What reading a log gives.

use std::collections::BTreeMap;

use crate::Column;

/// One moment of a record.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// Seconds since the first sample.
    pub elapsed_s: f64,
    /// At the terminals (V).
    pub voltage_v: f64,
    /// Out of the pack positive, into it negative (A).
    pub current_a: f64,
}

/// The samples of a record in order of time, one column each.
///
/// Voltage and current are kept in single precision (seven digits, more than any meter has), so
/// that ten million rows fit in 160 MB.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Samples {
    /// Seconds since the first sample, never falling.
    pub elapsed_s: Vec<f64>,
    /// At the terminals (V).
    pub voltage_v: Vec<f32>,
    /// Out of the pack positive (A); NaN in a record of the voltage alone.
    pub current_a: Vec<f32>,
    /// Of the pack or beside it (°C), where the record has it; NaN where a row lacks it.
    pub temperature_c: Option<Vec<f32>>,
    /// What the meter's own charge counter says went out since the first sample, net (Ah), where
    /// the record has one; resets taken out; NaN where a row lacks it.
    pub counted_ah: Option<Vec<f32>>,
    /// The same of its energy counter (Wh).
    pub counted_wh: Option<Vec<f32>>,
}

impl Samples {
    /// How many there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.elapsed_s.len()
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.elapsed_s.is_empty()
    }

    /// The samples in order of time.
    pub fn iter(&self) -> impl ExactSizeIterator<Item = Sample> + Clone + '_ {
        (0..self.len()).map(|at| Sample {
            elapsed_s: self.elapsed_s[at],
            voltage_v: f64::from(self.voltage_v[at]),
            current_a: f64::from(self.current_a[at]),
        })
    }
}

/// The smallest step each column can show, as seen in the data; nought where it can't be seen.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Resolution {
    /// Of the clock (s).
    pub time_s: f64,
    /// Of the voltage (V).
    pub voltage_v: f64,
    /// Of the current (A). Worked out from power: one step of the power at the mean voltage.
    /// Worked out from a counter: one step of the counter over the whole record.
    pub current_a: f64,
    /// Of the charge counter (Ah), where there is one.
    pub counted_ah: Option<f64>,
    /// Of the energy counter (Wh), where there is one.
    pub counted_wh: Option<f64>,
}

/// Where the current of a record comes from.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum CurrentFrom {
    /// A column of its own.
    #[default]
    Measured,
    /// Power over voltage.
    Power,
    /// The differences of a charge counter.
    Counter,
    /// A constant that a person stated; nothing was measured.
    Stated,
    /// Nowhere: the record has a voltage alone, and each current is NaN.
    Nothing,
}

/// What became of the rows: `read = used + all set aside`, always.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct RowCount {
    /// Rows below the heading that hold anything.
    pub read: usize,
    /// Rows that became samples.
    pub used: usize,
    /// The others, by reason.
    pub set_aside: BTreeMap<String, usize>,
}

/// A log, read.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Record {
    /// The name of the file it came from, as given.
    pub file: String,
    /// The instant of the first sample, where the record tells it.
    pub start: Option<jiff::Timestamp>,
    /// The clock on the wall at the first sample, where the record tells a date but no zone.
    pub local_start: Option<jiff::civil::DateTime>,
    /// What was read.
    pub samples: Samples,
    /// Where the current comes from.
    pub current_from: CurrentFrom,
    /// The steps of its columns.
    pub resolution: Resolution,
    /// What became of the rows.
    pub rows: RowCount,
    /// Which column was taken for what.
    pub columns: Vec<Column>,
    /// What stands above the table as name and value: `("cycles", "4")`.
    pub about: Vec<(String, String)>,
    /// What was guessed or odd, each a sentence for people.
    pub notices: Vec<String>,
}
