//! The part of the model in which the voltage is linear: the open-circuit curve at its knots and
//! the resistances. Solved by least squares for given curved parameters (variable projection,
//! Golub & Pereyra, SIAM J. Numer. Anal. 10 (1973) 413).

use super::walk::Row;
use nalgebra::{DMatrix, DVector};

/// Columns after the knots: R0, its rise, R1.
pub(super) const RESISTANCES: usize = 3;

/// Where the curve has its knots: close together at both ends, where it is steep.
pub(super) fn knots() -> Vec<f64> {
    let mut knots = vec![0.0];
    for (to, step) in
        [(0.03, 0.0025), (0.06, 0.005), (0.2, 0.01), (0.9, 0.02), (0.97, 0.01), (1.0, 0.005)]
    {
        let from = knots.last().copied().unwrap_or(0.0);
        let count = f64::round((to - from) / step) as usize;
        knots.extend((1..=count).map(|i| from + (to - from) * i as f64 / count as f64));
    }
    knots
}

/// What is known of the linear parameters before any record.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ohms {
    pub(super) r0_ohm: f64,
    /// R0 times the share it rises by when empty.
    pub(super) rise_ohm: f64,
    pub(super) r1_ohm: f64,
}

impl Ohms {
    pub(super) fn rows(self) -> [f64; RESISTANCES] {
        [self.r0_ohm, self.rise_ohm, self.r1_ohm]
    }
}

/// A row of the linear system: two neighbouring knots and the resistances.
struct Equation {
    knot: usize,
    right: f64,
    ohms: [f64; RESISTANCES],
}

/// The linear problem's fixed side.
pub(super) struct Linear {
    pub(super) knots: Vec<f64>,
    pub(super) below_soc: f64,
    pub(super) prior: Ohms,
}

/// Its solution.
#[derive(Clone)]
pub(super) struct Solution {
    pub(super) ocv_v: Vec<f64>,
    pub(super) ohms: Ohms,
    /// Measured less modelled voltage, a row each.
    pub(super) off_v: Vec<f64>,
    /// The normal matrix, knots then resistances, in units of the weights.
    pub(super) normal: DMatrix<f64>,
}

impl Linear {
    /// Relative standard uncertainty of the resistances before any record.
    pub(super) const PRIOR: f64 = 1.0;
    /// How far the slope may change from knot to knot where no row says anything, in V per unit
    /// of SoC: weak enough to leave no mark where one does.
    const BEND: f64 = 300.0;

    fn equation(&self, row: &Row, capacity_ah: f64) -> Equation {
        let soc = 1.0 - row.taken_ah / capacity_ah;
        let last = self.knots.len() - 1;
        let knot = self.knots.partition_point(|k| *k <= soc).clamp(1, last) - 1;
        let (from, to) = (self.knots[knot], self.knots[knot + 1]);
        let low = (1.0 - soc / self.below_soc).clamp(0.0, 1.0);
        Equation {
            knot,
            right: (soc - from) / (to - from),
            ohms: [-row.drive_a, -row.drive_a * low * low, -row.slow_a],
        }
    }

    /// Solves for the curve and the resistances. `weights` are one over each row's standard
    /// uncertainty in V. `None` if the rows don't determine them.
    pub(super) fn solve(
        &self,
        rows: &[Row],
        weights: &[f64],
        capacity_ah: f64,
    ) -> Option<Solution> {
        let count = self.knots.len();
        let size = count + RESISTANCES;
        let mut normal = DMatrix::<f64>::zeros(size, size);
        let mut side = DVector::<f64>::zeros(size);
        let equations: Vec<Equation> =
            rows.iter().map(|row| self.equation(row, capacity_ah)).collect();
        for ((row, weight), equation) in rows.iter().zip(weights).zip(&equations) {
            let square = weight * weight;
            let terms = equation.terms(count);
            for (i, x) in terms {
                side[i] += square * x * row.voltage_v;
                for (j, y) in terms {
                    normal[(i, j)] += square * x * y;
                }
            }
        }
        for (i, ohm) in self.prior.rows().into_iter().enumerate() {
            let square = (Self::PRIOR * ohm).powi(-2);
            normal[(count + i, count + i)] += square;
            side[count + i] += square * ohm;
        }
        for i in 1..count - 1 {
            let (left, right) =
                (self.knots[i] - self.knots[i - 1], self.knots[i + 1] - self.knots[i]);
            let terms = [
                (i - 1, 1.0 / (left * Self::BEND)),
                (i, -(1.0 / left + 1.0 / right) / Self::BEND),
                (i + 1, 1.0 / (right * Self::BEND)),
            ];
            for (i, x) in terms {
                for (j, y) in terms {
                    normal[(i, j)] += x * y;
                }
            }
        }
        let found = self.positive(&normal, &side)?;
        let off_v = rows
            .iter()
            .zip(&equations)
            .map(|(row, equation)| {
                let model: f64 = equation.terms(count).iter().map(|&(i, x)| x * found[i]).sum();
                row.voltage_v - model
            })
            .collect();
        let ohms =
            Ohms { r0_ohm: found[count], rise_ohm: found[count + 1], r1_ohm: found[count + 2] };
        Some(Solution { ocv_v: found.as_slice()[..count].to_vec(), ohms, off_v, normal })
    }

    /// Solves the normal equations; resistances that come out below nothing are held at a
    /// hundredth of their prior.
    fn positive(&self, normal: &DMatrix<f64>, side: &DVector<f64>) -> Option<DVector<f64>> {
        let count = self.knots.len();
        let (mut normal, mut side) = (normal.clone(), side.clone());
        for _ in 0..=RESISTANCES {
            let found = normal.clone().cholesky()?.solve(&side);
            let least = |i: usize| 0.01 * self.prior.rows()[i];
            let Some(low) = (0..RESISTANCES).find(|&i| found[count + i] < 0.99 * least(i)) else {
                return Some(found);
            };
            // a weight that nothing in the rows outweighs
            let heavy = 1e6 * normal[(count + low, count + low)];
            side[count + low] += heavy * least(low);
            normal[(count + low, count + low)] += heavy;
        }
        None
    }
}

impl Equation {
    fn terms(&self, count: usize) -> [(usize, f64); 2 + RESISTANCES] {
        let [r0, rise, r1] = self.ohms;
        [
            (self.knot, 1.0 - self.right),
            (self.knot + 1, self.right),
            (count, r0),
            (count + 1, rise),
            (count + 2, r1),
        ]
    }
}
