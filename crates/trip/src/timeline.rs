//! What is the same for all draws, worked out once: the steps of a trip.
//!
//! Steps are a minute long and shorter before an event, so that no event lies inside one. Blocks
//! are runs of steps between which nothing changes but the sun: the same devices on, the same
//! length of step, one air temperature.

use std::ops::Range;

use pack::Limits;
use rig::Conditions;
use source::Profile;

use crate::aim::Response;

/// One step.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Step {
    /// Its beginning on the trip's clock.
    pub(crate) at_s: f64,
    /// What panels on tracking controllers would give to the pack under a clear sky (W).
    pub(crate) panel_w: f64,
    /// The most their controllers pass on (A).
    pub(crate) panel_cap_a: f64,
    /// What panels on switching controllers would give under a clear sky (A).
    pub(crate) panel_a: f64,
    /// What chargers give, whatever the sky (A).
    pub(crate) charger_a: f64,
}

impl Step {
    /// Whether any source may give something.
    pub(crate) fn is_supplied(&self) -> bool {
        self.panel_w > 0.0 || self.panel_a > 0.0 || self.charger_a > 0.0
    }
}

/// A run of equal steps.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Block {
    pub(crate) steps: Range<usize>,
    pub(crate) dt_s: f64,
    /// Which of the timeline's sets of devices is on.
    pub(crate) set: usize,
    /// The night it is counted to, and the day its sun belongs to.
    pub(crate) night: usize,
    pub(crate) air_c: f64,
    /// Whether any source may give something.
    pub(crate) supplied: bool,
    /// The voltage at which sources hold the terminals.
    pub(crate) hold_v: f64,
    /// How the charge ends, where the source goes down to float.
    pub(crate) float: Option<Profile>,
    /// Below this air temperature the pack takes no charge.
    pub(crate) no_charge_below_c: f64,
    pub(crate) most_charge_a: f64,
    /// Set on the first block of a night.
    pub(crate) dusk_of: Option<usize>,
    /// Set on the last block of a night.
    pub(crate) dawn_of: Option<usize>,
    /// What has stopped starts again with this block.
    pub(crate) restart: bool,
    /// What the panels' harvest does when they stand off their aims, panel by panel.
    pub(crate) aims: Vec<Response>,
}

/// The steps of a trip.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Timeline {
    pub(crate) steps: Vec<Step>,
    pub(crate) blocks: Vec<Block>,
    pub(crate) nights: usize,
    pub(crate) sets: Vec<Set>,
    /// The steps while sources wait for a warmer pack, coldest first; none if no source waits.
    pub(crate) held: Vec<Held>,
}

/// The steps of a trip as long as the pack is colder than some sources wait for.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Held {
    /// They hold below this temperature of the pack.
    pub(crate) below_c: f64,
    /// With what the other sources give.
    pub(crate) steps: Vec<Step>,
}

impl Timeline {
    /// A block's steps for a pack of this temperature.
    pub(crate) fn given(&self, block: &Block, pack_c: f64) -> &[Step] {
        // where no source gives anything none is missed
        let held = self.held.iter().find(|held| block.supplied && pack_c < held.below_c);
        let steps = held.map_or(&self.steps, |held| &held.steps);
        &steps[block.steps.clone()]
    }

    /// Has a pack's own limits say when it takes charge, and how much.
    pub(crate) fn limit_charge(&mut self, limits: &Limits) {
        let least_c = if limits.refuses_frost { limits.charge_least_c } else { None };
        for block in &mut self.blocks {
            block.no_charge_below_c = least_c.unwrap_or(f64::NEG_INFINITY);
            block.most_charge_a = limits.charge_a.unwrap_or(f64::INFINITY);
        }
    }
}

/// What is on together.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Set {
    /// The use of each device that is on.
    pub(crate) uses: Vec<Option<usize>>,
    /// The night, where one of them hangs on its sky or air.
    pub(crate) night: Option<usize>,
    /// The air it is usually in, where one of them follows it.
    pub(crate) air: Option<Conditions>,
}

/// Length of an ordinary step.
pub(crate) const STEP_S: f64 = 60.0;
/// The air's temperature is taken anew after so many steps.
const BLOCK_STEPS: usize = 15;
/// Events nearer than this are one.
pub(crate) const SAME_S: f64 = 0.5;

/// Cuts a stretch of time at events into blocks of equal steps: `(from_s, dt_s, count)`.
pub(crate) fn cut(from_s: f64, to_s: f64, events_s: &[f64]) -> Vec<(f64, f64, usize)> {
    let mut edges: Vec<f64> = events_s
        .iter()
        .copied()
        .filter(|at_s| (from_s + SAME_S..to_s - SAME_S).contains(at_s))
        .collect();
    edges.push(to_s);
    edges.sort_by(f64::total_cmp);
    edges.dedup_by(|b, a| *b - *a < SAME_S);
    let mut blocks = Vec::new();
    let mut at_s = from_s;
    for edge_s in edges {
        let mut whole = ((edge_s - at_s) / STEP_S + 1e-9).floor() as usize;
        while whole > 0 {
            let count = whole.min(BLOCK_STEPS);
            blocks.push((at_s, STEP_S, count));
            at_s += STEP_S * count as f64;
            whole -= count;
        }
        if edge_s - at_s > 1e-6 {
            blocks.push((at_s, edge_s - at_s, 1));
        }
        at_s = edge_s;
    }
    blocks
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_tile_the_time_and_meet_events() {
        let blocks = cut(100.0, 5000.0, &[160.2, 1000.0, 1000.3, 90.0, 4999.9]);
        let mut at_s = 100.0;
        for (from_s, dt_s, count) in &blocks {
            assert!((from_s - at_s).abs() < 1e-9, "a gap before {from_s}");
            assert!(*dt_s <= STEP_S && *count >= 1 && *count <= BLOCK_STEPS);
            at_s += dt_s * *count as f64;
        }
        assert!((at_s - 5000.0).abs() < 1e-9);
        for event_s in [160.2, 1000.0] {
            assert!(blocks.iter().any(|(from_s, ..)| (from_s - event_s).abs() < 1e-9), "{event_s}");
        }
    }
}
