//! Any log a meter, a load or a person writes, read into clean samples.

mod column;
mod error;
mod options;
mod samples;

pub use column::{Column, HowSure, Role};
pub use error::{ErrorKind, RecordError};
pub use options::{ColumnChoice, DateOrder, ReadOptions, Sign, Which};
pub use samples::{CurrentFrom, Record, Resolution, RowCount, Sample, Samples};
