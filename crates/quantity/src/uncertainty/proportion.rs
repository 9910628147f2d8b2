//! How sure a share of successes is.

use super::coverage::student_95;

/// The 95 % interval of a probability after `successes` in `trials`, by Wilson's score method
/// (Wilson, J. Am. Stat. Assoc. 22 (1927) 209): within 0..1 even at the ends. Without trials
/// nothing is known: (0, 1).
#[must_use]
pub fn wilson_95(successes: usize, trials: usize) -> (f64, f64) {
    wilson(successes, trials, student_95(f64::INFINITY))
}

/// The same interval for any confidence: `z` standard deviations of the normal distribution to
/// either side.
#[must_use]
pub fn wilson(successes: usize, trials: usize, z: f64) -> (f64, f64) {
    if trials == 0 {
        return (0.0, 1.0);
    }
    let n = trials as f64;
    let share = successes.min(trials) as f64 / n;
    let z2 = z * z;
    let middle = (share + z2 / (2.0 * n)) / (1.0 + z2 / n);
    let half = z / (1.0 + z2 / n) * (share * (1.0 - share) / n + z2 / (4.0 * n * n)).sqrt();
    ((middle - half).clamp(0.0, share), (middle + half).clamp(share, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn known_intervals() {
        // 81 of 263: 0.2553 to 0.3662 (Newcombe, Stat. Med. 17 (1998) 857, table I, from memory)
        let (low, high) = wilson_95(81, 263);
        assert!((low - 0.2553).abs() < 1e-4 && (high - 0.3662).abs() < 1e-4, "{low} {high}");
        // 0 of 20: 0 to 0.1611; 20 of 20 mirrors it
        let (low, high) = wilson_95(0, 20);
        assert!(low == 0.0 && (high - 0.1611).abs() < 1e-4, "{low} {high}");
        let (low, high) = wilson_95(20, 20);
        assert!((low - 0.8389).abs() < 1e-4 && high == 1.0, "{low} {high}");
        assert_eq!(wilson_95(0, 0), (0.0, 1.0));
        // all of n missed leaves z² / (n + z²)
        assert!((wilson(0, 32, 4.0).1 - 16.0 / 48.0).abs() < 1e-12);
    }
}
