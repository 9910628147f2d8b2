//! What goes off, and when: the rare step in which a voltage falls below what is needed.

use super::bank::{Bank, Flows, Pace, Scene, State};
use super::{Cause, Stop};
use crate::draws::Draw;
use crate::loads::{ALL_OFF, Loads, Mask};

/// A part of a step, with what was off in it.
pub(super) struct Part {
    pub(super) from_s: f64,
    pub(super) dt_s: f64,
    pub(super) off: Mask,
    pub(super) state: State<1>,
    pub(super) flows: Flows<1>,
}

/// A moment is found to this share of a step: hundredths of a second.
const SHARE_ROOM: f64 = 2e-4;
const MOST_TRIES: usize = 30;
const ROUNDS: usize = 4;

impl Bank<1> {
    /// Takes a step again from `before`, part by part: up to the moment at which something goes off,
    /// then on without it.
    pub(super) fn step_by_parts(
        &mut self,
        before: State<1>,
        scene: &Scene<'_>,
        draw: &Draw,
        loads: &mut Loads<'_>,
        mut tell: impl FnMut(Part),
    ) -> Vec<Stop> {
        let Scene { block, step, .. } = *scene;
        let mut stops = Vec::new();
        let mut done = 0.0;
        self.state = before;
        loop {
            let left = 1.0 - done;
            let off = self.off[0];
            let overloaded = self.is_overloaded(scene);
            let carried = if overloaded { 0.0 } else { self.carried(scene, left) };
            if carried > 0.0 {
                let flows = self.step_share(scene, carried);
                let (from_s, dt_s) = (step.at_s + block.dt_s * done, block.dt_s * carried);
                tell(Part { from_s, dt_s, off, state: self.state, flows });
                done += carried;
            }
            if carried >= left {
                return stops;
            }
            let at_s = step.at_s + block.dt_s * done;
            stops.push(self.switch_off(scene, loads, at_s, overloaded));
            self.take_load(0, loads, draw, scene);
            self.state.v[0] = self.start_v(scene);
        }
    }

    /// Whether more is drawn right now than the pack's protection lets through.
    fn is_overloaded(&self, scene: &Scene<'_>) -> bool {
        scene.cell.limits.discharge_a.is_some_and(|most_a| self.now_a(scene) > most_a)
    }

    fn step_share(&mut self, scene: &Scene<'_>, share: f64) -> Flows<1> {
        let pace = Pace::of(scene.cell.circuit, scene.block.dt_s, share);
        self.step::<ROUNDS>(&Scene { pace, ..*scene })
    }

    /// How much of a step, at most `left` of it, can be taken from here before the voltage reaches
    /// the floor. Leaves the state as it is.
    fn carried(&mut self, scene: &Scene<'_>, left: f64) -> f64 {
        let floor_v = self.floor_v[0];
        let from = self.state;
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
    fn spare_at(&mut self, scene: &Scene<'_>, from: State<1>, share: f64, floor_v: f64) -> f64 {
        self.step_share(scene, share);
        let spare_v = self.now_v(scene) - floor_v;
        self.state = from;
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
        let line = &self.lines[0];
        let protected = overloaded || cut_v >= line.floor_v;
        if protected {
            self.off[0] = ALL_OFF;
            Stop { at_s, device: None, cause: Cause::Protection }
        } else {
            // what asks for more than any voltage gives goes off alone; where a converter drops out,
            // all that hangs on it does
            self.off[0] |= if line.floor_v.is_finite() {
                loads.falling(scene.block.set, self.off[0], line.first)
            } else {
                1 << line.first
            };
            let cause = if line.collapses { Cause::Collapse } else { Cause::Brownout };
            Stop { at_s, device: Some(line.first), cause }
        }
    }
}
