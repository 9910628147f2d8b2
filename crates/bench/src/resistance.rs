//! Resistance from steps of the current.
//!
//! The DC method of IEC 61960-3 (clause from memory: the voltage's change over the current's, a
//! stated time after the step), applied to every step that keeps its current for long enough.

use quantity::uncertainty::{Budget, Shape, rectangular, resolution};

use crate::trace::Trace;
use crate::{Instrument, Settings};

/// What one step shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Resistance {
    /// When the current changed: midway between the readings around it (s).
    pub at_s: f64,
    /// State of charge by counting from the fullest moment of the record, which is taken as full;
    /// needs the label's capacity.
    pub soc: Option<f64>,
    /// Change of the current, out of the pack positive (A).
    pub step_a: f64,
    /// After how long the voltage was taken (s).
    pub delay_s: f64,
    /// Change of the voltage over change of the current (Ω).
    pub ohm: f64,
    /// Half-width of its 95 % interval (Ω).
    pub u_ohm: f64,
}

/// A step is at least this share of the record's largest current.
const LEAST_STEP: f64 = 0.1;
/// After a step the current stays within this share of it.
const STEADY: f64 = 0.05;
/// Readings further apart than this can't tell when the current changed (s).
const LONGEST_INTERVAL_S: f64 = 60.0;

/// The resistance at every usable step.
pub(crate) fn resistances(trace: &Trace, settings: &Settings) -> Vec<Resistance> {
    let mut found = Vec::new();
    let mut counted = vec![];
    let (mut charge_ah, mut least_ah) = (0.0_f64, 0.0_f64);
    let len = trace.record.samples.len();
    let mut at = 0;
    while at + 1 < len {
        if let Some((resistance, after)) = step(trace, settings, at) {
            counted.push(charge_ah);
            found.push(resistance);
            for at in at..after {
                charge_ah += trace.piece(at, at + 1).charge_ah();
            }
            at = after;
        } else {
            if trace.elapsed_s(at + 1) - trace.elapsed_s(at) <= trace.gap_s() || trace.bridges(at) {
                charge_ah += trace.piece(at, at + 1).charge_ah();
            }
            at += 1;
        }
        least_ah = least_ah.min(charge_ah);
    }
    if let Some(rated_ah) = settings.rated_ah {
        for (resistance, counted_ah) in found.iter_mut().zip(counted) {
            resistance.soc = Some(1.0 - (counted_ah - least_ah) / rated_ah);
        }
    }
    found
}

/// The step after a sample, if there is one that can be used, and the sample after it.
fn step(trace: &Trace, settings: &Settings, before: usize) -> Option<(Resistance, usize)> {
    let resolution_a = trace.record.resolution.current_a;
    let least_a = (LEAST_STEP * trace.peak_a).max(8.0 * resolution_a).max(8.0 * trace.noise_a);
    let change = |after: usize| trace.current_a(after) - trace.current_a(before);
    let is_open = |at: usize| trace.is_dead(at);
    if change(before + 1).abs() < least_a || is_open(before) || is_open(before + 1) {
        return None;
    }
    // one reading may have been taken, or averaged, in the middle of the change
    let steady = |after: usize| {
        let next = after + 1;
        next < trace.record.samples.len()
            && (trace.current_a(next) - trace.current_a(after)).abs()
                <= STEADY * change(after).abs()
    };
    let after = [before + 1, before + 2].into_iter().find(|&after| steady(after))?;
    let (from_s, to_s) = (trace.elapsed_s(before), trace.elapsed_s(after));
    if to_s - from_s > LONGEST_INTERVAL_S {
        return None;
    }
    let at_s = (from_s + to_s) / 2.0;
    let room_a = (STEADY * change(after).abs()).max(2.0 * resolution_a);
    let holds = |at: &usize| (trace.current_a(*at) - trace.current_a(after)).abs() <= room_a;
    let delay_s = settings.delay_s.max(to_s - at_s);
    let wanted_s = at_s + delay_s;
    let mut last = after;
    for at in (after + 1..trace.record.samples.len()).take_while(holds) {
        last = at;
        if trace.elapsed_s(at) >= wanted_s {
            break;
        }
    }
    // the straight line through the two readings around that time, or up to one interval past them
    let previous = last.checked_sub(1).filter(|&at| at >= after)?;
    let (t0, t1) = (trace.elapsed_s(previous), trace.elapsed_s(last));
    if t1 <= t0 || wanted_s > t1 + (t1 - t0) || t1 - t0 > trace.gap_s() {
        return None;
    }
    let slope = (trace.voltage_v(last) - trace.voltage_v(previous)) / (t1 - t0);
    let voltage_v = trace.voltage_v(last) + slope * (wanted_s - t1);
    let step_a = trace.current_a(last) - trace.current_a(before);
    let ohm = (trace.voltage_v(before) - voltage_v) / step_a;
    let budget = doubts(
        settings.instrument.unwrap_or_default(),
        [trace.record.resolution.voltage_v, resolution_a],
        ohm,
        step_a,
        slope * (to_s - from_s) / 2.0,
    );
    let u_ohm = budget.expanded_95();
    Some((Resistance { at_s, soc: None, step_a, delay_s, ohm, u_ohm }, after))
}

/// Each of the four readings has its own last digit (JCGM 100:2008, 5.1.2); offsets fall out, the
/// gains do not; the instant of the step is known to half an interval, in which the voltage moves
/// by `moved_v`.
fn doubts(
    instrument: Instrument,
    [step_v, step_i]: [f64; 2],
    ohm: f64,
    step_a: f64,
    moved_v: f64,
) -> Budget {
    let mut budget = Budget::default();
    let mut add = |name, u_v: f64| budget.add(name, u_v / step_a.abs(), Shape::Rectangular);
    for _ in 0..2 {
        add("last digit of the voltage", resolution(step_v));
        add("last digit of the current", resolution(step_i) * ohm.abs());
    }
    add("instant of the step", rectangular(moved_v.abs()));
    let drop_v = (ohm * step_a).abs();
    add("gain of the voltage", rectangular(instrument.voltage.gain) * drop_v);
    add("gain of the current", rectangular(instrument.current.gain) * drop_v);
    budget
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn last_digits_of_a_step() {
        // 13.10 V at 0.5 A, 12.87 V at 10.5 A, read to 0.01 V and 0.1 A: u = 0.000 418 907 Ω
        // (worked case, JCGM 100:2008, 5.1.2)
        let budget = doubts(Instrument::default(), [0.01, 0.1], 0.023, 10.0, 0.0);
        assert!((budget.standard() - 0.000_418_907_3).abs() < 1e-9, "{}", budget.standard());
    }
}
