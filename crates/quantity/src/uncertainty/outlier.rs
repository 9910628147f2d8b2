//! Is the odd one out too odd?

use super::coverage::student;

/// The outcome of Grubbs' test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grubbs {
    /// Which value lies furthest from the mean.
    pub at: usize,
    /// Its distance over the standard deviation.
    pub largest: f64,
    /// What that distance stays below in 95 of 100 sets without an outlier, two-sided.
    pub critical: f64,
}

impl Grubbs {
    /// Whether the value is further out than chance explains. It is shown, never dropped: only
    /// the person who ran the test can say what went wrong.
    #[must_use]
    pub fn is_outlier(&self) -> bool {
        self.largest > self.critical
    }
}

/// Grubbs' test for one outlier, two-sided at 5 % (Grubbs, Technometrics 11 (1969) 1). Nothing for
/// fewer than three values or values without spread.
#[must_use]
pub fn grubbs(values: &[f64]) -> Option<Grubbs> {
    let n = values.len() as f64;
    if values.len() < 3 {
        return None;
    }
    let mean = values.iter().sum::<f64>() / n;
    let s = (values.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    let (at, furthest) =
        values.iter().map(|x| (x - mean).abs()).enumerate().max_by(|a, b| a.1.total_cmp(&b.1))?;
    if !(s.is_finite() && s > 0.0) {
        return None;
    }
    let t = student(1.0 - 0.05 / (2.0 * n), n - 2.0);
    let critical = (n - 1.0) / n.sqrt() * (t * t / (n - 2.0 + t * t)).sqrt();
    Some(Grubbs { at, largest: furthest / s, critical })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn too_few_or_all_alike() {
        assert_eq!(grubbs(&[1.0, 2.0]), None);
        assert_eq!(grubbs(&[1.0, 1.0, 1.0]), None);
    }

    #[test]
    fn one_far_out() {
        let found = grubbs(&[38.1, 38.0, 38.2, 38.1, 31.0, 38.0]).unwrap();
        assert_eq!(found.at, 4);
        assert!(found.is_outlier());
        // table value for n = 6, two-sided 5 %: 1.887 (Grubbs 1969, table I, from memory)
        assert!((found.critical - 1.887).abs() < 1e-3);
    }
}
