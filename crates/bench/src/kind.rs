//! Which tests a record holds, and of what kind each is.

use crate::RunKind;
use crate::piece::Sum;
use crate::trace::{Stretch, Trace, Way, median, stride};

/// The stretches of one test, rests around it included.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Test {
    pub(crate) kind: RunKind,
    pub(crate) stretches: Vec<Stretch>,
}

impl Test {
    /// The stretches in which current goes this way.
    pub(crate) fn with_current(&self, way: Way) -> Vec<Stretch> {
        self.stretches.iter().filter(|stretch| stretch.way == way).cloned().collect()
    }
}

/// A load or charge no longer than this, with rests around it, is a pulse (s). The pulses of
/// IEC 61960-3 take 1 s and 10 s (from memory), those of other schemes up to half a minute.
const LONGEST_PULSE_S: f64 = 60.0;
/// A pulse is seen by so many readings; less may be a cloud, or gear waking up.
const LEAST_READINGS: usize = 3;
/// So many pulses make a pulse test, unless one long load takes most of the charge: that is a
/// discharge whose load was switched off and on again.
const LEAST_PULSES: usize = 2;
const MANY_PULSES: usize = 6;
const MOST_SHARE: f64 = 0.8;
/// So many jumps from one load to another make a field run: gear switches, a test load does not.
const LEAST_JUMPS: usize = 4;
/// So do so many single readings that differ by a jump from the one before: fewer are glitches.
const LEAST_FLICKERS: usize = 20;
/// A jump is at least this share of the largest current.
const JUMP_SHARE: f64 = 0.15;
/// So often the current of a test does not turn round for a short time (s): that is a load and a
/// source whose difference was logged.
const MOST_SHORT_TURNS: usize = 20;
const SHORT_TURN_S: f64 = 1200.0;
/// Less than this share of the charge that flows the other way is no test of its own.
const NO_TEST_SHARE: f64 = 0.01;

pub(crate) fn tests_in(trace: &Trace) -> Vec<Test> {
    let whole = |kind| vec![Test { kind, stretches: trace.stretches.clone() }];
    let pulses = pulses(trace);
    if pulses >= MANY_PULSES || pulses >= LEAST_PULSES && !one_load_rules(trace) {
        return whole(RunKind::Pulses);
    }
    if switches(trace) || short_turns(trace) > MOST_SHORT_TURNS {
        return whole(RunKind::Field);
    }
    by_direction(trace).into_iter().filter_map(|stretches| one_way(trace, stretches)).collect()
}

/// A test in which current goes one way, but for blips. Nothing if no charge flows: a single
/// reading with nothing near it.
fn one_way(trace: &Trace, stretches: Vec<Stretch>) -> Option<Test> {
    let mut test = Test { kind: RunKind::Discharge, stretches };
    let flow = |stretches: &[Stretch]| stretches.iter().map(|s| charge_ah(trace, s)).sum::<f64>();
    let charge = test.with_current(Way::In);
    let (out_ah, in_ah) = (flow(&test.with_current(Way::Out)), -flow(&charge));
    if in_ah > out_ah {
        let steady = steady_share(trace, &charge) >= 0.5;
        test.kind = if steady { RunKind::Recharge } else { RunKind::SolarRecharge };
    }
    (out_ah.max(in_ah) > 0.0).then_some(test)
}

fn charge_ah(trace: &Trace, stretch: &Stretch) -> f64 {
    trace.pieces(stretch).map(|piece| piece.charge_ah()).sum()
}

/// Short loads with a rest on both sides, of which at least one takes current out.
fn pulses(trace: &Trace) -> usize {
    let mut found = 0;
    let mut out = false;
    for window in trace.stretches.windows(3) {
        let [before, pulse, after] = window else { continue };
        let short =
            trace.pieces(pulse).map(|piece| piece.duration_s()).sum::<f64>() <= LONGEST_PULSE_S;
        let seen = pulse.samples.len() >= LEAST_READINGS;
        if before.way == Way::Rest && after.way == Way::Rest && short && seen {
            found += 1;
            out |= pulse.way == Way::Out;
        }
    }
    if out { found } else { 0 }
}

/// Whether a single load, longer than a pulse, takes most of what comes out.
fn one_load_rules(trace: &Trace) -> bool {
    let loads = trace.stretches.iter().filter(|stretch| stretch.way == Way::Out);
    let sums: Vec<Sum> = loads.map(|stretch| trace.pieces(stretch).collect()).collect();
    let whole_ah: f64 = sums.iter().map(|sum| sum.charge_ah).sum();
    sums.iter()
        .any(|sum| sum.charge_ah >= MOST_SHARE * whole_ah && sum.duration_s > LONGEST_PULSE_S)
}

/// Whether the load jumps from one current to another without going off: a few times to stay there,
/// or at many single readings.
fn switches(trace: &Trace) -> bool {
    let least_a = (JUMP_SHARE * trace.peak_a).max(8.0 * trace.noise_a);
    let (mut jumps, mut flickers) = (0, 0);
    for stretch in trace.stretches.iter().filter(|stretch| stretch.way == Way::Out) {
        let mut level_a = trace.current_a(stretch.samples.start);
        let mut before_a = level_a;
        for at in stretch.samples.clone() {
            let current_a = trace.current_a(at);
            flickers += usize::from((current_a - before_a).abs() > least_a);
            before_a = current_a;
            // a level is left for good when the reading after agrees
            let stays = at + 1 >= stretch.samples.end
                || (trace.current_a(at + 1) - current_a).abs() < least_a / 2.0;
            if (current_a - level_a).abs() > least_a && stays {
                jumps += 1;
                level_a = current_a;
            } else if (current_a - level_a).abs() < least_a / 2.0 {
                // follow a drift, such as that of a constant power
                level_a += (current_a - level_a) / 8.0;
            }
        }
    }
    jumps >= LEAST_JUMPS || flickers >= LEAST_FLICKERS
}

/// How often the current turns round for a short time.
fn short_turns(trace: &Trace) -> usize {
    let mut flows = trace.stretches.iter().filter(|s| matches!(s.way, Way::Out | Way::In));
    let Some(mut before) = flows.next() else { return 0 };
    let mut turns = 0;
    for now in flows {
        let lasts_s = trace.elapsed_s(now.samples.end - 1) - trace.elapsed_s(now.samples.start);
        turns += usize::from(now.way != before.way && lasts_s < SHORT_TURN_S);
        before = now;
    }
    turns
}

/// Cuts where the current turns round; rests before a test belong to it, those after the last
/// one too.
fn by_direction(trace: &Trace) -> Vec<Vec<Stretch>> {
    let flows = |stretch: &Stretch| matches!(stretch.way, Way::Out | Way::In);
    let charges: Vec<f64> =
        trace.stretches.iter().map(|stretch| charge_ah(trace, stretch)).collect();
    let most_ah = charges.iter().fold(0.0, |most: f64, ah| most.max(ah.abs()));
    let mut tests: Vec<Vec<Stretch>> = Vec::new();
    let mut now: Vec<Stretch> = Vec::new();
    let mut way = None;
    for (stretch, charge_ah) in trace.stretches.iter().zip(charges) {
        if flows(stretch) && charge_ah.abs() >= NO_TEST_SHARE * most_ah {
            if way.is_some_and(|way| way != stretch.way) {
                let rests = now.iter().rposition(flows).map_or(0, |at| at + 1);
                let rest = now.split_off(rests);
                tests.push(std::mem::replace(&mut now, rest));
            }
            way = Some(stretch.way);
        }
        now.push(stretch.clone());
    }
    tests.push(now);
    tests
}

/// The share of the charging time before the voltage limit in which the current stays near its
/// middle: most of it on a mains charger, little on a panel.
fn steady_share(trace: &Trace, charge: &[Stretch]) -> f64 {
    let readings = charge.iter().map(|stretch| stretch.samples.len()).sum();
    let samples =
        || charge.iter().flat_map(|stretch| stretch.samples.clone()).step_by(stride(readings));
    let top_v = samples().map(|at| trace.voltage_v(at)).fold(0.0, f64::max);
    let bulk: Vec<f64> = samples()
        .take_while(|&at| trace.voltage_v(at) < 0.995 * top_v)
        .map(|at| trace.current_a(at).abs())
        .collect();
    if bulk.len() < 10 {
        return 1.0;
    }
    let middle_a = median(bulk.clone());
    let near = bulk.iter().filter(|&&a| (a - middle_a).abs() <= 0.15 * middle_a).count();
    near as f64 / bulk.len() as f64
}
