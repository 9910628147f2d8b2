//! Open-circuit voltage against state of charge.

use crate::PackError;
use std::sync::Arc;

/// Open-circuit voltage against SoC: points, and straight lines between them.
///
/// Looked up on an even grid, which needs no search. The grid is made fine enough to follow the
/// points within [`Ocv::GRID_ERROR_V`], or has 4000 cells; points at thousandths of SoC are met
/// exactly. Beyond 0 and 1 the first and last lines go on.
#[derive(Debug, Clone, PartialEq)]
pub struct Ocv {
    points: Arc<[(f64, f64)]>,
    /// Voltage at the left edge of each cell, and its rise across the cell. The room beyond the
    /// last cell is never read: its size lets a masked index go unchecked.
    cells: Arc<[[f64; 2]; ROOM]>,
    per_cell: f64,
    /// Area under the curve up to the left edge of each cell, in V.
    areas: Arc<[f64]>,
}

const ROOM: usize = 4096;

/// Adding this to a small number leaves its nearest integer in the lowest bits.
const ROUND: f64 = 6_755_399_441_055_744.0;

impl Ocv {
    /// How closely the grid follows the points.
    pub const GRID_ERROR_V: f64 = 5e-4;

    const GRIDS: [usize; 3] = [1000, 2000, 4000];

    /// A curve through `(soc, voltage_v)`.
    ///
    /// # Errors
    /// [`PackError::Ocv`] unless there are two points or more, SoC rises from 0 to 1, and the
    /// voltage is above zero and never falls as SoC rises.
    pub fn new(points: impl Into<Arc<[(f64, f64)]>>) -> Result<Self, PackError> {
        let points: Arc<[(f64, f64)]> = points.into();
        let wrong = |text: String| Err(PackError::Ocv(text));
        let (Some(first), Some(last)) = (points.first(), points.last()) else {
            return wrong("it is empty; at least the points at SoC 0 and 1 are needed".into());
        };
        if first.0 != 0.0 || last.0 != 1.0 {
            return wrong(format!("it goes from SoC {} to {}, not from 0 to 1", first.0, last.0));
        }
        for &(soc, voltage_v) in points.iter() {
            if !(voltage_v.is_finite() && voltage_v > 0.0) {
                return wrong(format!("{voltage_v} V at SoC {soc} is no battery's voltage"));
            }
        }
        for pair in points.windows(2) {
            let &[(soc, voltage_v), (next, next_v)] = pair else { continue };
            if soc.is_nan() || next.is_nan() || next <= soc {
                return wrong(format!("SoC {next} follows {soc}; it must rise"));
            }
            if next_v < voltage_v {
                return wrong(format!("{next_v} V at SoC {next} is below {voltage_v} V at {soc}"));
            }
        }
        let mut curve = Self::on_grid(&points, 1000);
        for count in Self::GRIDS {
            curve = Self::on_grid(&points, count);
            let off = |&(soc, v): &(f64, f64)| (curve.at(soc) - v).abs() <= Self::GRID_ERROR_V;
            if points.iter().all(off) {
                break;
            }
        }
        Ok(curve)
    }

    fn on_grid(points: &Arc<[(f64, f64)]>, count: usize) -> Self {
        let edges: Vec<f64> =
            (0..=count).map(|i| between(points, i as f64 / count as f64)).collect();
        let mut cells = [[0.0; 2]; ROOM];
        let mut areas = Vec::with_capacity(count);
        let mut area = 0.0;
        for (cell, pair) in cells.iter_mut().zip(edges.windows(2)) {
            let &[v, next_v] = pair else { continue };
            *cell = [v, next_v - v];
            areas.push(area);
            area += 0.5 * (v + next_v) / count as f64;
        }
        Self {
            points: Arc::clone(points),
            cells: Arc::new(cells),
            per_cell: count as f64,
            areas: areas.into(),
        }
    }

    /// The cell that holds `soc`, how far into it `soc` lies (beyond 0..1 outside the curve),
    /// and what the cell says.
    ///
    /// Written without a branch or a checked index, so that a loop over many vectorises.
    #[inline(always)]
    fn find(&self, soc: f64) -> (usize, f64, [f64; 2]) {
        let x = soc * self.per_cell;
        let low = if x > 0.0 { x } else { 0.0 };
        let most = self.per_cell - 0.5;
        let inside = if low < most { low } else { most };
        let rounded = (inside - 0.5) + ROUND;
        let cell = rounded.to_bits() as usize & (ROOM - 1);
        (cell, x - (rounded - ROUND), self.cells[cell])
    }

    /// The points it was made from, `(soc, voltage_v)`.
    #[must_use]
    pub fn points(&self) -> &[(f64, f64)] {
        &self.points
    }

    /// Voltage in V at a state of charge.
    #[must_use]
    #[inline(always)]
    pub fn at(&self, soc: f64) -> f64 {
        let (_, within, [v, rise]) = self.find(soc);
        v + rise * within
    }

    /// Voltage in V and its slope in V per unit of SoC.
    #[must_use]
    #[inline(always)]
    pub fn at_with_slope(&self, soc: f64) -> (f64, f64) {
        let (_, within, [v, rise]) = self.find(soc);
        (v + rise * within, rise * self.per_cell)
    }

    /// The area under the curve from 0 to `soc` in V; times the capacity it is the energy held.
    #[must_use]
    pub fn area(&self, soc: f64) -> f64 {
        let (cell, within, [v, rise]) = self.find(soc);
        let before = self.areas.get(cell).copied().unwrap_or(f64::NAN);
        before + within * (v + 0.5 * rise * within) / self.per_cell
    }
}

/// Straight between the points; `soc` within 0 to 1.
fn between(points: &[(f64, f64)], soc: f64) -> f64 {
    let right = points.partition_point(|p| p.0 < soc).clamp(1, points.len().max(2) - 1);
    match (points.get(right - 1), points.get(right)) {
        (Some(a), Some(b)) => a.1 + (b.1 - a.1) * ((soc - a.0) / (b.0 - a.0)),
        _ => f64::NAN,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn follows_its_points() {
        let points = vec![(0.0, 10.6), (0.02, 11.6), (0.12345, 12.8), (0.98, 13.42), (1.0, 13.6)];
        let curve = Ocv::new(points.clone()).unwrap();
        for (soc, voltage_v) in points {
            assert!((curve.at(soc) - voltage_v).abs() < Ocv::GRID_ERROR_V, "{soc}");
        }
        assert!((curve.at(0.01) - 11.1).abs() < 1e-9);
        assert!((curve.at(1.01) - 13.69).abs() < 1e-9, "the last line goes on");
        assert!((curve.at(-0.01) - 10.1).abs() < 1e-9, "the first line goes on");
        assert!((curve.at_with_slope(0.99).1 - 9.0).abs() < 1e-9);
        assert!(curve.at(f64::NAN).is_nan());
        assert!((curve.area(0.02) - 0.02 * 11.1).abs() < 1e-9);
        assert!((curve.area(1.0) - curve.area(0.98) - 0.02 * 13.51).abs() < 1e-9);
    }

    #[test]
    fn says_what_is_wrong_with_a_table() {
        for (points, word) in [
            (vec![], "empty"),
            (vec![(0.0, 10.0), (0.9, 13.0)], "to 0.9"),
            (vec![(0.0, 10.0), (0.5, 13.0), (0.5, 13.1), (1.0, 13.2)], "must rise"),
            (vec![(0.0, 10.0), (0.5, 13.0), (1.0, 12.0)], "below"),
            (vec![(0.0, -1.0), (1.0, 12.0)], "no battery"),
            (vec![(0.0, 1.0), (1.0, f64::NAN)], "no battery"),
        ] {
            let error = Ocv::new(points).unwrap_err().to_string();
            assert!(error.contains(word), "{error}");
        }
    }
}
