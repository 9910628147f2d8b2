//! Does a value meet a claim? Decided with a guard band (JCGM 106:2012).

use statrs::distribution::{ContinuousCDF, Normal};

use super::coverage::student_95_one_sided;

/// What a measurement says about "at least this much".
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// The claim holds, with at least 95 % confidence.
    Meets,
    /// It does not hold, with at least 95 % confidence.
    FallsShort,
    /// The measurement can't tell.
    NotSettled,
}

impl Verdict {
    /// "meets", "falls short", "not settled".
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Verdict::Meets => "meets",
            Verdict::FallsShort => "falls short",
            Verdict::NotSettled => "not settled",
        }
    }
}

impl std::fmt::Display for Verdict {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.pad(self.name())
    }
}

/// Width of the guard band on either side of the claim: 95 % one-sided (JCGM 106:2012, 8.3), with
/// Student's t for the degrees of freedom of `u`.
#[must_use]
pub fn guard_band_95(u: f64, dof: f64) -> f64 {
    if u > 0.0 { student_95_one_sided(dof) * u } else { 0.0 }
}

/// The verdict on "at least `claimed`" for a measured value of standard uncertainty `u` with `dof`
/// degrees of freedom, all in one unit: guarded acceptance above the claim, guarded rejection
/// below it, not settled within the band.
#[must_use]
pub fn verdict(claimed: f64, measured: f64, u: f64, dof: f64) -> Verdict {
    let band = guard_band_95(u, dof);
    if measured >= claimed + band {
        Verdict::Meets
    } else if measured <= claimed - band {
        Verdict::FallsShort
    } else {
        Verdict::NotSettled
    }
}

/// How probable it is that the true value is at least `claimed`, for a normal state of knowledge
/// (JCGM 106:2012, 7.2.1).
#[must_use]
pub fn probability_at_least(claimed: f64, measured: f64, u: f64) -> f64 {
    if u > 0.0 {
        Normal::standard().cdf((measured - claimed) / u)
    } else {
        f64::from(u8::from(measured >= claimed))
    }
}
