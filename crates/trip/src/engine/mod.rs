//! The step: pack, load and sources solved together, several draws side by side.
//!
//! `N` draws go through the same timeline in lanes, structure of arrays, so that the compiler can
//! put them into vector registers. With `N = 1` the very same code is the scalar loop.
//!
//! Within a step the battery's current is constant. Its voltage is the step's *mean*: for the R1C1
//! pair and the wells the mean of their exact exponentials, for the open-circuit voltage its value
//! at the mean state, so that the step is of second order and the energy is the voltage times the
//! charge. Holding a charger's voltage uses the *end* of the step instead (implicit), which does
//! not ring however small the pack. The step in which something goes off is taken again in parts,
//! up to that moment and on from it.

mod bank;
mod stop;

use pack::{Circuit, Limits};

use crate::draws::Draw;
use crate::loads::Loads;
use crate::timeline::Timeline;
use crate::trace::{Moment, Trace};
use bank::{Bank, Flow, Pace};
use stop::Scene;

/// What one draw's trip came to.
#[derive(Debug, Clone, PartialEq, Default)]
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

/// Rounds of Newton's method in a step, and in the first step after something changed. From the
/// last step's voltage one round is good to about 1e-7 V, two to rounding.
const ROUNDS: usize = 2;
const ROUNDS_AFTER_CHANGE: usize = 6;

/// Takes `N` draws through the trip. A device that has stopped stays off until sunrise; so does
/// everything once the pack's protection has opened.
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
        bank.prepare(cell, loads, draws, block);
        let pace = Pace::of(cell.circuit, block.dt_s, 1.0);
        let mut rounds = ROUNDS_AFTER_CHANGE;
        for step in &timeline.steps[block.steps.clone()] {
            let before: [_; N] = std::array::from_fn(|lane| bank.before(lane));
            let before_v = if rounds == ROUNDS { bank.v } else { [f64::NAN; N] };
            let mut flows = [Flow::default(); N];
            for (lane, flow) in flows.iter_mut().enumerate() {
                let supply = bank.supply(lane, block, step);
                *flow = bank.step(lane, cell, block, supply, pace, rounds);
            }
            rounds = ROUNDS;
            let mut moment = |bank: &Bank<N>, at_s, dt_s, off, voltage_v, flow: Flow| {
                let Some(trace) = trace.as_deref_mut() else { return };
                trace.moments.push(Moment {
                    at_s,
                    dt_s,
                    night: block.night,
                    set: block.set,
                    off,
                    soc: bank.soc[0],
                    gap: bank.gap[0],
                    v1_v: bank.v1_v[0],
                    voltage_v,
                    current_a: flow.battery_a,
                    source_a: flow.source_a,
                    loss_w: flow.loss_w,
                });
            };
            let mut whole = true;
            for lane in 0..N {
                if !bank.may_stop(lane, before_v[lane]) {
                    continue;
                }
                let scene = Scene { cell, draw: &draws[lane], block, step };
                let mut parts = Vec::new();
                let stops =
                    bank.step_by_parts(lane, before[lane], &scene, loads, |part| parts.push(part));
                whole = false;
                let first = &mut outcomes[lane].failures[block.night];
                *first = first.or(stops.first().copied());
                if !stops.is_empty() {
                    rounds = ROUNDS_AFTER_CHANGE;
                }
                for part in parts {
                    moment(&bank, part.from_s, part.dt_s, part.off, part.voltage_v, part.flow);
                }
            }
            if whole {
                moment(&bank, step.at_s, block.dt_s, bank.off[0], bank.v[0], flows[0]);
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

#[cfg(test)]
mod tests;
