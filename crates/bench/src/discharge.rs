//! What a discharge proves.

use crate::counter::{Correction, correction};
use crate::curve::{Curve, CurvePoint};
use crate::doubt::Doubts;
use crate::piece::{Piece, Sum};
use crate::temperature::capacity_at_20_c_ah;
use crate::trace::{Stretch, Trace, Way};
use crate::{Family, Gear, Load, Settings};

/// A discharge, measured over the time its load was on.
#[derive(Debug, Clone, PartialEq)]
pub struct Discharge {
    /// How long the load was on (s); rests and the time after the pack's protection opened are not
    /// in it.
    pub duration_s: f64,
    /// Charge delivered (Ah).
    pub capacity_ah: f64,
    /// Half-width of its 95 % interval (Ah).
    pub capacity_u_ah: f64,
    /// Energy delivered (Wh).
    pub energy_wh: f64,
    /// Half-width of its 95 % interval (Wh).
    pub energy_u_wh: f64,
    /// Energy over charge (V).
    pub mean_voltage_v: f64,
    /// Energy over duration (W).
    pub mean_power_w: f64,
    /// What was delivered at a voltage the gear accepts, at the pack's terminals.
    pub above_cutoff: AboveCutoff,
    /// The same behind the gear's lead, where one was given.
    pub at_gear: Option<AboveCutoff>,
    /// What a lead-acid pack would have given at 20 °C (Ah), by IEC 60896; nothing for others or
    /// where the record has no temperature.
    pub capacity_at_20_c_ah: Option<f64>,
    /// Capacity over the label's.
    pub share_of_label: Option<f64>,
    /// Energy over the label's.
    pub share_of_label_energy: Option<f64>,
    /// At rest before the load came on, after the longest rest there is (V).
    pub rest_before_v: Option<f64>,
    /// At rest after the load went off, at the end of that rest (V).
    pub rest_after_v: Option<f64>,
    /// The first and the last voltage under load (V).
    pub first_last_v: [f64; 2],
    /// Voltage against what was delivered, thinned.
    pub curve: Vec<CurvePoint>,
    /// What is not known, part by part.
    pub doubts: Doubts,
}

/// What was delivered at or above a cutoff voltage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AboveCutoff {
    /// The cutoff (V).
    pub cutoff_v: f64,
    /// Charge delivered at or above it, over all charge delivered (0..1).
    pub share: f64,
    /// Half-width of the share's 95 % interval, from the voltage's error at the crossing.
    pub share_u: f64,
    /// Charge (Ah).
    pub capacity_ah: f64,
    /// Energy (Wh).
    pub energy_wh: f64,
    /// The share delivered before the voltage first fell below the cutoff; less than `share` where
    /// noise or a switching load crosses it more than once.
    pub share_before_first_crossing: f64,
}

pub(crate) fn discharge(
    trace: &Trace,
    stretches: &[Stretch],
    settings: &Settings,
    notices: &mut Vec<String>,
) -> Discharge {
    let pieces = || stretches.iter().flat_map(|stretch| trace.pieces(stretch));
    let sum: Sum = pieces().collect();
    let mut doubts = trace.doubts(settings.instrument, stretches, &sum);
    let correction = correction(trace, stretches, settings.instrument, &sum, &mut doubts, notices);
    let sum = correction.apply(sum);
    let readings = stretches.iter().map(|stretch| stretch.samples.len()).sum();
    let mut curve = Curve::of_about(readings, correction);
    pieces().for_each(|piece| curve.push(&piece));
    let error_v = voltage_error_v(trace, settings);
    let above_cutoff = above(pieces, correction, settings.cutoff_v, error_v);
    if above_cutoff.share - above_cutoff.share_before_first_crossing > 0.005 {
        notices.push(format!(
            "the voltage crosses {} V more than once; the share counts all charge delivered at or above it ({:.1} %), not only what came before the first crossing ({:.1} %)",
            settings.cutoff_v,
            100.0 * above_cutoff.share,
            100.0 * above_cutoff.share_before_first_crossing,
        ));
    }
    let at_gear = settings.at_gear.map(|gear| {
        above(
            || pieces().map(|piece| behind_lead(gear, piece)),
            correction,
            settings.cutoff_v,
            error_v,
        )
    });
    if let Some(gear) = settings.at_gear {
        notices.extend(other_load(gear, sum.mean_current_a(), sum.mean_power_w()));
    }
    let celsius = trace.mean_temperature_c(stretches.iter());
    if let (Some(family), Some(celsius)) = (settings.family, celsius) {
        notices.extend(family.notice(celsius));
    }
    let celsius = celsius.filter(|_| settings.family == Some(Family::LeadAcid));
    let ends = |at: Option<usize>| at.map_or(f64::NAN, |at| trace.voltage_v(at));
    Discharge {
        duration_s: sum.duration_s,
        capacity_ah: sum.charge_ah,
        capacity_u_ah: doubts.capacity_ah.expanded_95(),
        energy_wh: sum.energy_wh,
        energy_u_wh: doubts.energy_wh.expanded_95(),
        mean_voltage_v: sum.energy_wh / sum.charge_ah,
        mean_power_w: sum.mean_power_w(),
        above_cutoff,
        at_gear,
        capacity_at_20_c_ah: celsius
            .map(|celsius| capacity_at_20_c_ah(sum.charge_ah, celsius, sum.duration_s)),
        share_of_label: settings.rated_ah.map(|rated| sum.charge_ah / rated),
        share_of_label_energy: settings.rated_wh.map(|rated| sum.energy_wh / rated),
        rest_before_v: trace.rest_v(stretches.first(), |first| first.samples.start.checked_sub(1)),
        rest_after_v: trace.rest_v(stretches.last(), |last| Some(last.samples.end)),
        first_last_v: [
            ends(stretches.first().map(|s| s.samples.start)),
            ends(stretches.last().map(|s| s.samples.end - 1)),
        ],
        curve: curve.finish(),
        doubts,
    }
}

impl Trace<'_> {
    /// The last voltage of the rest that holds the sample `at` names beside a stretch.
    fn rest_v(
        &self,
        stretch: Option<&Stretch>,
        at: impl Fn(&Stretch) -> Option<usize>,
    ) -> Option<f64> {
        let at = at(stretch?)?;
        let rest = self.stretches.partition_point(|rest| rest.samples.end <= at);
        let rest = self.stretches.get(rest)?;
        (rest.way == Way::Rest).then(|| self.voltage_v(rest.samples.end - 1))
    }
}

/// What the voltage at the crossing can be off by: half-width of its 95 % interval (V).
fn voltage_error_v(trace: &Trace, settings: &Settings) -> f64 {
    let step_v = trace.record.resolution.voltage_v;
    match settings.instrument {
        Some(instrument) => 2.0 * instrument.voltage.of_reading(settings.cutoff_v, step_v),
        None => step_v / 2.0,
    }
}

fn above<I: Iterator<Item = Piece>>(
    pieces: impl Fn() -> I,
    correction: Correction,
    cutoff_v: f64,
    error_v: f64,
) -> AboveCutoff {
    let mut sums = [Sum::default(); 3];
    let mut whole_ah = 0.0;
    let mut before_ah = Some(0.0);
    let mut before_crossing_ah = 0.0;
    for piece in pieces() {
        whole_ah += piece.charge_ah();
        let cutoffs_v = [cutoff_v, cutoff_v - error_v, cutoff_v + error_v];
        for (sum, cutoff_v) in sums.iter_mut().zip(cutoffs_v) {
            if let Some(part) = piece.above(cutoff_v) {
                sum.add(&part);
            }
        }
        if let Some(ah) = before_ah {
            let part = piece.above(cutoff_v).filter(|part| part.from_s == piece.from_s);
            before_crossing_ah = ah + part.map_or(0.0, |part| part.charge_ah());
            before_ah = (part == Some(piece)).then_some(before_crossing_ah);
        }
    }
    let [above, with_lower, with_higher] = sums;
    let corrected = correction.apply(above);
    AboveCutoff {
        cutoff_v,
        share: above.charge_ah / whole_ah,
        share_u: (with_lower.charge_ah - with_higher.charge_ah) / 2.0 / whole_ah,
        capacity_ah: corrected.charge_ah,
        energy_wh: corrected.energy_wh,
        share_before_first_crossing: before_crossing_ah / whole_ah,
    }
}

/// A pack gives another voltage under another load: says so where the gear's differs by more than
/// a quarter from the recorded one.
fn other_load(gear: Gear, mean_current_a: f64, mean_power_w: f64) -> Option<String> {
    let ratio = match gear.load {
        Load::Recorded => 1.0,
        Load::Current(current_a) => current_a / mean_current_a,
        Load::Power(power_w) => power_w / mean_power_w,
    };
    (!(0.8..=1.25).contains(&ratio)).then(|| {
        format!(
            "the gear takes {:.0} % of the load in the test: the voltages are those of the test less the lead's, and the pack itself would stand {} under the gear",
            100.0 * ratio,
            if ratio > 1.0 { "lower" } else { "higher" },
        )
    })
}

/// The same piece seen from the far end of a lead: the terminals' voltage as recorded, less what
/// the lead takes at the gear's current.
fn behind_lead(gear: Gear, piece: Piece) -> Piece {
    let at_gear = |voltage_v: f64, current_a: f64| {
        let current_a = match gear.load {
            Load::Recorded => current_a,
            Load::Current(current_a) => current_a,
            Load::Power(power_w) => constant_power_a(voltage_v, gear.lead_ohm, power_w),
        };
        voltage_v - current_a * gear.lead_ohm
    };
    let ([v0, v1], [i0, i1]) = (piece.voltage_v, piece.current_a);
    Piece { voltage_v: [at_gear(v0, i0), at_gear(v1, i1)], ..piece }
}

/// The current of a constant power behind a lead: the smaller root of `R I² - V I + P = 0`; where
/// there is none the voltage collapses, and the lead takes all of it.
fn constant_power_a(voltage_v: f64, lead_ohm: f64, power_w: f64) -> f64 {
    if lead_ohm <= 0.0 {
        return power_w / voltage_v;
    }
    let inside = voltage_v * voltage_v - 4.0 * lead_ohm * power_w;
    if inside < 0.0 {
        return voltage_v / lead_ohm;
    }
    2.0 * power_w / (voltage_v + inside.sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn constant_power_behind_a_lead() {
        // 12 V, 0.1 Ω, 20 W: I (12 - 0.1 I) = 20
        let current_a = constant_power_a(12.0, 0.1, 20.0);
        assert!((current_a * (12.0 - 0.1 * current_a) - 20.0).abs() < 1e-9);
        assert!(current_a < 60.0);
        assert_eq!(constant_power_a(12.0, 0.0, 24.0), 2.0);
        // more than V²/4R can't be had: nothing is left at the gear
        assert_eq!(constant_power_a(12.0, 0.1, 400.0), 120.0);
    }
}
