//! The meter's own counters as witnesses.
//!
//! A display that shows 1.1 A for 1.05 A counts right all the same; ten rows typed from it say
//! little between them, but the counter beside them ran all the time.

use std::f64::consts::SQRT_2;

use quantity::uncertainty::{Budget, Shape, rectangular, resolution};

use crate::Instrument;
use crate::doubt::{COUNTER_DIGITS, DIGIT, Doubt, Doubts, OFFSET, SAMPLING};
use crate::piece::{Piece, Sum};
use crate::trace::{Stretch, Trace};

/// By how much the integrals are to be corrected.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Correction {
    pub(crate) charge: f64,
    pub(crate) energy: f64,
}

impl Correction {
    pub(crate) const NONE: Correction = Correction { charge: 1.0, energy: 1.0 };

    pub(crate) fn apply(self, sum: Sum) -> Sum {
        Sum {
            charge_ah: sum.charge_ah * self.charge,
            energy_wh: sum.energy_wh * self.energy,
            ..sum
        }
    }
}

/// A counter that differs from the integral by more than this did not count the same thing.
const MOST_DIFFERENCE: f64 = 0.2;
/// A difference below this goes without saying.
const WORTH_TELLING: f64 = 0.005;
/// It must have counted at least this share of the run.
const LEAST_SEEN: f64 = 0.8;

/// Takes the counters' word for charge and energy where they know better than the integral of the
/// readings, and puts their doubts in place of the others.
pub(crate) fn correction(
    trace: &Trace,
    stretches: &[Stretch],
    instrument: Option<Instrument>,
    sum: &Sum,
    doubts: &mut Doubts,
    notices: &mut Vec<String>,
) -> Correction {
    let mut correction = Correction::NONE;
    if trace.zero_a != 0.0 {
        // the counter counted the wrong zero along
        return correction;
    }
    let accuracy = instrument.unwrap_or_default().current;
    let hours = sum.duration_s / 3600.0;
    let volts = (sum.energy_wh / sum.charge_ah).abs();
    let samples = &trace.record.samples;
    let steps = trace.record.resolution;
    if let Some(step_ah) = steps.counted_ah
        && let Some(ratio) =
            ratio(trace, stretches, samples.counted_ah.as_deref(), Piece::charge_ah)
    {
        if (ratio - 1.0).abs() > MOST_DIFFERENCE {
            notices.push(format!(
                "the charge counter says {:.1} % of what the current adds up to; the current was believed",
                100.0 * ratio
            ));
            return correction;
        }
        if knows_better(step_ah, &doubts.capacity_ah) {
            correction = Correction { charge: ratio, energy: ratio };
            if (ratio - 1.0).abs() > WORTH_TELLING {
                notices.push(format!(
                    "the charge counter is the better witness: {:.2} Ah counted, {:.2} Ah by the readings of the current",
                    (ratio * sum.charge_ah).abs(),
                    sum.charge_ah.abs(),
                ));
            }
            let offset_ah = accuracy.offset * hours;
            replace(&mut doubts.capacity_ah, step_ah, accuracy.digits, offset_ah);
            let sampling = part(&doubts.energy_wh.run, SAMPLING);
            replace(&mut doubts.energy_wh, step_ah * volts, accuracy.digits, offset_ah * volts);
            // the voltage between the readings is still a straight line
            doubts.energy_wh.run.add(SAMPLING, sampling, Shape::Rectangular);
        }
    }
    if let Some(step_wh) = steps.counted_wh
        && let Some(ratio) =
            ratio(trace, stretches, samples.counted_wh.as_deref(), Piece::energy_wh)
        && (ratio - 1.0).abs() <= MOST_DIFFERENCE
        && knows_better(step_wh, &doubts.energy_wh)
    {
        correction.energy = ratio;
        replace(&mut doubts.energy_wh, step_wh, accuracy.digits, accuracy.offset * hours * volts);
    }
    correction
}

/// Whether two readings of a counter are surer than the readings between them.
fn knows_better(step: f64, integral: &Doubt) -> bool {
    let of_readings = part(&integral.meter, DIGIT).hypot(integral.run.standard());
    SQRT_2 * resolution(step) < of_readings
}

fn part(budget: &Budget, name: &str) -> f64 {
    budget.parts.iter().filter(|part| part.name == name).fold(0.0, |u, part| u.hypot(part.u))
}

/// The doubts of a counter in place of those of the readings: its last digit at both ends, the
/// digits its maker allows, and what an offset adds up to. The gain stays: the counter counts what
/// the meter reads.
fn replace(doubt: &mut Doubt, step: f64, digits: f64, offset: f64) {
    doubt.meter.parts.retain(|part| part.name != DIGIT && part.name != OFFSET);
    doubt.meter.add(OFFSET, rectangular(offset), Shape::Rectangular);
    doubt.meter.add(COUNTER_DIGITS, rectangular(digits * step), Shape::Rectangular);
    doubt.run.parts.clear();
    for _ in 0..2 {
        doubt.run.add("last digit of the counter", resolution(step), Shape::Rectangular);
    }
}

/// What was counted over what the readings add up to between the first and the last count. Nothing
/// if that is too little of the run.
fn ratio(
    trace: &Trace,
    stretches: &[Stretch],
    counted: Option<&[f32]>,
    integral: impl Fn(&Piece) -> f64,
) -> Option<f64> {
    let counted = counted?;
    let (first, last) = (stretches.first()?.samples.start, stretches.last()?.samples.end);
    let known = |at: &usize| counted.get(*at).is_some_and(|count| count.is_finite());
    let beside = trace.has_neighbours(first, last);
    let from = (first.saturating_sub(usize::from(beside[0]))..last).find(known)?;
    let to = (from..last + usize::from(beside[1])).rev().find(known)?;
    let (from_s, to_s) = (trace.elapsed_s(from), trace.elapsed_s(to));
    let (mut seen, mut whole) = (0.0, 0.0);
    for piece in stretches.iter().flat_map(|stretch| trace.pieces(stretch)) {
        let value = integral(&piece);
        whole += value;
        if piece.from_s >= from_s && piece.to_s <= to_s {
            seen += value;
        }
    }
    let difference = f64::from(counted[to]) - f64::from(counted[from]);
    (difference != 0.0 && seen.abs() >= LEAST_SEEN * whole.abs()).then(|| difference / seen)
}
