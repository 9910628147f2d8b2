//! The meter's own counters as witnesses.
//!
//! A display that shows 1.1 A for 1.05 A counts right all the same; ten rows typed from it say
//! little between them, but the counter beside them ran all the time.

use quantity::uncertainty::{Shape, resolution};

use crate::doubt::{DIGIT, Doubts};
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
/// It must have counted at least this share of the run.
const LEAST_SEEN: f64 = 0.8;

/// Takes the counters' word for charge and energy where they know better than the integral of the
/// readings, and puts their doubts in place of the others.
pub(crate) fn correction(
    trace: &Trace,
    stretches: &[Stretch],
    sum: &Sum,
    doubts: &mut Doubts,
    notices: &mut Vec<String>,
) -> Correction {
    let samples = &trace.record.samples;
    let mut correction = Correction::NONE;
    let counted = samples.counted_ah.as_deref();
    if let Some((ratio, share)) = ratio(trace, stretches, counted, Piece::charge_ah)
        && share >= LEAST_SEEN
        && let Some(step_ah) = trace.record.resolution.counted_ah
    {
        let u_counter = std::f64::consts::SQRT_2 * resolution(step_ah);
        let digit = doubts.capacity_ah.meter.parts.iter().filter(|part| part.name == DIGIT);
        let u_integral = digit.fold(doubts.capacity_ah.run.standard(), |u, part| u.hypot(part.u));
        if (ratio - 1.0).abs() > MOST_DIFFERENCE {
            notices.push(format!(
                "the charge counter says {:.1} % of what the current adds up to; the current was believed",
                100.0 * ratio
            ));
            return correction;
        }
        if u_counter < u_integral {
            correction = Correction { charge: ratio, energy: ratio };
            notices.push(format!(
                "the charge counter is the better witness: {:.2} Ah counted, {:.2} Ah by the readings of the current",
                (ratio * sum.charge_ah).abs(),
                sum.charge_ah.abs(),
            ));
            replace(&mut doubts.capacity_ah, step_ah, false);
            let volts = (sum.energy_wh / sum.charge_ah).abs();
            replace(&mut doubts.energy_wh, step_ah * volts, true);
        }
    }
    let counted = samples.counted_wh.as_deref();
    if let Some((ratio, share)) = ratio(trace, stretches, counted, Piece::energy_wh)
        && share >= LEAST_SEEN
        && (ratio - 1.0).abs() <= MOST_DIFFERENCE
        && let Some(step_wh) = trace.record.resolution.counted_wh
    {
        let digit = doubts.energy_wh.meter.parts.iter().filter(|part| part.name == DIGIT);
        let u_integral = digit.fold(doubts.energy_wh.run.standard(), |u, part| u.hypot(part.u));
        if std::f64::consts::SQRT_2 * resolution(step_wh) < u_integral {
            correction.energy = ratio;
            replace(&mut doubts.energy_wh, step_wh, false);
        }
    }
    correction
}

/// The doubts of a counter: its last digit at both ends; gain and offset of the meter stay, as the
/// counter counts what the meter reads.
fn replace(doubt: &mut crate::Doubt, step: f64, keep_sampling: bool) {
    doubt.meter.parts.retain(|part| part.name != DIGIT);
    doubt.run.parts.retain(|part| keep_sampling && part.name == "sampling");
    for _ in 0..2 {
        doubt.run.add("last digit of the counter", resolution(step), Shape::Rectangular);
    }
}

/// What was counted over what the readings add up to between the first and the last count, and
/// that span's share of the whole.
fn ratio(
    trace: &Trace,
    stretches: &[Stretch],
    counted: Option<&[f32]>,
    integral: impl Fn(&Piece) -> f64,
) -> Option<(f64, f64)> {
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
    (seen != 0.0 && difference != 0.0).then(|| (difference / seen, seen / whole))
}
