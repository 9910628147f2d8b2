//! Lead-acid capacity at a temperature other than the standard's.

/// A lead-acid capacity measured at `celsius`, as it would be at 20 °C:
/// C / (1 + λ (θ - 20)) with λ = 0.006/K for discharges of three hours and more, 0.01/K for faster
/// ones (IEC 60896-11 and -21, clause and the rate's limit from memory).
#[must_use]
pub fn capacity_at_20_c_ah(capacity_ah: f64, celsius: f64, duration_s: f64) -> f64 {
    let per_k = if duration_s >= 3.0 * 3600.0 { 0.006 } else { 0.01 };
    capacity_ah / (1.0 + per_k * (celsius - 20.0))
}

/// The range in which that standard takes a test as valid (°C; from memory).
pub const LEAD_ACID_RANGE_C: std::ops::RangeInclusive<f64> = 15.0..=30.0;

/// The range in which a lithium test is taken as valid: 20 ± 5 °C (IEC 61960-3, from memory).
pub const LITHIUM_RANGE_C: std::ops::RangeInclusive<f64> = 15.0..=25.0;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn warm_gives_more_cold_less() {
        assert_eq!(capacity_at_20_c_ah(20.0, 20.0, 36_000.0), 20.0);
        // ten hours at 5 °C: 1 - 0.006 · 15 = 0.91
        assert!((capacity_at_20_c_ah(18.2, 5.0, 36_000.0) - 20.0).abs() < 1e-12);
        // one hour at 30 °C: 1 + 0.01 · 10 = 1.1
        assert!((capacity_at_20_c_ah(22.0, 30.0, 3600.0) - 20.0).abs() < 1e-12);
    }
}
