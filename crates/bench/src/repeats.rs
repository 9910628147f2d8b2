//! What several runs of one test prove together.

use quantity::uncertainty::{
    Budget, Grubbs, Shape, Verdict, grubbs, guard_band_95, probability_at_least,
    student_95_one_sided, verdict,
};

use crate::{Discharge, Doubt};

/// Repeats of one test with one meter. All values in the unit of what was repeated: Ah or Wh.
#[derive(Debug, Clone, PartialEq)]
pub struct Repeats {
    /// How many runs.
    pub n: usize,
    /// Their mean.
    pub mean: f64,
    /// Their standard deviation; one run has none.
    pub spread: Option<f64>,
    /// Standard uncertainty of the mean from the spread, s/√n (JCGM 100:2008, 4.2.3); of a single
    /// run, that of its own ends, gaps, sampling and noise.
    pub u_runs: f64,
    /// Standard uncertainty from the meter: the same in all runs, so that it does not average out.
    pub u_meter: f64,
    /// Degrees of freedom of both together (Welch and Satterthwaite).
    pub dof: f64,
    /// Half-width of the mean's 95 % interval.
    pub u_95: f64,
    /// The run furthest from the mean, from three runs on. It is in the mean all the same.
    pub furthest: Option<Grubbs>,
}

/// What repeats say about a claim.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Claim {
    /// What was claimed.
    pub claimed: f64,
    /// Does the mean meet it?
    pub verdict: Verdict,
    /// How far above or below the claim the mean has to be to settle it.
    pub guard_band: f64,
    /// How probable it is that the true mean is at least what was claimed.
    pub probability: f64,
    /// How many more runs would settle it if mean and spread stay as they are: nought if it is
    /// settled; nothing if no reasonable number would, because the meter's own error is wider than
    /// the margin, or if the spread is not known yet.
    pub more_runs: Option<usize>,
}

/// Further runs than these are not proposed.
const MOST_RUNS: usize = 1000;

impl Repeats {
    /// Of the capacities of some discharges (Ah). Nothing of none.
    #[must_use]
    pub fn of_capacity(runs: &[&Discharge]) -> Option<Repeats> {
        Repeats::of(runs.iter().map(|run| (run.capacity_ah, &run.doubts.capacity_ah)))
    }

    /// Of the energies of some discharges (Wh). Nothing of none.
    #[must_use]
    pub fn of_energy(runs: &[&Discharge]) -> Option<Repeats> {
        Repeats::of(runs.iter().map(|run| (run.energy_wh, &run.doubts.energy_wh)))
    }

    /// Of the energies delivered above the cutoff (Wh), with the relative doubts of the whole
    /// energy. Nothing of none.
    #[must_use]
    pub fn of_usable_energy(runs: &[&Discharge]) -> Option<Repeats> {
        let shares = runs.iter().map(|run| run.above_cutoff.energy_wh / run.energy_wh);
        let scaled: Vec<(f64, Doubt)> = runs
            .iter()
            .zip(shares)
            .map(|(run, share)| (run.above_cutoff.energy_wh, run.doubts.energy_wh.scaled(share)))
            .collect();
        Repeats::of(scaled.iter().map(|(value, doubt)| (*value, doubt)))
    }

    /// Of results and their doubts.
    fn of<'a>(runs: impl Iterator<Item = (f64, &'a Doubt)>) -> Option<Repeats> {
        let (values, doubts): (Vec<f64>, Vec<&Doubt>) = runs.unzip();
        let n = values.len();
        let count = n as f64;
        let mean = values.iter().sum::<f64>() / count;
        let u_meter = doubts.iter().map(|doubt| doubt.meter.standard()).sum::<f64>() / count;
        let [only] = doubts[..] else {
            let deviations = values.iter().map(|value| (value - mean).powi(2)).sum::<f64>();
            let spread = (n > 1).then(|| (deviations / (count - 1.0)).sqrt())?;
            return Some(Repeats {
                furthest: grubbs(&values),
                ..Repeats::with(n, mean, spread, u_meter)
            });
        };
        Some(Repeats {
            n,
            mean,
            spread: None,
            u_runs: only.run.standard(),
            u_meter,
            dof: f64::INFINITY,
            u_95: only.expanded_95(),
            furthest: None,
        })
    }

    fn with(n: usize, mean: f64, spread: f64, u_meter: f64) -> Repeats {
        let u_runs = spread / (n as f64).sqrt();
        let mut budget = Budget::default();
        budget.add("spread", u_runs, Shape::Student { dof: n as f64 - 1.0 });
        budget.add("meter", u_meter, Shape::Rectangular);
        Repeats {
            n,
            mean,
            spread: Some(spread),
            u_runs,
            u_meter,
            dof: budget.effective_dof(),
            u_95: budget.expanded_95(),
            furthest: None,
        }
    }

    /// The least and the largest mean power of some discharges (W), where they differ by more than
    /// a tenth: a pack gives less at a heavier load, so that these repeat no one test.
    #[must_use]
    pub fn unlike_loads_w(runs: &[&Discharge]) -> Option<[f64; 2]> {
        let powers_w = || runs.iter().map(|run| run.mean_power_w);
        let (least_w, most_w) =
            (powers_w().fold(f64::INFINITY, f64::min), powers_w().fold(0.0, f64::max));
        (least_w < 0.9 * most_w).then_some([least_w, most_w])
    }

    /// Combined standard uncertainty of the mean.
    #[must_use]
    pub fn standard(&self) -> f64 {
        self.u_runs.hypot(self.u_meter)
    }

    /// What they say about "at least this much": decided with a guard band (JCGM 106:2012, 8.3).
    #[must_use]
    pub fn claim(&self, claimed: f64) -> Claim {
        let u = self.standard();
        let verdict = verdict(claimed, self.mean, u, self.dof);
        Claim {
            claimed,
            verdict,
            guard_band: guard_band_95(u, self.dof),
            probability: probability_at_least(claimed, self.mean, u),
            more_runs: if verdict == Verdict::NotSettled {
                self.more_runs(claimed)
            } else {
                Some(0)
            },
        }
    }

    fn more_runs(&self, claimed: f64) -> Option<usize> {
        let spread = self.spread?;
        let margin = (self.mean - claimed).abs();
        if margin <= student_95_one_sided(f64::INFINITY) * self.u_meter {
            return None;
        }
        (1..=MOST_RUNS).find(|more| {
            let later = Repeats::with(self.n + more, self.mean, spread, self.u_meter);
            margin >= guard_band_95(later.standard(), later.dof)
        })
    }
}

/// The difference of two means.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Difference {
    /// The first less the second.
    pub difference: f64,
    /// Half-width of its 95 % interval.
    pub u_95: f64,
}

impl Difference {
    /// Of two sets of repeats. A meter that was the same in both errs the same way in both, so that
    /// only what it errs more in the one than in the other is left (JCGM 100:2008, F.1.2.3).
    #[must_use]
    pub fn of(one: &Repeats, other: &Repeats, same_meter: bool) -> Difference {
        let mut budget = Budget::default();
        for repeats in [one, other] {
            let shape = match repeats.spread {
                Some(_) => Shape::Student { dof: repeats.n as f64 - 1.0 },
                None => Shape::Rectangular,
            };
            budget.add("spread", repeats.u_runs, shape);
        }
        let meter = if same_meter {
            (one.u_meter - other.u_meter).abs()
        } else {
            one.u_meter.hypot(other.u_meter)
        };
        budget.add("meter", meter, Shape::Rectangular);
        Difference { difference: one.mean - other.mean, u_95: budget.expanded_95() }
    }

    /// Whether the two differ by more than chance and meter explain.
    #[must_use]
    pub fn told_apart(&self) -> bool {
        self.difference.abs() > self.u_95
    }
}

#[cfg(test)]
mod tests {
    use quantity::uncertainty::rectangular;

    use super::*;

    fn repeats(values: &[f64], gain: f64) -> Repeats {
        let doubts: Vec<Doubt> = values
            .iter()
            .map(|value| {
                let mut doubt = Doubt::default();
                doubt.meter.add("gain", rectangular(gain * value), Shape::Rectangular);
                doubt.run.add("ends", 0.01, Shape::Rectangular);
                doubt
            })
            .collect();
        Repeats::of(values.iter().copied().zip(&doubts)).unwrap()
    }

    #[test]
    fn one_run_has_no_spread() {
        let one = repeats(&[38.5], 0.005);
        assert_eq!(one.spread, None);
        assert_eq!(one.claim(38.5).verdict, Verdict::NotSettled);
        assert_eq!(one.claim(38.5).more_runs, None);
        assert_eq!(one.claim(30.0).verdict, Verdict::Meets);
        assert!(Repeats::of_capacity(&[]).is_none());
    }

    #[test]
    fn runs_needed() {
        // JCGM 100:2008, G.3 and JCGM 106:2012, 8.3: spread 0.35, no meter error; runs needed in
        // all for a margin (worked cases)
        for (margin, needed) in [(0.2, 11), (0.3, 6), (0.5, 4)] {
            let three = Repeats::with(3, 44.0 + margin, 0.35, 0.0);
            assert_eq!(three.claim(44.0).more_runs, Some(needed - 3), "{margin}");
        }
        let three = Repeats::with(3, 45.0, 0.35, 0.0).claim(44.0);
        assert_eq!((three.verdict, three.more_runs), (Verdict::Meets, Some(0)));
    }

    #[test]
    fn an_outlier_is_named_and_kept() {
        let runs = repeats(&[38.1, 38.0, 38.2, 38.1, 31.0, 38.0], 0.001);
        let furthest = runs.furthest.unwrap();
        assert!(furthest.is_outlier() && furthest.at == 4);
        assert!((runs.mean - 221.4 / 6.0).abs() < 1e-9);
    }
}
