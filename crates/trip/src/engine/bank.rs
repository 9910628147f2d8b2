//! The draws of a group, and what holds for them through a block.

use pack::State;
use pack::lanes::{Lanes, Row, States};
use source::Stage;

use super::Cell;
use super::solve::{Charging, Flow, Lines, Outside};
use crate::draws::Draw;
use crate::loads::{ALL_OFF, Floor, Floors, LoadLine, Loads, Mask};
use crate::timeline::{Block, Step};

/// The draws of a group, structure of arrays.
#[derive(Clone)]
pub(super) struct Bank<const N: usize> {
    pub(super) states: States<N>,
    pub(super) flow: Flow<N>,
    pub(super) off: [Mask; N],
    /// Least voltage at the terminals for all that is on.
    pub(super) floor_v: Row<N>,
    /// Where what is on begins to fail.
    pub(super) floor: [Floor; N],
    floors: [Floors; N],
    pub(super) lines: Lines<N>,
    /// What the lines were made for, so that they are made anew only when it changes.
    made_for: [Option<(usize, Mask, bool)>; N],
    /// Whether the heat has opened the pack's protection.
    pub(super) hot: [bool; N],
    /// Whether the pack's own heater is on.
    heated: [bool; N],
    /// How far the charge has come.
    stage: [Stage; N],
    pub(super) charging: Charging<N>,
    /// Of the pack; NaN before the first block.
    pub(super) pack_c: Row<N>,
    pub(super) pack: Lanes<N>,
}

/// What is the same for all lanes in a step.
#[derive(Clone, Copy)]
pub(super) struct Scene<'a> {
    pub(super) cell: &'a Cell<'a>,
    pub(super) block: &'a Block,
    pub(super) step: &'a Step,
    /// The same step with what every source gives, also one that waits for a warmer pack.
    pub(super) every: &'a Step,
}

/// Where lanes stood before some steps.
#[derive(Clone, Copy)]
pub(super) struct Before<const N: usize> {
    pub(super) states: States<N>,
    pub(super) flow: Flow<N>,
}

impl<const N: usize> Before<N> {
    pub(super) fn lane(&self, lane: usize) -> Before<1> {
        Before { states: States::all(self.states.lane(lane)), flow: self.flow.lane(lane) }
    }
}

impl<const N: usize> Bank<N> {
    pub(super) fn new(cell: &Cell<'_>) -> Self {
        let zero = [0.0; N];
        Self {
            states: States::all(State::rested(cell.soc_start)),
            flow: Flow {
                v: [cell.circuit.ocv.at(cell.soc_start); N],
                current_a: zero,
                heat_w: zero,
                spare: zero,
            },
            off: [0; N],
            floor_v: zero,
            floor: [LoadLine::NONE.floor; N],
            floors: [Floors::default(); N],
            lines: Lines::NONE,
            made_for: [None; N],
            hot: [false; N],
            heated: [false; N],
            stage: [Stage::default(); N],
            charging: Charging::NONE,
            pack_c: [f64::NAN; N],
            pack: Lanes::new(),
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

    /// What holds through a block: temperature, load, lengths.
    pub(super) fn prepare(
        &mut self,
        loads: &mut Loads<'_>,
        draws: &[Draw; N],
        cell: &Cell<'_>,
        block: &Block,
    ) {
        for (lane, draw) in draws.iter().enumerate() {
            let heater = cell.housing.and_then(|housing| housing.heater);
            self.heated[lane] =
                heater.is_some_and(|heater| heater.is_on(self.pack_c[lane], self.heated[lane]));
            let climate = draw.pack.climate(self.pack_c[lane]);
            self.pack.set(lane, &draw.pack.figures(), &climate);
            self.charging.sun[lane] = draw.harvest(block);
            if block.restart {
                // a controller begins each day from the start
                self.stage[lane] = Stage::default();
            }
            self.charging.hold_v[lane] =
                block.float.map_or(block.hold_v, |profile| self.stage[lane].limit_v(&profile));
            let pack_c = self.pack_c[lane];
            let refuses = pack_c < block.no_charge_below_c
                || cell.limits.most_c.is_some_and(|most_c| pack_c > most_c);
            self.charging.least_a[lane] = if refuses { 0.0 } else { -block.most_charge_a };
            self.take_load(lane, loads, draw, cell, block.set);
        }
        self.pack.set_length(cell.circuit, block.dt_s);
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
            let held_v = self.flow.v[lane] + 0.005;
            let into_a = -self.flow.current_a[lane];
            self.stage[lane] = self.stage[lane].after(&profile, held_v, into_a, length_s);
        }
    }

    /// Lets the pack warm or cool through a block, by its own heat and the air.
    pub(super) fn warm(&mut self, cell: &Cell<'_>, draws: &[Draw; N], block: &Block) {
        let Some(housing) = cell.housing else { return };
        let steps = block.steps.len() as f64;
        let kept = housing.kept(steps * block.dt_s);
        for (lane, draw) in draws.iter().enumerate() {
            let air_c = block.air_c + draw.air_k(block.night);
            let heat_w = self.flow.heat_w[lane] / steps + self.heater_w(lane, cell);
            self.pack_c[lane] = housing.left(self.pack_c[lane], air_c, heat_w, kept);
            self.flow.heat_w[lane] = 0.0;
        }
    }

    /// Sets the load of a lane: what is on in the set, without what has stopped.
    pub(super) fn take_load(
        &mut self,
        lane: usize,
        loads: &mut Loads<'_>,
        draw: &Draw,
        cell: &Cell<'_>,
        set: usize,
    ) {
        let wanted = Some((set, self.off[lane], self.heated[lane]));
        if self.made_for[lane] == wanted {
            return;
        }
        self.made_for[lane] = wanted;
        let off = self.off[lane];
        let open = off == ALL_OFF;
        let mut line = LoadLine::NONE;
        self.floor_v[lane] = f64::NEG_INFINITY;
        if !open {
            line = loads.line(set, off, draw, &mut self.floors[lane]);
            self.floor[lane] = line.floor;
            self.floor_v[lane] = line.floor.v.max(cell.cut_v(loads));
        }
        line.curve.m[0] += self.heater_w(lane, cell);
        self.lines.set(lane, &line);
    }

    /// One lane alone.
    pub(super) fn lane(&self, lane: usize) -> Bank<1> {
        Bank {
            states: States::all(self.states.lane(lane)),
            flow: self.flow.lane(lane),
            off: [self.off[lane]],
            floor_v: [self.floor_v[lane]],
            floor: [self.floor[lane]],
            floors: [self.floors[lane]],
            lines: self.lines.lane(lane),
            made_for: [self.made_for[lane]],
            hot: [self.hot[lane]],
            heated: [self.heated[lane]],
            stage: [self.stage[lane]],
            charging: self.charging.lane(lane),
            pack_c: [self.pack_c[lane]],
            pack: self.pack.lane(lane),
        }
    }

    /// Puts back a lane that [`Bank::lane`] took out, after steps of the same block.
    pub(super) fn put(&mut self, lane: usize, one: &Bank<1>) {
        self.states.put(lane, one.states.lane(0));
        self.flow.put(lane, &one.flow);
        self.off[lane] = one.off[0];
        self.floor_v[lane] = one.floor_v[0];
        (self.floor[lane], self.floors[lane]) = (one.floor[0], one.floors[0]);
        self.made_for[lane] = one.made_for[0];
        self.lines.put(lane, &one.lines);
    }

    /// Where the lanes stand.
    pub(super) fn begin(&self) -> Before<N> {
        Before { states: self.states, flow: self.flow }
    }

    /// Puts them back there.
    pub(super) fn back_to(&mut self, before: Before<N>) {
        (self.states, self.flow) = (before.states, before.flow);
    }

    /// Has the next step's solution start from the voltage of that step: where much is switched on or
    /// off the last step's is far from it.
    #[inline(always)]
    pub(super) fn look_ahead(&mut self, cell: &Cell<'_>, block: &Block, step: &Step) {
        let before = self.begin();
        self.go(cell, block, std::slice::from_ref(step));
        let v = self.flow.v;
        self.back_to(before);
        self.flow.v = v;
    }

    /// Takes all lanes through steps of the block, whatever may go off in them: [`Flow::spare`]
    /// tells afterwards.
    #[inline(always)]
    pub(super) fn go(&mut self, cell: &Cell<'_>, block: &Block, steps: &[Step]) {
        if block.supplied {
            self.go_as::<true, false>(cell, steps, 1.0);
        } else {
            self.go_as::<false, false>(cell, steps, 1.0);
        }
    }

    /// As [`Bank::go`], or for a share of a step.
    #[inline(always)]
    pub(super) fn go_as<const SUPPLIED: bool, const PART: bool>(
        &mut self,
        cell: &Cell<'_>,
        steps: &[Step],
        share: f64,
    ) {
        let Some(step) = steps.first() else { return };
        let mut states = self.states;
        let mut outside = Outside::<N, SUPPLIED, PART> {
            step,
            lines: &self.lines,
            charging: &self.charging,
            floor_v: &self.floor_v,
            most_a: cell.limits.discharge_a.unwrap_or(f64::INFINITY),
            flow: Flow { spare: [0.0; N], ..self.flow },
            share,
        };
        for step in steps {
            outside.step = step;
            self.pack.step(cell.circuit, cell.idle_a, &mut states, &mut outside);
        }
        self.states = states;
        self.flow = outside.flow;
    }
}

/// So far a pack must cool before its protection closes again (common practice, no source).
const COOLER_K: f64 = 5.0;
