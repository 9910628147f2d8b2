//! The current at which pack, load and sources agree.

use pack::lanes::{Inside, Row, Terminals};

use crate::loads::LoadLine;
use crate::timeline::Step;

/// The load lines' coefficients, a row each.
#[derive(Clone)]
pub(super) struct Lines<const N: usize> {
    g_s: Row<N>,
    a_a: Row<N>,
    m0: Row<N>,
    m1: Row<N>,
    m2: Row<N>,
    m3: Row<N>,
}

impl<const N: usize> Lines<N> {
    pub(super) const NONE: Self = Self {
        g_s: [0.0; N],
        a_a: [0.0; N],
        m0: [0.0; N],
        m1: [0.0; N],
        m2: [0.0; N],
        m3: [0.0; N],
    };

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

    pub(super) fn set(&mut self, lane: usize, line: &LoadLine) {
        self.g_s[lane] = line.curve.g_s;
        self.a_a[lane] = line.curve.a_a;
        [self.m0[lane], self.m1[lane], self.m2[lane], self.m3[lane]] = line.curve.m;
    }

    pub(super) fn lane(&self, lane: usize) -> Lines<1> {
        let one = |row: &Row<N>| [row[lane]];
        Lines {
            g_s: one(&self.g_s),
            a_a: one(&self.a_a),
            m0: one(&self.m0),
            m1: one(&self.m1),
            m2: one(&self.m2),
            m3: one(&self.m3),
        }
    }

    pub(super) fn put(&mut self, lane: usize, one: &Lines<1>) {
        (self.g_s[lane], self.a_a[lane]) = (one.g_s[0], one.a_a[0]);
        (self.m0[lane], self.m1[lane]) = (one.m0[0], one.m1[0]);
        (self.m2[lane], self.m3[lane]) = (one.m2[0], one.m3[0]);
    }
}

/// What sources may do in a step, in one lane.
#[derive(Clone, Copy)]
pub(super) struct Supply {
    /// Power they have (W), of which they give at most `cap_a`.
    power_w: f64,
    cap_a: f64,
    /// Current that comes whatever the voltage (A).
    fixed_a: f64,
}

impl Supply {
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

/// How far sources may go in a block, a row each.
#[derive(Clone)]
pub(super) struct Charging<const N: usize> {
    /// Share of the clear sky's harvest.
    pub(super) sun: Row<N>,
    /// The voltage at which sources hold the terminals.
    pub(super) hold_v: Row<N>,
    /// The least current out of the pack, negative where it takes charge (A).
    pub(super) least_a: Row<N>,
}

impl<const N: usize> Charging<N> {
    pub(super) const NONE: Self = Self { sun: [1.0; N], hold_v: [0.0; N], least_a: [0.0; N] };

    pub(super) fn lane(&self, lane: usize) -> Charging<1> {
        Charging {
            sun: [self.sun[lane]],
            hold_v: [self.hold_v[lane]],
            least_a: [self.least_a[lane]],
        }
    }
}

/// What flows, and at what voltage: the means of the last step.
#[derive(Debug, Clone, Copy)]
pub(super) struct Flow<const N: usize> {
    /// At the terminals (V); the next solution starts from it.
    pub(super) v: Row<N>,
    /// Out of the pack (A).
    pub(super) current_a: Row<N>,
    /// Heat set free in the pack's resistances since the block began, in W times steps.
    pub(super) heat_w: Row<N>,
    /// Below zero where a step since the block began must be looked at closely: a voltage may have
    /// fallen to the floor or cannot be believed, or more flows than may. Errs on the side of that.
    pub(super) spare: Row<N>,
}

impl<const N: usize> Flow<N> {
    /// Whether nothing has gone off in a lane since the block began.
    pub(super) fn is_sure(&self, lane: usize) -> bool {
        // not the other way round, for what is no number
        self.spare[lane] >= 0.0
    }

    pub(super) fn lane(&self, lane: usize) -> Flow<1> {
        Flow {
            v: [self.v[lane]],
            current_a: [self.current_a[lane]],
            heat_w: [self.heat_w[lane]],
            spare: [self.spare[lane]],
        }
    }

    pub(super) fn put(&mut self, lane: usize, one: &Flow<1>) {
        (self.v[lane], self.current_a[lane]) = (one.v[0], one.current_a[0]);
        (self.heat_w[lane], self.spare[lane]) = (one.heat_w[0], one.spare[0]);
    }
}

/// Load and sources in a step. In a part of a step (`PART`) Newton's method is given more rounds,
/// and kept from running away.
pub(super) struct Outside<'a, const N: usize, const SUPPLIED: bool, const PART: bool> {
    pub(super) step: &'a Step,
    pub(super) lines: &'a Lines<N>,
    pub(super) charging: &'a Charging<N>,
    pub(super) floor_v: &'a Row<N>,
    /// The most that may flow out (A).
    pub(super) most_a: f64,
    /// By value: nothing that is read beside it can be the same memory.
    pub(super) flow: Flow<N>,
    /// Length of the step over that of the block's.
    pub(super) share: f64,
}

/// From the last step's voltage, a millivolt away, one round of Newton's method is good to about
/// 1e-8 A. What puts something on or off sets the voltage anew.
const ROUNDS: usize = 1;
/// From any voltage of the same load.
const PART_ROUNDS: usize = 4;

impl<const N: usize, const SUPPLIED: bool, const PART: bool> Terminals
    for Outside<'_, N, SUPPLIED, PART>
{
    const CHARGES: bool = SUPPLIED;

    #[inline(always)]
    fn charge(&self, lane: usize, rest_v: f64) -> bool {
        let supply = Supply::of(self.step, self.charging.sun[lane]);
        self.lines.at(lane, rest_v).0 < supply.at(rest_v).0
    }

    #[inline(always)]
    fn current_a(&mut self, lane: usize, inside: &Inside) -> f64 {
        let Inside { emf_v, ohm, .. } = *inside;
        let supply = Supply::of(self.step, self.charging.sun[lane]);
        // the load about the last step's voltage, which is known before the pack's own is
        let mut near_v = self.flow.v[lane];
        let (mut current_a, mut load_a);
        let mut rounds = if PART { PART_ROUNDS } else { ROUNDS };
        loop {
            let (near_a, slope) = self.lines.at(lane, near_v);
            let (source_a, source_slope) = if SUPPLIED { supply.at(near_v) } else { (0.0, 0.0) };
            let net_slope = slope - source_slope;
            current_a =
                (near_a - source_a + net_slope * (emf_v - near_v)) / (1.0 + ohm * net_slope);
            load_a = near_a + slope * (emf_v - ohm * current_a - near_v);
            rounds -= 1;
            if rounds == 0 {
                break;
            }
            // where no voltage satisfies the load Newton's method runs away; a constant power has
            // its last solution at half the emf
            near_v = smaller(larger(emf_v - ohm * current_a, 0.4 * emf_v), 2.0 * emf_v);
        }
        if PART {
            current_a = smaller(larger(current_a, -emf_v / ohm), 0.6 * emf_v / ohm);
        }
        if SUPPLIED {
            // the source holds its voltage at the end of the step; the pack takes no more than it
            // has room for, nor than it may
            let held_a = (inside.end_emf_v - self.charging.hold_v[lane]) / inside.end_ohm;
            let least_a = larger(larger(held_a, inside.full_a), self.charging.least_a[lane]);
            // above its voltage the source gives nothing, and the pack feeds the load
            current_a = larger(current_a, smaller(least_a, larger(load_a, 0.0)));
        }
        let v = emf_v - ohm * current_a;
        let flow = &mut self.flow;
        let heat_w = current_a * current_a * inside.loss_ohm;
        flow.heat_w[lane] += if PART { heat_w * self.share } else { heat_w };
        let rise_v = v - flow.v[lane];
        // the means drawn on to the end of the step
        let least_v = v + smaller(0.5 * rise_v, 0.0);
        let spare = smaller(
            smaller(least_v - (self.floor_v[lane] + NEAR_V), JUMP_V - rise_v.abs()),
            self.most_a - current_a,
        );
        // a sum, so that what is no number stays none
        flow.spare[lane] += smaller(0.0, spare);
        flow.v[lane] = v;
        flow.current_a[lane] = current_a;
        current_a
    }
}

/// This near to the floor a step is looked at closely.
const NEAR_V: f64 = 0.002;
/// No voltage moves so far in a minute unless Newton's method has lost it.
const JUMP_V: f64 = 1.0;

/// `f64::max` and `f64::min` without their care for NaN, which costs three instructions.
#[inline(always)]
fn larger(a: f64, b: f64) -> f64 {
    if a > b { a } else { b }
}

#[inline(always)]
fn smaller(a: f64, b: f64) -> f64 {
    if a < b { a } else { b }
}
