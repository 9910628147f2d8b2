//! Capacity at a temperature other than the standard's.

use crate::Family;

/// A lead-acid capacity measured at `celsius`, as it would be at 20 °C:
/// C / (1 + λ (θ - 20)) with λ = 0.006/K for discharges of three hours and more, 0.01/K for faster
/// ones (IEC 60896-11 and -21, clause and the rate's limit from memory).
pub(crate) fn capacity_at_20_c_ah(capacity_ah: f64, celsius: f64, duration_s: f64) -> f64 {
    let per_k = if duration_s >= 3.0 * 3600.0 { 0.006 } else { 0.01 };
    capacity_ah / (1.0 + per_k * (celsius - 20.0))
}

impl Family {
    /// The temperatures at which a capacity test is valid (°C): 15 to 30 for lead-acid
    /// (IEC 60896-11), 15 to 25 for lithium (IEC 61960-3, 20 ± 5); both from memory.
    #[must_use]
    pub fn test_range_c(self) -> std::ops::RangeInclusive<f64> {
        match self {
            Family::LeadAcid => 15.0..=30.0,
            Family::Lithium => 15.0..=25.0,
        }
    }

    /// What to say of a test at this temperature, if anything.
    pub(crate) fn notice(self, celsius: f64) -> Option<String> {
        let range = self.test_range_c();
        let (standard, name) = match self {
            Family::LeadAcid => ("IEC 60896", "lead-acid"),
            Family::Lithium => ("IEC 61960-3", "lithium"),
        };
        (!range.contains(&celsius)).then(|| {
            format!(
                "the test was made at {celsius:.1} °C, outside the {} to {} °C that {standard} asks for {name} batteries: a cold pack gives less, a warm one more",
                range.start(),
                range.end(),
            )
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn outside_the_range_it_is_said() {
        assert_eq!(Family::LeadAcid.notice(28.0), None);
        assert!(Family::Lithium.notice(28.0).is_some_and(|said| said.contains("IEC 61960-3")));
        assert!(Family::LeadAcid.notice(5.0).is_some());
    }

    #[test]
    fn warm_gives_more_cold_less() {
        assert_eq!(capacity_at_20_c_ah(20.0, 20.0, 36_000.0), 20.0);
        // ten hours at 5 °C: 1 - 0.006 · 15 = 0.91
        assert!((capacity_at_20_c_ah(18.2, 5.0, 36_000.0) - 20.0).abs() < 1e-12);
        // one hour at 30 °C: 1 + 0.01 · 10 = 1.1
        assert!((capacity_at_20_c_ah(22.0, 30.0, 3600.0) - 20.0).abs() < 1e-12);
    }
}
