//! Coverage factors.

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// From here on Student's t and the normal distribution agree to 1e-6, and the inverse of the
/// former loses digits.
const MANY: f64 = 1e6;

/// Coverage factor of the two-sided 95 % interval for so many degrees of freedom, which need be
/// no whole number; infinity gives 1.960 (JCGM 100:2008, table G.2).
#[must_use]
pub fn student_95(dof: f64) -> f64 {
    student(0.975, dof)
}

/// Coverage factor for "at least" with 95 %: one-sided; infinity gives 1.645.
#[must_use]
pub fn student_95_one_sided(dof: f64) -> f64 {
    student(0.95, dof)
}

/// The value that Student's t stays below with this probability. With no degree of freedom
/// nothing is known: infinity.
pub(super) fn student(probability: f64, dof: f64) -> f64 {
    if dof >= MANY {
        return Normal::standard().inverse_cdf(probability);
    }
    StudentsT::new(0.0, 1.0, dof).map_or(f64::INFINITY, |t| t.inverse_cdf(probability))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_normal_limit() {
        assert!((student_95(f64::INFINITY) - 1.959_964).abs() < 1e-6);
        assert!((student_95_one_sided(f64::INFINITY) - 1.644_854).abs() < 1e-6);
        assert!((student_95(MANY) - student_95(MANY * 0.999)).abs() < 1e-5);
        assert_eq!(student_95(0.0), f64::INFINITY);
    }
}
