//! What goes off, and when: the rare step in which a voltage falls below what is needed.

use pack::lanes::States;

use super::bank::{Bank, Before, Scene};
use super::solve::{Flow, Supply};
use super::{Cause, Stop};
use crate::draws::Draw;
use crate::loads::{ALL_OFF, Loads, Mask};
use crate::trace::Unused;

/// A part of a step, with what was off in it.
pub(super) struct Part {
    pub(super) from_s: f64,
    pub(super) dt_s: f64,
    pub(super) off: Mask,
    pub(super) after: After,
}

/// Where a lane stands after a step or a part of one, and what flowed in it.
#[derive(Clone, Copy)]
pub(super) struct After {
    pub(super) states: States<1>,
    pub(super) flow: Flow<1>,
    /// Out of the sources (A), and what they could have given besides.
    pub(super) source_a: f64,
    pub(super) unused: Unused,
}

/// A moment is found to this share of a step: tenths of a second.
const SHARE_ROOM: f64 = 2e-3;
const MOST_TRIES: usize = 30;
/// Currents agree this closely where a step is solved (A).
const SOLVED_A: f64 = 1e-3;

impl Bank<1> {
    /// Takes a step again from `before`, part by part: up to the moment at which something goes off,
    /// then on without it.
    pub(super) fn step_by_parts(
        &mut self,
        before: Before<1>,
        scene: &Scene<'_>,
        draw: &Draw,
        loads: &mut Loads<'_>,
        mut tell: impl FnMut(Part),
    ) -> Vec<Stop> {
        let Scene { cell, block, step, .. } = *scene;
        let mut stops = Vec::new();
        let mut done = 0.0;
        self.back_to(before);
        loop {
            let left = 1.0 - done;
            let off = self.off[0];
            let overloaded = off != ALL_OFF && self.is_overloaded(scene);
            let carried = match (off, overloaded) {
                // there is nothing left to go off
                (ALL_OFF, _) => left,
                (_, true) => 0.0,
                (_, false) => self.carried(scene, left),
            };
            if carried > 0.0 {
                let after = self.step_share(scene, carried);
                let (from_s, dt_s) = (step.at_s + block.dt_s * done, block.dt_s * carried);
                tell(Part { from_s, dt_s, off, after });
                done += carried;
            }
            if carried >= left {
                self.pack.set_length(cell.circuit, block.dt_s);
                return stops;
            }
            let at_s = step.at_s + block.dt_s * done;
            stops.push(self.switch_off(scene, loads, at_s, overloaded));
            self.take_load(0, loads, draw, scene.cell, scene.block.set);
            self.start(scene);
        }
    }

    /// Whether more is drawn right now than the pack's protection lets through.
    fn is_overloaded(&self, scene: &Scene<'_>) -> bool {
        scene.cell.limits.discharge_a.is_some_and(|most_a| self.now_a(scene) > most_a)
    }

    /// Takes the lane through a share of a step.
    fn step_share(&mut self, scene: &Scene<'_>, share: f64) -> After {
        let Scene { cell, block, step, .. } = *scene;
        self.pack.set_length(cell.circuit, block.dt_s * share);
        let step = std::slice::from_ref(step);
        if block.supplied {
            self.go_as::<true, true>(cell, step, share);
        } else {
            self.go_as::<false, true>(cell, step, share);
        }
        self.after(scene)
    }

    /// What a step came to.
    pub(super) fn after(&self, scene: &Scene<'_>) -> After {
        let current_a = self.flow.current_a[0];
        let supplied = scene.block.supplied;
        let load_a = if supplied { self.lines.at(0, self.flow.v[0]).0 } else { current_a };
        let source_a = load_a - current_a;
        After {
            states: self.states,
            flow: self.flow,
            source_a,
            unused: if supplied { self.unused(scene, source_a) } else { Unused::default() },
        }
    }

    /// What sources could have given in a step, at the voltage it had, besides what they gave.
    fn unused(&self, scene: &Scene<'_>, source_a: f64) -> Unused {
        let (sun, v) = (self.charging.sun[0], self.flow.v[0]);
        let given_a = Supply::of(scene.step, sun).at(v).0;
        let every_a = Supply::of(scene.every, sun).at(v).0;
        let least_a = self.charging.least_a[0];
        let left_a = given_a - source_a;
        let mut unused = Unused { waited_a: (every_a - given_a).max(0.0), ..Unused::default() };
        // less is what the one round of Newton's method leaves
        if left_a > SOLVED_A {
            let kept = if least_a >= 0.0 {
                &mut unused.temperature_a
            } else if self.flow.current_a[0] <= least_a {
                &mut unused.limit_a
            } else {
                &mut unused.full_a
            };
            *kept = left_a;
        }
        unused
    }

    /// How much of a step, at most `left` of it, can be taken from here before the voltage reaches
    /// the floor. Leaves the state as it is.
    fn carried(&mut self, scene: &Scene<'_>, left: f64) -> f64 {
        let floor_v = self.floor_v[0];
        let from = self.begin();
        let start_v = self.now_v(scene) - floor_v;
        if start_v < 0.0 {
            return 0.0;
        }
        let end_v = self.spare_at(scene, from, left, floor_v);
        if end_v >= 0.0 || left <= SHARE_ROOM {
            return left;
        }
        // regula falsi, halving the end that does not move (Dowell & Jarratt 1971)
        let (mut good, mut good_v, mut bad, mut bad_v) = (0.0, start_v, left, end_v);
        for _ in 0..MOST_TRIES {
            if bad - good < SHARE_ROOM {
                break;
            }
            let straight = good + (bad - good) * good_v / (good_v - bad_v);
            let share = straight.clamp(good + 0.1 * SHARE_ROOM, bad - 0.1 * SHARE_ROOM);
            let v = self.spare_at(scene, from, share, floor_v);
            if v >= 0.0 {
                (good, good_v, bad_v) = (share, v, 0.5 * bad_v);
            } else {
                (bad, bad_v, good_v) = (share, v, 0.5 * good_v);
            }
        }
        good
    }

    /// The voltage above the floor after a share of the step. Leaves the state at `from`.
    fn spare_at(&mut self, scene: &Scene<'_>, from: Before<1>, share: f64, floor_v: f64) -> f64 {
        self.step_share(scene, share);
        let spare_v = self.now_v(scene) - floor_v;
        self.back_to(from);
        spare_v
    }

    fn switch_off(
        &mut self,
        scene: &Scene<'_>,
        loads: &Loads<'_>,
        at_s: f64,
        overloaded: bool,
    ) -> Stop {
        let cut_v = scene.cell.cut_v(loads);
        let floor = &self.floor[0];
        // whatever happens, something goes off that was on
        let is_off = self.off[0] >> floor.first & 1 == 1;
        let protected = overloaded || is_off || cut_v >= floor.v;
        if protected {
            self.off[0] = ALL_OFF;
            Stop { at_s, device: None, cause: Cause::Protection }
        } else {
            // what asks for more than any voltage gives goes off alone; where a converter drops out,
            // all that hangs on it does
            self.off[0] |= if floor.v.is_finite() {
                loads.falling(scene.block.set, self.off[0], floor.first)
            } else {
                1 << floor.first
            };
            let cause = if floor.collapses { Cause::Collapse } else { Cause::Brownout };
            Stop { at_s, device: Some(floor.first), cause }
        }
    }
}
