//! The voltage at which pack, load and sources agree.

use super::bank::Row;
use crate::timeline::Step;

/// The load lines' coefficients, a row each.
#[derive(Clone)]
pub(super) struct Lines<const N: usize> {
    pub(super) g_s: Row<N>,
    pub(super) a_a: Row<N>,
    pub(super) m0: Row<N>,
    pub(super) m1: Row<N>,
    pub(super) m2: Row<N>,
    pub(super) m3: Row<N>,
}

impl<const N: usize> Lines<N> {
    /// Current (A) at a voltage, and its slope (A/V).
    #[inline(always)]
    pub(super) fn at(&self, lane: usize, v: f64) -> (f64, f64) {
        let y = 1.0 / v;
        let y2 = y * y;
        let (m0, m1, m2, m3) = (self.m0[lane], self.m1[lane], self.m2[lane], self.m3[lane]);
        let current_a =
            self.g_s[lane] * v + self.a_a[lane] + y * (m0 + y2 * (m1 + y2 * (m2 + y2 * m3)));
        let slope =
            self.g_s[lane] - y2 * (m0 + y2 * (3.0 * m1 + y2 * (5.0 * m2 + y2 * (7.0 * m3))));
        (current_a, slope)
    }
}

/// What sources may do in a step, in one lane.
#[derive(Clone, Copy)]
pub(super) struct Supply {
    /// Power they have (W), of which they give at most `cap_a`.
    pub(super) power_w: f64,
    pub(super) cap_a: f64,
    /// Current that comes whatever the voltage (A).
    pub(super) fixed_a: f64,
}

impl Supply {
    pub(super) const NONE: Supply = Supply { power_w: 0.0, cap_a: 0.0, fixed_a: 0.0 };

    /// In a step, on a day that brings this share of the clear sky's harvest.
    #[inline(always)]
    pub(super) fn of(step: &Step, sun: f64) -> Self {
        Supply {
            power_w: step.panel_w * sun,
            cap_a: step.panel_cap_a,
            fixed_a: step.panel_a * sun + step.charger_a,
        }
    }

    /// Current (A) at a voltage, and its slope (A/V).
    #[inline(always)]
    pub(super) fn at(&self, v: f64) -> (f64, f64) {
        let y = 1.0 / v;
        let free_a = self.power_w * y;
        let limited = free_a > self.cap_a;
        let current_a = if limited { self.cap_a } else { free_a };
        (current_a + self.fixed_a, if limited { 0.0 } else { -free_a * y })
    }
}

/// One round of Newton's method for the voltage at which pack, load and source agree:
/// `emf − ohm·(load − source) = v`.
#[inline(always)]
pub(super) fn newton<const N: usize>(
    v: f64,
    emf_v: f64,
    ohm: f64,
    line: &Lines<N>,
    lane: usize,
    supply: Supply,
    supplied: bool,
) -> f64 {
    let (load_a, load_slope) = line.at(lane, v);
    let (source_a, source_slope) = if supplied { supply.at(v) } else { (0.0, 0.0) };
    let off_v = emf_v - ohm * (load_a - source_a) - v;
    let next = v + off_v / (1.0 + ohm * (load_slope - source_slope));
    // where no voltage satisfies the load Newton's method runs away; a constant power has its last
    // solution at half the emf
    smaller(larger(next, 0.4 * emf_v), 2.0 * emf_v)
}

/// `f64::max` and `f64::min` without their care for NaN, which costs three instructions.
#[inline(always)]
pub(super) fn larger(a: f64, b: f64) -> f64 {
    if a > b { a } else { b }
}

#[inline(always)]
pub(super) fn smaller(a: f64, b: f64) -> f64 {
    if a < b { a } else { b }
}
