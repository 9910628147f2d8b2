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
mod solve;
mod stop;

use pack::{Circuit, Housing, Limits};

use crate::draws::Draw;
use crate::loads::{ALL_OFF, Loads, Mask, bits};
use crate::timeline::{Block, Step, Timeline};
use crate::trace::{Moment, Restart, Trace};
use away::Away;
use bank::{Bank, Flows, Pace, Row, Scene, State};
use stop::Part;

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

/// Rounds of Newton's method in a step: from the last step's voltage, a millivolt away, one is good
/// to about 1e-9 V. What changes a load sets the voltage anew.
const ROUNDS: usize = 1;

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
    let mut bank = Bank::<N>::start(cell);
    let mut away: [Away; N] = std::array::from_fn(|_| Away::new(loads.devices()));
    let mut outcomes: [Outcome; N] = std::array::from_fn(|_| Outcome {
        soc: vec![[f64::NAN; 2]; timeline.nights],
        failures: vec![None; timeline.nights],
        path: Vec::with_capacity(if has_paths { timeline.blocks.len() } else { 0 }),
    });
    for block in &timeline.blocks {
        if let Some(night) = block.dusk_of {
            for (outcome, soc) in outcomes.iter_mut().zip(bank.state.soc) {
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
        let pace = Pace::of(cell.circuit, block.dt_s, 1.0);
        let Some(step) = timeline.steps.get(block.steps.start) else { continue };
        let scene = Scene { cell, block, step, pace };
        let firsts = given.map(|steps| steps.first().unwrap_or(step));
        bank.prepare(loads, draws, &scene, &firsts);
        let mut stopped = |lane: usize, stop: Stop| {
            let first: &mut Option<Stop> = &mut outcomes[lane].failures[block.night];
            *first = first.or(Some(stop));
        };
        for lane in 0..N {
            if bank.off[lane] != ALL_OFF {
                continue;
            }
            let scene = Scene { step: firsts[lane], ..scene };
            bank.come_back(lane, &scene, (&mut *loads, &draws[lane]), &mut away[lane]);
            if bank.off[lane] == ALL_OFF && loads.any_on(block.set) {
                // still open from an earlier night, or from the heat
                let cause = Cause::Protection;
                stopped(lane, Stop { at_s: step.at_s, device: None, cause });
            }
        }
        if given.iter().all(|steps| std::ptr::eq(*steps, given[0])) {
            let group = Group { bank: &mut bank, away: &mut away, draws };
            through(group, given[0], &scene, loads, trace.as_deref_mut(), stopped);
        } else {
            let group = Group { bank: &mut bank, away: &mut away, draws };
            through_apart(group, &given, &scene, loads, stopped);
        }
        bank.warm(cell, draws, block);
        bank.stage_on(block);
        for (lane, outcome) in outcomes.iter_mut().enumerate().filter(|_| has_paths) {
            outcome.path.push([bank.state.soc[lane] as f32, bank.state.v[lane] as f32]);
        }
        if let Some(night) = block.dawn_of {
            for (outcome, soc) in outcomes.iter_mut().zip(bank.state.soc) {
                outcome.soc[night][1] = soc;
            }
        }
    }
    outcomes
}

/// Draws side by side, and what belongs to each.
struct Group<'a, const N: usize> {
    bank: &'a mut Bank<N>,
    away: &'a mut [Away; N],
    draws: &'a [Draw; N],
}

/// Takes all lanes through the steps of a block; `scene` is one of them. `stopped` is told what is
/// off though it should be on.
#[inline(always)]
fn through<const N: usize>(
    Group { bank, away, draws }: Group<'_, N>,
    steps: &[Step],
    scene: &Scene<'_>,
    loads: &mut Loads<'_>,
    mut trace: Option<&mut Trace>,
    mut stopped: impl FnMut(usize, Stop),
) {
    let Scene { cell, block, .. } = *scene;
    let most_a = cell.limits.discharge_a.unwrap_or(f64::INFINITY);
    let heater_w = bank.heater_w(0, cell);
    let closes = block.supplied || away.iter().any(|away| away.cooled);
    let mut waits = bank.waits(loads, closes);
    for step in steps {
        let scene = Scene { step, ..*scene };
        if waits {
            let group = Group { bank: &mut *bank, away: &mut *away, draws };
            come_back(group, &scene, loads, trace.as_deref_mut());
            waits = bank.waits(loads, closes);
        }
        let before = bank.state;
        let flows = bank.step::<ROUNDS>(&scene);
        if !may_stop(&before, &bank.state, &bank.floor_v, most_a) {
            if let Some(trace) = trace.as_deref_mut() {
                trace.moments.push(moment(
                    block,
                    (step.at_s, block.dt_s),
                    bank.off[0],
                    &bank.state.lane(0),
                    &flows,
                    heater_w,
                ));
            }
            continue;
        }
        for lane in 0..N {
            let (was, is) = (before.lane(lane), bank.state.lane(lane));
            if !may_stop(&was, &is, &[bank.floor_v[lane]], most_a) {
                continue;
            }
            let mut alone = bank.lane(lane);
            let tell = |part: Part| {
                if let Some(trace) = trace.as_deref_mut() {
                    let span = (part.from_s, part.dt_s);
                    let Part { off, state, flows, .. } = part;
                    trace.moments.push(moment(block, span, off, &state, &flows, heater_w));
                }
            };
            let stops = alone.step_by_parts(before.lane(lane), &scene, &draws[lane], loads, tell);
            let fallen = alone.off[0] & !bank.off[lane];
            away[lane].note(&stops, fallen, step);
            bank.put(lane, &alone);
            for stop in stops {
                stopped(lane, stop);
            }
        }
        waits = bank.waits(loads, closes);
    }
}

/// Puts on again what may come back at the beginning of a step.
#[inline(never)]
fn come_back<const N: usize>(
    Group { bank, away, draws }: Group<'_, N>,
    scene: &Scene<'_>,
    loads: &mut Loads<'_>,
    mut trace: Option<&mut Trace>,
) {
    let Scene { block, step, .. } = *scene;
    for lane in 0..N {
        let back = bank.come_back(lane, scene, (&mut *loads, &draws[lane]), &mut away[lane]);
        if let Some(trace) = trace.as_deref_mut() {
            let restart = |device| Restart { at_s: step.at_s, night: block.night, device };
            trace.restarts.extend(bits(back).map(restart));
        }
    }
}

/// As [`through`], where some packs are warm enough for a source that waits and others are not: one after
/// another, each by its own steps.
#[inline(never)]
fn through_apart<const N: usize>(
    Group { bank, away, draws }: Group<'_, N>,
    given: &[&[Step]; N],
    scene: &Scene<'_>,
    loads: &mut Loads<'_>,
    mut stopped: impl FnMut(usize, Stop),
) {
    for (lane, steps) in given.iter().enumerate() {
        let mut alone = bank.lane(lane);
        let group = Group {
            bank: &mut alone,
            away: std::array::from_mut(&mut away[lane]),
            draws: std::array::from_ref(&draws[lane]),
        };
        through(group, steps, scene, loads, None, |_, stop| stopped(lane, stop));
        bank.put(lane, &alone);
    }
}

/// Whether a voltage may have fallen to the floor in the step between two means, or cannot be
/// believed, or more flows than may: a cheap question that errs on the side of yes.
#[inline(always)]
// one index into many rows is what becomes vector registers
#[allow(clippy::needless_range_loop)]
fn may_stop<const N: usize>(
    before: &State<N>,
    state: &State<N>,
    floor_v: &Row<N>,
    most_a: f64,
) -> bool {
    let mut close = 0_u64;
    for lane in 0..N {
        let v = state.v[lane];
        let rise_v = v - before.v[lane];
        // the means drawn on to the end of the step
        let end_v = v + 0.5 * rise_v;
        let least_v = if rise_v < 0.0 { end_v } else { v };
        close |= u64::from(least_v < floor_v[lane] + NEAR_V);
        close |= u64::from(rise_v.abs() > JUMP_V);
        close |= u64::from(state.current_a[lane] > most_a);
    }
    close > 0
}

/// This near to the floor a step is looked at closely.
const NEAR_V: f64 = 0.002;
/// No voltage moves so far in a minute unless Newton's method has lost it.
const JUMP_V: f64 = 1.0;

fn moment<const N: usize>(
    block: &Block,
    (at_s, dt_s): (f64, f64),
    off: Mask,
    state: &State<1>,
    flows: &Flows<N>,
    heater_w: f64,
) -> Moment {
    Moment {
        at_s,
        dt_s,
        night: block.night,
        set: block.set,
        off,
        soc: state.soc[0],
        gap: state.gap[0],
        v1_v: state.v1_v[0],
        voltage_v: state.v[0],
        current_a: flows.battery_a[0],
        source_a: flows.source_a[0],
        heater_w: if off == ALL_OFF { 0.0 } else { heater_w },
        loss_w: flows.loss_w[0],
    }
}

#[cfg(test)]
mod tests;
