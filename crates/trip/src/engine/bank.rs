//! The arrays of a group of draws, and one step of them.

use pack::{Circuit, Climate};

use super::Cell;
use crate::draws::Draw;
use crate::loads::{LoadLine, Loads, Mask};
use crate::timeline::{Block, Step};

/// Arrays of one value a lane.
pub(super) struct Bank<const N: usize> {
    // state
    pub(super) soc: [f64; N],
    pub(super) v1_v: [f64; N],
    pub(super) gap: [f64; N],
    /// Mean voltage at the terminals in the last step, from which the next solution starts.
    pub(super) v: [f64; N],
    pub(super) off: [Mask; N],
    pub(super) open: [bool; N],
    // of the block
    pub(super) line: [LoadLine; N],
    pub(super) floor_v: [f64; N],
    sun: [f64; N],
    least_a: [f64; N],
    emf_shift_v: [f64; N],
    r0_ohm: [f64; N],
    r1_ohm: [f64; N],
    charge_ohm: [f64; N],
    stretch: [f64; N],
    soc_per_a: [f64; N],
    gap_full: [f64; N],
}

/// How long a step is: the exponentials, the same for all lanes since the time constants are.
#[derive(Clone, Copy)]
pub(super) struct Pace {
    /// Length over that of the block's steps.
    share: f64,
    v1_keep: f64,
    v1_mean: f64,
    gap_keep: f64,
    gap_mean: f64,
}

impl Pace {
    /// For a share of a block's step.
    pub(super) fn of(circuit: &Circuit, dt_s: f64, share: f64) -> Self {
        // what is left at the end of the step, and on average through it
        let pair = |rate_per_s: f64| {
            let x = rate_per_s * dt_s * share;
            if x > 0.0 { ((-x).exp(), -(-x).exp_m1() / x) } else { (1.0, 1.0) }
        };
        let tau_s = circuit.r1_ohm * circuit.c1_f;
        let (v1_keep, v1_mean) = if tau_s > 0.0 { pair(1.0 / tau_s) } else { (0.0, 0.0) };
        let (gap_keep, gap_mean) = circuit.wells.map_or((1.0, 1.0), |wells| pair(wells.rate_per_s));
        Self { share, v1_keep, v1_mean, gap_keep, gap_mean }
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
    const NONE: Supply = Supply { power_w: 0.0, cap_a: 0.0, fixed_a: 0.0 };

    fn current_a(&self, v: f64) -> f64 {
        (self.power_w / v).min(self.cap_a) + self.fixed_a
    }
}

/// What flowed in a step, in one lane.
#[derive(Clone, Copy, Default)]
pub(super) struct Flow {
    pub(super) battery_a: f64,
    pub(super) source_a: f64,
    /// Lost in the pack's resistances (W).
    pub(super) loss_w: f64,
}

impl<const N: usize> Bank<N> {
    pub(super) fn start(cell: &Cell<'_>) -> Self {
        Self {
            soc: [cell.soc_start; N],
            v1_v: [0.0; N],
            gap: [0.0; N],
            v: [cell.circuit.ocv.at(cell.soc_start); N],
            off: [0; N],
            open: [false; N],
            line: [LoadLine::NONE; N],
            floor_v: [0.0; N],
            sun: [1.0; N],
            least_a: [0.0; N],
            emf_shift_v: [0.0; N],
            r0_ohm: [0.0; N],
            r1_ohm: [0.0; N],
            charge_ohm: [0.0; N],
            stretch: [1.0; N],
            soc_per_a: [0.0; N],
            gap_full: [0.0; N],
        }
    }

    /// What holds through a block: temperature, load, lengths.
    pub(super) fn prepare(
        &mut self,
        cell: &Cell<'_>,
        loads: &mut Loads<'_>,
        draws: &[Draw; N],
        block: &Block,
    ) {
        let circuit = cell.circuit;
        for (lane, draw) in draws.iter().enumerate() {
            let Climate { resistance, stretch, .. } = circuit.climate(block.air_c + draw.air_k);
            let resistance = resistance * draw.resistance;
            let capacity_ah = circuit.capacity_ah * draw.capacity;
            self.emf_shift_v[lane] = circuit.offset_v + draw.ocv_v;
            self.r0_ohm[lane] = circuit.r0_ohm * resistance;
            self.r1_ohm[lane] = circuit.r1_ohm * resistance;
            self.charge_ohm[lane] = circuit.charge_ohm * resistance;
            self.stretch[lane] = stretch;
            self.soc_per_a[lane] = block.dt_s / (3600.0 * capacity_ah);
            self.gap_full[lane] = circuit
                .wells
                .map_or(0.0, |w| 1.0 / (w.at_hand * capacity_ah * 3600.0 * w.rate_per_s));
            self.sun[lane] = draw.sun.get(block.night).copied().unwrap_or(1.0);
            let frozen = block.air_c + draw.air_k < block.no_charge_below_c;
            self.least_a[lane] = if frozen { 0.0 } else { -block.most_charge_a };
            self.take_load(lane, cell, loads, draw, block);
        }
    }

    /// Sets the load of a lane: what is on in the block, without what has stopped.
    pub(super) fn take_load(
        &mut self,
        lane: usize,
        cell: &Cell<'_>,
        loads: &mut Loads<'_>,
        draw: &Draw,
        block: &Block,
    ) {
        if self.open[lane] {
            self.line[lane] = LoadLine::NONE;
            self.floor_v[lane] = f64::NEG_INFINITY;
        } else {
            self.line[lane] = loads.line(block.set, self.off[lane], draw);
            self.floor_v[lane] =
                self.line[lane].floor_v.max(cell.limits.undervoltage_v.unwrap_or(0.0));
        }
    }

    pub(super) fn supply(&self, lane: usize, block: &Block, step: &Step) -> Supply {
        if !block.supplied {
            return Supply::NONE;
        }
        Supply {
            power_w: step.panel_w * self.sun[lane],
            cap_a: step.panel_cap_a,
            fixed_a: step.panel_a * self.sun[lane] + step.charger_a,
        }
    }

    /// One step of one lane.
    #[inline(always)]
    pub(super) fn step(
        &mut self,
        lane: usize,
        cell: &Cell<'_>,
        block: &Block,
        supply: Supply,
        pace: Pace,
        rounds: usize,
    ) -> Flow {
        let circuit = cell.circuit;
        let efficiency = circuit.charge_efficiency;
        let bound = circuit.wells.map_or(0.0, |w| 1.0 - w.at_hand);
        let (stretch, gap_full) = (self.stretch[lane], self.gap_full[lane]);
        let soc_per_a = self.soc_per_a[lane] * pace.share;
        let (soc, gap, v1_v) = (self.soc[lane], self.gap[lane], self.v1_v[lane]);
        // what the mean state would be without a current, and how far an ampere moves it
        let rest = 1.0 - (1.0 - soc + bound * gap * pace.gap_mean) * stretch;
        let per_a = stretch * (0.5 * soc_per_a + bound * gap_full * (1.0 - pace.gap_mean));
        let (ocv_v, slope_v) = circuit.ocv.at_with_slope(rest);
        let rest_v = ocv_v + self.emf_shift_v[lane];
        let low = circuit.rise.depth(rest);
        let mut r0_ohm = self.r0_ohm[lane] * (1.0 + circuit.rise.share * low * low);
        let line = &self.line[lane];
        if block.supplied && line.current_a(rest_v) < supply.current_a(rest_v) {
            r0_ohm += self.charge_ohm[lane] / Circuit::missing(soc);
        }
        let slow_ohm = self.r1_ohm[lane] * (1.0 - pace.v1_mean);
        let emf_v = rest_v - v1_v * pace.v1_mean;
        let ohm = r0_ohm + slow_ohm + slope_v * per_a;

        let mut v = solve(emf_v, ohm, line, supply, self.v[lane], rounds);
        let mut current_a = (emf_v - v) / ohm;
        if block.supplied {
            // the source holds its voltage at the end of the step; the pack takes no more than it
            // has room for, nor than it may
            let end_per_a = stretch * (soc_per_a + bound * gap_full * (1.0 - pace.gap_keep));
            let end_ohm = r0_ohm + self.r1_ohm[lane] * (1.0 - pace.v1_keep) + slope_v * end_per_a;
            let end_rest = 1.0 - (1.0 - soc + bound * gap * pace.gap_keep) * stretch;
            let end_v = rest_v + slope_v * (end_rest - rest) - v1_v * pace.v1_keep;
            let held_a = (end_v - block.hold_v) / end_ohm;
            let full_a = (soc - 1.0) / (efficiency * soc_per_a);
            let least_a = held_a.max(full_a).max(self.least_a[lane]).min(0.0);
            if current_a < least_a {
                current_a = least_a;
                v = emf_v - ohm * current_a;
            }
        }
        let stored_a = if current_a < 0.0 { current_a * efficiency } else { current_a };
        self.soc[lane] = soc - (stored_a + cell.idle_a) * soc_per_a;
        self.gap[lane] = gap * pace.gap_keep + stored_a * gap_full * (1.0 - pace.gap_keep);
        self.v1_v[lane] =
            v1_v * pace.v1_keep + current_a * self.r1_ohm[lane] * (1.0 - pace.v1_keep);
        self.v[lane] = v;
        Flow {
            battery_a: current_a,
            // without a source the difference is only what Newton's method leaves
            source_a: if block.supplied { line.current_a(v) - current_a } else { 0.0 },
            loss_w: current_a * (v1_v * pace.v1_mean + (slow_ohm + r0_ohm) * current_a),
        }
    }

    /// The voltage at the terminals of one lane at this very moment, with what is on.
    pub(super) fn now_v(&self, lane: usize, cell: &Cell<'_>, supply: Supply) -> f64 {
        let circuit = cell.circuit;
        let bound = circuit.wells.map_or(0.0, |w| 1.0 - w.at_hand);
        let here = 1.0 - (1.0 - self.soc[lane] + bound * self.gap[lane]) * self.stretch[lane];
        let low = circuit.rise.depth(here);
        let ohm = self.r0_ohm[lane] * (1.0 + circuit.rise.share * low * low);
        let emf_v = circuit.ocv.at(here) + self.emf_shift_v[lane] - self.v1_v[lane];
        let v = solve(emf_v, ohm, &self.line[lane], supply, self.v[lane], SURE_ROUNDS);
        // no voltage satisfies the load: there is none
        let off_v = emf_v - ohm * (self.line[lane].current_a(v) - supply.current_a(v)) - v;
        if off_v.abs() < 1e-6 * emf_v { v } else { 0.0 }
    }
}

/// Enough rounds of Newton's method from anywhere near.
const SURE_ROUNDS: usize = 12;

/// The voltage at which pack, load and source agree: `emf − ohm·(load − source) = v`.
#[inline(always)]
fn solve(
    emf_v: f64,
    ohm: f64,
    line: &LoadLine,
    supply: Supply,
    start_v: f64,
    rounds: usize,
) -> f64 {
    let mut v = start_v;
    for _ in 0..rounds {
        let y = 1.0 / v;
        let y2 = y * y;
        let free_a = supply.power_w * y;
        let limited = free_a > supply.cap_a;
        let source_a = if limited { supply.cap_a } else { free_a } + supply.fixed_a;
        let source_slope = if limited { 0.0 } else { -free_a * y };
        let off_v = emf_v - ohm * (line.current_a_by(v, y, y2) - source_a) - v;
        let slope = -ohm * (line.slope(y2) - source_slope) - 1.0;
        v -= off_v / slope;
        // where no voltage satisfies the load Newton's method runs away; a constant power has its
        // last solution at half the emf
        v = v.clamp(0.4 * emf_v, 2.0 * emf_v);
    }
    v
}
