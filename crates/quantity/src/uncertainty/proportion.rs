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

/// What became of the same trials in two ways of doing a thing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Pairs {
    /// Trials that succeeded both ways.
    pub both: usize,
    /// Only the first way.
    pub only_first: usize,
    /// Only the second way.
    pub only_second: usize,
    /// Neither way.
    pub neither: usize,
}

impl Pairs {
    /// By how much the first way succeeds more often than the second, as a difference of shares;
    /// nought without trials.
    #[must_use]
    pub fn difference(&self) -> f64 {
        let trials = self.trials().max(1) as f64;
        (self.only_first as f64 - self.only_second as f64) / trials
    }

    /// The 95 % interval of that difference: Wilson's intervals of both shares, squared and added
    /// with what the pairs have in common (Newcombe, Stat. Med. 17 (1998) 2635, method 10). Without
    /// trials nothing is known: (-1, 1).
    #[must_use]
    pub fn difference_95(&self) -> (f64, f64) {
        let n = self.trials();
        if n == 0 {
            return (-1.0, 1.0);
        }
        let (first, second) = (self.both + self.only_first, self.both + self.only_second);
        // how far each share may lie below and above what was found
        let room = |successes: usize| {
            let share = successes as f64 / n as f64;
            let (low, high) = wilson_95(successes, n);
            (share - low, high - share)
        };
        let ((below_first, above_first), (below_second, above_second)) =
            (room(first), room(second));
        let phi = self.in_common();
        let far = |a: f64, b: f64| (a * a - 2.0 * phi * a * b + b * b).max(0.0).sqrt();
        let difference = self.difference();
        (
            (difference - far(below_first, above_second)).max(-1.0),
            (difference + far(above_first, below_second)).min(1.0),
        )
    }

    fn trials(&self) -> usize {
        self.both + self.only_first + self.only_second + self.neither
    }

    /// The correlation of the two ways, on the safe side of nought by half a trial where it is
    /// positive; nought where one way always succeeds, or never.
    fn in_common(&self) -> f64 {
        let [both, only_first, only_second, neither] =
            [self.both, self.only_first, self.only_second, self.neither].map(|count| count as f64);
        let margins = (both + only_first)
            * (only_second + neither)
            * (both + only_second)
            * (only_first + neither);
        if margins <= 0.0 {
            return 0.0;
        }
        let excess = both * neither - only_first * only_second;
        let half = 0.5 * self.trials() as f64;
        let sure = if excess > 0.0 { (excess - half).max(0.0) } else { excess };
        sure / margins.sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_known_difference_of_pairs() {
        // 59 both, 6 only the first, 16 only the second, 80 neither: -0.0621, from -0.1186 to
        // -0.0046 (Fagerland, Lydersen, Laake: Statistical Analysis of Contingency Tables, 2017,
        // ch. 8, data of Cavo et al. 2012)
        let pairs = Pairs { both: 59, only_first: 6, only_second: 16, neither: 80 };
        let (low, high) = pairs.difference_95();
        assert!((pairs.difference() + 0.0621).abs() < 5e-5);
        assert!((low + 0.1186).abs() < 5e-5 && (high + 0.0046).abs() < 5e-5, "{low} {high}");
        // the other way round it is the mirror image
        let turned = Pairs { only_first: 16, only_second: 6, ..pairs };
        let (turned_low, turned_high) = turned.difference_95();
        assert!((turned_low + high).abs() < 1e-12 && (turned_high + low).abs() < 1e-12);
    }

    /// What is drawn from a known distribution lies in the interval about as often as it says, also
    /// where one way hardly ever fails.
    #[test]
    fn the_interval_of_pairs_holds_what_it_says() {
        const TRIALS: usize = 60;
        for [both, first, second] in
            [[0.6, 0.15, 0.05], [0.7, 0.29, 0.0], [0.3, 0.3, 0.3], [0.95, 0.03, 0.01]]
        {
            let shares = [both, first, second, 1.0 - both - first - second];
            let mut held = 0.0;
            let mut whole = 0.0;
            for a in 0..=TRIALS {
                for b in 0..=TRIALS - a {
                    for c in 0..=TRIALS - a - b {
                        let counts = [a, b, c, TRIALS - a - b - c];
                        let chance = multinomial(&counts, &shares);
                        whole += chance;
                        let [both, only_first, only_second, neither] = counts;
                        let (low, high) =
                            Pairs { both, only_first, only_second, neither }.difference_95();
                        if (low..=high).contains(&(first - second)) {
                            held += chance;
                        }
                    }
                }
            }
            assert!((whole - 1.0).abs() < 1e-9, "{whole}");
            assert!((0.935..0.999).contains(&held), "{shares:?}: {held}");
        }
    }

    fn multinomial(counts: &[usize; 4], shares: &[f64; 4]) -> f64 {
        let ln_factorial = |n: usize| (1..=n).map(|k| (k as f64).ln()).sum::<f64>();
        let mut ln = ln_factorial(counts.iter().sum());
        for (&count, &share) in counts.iter().zip(shares) {
            if count > 0 {
                ln += count as f64 * share.max(0.0).ln() - ln_factorial(count);
            }
        }
        ln.exp()
    }

    #[test]
    fn pairs_at_the_ends() {
        assert_eq!(Pairs::default().difference_95(), (-1.0, 1.0));
        let sure = Pairs { both: 1000, ..Pairs::default() };
        let (low, high) = sure.difference_95();
        assert!(low < 0.0 && high > 0.0 && high - low < 0.012, "{low} {high}");
        let all = Pairs { only_first: 50, ..Pairs::default() };
        let (low, high) = all.difference_95();
        assert!(low > 0.85 && high == 1.0, "{low} {high}");
    }

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
