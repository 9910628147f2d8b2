//! Any log a meter, a load or a person writes, read into clean samples.

mod bdf;
mod bytes;
mod cells;
mod clock;
mod column;
mod counters;
mod current;
mod error;
mod file;
mod heading;
mod layout;
mod lines;
mod number;
mod options;
mod order;
mod pieces;
mod plain;
mod reader;
mod row_reader;
mod rows;
mod samples;
mod sheet;
mod slips;
mod state;
mod unit;
mod values;
mod witness;
mod zone;

pub use bdf::write_bdf;
pub use column::{Column, HowSure, Role};
pub use error::{ErrorKind, RecordError};
pub use file::read_file;
pub use options::{ColumnChoice, DateOrder, ReadOptions, Sign, Which};
pub use reader::read_bytes;
pub use samples::{CurrentFrom, Record, Resolution, RowCount, Sample, Samples};
pub use zone::named_clock;
