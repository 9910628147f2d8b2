//! What goes off, and when: the rare step in which a voltage falls below what is needed.

use super::bank::{Bank, Flow, Pace, Supply};
use super::{Cause, Cell, Stop};
use crate::draws::Draw;
use crate::loads::Loads;
use crate::timeline::{Block, Step};

/// The state of a lane before a step.
#[derive(Clone, Copy)]
pub(super) struct Before {
    soc: f64,
    v1_v: f64,
    gap: f64,
    v: f64,
}

/// A part of a step, with what was off in it.
pub(super) struct Part {
    pub(super) from_s: f64,
    pub(super) dt_s: f64,
    pub(super) off: crate::loads::Mask,
    pub(super) voltage_v: f64,
    pub(super) flow: Flow,
}

/// What is constant while a step is taken apart.
pub(super) struct Scene<'a, 'b> {
    pub(super) cell: &'a Cell<'b>,
    pub(super) draw: &'a Draw,
    pub(super) block: &'a Block,
    pub(super) step: &'a Step,
}

/// A voltage is found to this share of a step.
const SHARE_ROOM: f64 = 1e-6;
const BISECTIONS: usize = 30;
const ROUNDS: usize = 8;

impl<const N: usize> Bank<N> {
    pub(super) fn before(&self, lane: usize) -> Before {
        Before { soc: self.soc[lane], v1_v: self.v1_v[lane], gap: self.gap[lane], v: self.v[lane] }
    }

    fn back_to(&mut self, lane: usize, before: Before) {
        (self.soc[lane], self.v1_v[lane]) = (before.soc, before.v1_v);
        (self.gap[lane], self.v[lane]) = (before.gap, before.v);
    }

    /// Whether the voltage may fall to the floor in the step that led here from `before_v`: a cheap
    /// question that errs on the side of yes.
    #[inline(always)]
    pub(super) fn may_stop(&self, lane: usize, before_v: f64) -> bool {
        // the means of two steps, drawn on to the end of the second
        let end_v = 1.5 * self.v[lane] - 0.5 * before_v;
        self.v[lane].min(end_v) < self.floor_v[lane] + 0.002
    }

    /// Takes a step again from `before`, part by part: up to the moment at which something goes off,
    /// then on without it.
    pub(super) fn step_by_parts(
        &mut self,
        lane: usize,
        before: Before,
        scene: &Scene<'_, '_>,
        loads: &mut Loads<'_>,
        mut tell: impl FnMut(Part),
    ) -> Vec<Stop> {
        let Scene { cell, draw, block, step } = *scene;
        let supply = self.supply(lane, block, step);
        let mut stops = Vec::new();
        let mut done = 0.0;
        let mut from = before;
        self.back_to(lane, from);
        loop {
            let left = 1.0 - done;
            let off = self.off[lane];
            let carried = self.carried(lane, from, scene, supply, left);
            if carried > 0.0 {
                let flow = self.step(
                    lane,
                    cell,
                    block,
                    supply,
                    Pace::of(cell.circuit, block.dt_s, carried),
                    ROUNDS,
                );
                let from_s = step.at_s + block.dt_s * done;
                tell(Part {
                    from_s,
                    dt_s: block.dt_s * carried,
                    off,
                    voltage_v: self.v[lane],
                    flow,
                });
                done += carried;
            }
            if carried >= left {
                return stops;
            }
            stops.push(self.switch_off(lane, cell, step.at_s + block.dt_s * done));
            self.take_load(lane, cell, loads, draw, block);
            from = self.before(lane);
        }
    }

    /// How much of a step, at most `left` of it, can be taken from here before the voltage reaches
    /// the floor. Leaves the lane at its beginning.
    fn carried(
        &mut self,
        lane: usize,
        from: Before,
        scene: &Scene<'_, '_>,
        supply: Supply,
        left: f64,
    ) -> f64 {
        let Scene { cell, block, .. } = *scene;
        let floor_v = self.floor_v[lane];
        if self.now_v(lane, cell, supply) < floor_v {
            return 0.0;
        }
        let mut end_v = |share: f64| {
            self.step(lane, cell, block, supply, Pace::of(cell.circuit, block.dt_s, share), ROUNDS);
            let v = self.now_v(lane, cell, supply);
            self.back_to(lane, from);
            v
        };
        if left <= SHARE_ROOM || end_v(left) >= floor_v {
            return left;
        }
        let (mut good, mut bad) = (0.0, left);
        for _ in 0..BISECTIONS {
            if bad - good < SHARE_ROOM {
                break;
            }
            let middle = 0.5 * (good + bad);
            if end_v(middle) >= floor_v { good = middle } else { bad = middle }
        }
        good
    }

    fn switch_off(&mut self, lane: usize, cell: &Cell<'_>, at_s: f64) -> Stop {
        let line = &self.line[lane];
        let protected = cell.limits.undervoltage_v.is_some_and(|cut_v| cut_v >= line.floor_v);
        if protected {
            self.open[lane] = true;
            Stop { at_s, device: None, cause: Cause::Protection }
        } else {
            self.off[lane] |= 1 << line.first;
            let cause = if line.collapses { Cause::Collapse } else { Cause::Brownout };
            Stop { at_s, device: Some(line.first), cause }
        }
    }
}
