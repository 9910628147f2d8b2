//! How sure a number is (JCGM 100:2008, the "GUM"; JCGM 106:2012).
//!
//! What is not known is written down as a [`Budget`] of [`Part`]s, each with its standard
//! uncertainty and the shape of its distribution. The budget gives the combined standard
//! uncertainty and the half-width of the 95 % interval. Clause numbers of the guides are quoted
//! from memory.

mod accuracy;
mod budget;
mod coverage;
mod outlier;
mod proportion;
mod verdict;

pub use accuracy::{Accuracy, AccuracyError};
pub use budget::{Budget, Part, Shape};
pub use coverage::{student_95, student_95_one_sided};
pub use outlier::{Grubbs, grubbs};
pub use proportion::{Pairs, wilson, wilson_95};
pub use verdict::{Verdict, guard_band_95, probability_at_least, verdict};

/// Standard uncertainty of a value known only to lie within ± `half_width`, anywhere with the same
/// probability: a/√3 (JCGM 100:2008, 4.3.7).
#[must_use]
pub fn rectangular(half_width: f64) -> f64 {
    half_width / 3.0_f64.sqrt()
}

/// Standard uncertainty from the last digit of a display: half a step either way, rectangular
/// (JCGM 100:2008, F.2.2.1).
#[must_use]
pub fn resolution(step: f64) -> f64 {
    rectangular(step / 2.0)
}
