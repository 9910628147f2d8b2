//! Any log a meter, a load, a charger or a person writes, read into clean samples.

mod samples;

pub use samples::{Record, Resolution, RowCount, Sample, Samples};
