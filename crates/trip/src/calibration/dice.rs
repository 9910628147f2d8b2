//! Chance by other means than the engine's: another generator, another way to a normal number, rows
//! that remember by the root of their covariance, distributions by adding up their density.

use statrs::distribution::{ContinuousCDF, Normal};

/// A generator of its own (Steele, Lea & Flood 2014, OOPSLA, "splittable", from memory).
pub(super) struct Dice(u64);

impl Dice {
    pub(super) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0xd134_2543_de82_ef95) ^ 0x1234_5678_9abc_def0)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Evenly between 0 and 1, neither of them.
    pub(super) fn even(&mut self) -> f64 {
        ((self.next() >> 12) as f64 + 0.5) / (1_u64 << 52) as f64
    }

    /// One of so many.
    pub(super) fn below(&mut self, count: usize) -> usize {
        (self.even() * count as f64) as usize
    }

    /// Standard normal (Box & Muller 1958).
    pub(super) fn normal(&mut self) -> f64 {
        (-2.0 * self.even().ln()).sqrt() * (std::f64::consts::TAU * self.even()).cos()
    }

    /// A row of standard normal numbers, each correlated with the next by `kept`, and with those
    /// farther away by its powers: the covariance's root (Cholesky) times independent ones.
    pub(super) fn row(&mut self, count: usize, kept: f64) -> Vec<f64> {
        let covariance = |a: usize, b: usize| kept.powi(a.abs_diff(b) as i32);
        let mut root = vec![vec![0.0; count]; count];
        for a in 0..count {
            for b in 0..=a {
                let known: f64 = (0..b).map(|c| root[a][c] * root[b][c]).sum();
                let left: f64 = covariance(a, b) - known;
                root[a][b] = if a == b { left.sqrt() } else { left / root[b][b] };
            }
        }
        let fresh: Vec<f64> = (0..count).map(|_| self.normal()).collect();
        root.iter().map(|row| row.iter().zip(&fresh).map(|(a, b)| a * b).sum()).collect()
    }
}

/// A distribution over 0 to 1, added up from a density.
#[derive(Debug, Clone)]
pub(super) struct Shares(Vec<[f64; 2]>);

impl Shares {
    /// From a density at an angle θ, of the shares sin²θ: what rises without end at either end of
    /// the shares is smooth so.
    fn of(density: impl Fn(f64) -> f64) -> Self {
        const PARTS: usize = 2000;
        let width = std::f64::consts::FRAC_PI_2 / PARTS as f64;
        let mut sum = 0.0;
        let mut points = vec![[0.0, 0.0]];
        for part in 0..PARTS {
            sum += density((part as f64 + 0.5) * width);
            points.push([sum, ((part + 1) as f64 * width).sin().powi(2)]);
        }
        points.iter_mut().for_each(|[below, _]| *below /= sum);
        Self(points)
    }

    /// The beta distribution with a mean and a standard deviation.
    pub(super) fn beta(mean: f64, deviation: f64) -> Self {
        let weight = mean * (1.0 - mean) / deviation.powi(2) - 1.0;
        let (a, b) = (mean * weight, (1.0 - mean) * weight);
        Self::of(|angle| angle.sin().powf(2.0 * a - 1.0) * angle.cos().powf(2.0 * b - 1.0))
    }

    /// `p(x) ~ (1 − x) exp(g x)` with this mean.
    pub(super) fn hollands_huget(mean: f64) -> Self {
        let of_slope = |slope: f64| {
            Self::of(move |angle| {
                let x = angle.sin().powi(2);
                (1.0 - x) * (slope * (x - 1.0)).exp() * angle.sin() * angle.cos()
            })
        };
        let (mut low, mut high) = (-60.0, 60.0);
        for _ in 0..40 {
            let middle = f64::midpoint(low, high);
            *(if of_slope(middle).mean() < mean { &mut low } else { &mut high }) = middle;
        }
        of_slope(low)
    }

    pub(super) fn mean(&self) -> f64 {
        let strip = |pair: &[[f64; 2]]| (pair[1][0] - pair[0][0]) * 0.5 * (pair[0][1] + pair[1][1]);
        self.0.windows(2).map(strip).sum()
    }

    /// The share that as many are below as are below a standard normal number.
    pub(super) fn at(&self, normal: f64) -> f64 {
        let below = Normal::standard().cdf(normal);
        let next = self.0.partition_point(|point| point[0] < below).clamp(1, self.0.len() - 1);
        let ([from, a], [to, b]) = (self.0[next - 1], self.0[next]);
        let along = if to > from { ((below - from) / (to - from)).clamp(0.0, 1.0) } else { 0.5 };
        a + (b - a) * along
    }
}

#[test]
fn dice_fall_as_they_should() {
    let mut dice = Dice::new(1);
    let rows: Vec<Vec<f64>> = (0..40_000).map(|_| dice.row(3, 0.6)).collect();
    let mean = |of: &dyn Fn(&[f64]) -> f64| {
        rows.iter().map(|row| of(row)).sum::<f64>() / rows.len() as f64
    };
    // five standard errors
    for (what, found, expect) in [
        ("mean", mean(&|row| row[2]), 0.0),
        ("variance", mean(&|row| row[2] * row[2]), 1.0),
        ("next", mean(&|row| row[1] * row[2]), 0.6),
        ("next but one", mean(&|row| row[0] * row[2]), 0.36),
        ("beyond 1.96", mean(&|row| f64::from(u8::from(row[1].abs() > 1.959_964))), 0.05),
    ] {
        assert!((found - expect).abs() < 0.035, "{what}: {found}, not {expect}");
    }
    let shares = Shares::beta(0.65, 0.2);
    let drawn: Vec<f64> = rows.iter().map(|row| shares.at(row[0])).collect();
    let middle = drawn.iter().sum::<f64>() / drawn.len() as f64;
    let square = drawn.iter().map(|x| (x - middle).powi(2)).sum::<f64>() / drawn.len() as f64;
    assert!((middle - 0.65).abs() < 0.005 && (square.sqrt() - 0.2).abs() < 0.004, "{middle}");
    assert!((Shares::hollands_huget(0.4).mean() - 0.4).abs() < 1e-6);
}
