//! Plain figures of some numbers.

/// Standard deviation; 0 of none.
pub(crate) fn deviation(values: impl Iterator<Item = f64> + Clone) -> f64 {
    let count = values.clone().count().max(1) as f64;
    let mean = values.clone().sum::<f64>() / count;
    (values.map(|value| (value - mean).powi(2)).sum::<f64>() / count).sqrt()
}

/// The 10 % and 90 % quantiles, between which the middle 80 % lie; `none` where there are no numbers.
pub(crate) fn middle_80(values: impl Iterator<Item = f64>, none: f64) -> [f64; 2] {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    [0.1, 0.9].map(|share| {
        let at = (share * values.len().saturating_sub(1) as f64).round() as usize;
        values.get(at).copied().unwrap_or(none)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_of_a_row_and_of_nothing() {
        let row = (0..=20).rev().map(f64::from);
        assert_eq!(middle_80(row.clone(), 1.0), [2.0, 18.0]);
        assert!((deviation(row) - (110.0_f64 / 3.0).sqrt()).abs() < 1e-12);
        let nothing = std::iter::empty();
        assert_eq!((middle_80(nothing.clone(), 1.0), deviation(nothing)), ([1.0; 2], 0.0));
    }
}
