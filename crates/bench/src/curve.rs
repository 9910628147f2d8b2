//! Voltage against what was delivered, thinned to what a chart can show.

use crate::counter::Correction;
use crate::piece::Piece;

/// One point of a run's curve.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct CurvePoint {
    /// Since the start of the record (s).
    pub elapsed_s: f64,
    /// Delivered (or taken in) since the run's start (Ah).
    pub charge_ah: f64,
    /// Delivered (or taken in) since the run's start (Wh).
    pub energy_wh: f64,
    /// At the terminals (V).
    pub voltage_v: f64,
    /// Out of the pack positive (A).
    pub current_a: f64,
}

const MOST_POINTS: usize = 1000;

/// Gathers the points.
pub(crate) struct Curve {
    correction: Correction,
    stride: usize,
    seen: usize,
    charge_ah: f64,
    energy_wh: f64,
    last: Option<CurvePoint>,
    points: Vec<CurvePoint>,
}

impl Curve {
    /// For about so many pieces.
    pub(crate) fn of_about(pieces: usize, correction: Correction) -> Self {
        let stride = pieces.div_ceil(MOST_POINTS - 4).max(1);
        Curve {
            correction,
            stride,
            seen: 0,
            charge_ah: 0.0,
            energy_wh: 0.0,
            last: None,
            points: Vec::new(),
        }
    }

    pub(crate) fn push(&mut self, piece: &Piece) {
        if self.points.is_empty() {
            self.points.push(self.point(piece, 0));
        }
        self.charge_ah += self.correction.charge * piece.charge_ah().abs();
        self.energy_wh += self.correction.energy * piece.energy_wh().abs();
        self.seen += 1;
        let end = self.point(piece, 1);
        if self.seen.is_multiple_of(self.stride) {
            self.points.push(end);
        }
        self.last = Some(end);
    }

    fn point(&self, piece: &Piece, end: usize) -> CurvePoint {
        CurvePoint {
            elapsed_s: [piece.from_s, piece.to_s][end],
            charge_ah: self.charge_ah,
            energy_wh: self.energy_wh,
            voltage_v: piece.voltage_v[end],
            current_a: piece.current_a[end],
        }
    }

    pub(crate) fn finish(mut self) -> Vec<CurvePoint> {
        if self.points.last() != self.last.as_ref() {
            self.points.extend(self.last);
        }
        self.points
    }
}
