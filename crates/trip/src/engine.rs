//! The step: pack, load and sources solved together, several draws side by side.
//!
//! `N` draws go through the same timeline in lanes, structure of arrays, so that the compiler can
//! put them into vector registers. With `N = 1` the very same code is the scalar loop.
//!
//! Within a step the battery's current is constant. Its voltage is the step's *mean*: for the R1C1
//! pair and the wells the mean of their exact exponentials, for the open-circuit voltage its value
//! at the mean state, so that the step is of second order and the energy is the voltage times the
//! charge. Holding a charger's voltage uses the *end* of the step instead (implicit), which does
//! not ring however small the pack.

use pack::{Circuit, Climate, Limits};

use crate::draws::Draw;
use crate::loads::{LoadLine, Loads, Mask};
use crate::timeline::{Block, Step, Timeline};
use crate::trace::{Moment, Trace};

/// What one draw's trip came to.
#[derive(Debug, Clone, Default)]
pub(crate) struct Outcome {
    /// SoC at the beginning and end of each night.
    pub(crate) soc: Vec<[f64; 2]>,
    /// The first failure of each night.
    pub(crate) failures: Vec<Option<Stop>>,
    /// SoC and voltage at the end of each block.
    pub(crate) path: Vec<[f32; 2]>,
}

/// A device that stopped, or all of them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Stop {
    /// On the trip's clock.
    pub(crate) at_s: f64,
    /// Index into the rig's devices; none where the pack's protection cut all of them off.
    pub(crate) device: Option<usize>,
    pub(crate) cause: Cause,
}

/// Why something stopped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Cause {
    /// The device saw less than its least voltage.
    Brownout,
    /// No voltage satisfies the load behind its resistance any more.
    Collapse,
    /// The pack's protection opened.
    Protection,
}

/// What the simulation needs to know of the pack.
pub(crate) struct Cell<'a> {
    pub(crate) circuit: &'a Circuit,
    pub(crate) limits: &'a Limits,
    pub(crate) soc_start: f64,
    /// What the pack draws on itself.
    pub(crate) idle_a: f64,
}

/// Arrays of one value a lane.
struct Bank<const N: usize> {
    // state
    soc: [f64; N],
    v1_v: [f64; N],
    gap: [f64; N],
    /// Voltage at the terminals in the last step, from which the next solution starts.
    v: [f64; N],
    off: [Mask; N],
    open: [bool; N],
    // of the block
    sun: [f64; N],
    least_a: [f64; N],
    line: [LoadLine; N],
    floor_v: [f64; N],
    r0_ohm: [f64; N],
    r1_ohm: [f64; N],
    stretch: [f64; N],
    soc_per_a: [f64; N],
    gap_full: [f64; N],
}

/// The exponentials of a length of step; the same for all lanes, since the time constants are.
#[derive(Clone, Copy)]
struct Decay {
    v1_keep: f64,
    v1_mean: f64,
    gap_keep: f64,
    gap_mean: f64,
}

impl Decay {
    fn of(circuit: &Circuit, dt_s: f64) -> Self {
        // what is left at the end of the step, and on average through it
        let pair = |rate_per_s: f64| {
            let x = rate_per_s * dt_s;
            if x > 0.0 { ((-x).exp(), -(-x).exp_m1() / x) } else { (1.0, 1.0) }
        };
        let tau_s = circuit.r1_ohm * circuit.c1_f;
        let (v1_keep, v1_mean) = if tau_s > 0.0 { pair(1.0 / tau_s) } else { (0.0, 0.0) };
        let (gap_keep, gap_mean) = circuit.wells.map_or((1.0, 1.0), |wells| pair(wells.rate_per_s));
        Self { v1_keep, v1_mean, gap_keep, gap_mean }
    }
}

/// What a source may do in a step, in one lane.
#[derive(Clone, Copy)]
struct Supply {
    /// Power it has (W), of which it gives at most `cap_a`.
    power_w: f64,
    cap_a: f64,
    /// Current that comes whatever the voltage (A).
    fixed_a: f64,
}

/// Rounds of Newton's method in a step, and in the first step after something changed. From the
/// last step's voltage one round is good to about 1e-7 V, two to rounding.
const ROUNDS: usize = 2;
const ROUNDS_AFTER_CHANGE: usize = 6;

/// Takes `N` draws through the trip. What a device that has stopped does: it stays off until
/// sunrise; so does everything once the pack's protection has opened.
pub(crate) fn run<const N: usize>(
    timeline: &Timeline,
    cell: &Cell<'_>,
    loads: &mut Loads<'_>,
    draws: &[Draw; N],
    mut trace: Option<&mut Trace>,
) -> [Outcome; N] {
    let mut bank = Bank::<N>::start(cell);
    let mut outcomes: [Outcome; N] = std::array::from_fn(|_| Outcome {
        soc: vec![[f64::NAN; 2]; timeline.nights],
        failures: vec![None; timeline.nights],
        path: Vec::with_capacity(timeline.blocks.len()),
    });
    for block in &timeline.blocks {
        if let Some(night) = block.dusk_of {
            for (outcome, soc) in outcomes.iter_mut().zip(bank.soc) {
                outcome.soc[night][0] = soc;
            }
        }
        if block.restart {
            bank.off = [0; N];
            bank.open = [false; N];
        }
        bank.prepare(cell.circuit, cell.limits, loads, draws, block);
        let decay = Decay::of(cell.circuit, block.dt_s);
        let mut rounds = ROUNDS_AFTER_CHANGE;
        for step in &timeline.steps[block.steps.clone()] {
            let before_v = bank.v;
            let flows = bank.step(cell, draws, block, step, decay, rounds);
            rounds = ROUNDS;
            if let Some(trace) = trace.as_deref_mut() {
                trace.moments.push(Moment {
                    at_s: step.at_s,
                    dt_s: block.dt_s,
                    set: block.set,
                    off: bank.off[0],
                    soc: bank.soc[0],
                    gap: bank.gap[0],
                    v1_v: bank.v1_v[0],
                    voltage_v: bank.v[0],
                    current_a: flows.battery_a[0],
                    source_a: flows.source_a[0],
                    loss_w: flows.loss_w[0],
                });
            }
            for lane in 0..N {
                if bank.v[lane] < bank.floor_v[lane] {
                    let stop =
                        bank.stop(lane, loads, draws, block, step, before_v[lane], cell.limits);
                    let first = &mut outcomes[lane].failures[block.night];
                    if first.is_none() {
                        *first = Some(stop);
                    }
                    rounds = ROUNDS_AFTER_CHANGE;
                }
            }
        }
        for (lane, outcome) in outcomes.iter_mut().enumerate() {
            outcome.path.push([bank.soc[lane] as f32, bank.v[lane] as f32]);
        }
        if let Some(night) = block.dawn_of {
            for (outcome, soc) in outcomes.iter_mut().zip(bank.soc) {
                outcome.soc[night][1] = soc;
            }
        }
    }
    outcomes
}

/// What flowed in a step, a lane each.
struct Flows<const N: usize> {
    battery_a: [f64; N],
    source_a: [f64; N],
    /// Lost in the pack's resistances (W).
    loss_w: [f64; N],
}

impl<const N: usize> Bank<N> {
    fn start(cell: &Cell<'_>) -> Self {
        let rest_v = cell.circuit.ocv.at(cell.soc_start);
        Self {
            soc: [cell.soc_start; N],
            v1_v: [0.0; N],
            gap: [0.0; N],
            v: [rest_v; N],
            off: [0; N],
            open: [false; N],
            sun: [1.0; N],
            least_a: [0.0; N],
            line: [LoadLine::NONE; N],
            floor_v: [0.0; N],
            r0_ohm: [0.0; N],
            r1_ohm: [0.0; N],
            stretch: [1.0; N],
            soc_per_a: [0.0; N],
            gap_full: [0.0; N],
        }
    }

    /// What holds through a block: temperature, load, lengths.
    fn prepare(
        &mut self,
        circuit: &Circuit,
        limits: &Limits,
        loads: &mut Loads<'_>,
        draws: &[Draw; N],
        block: &Block,
    ) {
        for (lane, draw) in draws.iter().enumerate() {
            let Climate { resistance, stretch, .. } = circuit.climate(block.air_c + draw.air_k);
            let resistance = resistance * draw.resistance;
            let capacity_ah = circuit.capacity_ah * draw.capacity;
            self.r0_ohm[lane] = circuit.r0_ohm * resistance;
            self.r1_ohm[lane] = circuit.r1_ohm * resistance;
            self.stretch[lane] = stretch;
            self.soc_per_a[lane] = block.dt_s / (3600.0 * capacity_ah);
            self.gap_full[lane] = circuit
                .wells
                .map_or(0.0, |w| 1.0 / (w.at_hand * capacity_ah * 3600.0 * w.rate_per_s));
            self.sun[lane] = draw.sun.get(block.night).copied().unwrap_or(1.0);
            let frozen = block.air_c + draw.air_k < block.no_charge_below_c;
            self.least_a[lane] = if frozen { 0.0 } else { -block.most_charge_a };
            self.load(lane, loads, draw, block, limits);
        }
    }

    fn load(
        &mut self,
        lane: usize,
        loads: &mut Loads<'_>,
        draw: &Draw,
        block: &Block,
        limits: &Limits,
    ) {
        if self.open[lane] {
            self.line[lane] = LoadLine::NONE;
            self.floor_v[lane] = f64::NEG_INFINITY;
        } else {
            self.line[lane] = loads.line(block.set, self.off[lane], draw);
            self.floor_v[lane] = self.line[lane].floor_v.max(limits.undervoltage_v.unwrap_or(0.0));
        }
    }

    /// One step of all lanes.
    // one index into many arrays is what becomes vector registers
    #[allow(clippy::needless_range_loop)]
    fn step(
        &mut self,
        cell: &Cell<'_>,
        draws: &[Draw; N],
        block: &Block,
        step: &Step,
        decay: Decay,
        rounds: usize,
    ) -> Flows<N> {
        let circuit = cell.circuit;
        let efficiency = circuit.charge_efficiency;
        let bound = circuit.wells.map_or(0.0, |w| 1.0 - w.at_hand);
        let mut flows = Flows { battery_a: [0.0; N], source_a: [0.0; N], loss_w: [0.0; N] };
        for lane in 0..N {
            let draw = &draws[lane];
            let stretch = self.stretch[lane];
            let (soc, gap, v1_v) = (self.soc[lane], self.gap[lane], self.v1_v[lane]);
            // what the mean state would be without a current, and how far an ampere moves it
            let gap_per_a = self.gap_full[lane] * (1.0 - decay.gap_mean);
            let rest = 1.0 - (1.0 - soc + bound * gap * decay.gap_mean) * stretch;
            let per_a = stretch * (0.5 * self.soc_per_a[lane] + bound * gap_per_a);
            let (ocv_v, slope_v) = circuit.ocv.at_with_slope(rest);
            let low = (1.0 - rest / circuit.rise.below_soc).clamp(0.0, 1.0);
            let r0_ohm = self.r0_ohm[lane] * (1.0 + circuit.rise.share * low * low);
            let slow_ohm = self.r1_ohm[lane] * (1.0 - decay.v1_mean);
            let emf_v = ocv_v + draw.ocv_v - v1_v * decay.v1_mean;
            let ohm = r0_ohm + slow_ohm + slope_v * per_a;

            let supply = if block.supplied && !self.open[lane] {
                step.supply(self.sun[lane])
            } else {
                Supply::NONE
            };
            let line = &self.line[lane];
            let mut v = solve(emf_v, ohm, line, supply, self.v[lane], rounds);
            let mut current_a = (emf_v - v) / ohm;
            if block.supplied {
                // the source holds its voltage at the end of the step; the pack takes no more than
                // it has room for, nor than it may
                let end_per_a = stretch
                    * (self.soc_per_a[lane] + bound * self.gap_full[lane] * (1.0 - decay.gap_keep));
                let end_ohm =
                    r0_ohm + self.r1_ohm[lane] * (1.0 - decay.v1_keep) + slope_v * end_per_a;
                let end_rest = 1.0 - (1.0 - soc + bound * gap * decay.gap_keep) * stretch;
                let end_v = ocv_v + draw.ocv_v + slope_v * (end_rest - rest) - v1_v * decay.v1_keep;
                let held_a = (end_v - block.hold_v) / end_ohm;
                let full_a = (soc - 1.0) / (efficiency * self.soc_per_a[lane]);
                let least_a = held_a.max(full_a).max(self.least_a[lane]).min(0.0);
                if current_a < least_a {
                    current_a = least_a;
                    v = emf_v - ohm * current_a;
                }
            }
            let stored_a = if current_a < 0.0 { current_a * efficiency } else { current_a };
            self.soc[lane] = soc - (stored_a + cell.idle_a) * self.soc_per_a[lane];
            self.gap[lane] =
                gap * decay.gap_keep + stored_a * self.gap_full[lane] * (1.0 - decay.gap_keep);
            self.v1_v[lane] =
                v1_v * decay.v1_keep + current_a * self.r1_ohm[lane] * (1.0 - decay.v1_keep);
            self.v[lane] = v;
            flows.battery_a[lane] = current_a;
            // without a source the difference is only what Newton's method leaves
            flows.source_a[lane] = if block.supplied { line.current_a(v) - current_a } else { 0.0 };
            flows.loss_w[lane] =
                current_a * (v1_v * decay.v1_mean + (slow_ohm + r0_ohm) * current_a);
        }
        flows
    }

    /// What went off in a step, and when; the lane goes on without it.
    #[allow(clippy::too_many_arguments)]
    fn stop(
        &mut self,
        lane: usize,
        loads: &mut Loads<'_>,
        draws: &[Draw; N],
        block: &Block,
        step: &Step,
        before_v: f64,
        limits: &Limits,
    ) -> Stop {
        let (floor_v, v) = (self.floor_v[lane], self.v[lane]);
        // the voltages are those of the middle of this step and of the last one
        let share = if before_v > floor_v { (before_v - floor_v) / (before_v - v) } else { 0.5 };
        let at_s = step.at_s + block.dt_s * (share - 0.5).max(0.0);
        let line = self.line[lane];
        let protected =
            limits.undervoltage_v.is_some_and(|cut_v| v < cut_v && cut_v >= line.floor_v);
        let stop = if protected {
            self.open[lane] = true;
            Stop { at_s, device: None, cause: Cause::Protection }
        } else {
            self.off[lane] |= 1 << line.first;
            let cause = if line.collapses { Cause::Collapse } else { Cause::Brownout };
            Stop { at_s, device: Some(line.first), cause }
        };
        self.load(lane, loads, &draws[lane], block, limits);
        stop
    }
}

impl Supply {
    pub(crate) const NONE: Supply = Supply { power_w: 0.0, cap_a: 0.0, fixed_a: 0.0 };
}

impl Step {
    fn supply(&self, sun: f64) -> Supply {
        Supply {
            power_w: self.panel_w * sun,
            cap_a: self.panel_cap_a,
            fixed_a: self.panel_a * sun + self.charger_a,
        }
    }
}

/// The voltage at which pack, load and source agree: `emf − ohm·(load − source) = v`.
#[inline]
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
