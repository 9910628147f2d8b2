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

mod away;
mod bank;
mod now;
mod solve;
mod stop;

use pack::{Circuit, Housing, Limits};

use crate::draws::Draw;
use crate::loads::{ALL_OFF, Loads, bits};
use crate::timeline::{Block, Step, Timeline};
use crate::trace::{Moment, Restart, Trace};
use away::Away;
use bank::{Bank, Scene};
use stop::{After, Part};

/// What one draw's trip came to.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Outcome {
    /// SoC at the beginning and end of each night.
    pub(crate) soc: Vec<[f64; 2]>,
    /// The first failure of each night.
    pub(crate) failures: Vec<Option<Stop>>,
    /// SoC and voltage at the end of each block, where it is kept.
    pub(crate) path: Vec<[f32; 2]>,
}

/// What is kept of a trip besides its nights.
pub(crate) enum Keep<'a> {
    /// Nothing.
    Ends,
    /// Each draw's path.
    Paths,
    /// The path, and every step of the first lane.
    Steps(&'a mut Trace),
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
    /// How it keeps its warmth; none where it is as warm as the air.
    pub(crate) housing: Option<Housing>,
}

/// How far above its cut a protection closes again where the pack does not say (common practice, no
/// source).
const BACK_ABOVE_V: f64 = 1.0;

impl Cell<'_> {
    /// The voltage at which everything goes off: that of the pack's protection, or where it has none
    /// the least the rig is asked about, far below what any device needs.
    fn cut_v(&self, loads: &Loads<'_>) -> f64 {
        self.limits.undervoltage_v.unwrap_or(loads.low_v())
    }

    /// The resting voltage at which the protection closes again under a source.
    fn back_v(&self) -> f64 {
        let cut_v = self.limits.undervoltage_v.unwrap_or(0.0);
        self.limits.release_v.unwrap_or(cut_v + BACK_ABOVE_V)
    }
}

/// Takes `N` draws through the trip. A device that has stopped stays off until sunrise, or restarts
/// if it is one that does; once the pack's protection has opened everything is off until a source
/// has brought the voltage back. Both are looked at once a step.
pub(crate) fn run<const N: usize>(
    timeline: &Timeline,
    cell: &Cell<'_>,
    loads: &mut Loads<'_>,
    draws: &[Draw; N],
    keep: Keep<'_>,
) -> [Outcome; N] {
    #[cfg(target_arch = "x86_64")]
    if N > 1 && std::arch::is_x86_feature_detected!("avx2") {
        #[allow(unsafe_code)] // the only way to choose an instruction set at run time
        // SAFETY: the processor was just found to have AVX2.
        return unsafe { run_avx2(timeline, cell, loads, draws, keep) };
    }
    run_portable(timeline, cell, loads, draws, keep)
}

/// The same, compiled for registers of four numbers.
#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx2")]
fn run_avx2<const N: usize>(
    timeline: &Timeline,
    cell: &Cell<'_>,
    loads: &mut Loads<'_>,
    draws: &[Draw; N],
    keep: Keep<'_>,
) -> [Outcome; N] {
    run_portable(timeline, cell, loads, draws, keep)
}

#[inline(always)]
pub(crate) fn run_portable<const N: usize>(
    timeline: &Timeline,
    cell: &Cell<'_>,
    loads: &mut Loads<'_>,
    draws: &[Draw; N],
    keep: Keep<'_>,
) -> [Outcome; N] {
    let has_paths = !matches!(keep, Keep::Ends);
    let mut trace = match keep {
        Keep::Steps(trace) => Some(trace),
        Keep::Ends | Keep::Paths => None,
    };
    let mut bank = Bank::<N>::new(cell);
    let mut away: [Away; N] = std::array::from_fn(|_| Away::new(loads.devices()));
    let mut outcomes: [Outcome; N] = std::array::from_fn(|_| Outcome {
        soc: vec![[f64::NAN; 2]; timeline.nights],
        failures: vec![None; timeline.nights],
        path: Vec::with_capacity(if has_paths { timeline.blocks.len() } else { 0 }),
    });
    let mut uses_before = None;
    for block in &timeline.blocks {
        if let Some(night) = block.dusk_of {
            for (outcome, soc) in outcomes.iter_mut().zip(bank.states.soc) {
                outcome.soc[night][0] = soc;
            }
        }
        bank.take_air(cell, draws, block);
        let given: [&[Step]; N] =
            std::array::from_fn(|lane| timeline.given(block, bank.pack_c[lane]));
        for (lane, away) in away.iter_mut().enumerate() {
            away.cooled = bank.cooled(lane, cell);
            if block.restart {
                away.begin();
                if bank.off[lane] != ALL_OFF {
                    bank.off[lane] = 0;
                }
            }
        }
        let Some(step) = timeline.steps.get(block.steps.start) else { continue };
        let scene = Scene { cell, block, step, every: step };
        bank.prepare(loads, draws, cell, block);
        let uses = Some(loads.pattern(block.set));
        if block.restart || uses != uses_before {
            bank.look_ahead(cell, block, step);
        }
        uses_before = uses;
        // all together without asking; those in which something goes off or may come back are then
        // taken through the block again, each for itself
        let start = bank.begin();
        let together = trace.is_none() && given.iter().all(|steps| std::ptr::eq(*steps, given[0]));
        if together {
            bank.go(cell, block, given[0]);
        }
        for lane in 0..N {
            let mut stopped = |stop: Stop| {
                let first: &mut Option<Stop> = &mut outcomes[lane].failures[block.night];
                *first = first.or(Some(stop));
            };
            let away = &mut away[lane];
            let waits = bank.is_waiting(lane, loads, || away.may_close(given[lane]));
            if together && bank.flow.is_sure(lane) && !waits {
                if bank.off[lane] == ALL_OFF {
                    still_open(block, step, loads, &mut stopped);
                }
                continue;
            }
            let mut alone = bank.lane(lane);
            alone.back_to(start.lane(lane));
            let one = One { bank: &mut alone, away, draw: &draws[lane], given: given[lane] };
            let every = &timeline.steps[block.steps.clone()];
            through(one, every, &scene, loads, trace.as_deref_mut(), &mut stopped);
            bank.put(lane, &alone);
        }
        bank.warm(cell, draws, block);
        bank.stage_on(block);
        for (lane, outcome) in outcomes.iter_mut().enumerate().filter(|_| has_paths) {
            outcome.path.push([bank.states.soc[lane] as f32, bank.flow.v[lane] as f32]);
        }
        if let Some(night) = block.dawn_of {
            for (outcome, soc) in outcomes.iter_mut().zip(bank.states.soc) {
                outcome.soc[night][1] = soc;
            }
        }
    }
    outcomes
}

/// One draw, and what belongs to it.
struct One<'a> {
    bank: &'a mut Bank<1>,
    away: &'a mut Away,
    draw: &'a Draw,
    /// The block's steps with what its sources give to it.
    given: &'a [Step],
}

/// Takes a draw through the steps of a block; `scene` is one of them, `every` has what all sources
/// give in them. `stopped` is told what is off though it should be on.
fn through(
    One { bank, away, draw, given }: One<'_>,
    every: &[Step],
    scene: &Scene<'_>,
    loads: &mut Loads<'_>,
    mut trace: Option<&mut Trace>,
    stopped: &mut dyn FnMut(Stop),
) {
    let Scene { cell, block, .. } = *scene;
    let heater_w = bank.heater_w(0, cell);
    let pack_c = bank.pack_c[0];
    for (step, every) in given.iter().zip(every) {
        let scene = Scene { step, every, ..*scene };
        if bank.is_waiting(0, loads, || true) {
            let back = bank.come_back(&scene, (&mut *loads, draw), away);
            if let Some(trace) = trace.as_deref_mut() {
                let restart = |device| Restart { at_s: step.at_s, night: block.night, device };
                trace.restarts.extend(bits(back).map(restart));
            }
            if bank.off[0] == ALL_OFF {
                still_open(block, step, loads, stopped);
            }
        }
        let mut tell = |part: Part| {
            if let Some(trace) = trace.as_deref_mut() {
                trace.moments.push(moment(block, &part, (heater_w, pack_c)));
            }
        };
        let before = bank.begin();
        bank.go(cell, block, std::slice::from_ref(step));
        if bank.flow.is_sure(0) {
            let after = bank.after(&scene);
            tell(Part { from_s: step.at_s, dt_s: block.dt_s, off: bank.off[0], after });
            continue;
        }
        let off = bank.off[0];
        let stops = bank.step_by_parts(before, &scene, draw, loads, tell);
        away.note(&stops, bank.off[0] & !off, step);
        stops.into_iter().for_each(&mut *stopped);
    }
}

/// The protection is open from an earlier night, or from the heat.
fn still_open(block: &Block, step: &Step, loads: &Loads<'_>, stopped: &mut dyn FnMut(Stop)) {
    if loads.any_on(block.set) {
        stopped(Stop { at_s: step.at_s, device: None, cause: Cause::Protection });
    }
}

fn moment(block: &Block, part: &Part, (heater_w, pack_c): (f64, f64)) -> Moment {
    let Part { from_s, dt_s, off, after } = *part;
    let After { states, flow, source_a, unused } = after;
    Moment {
        at_s: from_s,
        dt_s,
        night: block.night,
        set: block.set,
        off,
        state: states.lane(0),
        pack_c,
        voltage_v: flow.v[0],
        current_a: flow.current_a[0],
        source_a,
        unused,
        heater_w: if off == ALL_OFF { 0.0 } else { heater_w },
    }
}

#[cfg(test)]
mod tests;
