//! The arrays of a group of draws, and one step of them.

use pack::{Circuit, Climate};
use source::Stage;

use super::Cell;
use super::solve::{Lines, Supply, larger, newton, smaller};
use crate::draws::Draw;
use crate::loads::{ALL_OFF, LoadLine, Loads, Mask};
use crate::timeline::{Block, Step};

/// One number a lane.
pub(super) type Row<const N: usize> = [f64; N];

/// What a step changes.
#[derive(Clone, Copy)]
pub(super) struct State<const N: usize> {
    pub(super) soc: Row<N>,
    pub(super) v1_v: Row<N>,
    pub(super) gap: Row<N>,
    /// Mean voltage at the terminals in the last step, from which the next solution starts.
    pub(super) v: Row<N>,
    /// Out of the pack in the last step.
    pub(super) current_a: Row<N>,
    /// Heat set free in the pack's resistances since the block began, in W times steps.
    heat_w: Row<N>,
}

/// The draws of a group, structure of arrays.
#[derive(Clone)]
pub(super) struct Bank<const N: usize> {
    pub(super) state: State<N>,
    pub(super) off: [Mask; N],
    /// Least voltage at the terminals for all that is on.
    pub(super) floor_v: Row<N>,
    pub(super) lines: [LoadLine; N],
    line: Lines<N>,
    /// What the lines were made for, so that they are made anew only when it changes.
    made_for: [Option<(usize, Mask, bool)>; N],
    /// Whether the heat has opened the pack's protection.
    pub(super) hot: [bool; N],
    /// Whether the pack's own heater is on.
    heated: [bool; N],
    /// How far the charge has come, and the voltage at which sources hold the terminals.
    stage: [Stage; N],
    hold_v: Row<N>,
    /// Of the pack; NaN before the first block.
    pub(super) pack_c: Row<N>,
    sun: Row<N>,
    least_a: Row<N>,
    shift_v: Row<N>,
    r0_ohm: Row<N>,
    r1_ohm: Row<N>,
    charge_ohm: Row<N>,
    stretch: Row<N>,
    soc_per_a: Row<N>,
    gap_full: Row<N>,
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

/// What flowed in a step.
#[derive(Clone, Copy)]
pub(super) struct Flows<const N: usize> {
    pub(super) battery_a: Row<N>,
    pub(super) source_a: Row<N>,
    /// Lost in the pack's resistances (W).
    pub(super) loss_w: Row<N>,
}

impl<const N: usize> Flows<N> {
    pub(super) const NONE: Self =
        Self { battery_a: [0.0; N], source_a: [0.0; N], loss_w: [0.0; N] };
}

/// What is the same for all lanes in a step.
#[derive(Clone, Copy)]
pub(super) struct Scene<'a> {
    pub(super) cell: &'a Cell<'a>,
    pub(super) block: &'a Block,
    pub(super) step: &'a Step,
    pub(super) pace: Pace,
}

impl<const N: usize> Bank<N> {
    pub(super) fn start(cell: &Cell<'_>) -> Self {
        Self {
            state: State {
                soc: [cell.soc_start; N],
                v1_v: [0.0; N],
                gap: [0.0; N],
                v: [cell.circuit.ocv.at(cell.soc_start); N],
                current_a: [0.0; N],
                heat_w: [0.0; N],
            },
            off: [0; N],
            floor_v: [0.0; N],
            lines: [LoadLine::NONE; N],
            line: Lines {
                g_s: [0.0; N],
                a_a: [0.0; N],
                m0: [0.0; N],
                m1: [0.0; N],
                m2: [0.0; N],
                m3: [0.0; N],
            },
            made_for: [None; N],
            hot: [false; N],
            heated: [false; N],
            stage: [Stage::default(); N],
            hold_v: [0.0; N],
            pack_c: [f64::NAN; N],
            sun: [1.0; N],
            least_a: [0.0; N],
            shift_v: [0.0; N],
            r0_ohm: [0.0; N],
            r1_ohm: [0.0; N],
            charge_ohm: [0.0; N],
            stretch: [1.0; N],
            soc_per_a: [0.0; N],
            gap_full: [0.0; N],
        }
    }

    /// Has a pack that nothing keeps warm be as warm as the air, and any that has just been brought.
    pub(super) fn take_air(&mut self, cell: &Cell<'_>, draws: &[Draw; N], block: &Block) {
        for (lane, draw) in draws.iter().enumerate() {
            if cell.housing.is_none() || self.pack_c[lane].is_nan() {
                self.pack_c[lane] = block.air_c + draw.air_k(block.night);
            }
        }
    }

    /// What holds through a block: temperature, load, lengths. `scene` is the block's first step, but
    /// for what the sources give: that is in each lane's `firsts`.
    pub(super) fn prepare(
        &mut self,
        loads: &mut Loads<'_>,
        draws: &[Draw; N],
        scene: &Scene<'_>,
        firsts: &[&Step; N],
    ) {
        let Scene { cell, block, .. } = *scene;
        let circuit = cell.circuit;
        for (lane, draw) in draws.iter().enumerate() {
            let heater = cell.housing.and_then(|housing| housing.heater);
            self.heated[lane] =
                heater.is_some_and(|heater| heater.is_on(self.pack_c[lane], self.heated[lane]));
            let Climate { resistance, stretch, .. } = circuit.climate(self.pack_c[lane]);
            let resistance = resistance * draw.resistance;
            let capacity_ah = circuit.capacity_ah * draw.capacity;
            self.shift_v[lane] = circuit.offset_v + draw.ocv_v;
            self.r0_ohm[lane] = circuit.r0_ohm * resistance;
            self.r1_ohm[lane] = circuit.r1_ohm * resistance;
            self.charge_ohm[lane] = circuit.charge_ohm * resistance;
            self.stretch[lane] = stretch;
            self.soc_per_a[lane] = block.dt_s / (3600.0 * capacity_ah);
            self.gap_full[lane] = circuit
                .wells
                .map_or(0.0, |w| 1.0 / (w.at_hand * capacity_ah * 3600.0 * w.rate_per_s));
            self.sun[lane] = draw.sun(block.night);
            if block.restart {
                // a controller begins each day from the start
                self.stage[lane] = Stage::default();
            }
            self.hold_v[lane] =
                block.float.map_or(block.hold_v, |profile| self.stage[lane].limit_v(&profile));
            let pack_c = self.pack_c[lane];
            let refuses = pack_c < block.no_charge_below_c
                || cell.limits.most_c.is_some_and(|most_c| pack_c > most_c);
            self.least_a[lane] = if refuses { 0.0 } else { -block.most_charge_a };
            let scene = Scene { step: firsts[lane], ..*scene };
            if self.take_load(lane, loads, draw, &scene) {
                self.state.v[lane] = self.lane(lane).start_v(&scene);
            }
        }
    }

    /// What the pack's own heater draws (W); nothing once the protection has opened.
    pub(super) fn heater_w(&self, lane: usize, cell: &Cell<'_>) -> f64 {
        let heater = cell.housing.and_then(|housing| housing.heater);
        let on = self.heated[lane] && self.off[lane] != ALL_OFF;
        heater.filter(|_| on).map_or(0.0, |heater| heater.power_w)
    }

    /// Opens the protection of a pack that is too hot. True if one has cooled enough to close it.
    pub(super) fn cooled(&mut self, lane: usize, cell: &Cell<'_>) -> bool {
        let Some(most_c) = cell.limits.most_c else { return false };
        let was_hot = self.hot[lane];
        let pack_c = self.pack_c[lane];
        self.hot[lane] = pack_c > if was_hot { most_c - COOLER_K } else { most_c };
        if self.hot[lane] {
            self.off[lane] = ALL_OFF;
        }
        was_hot && !self.hot[lane]
    }

    /// Takes the charge through its stages at the end of a block.
    pub(super) fn stage_on(&mut self, block: &Block) {
        let Some(profile) = block.float else { return };
        let length_s = block.dt_s * block.steps.len() as f64;
        for lane in 0..N {
            // the voltage is held at the step's end and kept as its mean, a trifle below
            let held_v = self.state.v[lane] + 0.005;
            let into_a = -self.state.current_a[lane];
            self.stage[lane] = self.stage[lane].after(&profile, held_v, into_a, length_s);
        }
    }

    /// Lets the pack warm or cool through a block, by its own heat and the air.
    pub(super) fn warm(&mut self, cell: &Cell<'_>, draws: &[Draw; N], block: &Block) {
        let Some(housing) = cell.housing else { return };
        let steps = block.steps.len() as f64;
        for (lane, draw) in draws.iter().enumerate() {
            let air_c = block.air_c + draw.air_k(block.night);
            let heat_w = self.state.heat_w[lane] / steps + self.heater_w(lane, cell);
            self.pack_c[lane] = housing.after(self.pack_c[lane], air_c, heat_w, steps * block.dt_s);
            self.state.heat_w[lane] = 0.0;
        }
    }

    /// Sets the load of a lane: what is on in the block, without what has stopped. True if it is
    /// another than before.
    pub(super) fn take_load(
        &mut self,
        lane: usize,
        loads: &mut Loads<'_>,
        draw: &Draw,
        scene: &Scene<'_>,
    ) -> bool {
        let set = scene.block.set;
        let wanted = Some((set, self.off[lane], self.heated[lane]));
        if self.made_for[lane] == wanted {
            return false;
        }
        self.made_for[lane] = wanted;
        let open = self.off[lane] == ALL_OFF;
        let mut line = if open { LoadLine::NONE } else { loads.line(set, self.off[lane], draw) };
        line.curve.m[0] += self.heater_w(lane, scene.cell);
        self.floor_v[lane] =
            if open { f64::NEG_INFINITY } else { line.floor_v.max(scene.cell.cut_v(loads)) };
        self.set_line(lane, &line);
        true
    }

    fn set_line(&mut self, lane: usize, line: &LoadLine) {
        self.lines[lane] = *line;
        self.line.g_s[lane] = line.curve.g_s;
        self.line.a_a[lane] = line.curve.a_a;
        [self.line.m0[lane], self.line.m1[lane], self.line.m2[lane], self.line.m3[lane]] =
            line.curve.m;
    }

    /// One lane alone.
    pub(super) fn lane(&self, lane: usize) -> Bank<1> {
        let one = |row: &Row<N>| [row[lane]];
        Bank {
            state: State {
                soc: one(&self.state.soc),
                v1_v: one(&self.state.v1_v),
                gap: one(&self.state.gap),
                v: one(&self.state.v),
                current_a: one(&self.state.current_a),
                heat_w: one(&self.state.heat_w),
            },
            off: [self.off[lane]],
            floor_v: one(&self.floor_v),
            lines: [self.lines[lane]],
            line: Lines {
                g_s: one(&self.line.g_s),
                a_a: one(&self.line.a_a),
                m0: one(&self.line.m0),
                m1: one(&self.line.m1),
                m2: one(&self.line.m2),
                m3: one(&self.line.m3),
            },
            made_for: [self.made_for[lane]],
            hot: [self.hot[lane]],
            heated: [self.heated[lane]],
            stage: [self.stage[lane]],
            hold_v: one(&self.hold_v),
            pack_c: one(&self.pack_c),
            sun: one(&self.sun),
            least_a: one(&self.least_a),
            shift_v: one(&self.shift_v),
            r0_ohm: one(&self.r0_ohm),
            r1_ohm: one(&self.r1_ohm),
            charge_ohm: one(&self.charge_ohm),
            stretch: one(&self.stretch),
            soc_per_a: one(&self.soc_per_a),
            gap_full: one(&self.gap_full),
        }
    }

    /// Puts back a lane that [`Bank::lane`] took out.
    pub(super) fn put(&mut self, lane: usize, one: &Bank<1>) {
        self.state.put(lane, &one.state);
        self.off[lane] = one.off[0];
        self.floor_v[lane] = one.floor_v[0];
        self.made_for[lane] = one.made_for[0];
        self.set_line(lane, &one.lines[0]);
    }

    /// One step of all lanes, with so many rounds of Newton's method.
    #[inline(always)]
    pub(super) fn step<const ROUNDS: usize>(&mut self, scene: &Scene<'_>) -> Flows<N> {
        // each form has no branch left in it
        match (scene.block.supplied, scene.cell.circuit.charge_ohm > 0.0) {
            (false, _) => self.step_as::<ROUNDS, false, false>(scene),
            (true, false) => self.step_as::<ROUNDS, true, false>(scene),
            (true, true) => self.step_as::<ROUNDS, true, true>(scene),
        }
    }

    #[inline(always)]
    // one index into many rows is what becomes vector registers
    #[allow(clippy::needless_range_loop)]
    fn step_as<const ROUNDS: usize, const SUPPLIED: bool, const RESISTS: bool>(
        &mut self,
        scene: &Scene<'_>,
    ) -> Flows<N> {
        let Scene { cell, step, pace, .. } = *scene;
        let circuit = cell.circuit;
        let efficiency = circuit.charge_efficiency;
        let bound = circuit.wells.map_or(0.0, |w| 1.0 - w.at_hand);
        let (gap_lost, gap_mean_lost) = (1.0 - pace.gap_keep, 1.0 - pace.gap_mean);
        let (v1_lost, v1_mean_lost) = (1.0 - pace.v1_keep, 1.0 - pace.v1_mean);

        // the state in the middle of the step as it would be without a current
        let (mut rest, mut ocv_v, mut slope_v) = ([0.0; N], [0.0; N], [0.0; N]);
        for lane in 0..N {
            let missing = 1.0 - self.state.soc[lane] + bound * self.state.gap[lane] * pace.gap_mean;
            rest[lane] = 1.0 - missing * self.stretch[lane];
        }
        for lane in 0..N {
            (ocv_v[lane], slope_v[lane]) = circuit.ocv.at_with_slope(rest[lane]);
        }
        let mut flows = Flows::NONE;
        for lane in 0..N {
            let (stretch, gap_full) = (self.stretch[lane], self.gap_full[lane]);
            let soc_per_a = self.soc_per_a[lane] * pace.share;
            let (soc, gap, v1_v) =
                (self.state.soc[lane], self.state.gap[lane], self.state.v1_v[lane]);
            // how far an ampere moves the mean state
            let per_a = stretch * (0.5 * soc_per_a + bound * gap_full * gap_mean_lost);
            let rest_v = ocv_v[lane] + self.shift_v[lane];
            let low = circuit.rise.depth(rest[lane]);
            let mut r0_ohm = self.r0_ohm[lane] * (1.0 + circuit.rise.share * low * low);
            let supply = if SUPPLIED { Supply::of(step, self.sun[lane]) } else { Supply::NONE };
            if RESISTS {
                let net_a = self.line.at(lane, rest_v).0 - supply.at(rest_v).0;
                let against_ohm = self.charge_ohm[lane] / Circuit::missing(soc);
                r0_ohm += if net_a < 0.0 { against_ohm } else { 0.0 };
            }
            let slow_ohm = self.r1_ohm[lane] * v1_mean_lost;
            let emf_v = rest_v - v1_v * pace.v1_mean;
            let ohm = r0_ohm + slow_ohm + slope_v[lane] * per_a;

            let mut v = self.state.v[lane];
            for _ in 0..ROUNDS {
                v = newton(v, emf_v, ohm, &self.line, lane, supply, SUPPLIED);
            }
            let mut current_a = (emf_v - v) / ohm;
            if SUPPLIED {
                // the source holds its voltage at the end of the step; the pack takes no more than
                // it has room for, nor than it may
                let end_per_a = stretch * (soc_per_a + bound * gap_full * gap_lost);
                let end_ohm = r0_ohm + self.r1_ohm[lane] * v1_lost + slope_v[lane] * end_per_a;
                let end_rest = 1.0 - (1.0 - soc + bound * gap * pace.gap_keep) * stretch;
                let end_v = rest_v + slope_v[lane] * (end_rest - rest[lane]) - v1_v * pace.v1_keep;
                let held_a = (end_v - self.hold_v[lane]) / end_ohm;
                let full_a = (soc - 1.0) / (efficiency * soc_per_a);
                // above its voltage the source gives nothing, and the pack feeds the load
                let load_a = larger(self.line.at(lane, v).0, 0.0);
                let least_a = smaller(larger(larger(held_a, full_a), self.least_a[lane]), load_a);
                let over = current_a < least_a;
                current_a = if over { least_a } else { current_a };
                v = if over { emf_v - ohm * least_a } else { v };
            }
            let stored_a = if current_a < 0.0 { current_a * efficiency } else { current_a };
            self.state.soc[lane] = soc - (stored_a + cell.idle_a) * soc_per_a;
            self.state.gap[lane] = gap * pace.gap_keep + stored_a * gap_full * gap_lost;
            self.state.v1_v[lane] = v1_v * pace.v1_keep + current_a * self.r1_ohm[lane] * v1_lost;
            self.state.v[lane] = v;
            self.state.current_a[lane] = current_a;
            self.state.heat_w[lane] += current_a * current_a * (r0_ohm + slow_ohm) * pace.share;
            // only the scalar loop is asked what flowed
            if N == 1 {
                flows.battery_a[lane] = current_a;
                if SUPPLIED {
                    flows.source_a[lane] = self.line.at(lane, v).0 - current_a;
                }
                flows.loss_w[lane] =
                    current_a * (v1_v * pace.v1_mean + (slow_ohm + r0_ohm) * current_a);
            }
        }
        flows
    }
}

impl<const N: usize> State<N> {
    fn put(&mut self, lane: usize, one: &State<1>) {
        (self.soc[lane], self.v1_v[lane]) = (one.soc[0], one.v1_v[0]);
        (self.gap[lane], self.v[lane]) = (one.gap[0], one.v[0]);
        (self.current_a[lane], self.heat_w[lane]) = (one.current_a[0], one.heat_w[0]);
    }

    pub(super) fn lane(&self, lane: usize) -> State<1> {
        State {
            soc: [self.soc[lane]],
            v1_v: [self.v1_v[lane]],
            gap: [self.gap[lane]],
            v: [self.v[lane]],
            current_a: [self.current_a[lane]],
            heat_w: [self.heat_w[lane]],
        }
    }
}

impl Bank<1> {
    /// The voltage at the terminals at this very moment, with what is on; 0 where no voltage
    /// satisfies it.
    pub(super) fn now_v(&self, scene: &Scene<'_>) -> f64 {
        let circuit = scene.cell.circuit;
        let bound = circuit.wells.map_or(0.0, |w| 1.0 - w.at_hand);
        let here = 1.0 - (1.0 - self.state.soc[0] + bound * self.state.gap[0]) * self.stretch[0];
        let low = circuit.rise.depth(here);
        let ohm = self.r0_ohm[0] * (1.0 + circuit.rise.share * low * low);
        let emf_v = circuit.ocv.at(here) + self.shift_v[0] - self.state.v1_v[0];
        let supply = self.supply(scene);
        let mut v = self.state.v[0];
        for _ in 0..SURE_ROUNDS {
            let next = newton(v, emf_v, ohm, &self.line, 0, supply, true);
            let moved_v = (next - v).abs();
            v = next;
            // Newton's method doubles the digits: the next would change the last of them only
            if moved_v < 1e-6 {
                return v;
            }
        }
        0.0
    }
}

impl Bank<1> {
    /// The current out of the pack at this very moment; nothing where no voltage satisfies the load.
    pub(super) fn now_a(&self, scene: &Scene<'_>) -> f64 {
        let v = self.now_v(scene);
        if v > 0.0 { self.line.at(0, v).0 - self.supply(scene).at(v).0 } else { 0.0 }
    }

    fn supply(&self, scene: &Scene<'_>) -> Supply {
        if scene.block.supplied { Supply::of(scene.step, self.sun[0]) } else { Supply::NONE }
    }

    /// The voltage at the terminals at this very moment, if nothing flowed.
    pub(super) fn rest_v(&self, circuit: &Circuit) -> f64 {
        let bound = circuit.wells.map_or(0.0, |w| 1.0 - w.at_hand);
        let here = 1.0 - (1.0 - self.state.soc[0] + bound * self.state.gap[0]) * self.stretch[0];
        circuit.ocv.at(here) + self.shift_v[0] - self.state.v1_v[0]
    }

    /// Where the solution of a step with a new load starts from.
    pub(super) fn start_v(&self, scene: &Scene<'_>) -> f64 {
        let v = self.now_v(scene);
        if v > 0.0 { v } else { self.state.v[0] }
    }
}

/// So far a pack must cool before its protection closes again (common practice, no source).
const COOLER_K: f64 = 5.0;

/// Enough rounds of Newton's method from anywhere near.
const SURE_ROUNDS: usize = 12;
