//! What a recharge proves.

use quantity::uncertainty::{Verdict, verdict};

use crate::counter::correction;
use crate::curve::{Curve, CurvePoint};
use crate::doubt::Doubts;
use crate::phase::{Phase, PhaseKind};
use crate::piece::Sum;
use crate::trace::{Stretch, Trace, median, quantile, stride};
use crate::{Efficiency, Settings, Solar};

/// A recharge, measured over the time current went in.
#[derive(Debug, Clone, PartialEq)]
pub struct Recharge {
    /// How long current went in (s), pauses not counted.
    pub duration_s: f64,
    /// Charge put in (Ah).
    pub charge_ah: f64,
    /// Half-width of its 95 % interval (Ah).
    pub charge_u_ah: f64,
    /// Energy put in (Wh).
    pub energy_wh: f64,
    /// Half-width of its 95 % interval (Wh).
    pub energy_u_wh: f64,
    /// Energy over duration (W).
    pub mean_power_w: f64,
    /// Time at the source's limit (s): constant current, bulk.
    pub cc_s: f64,
    /// Time at the voltage limit (s): constant voltage, absorption. Nought where the charge ended
    /// before the current fell.
    pub cv_s: f64,
    /// Mean current while the source set it (A); nought where it never did.
    pub cc_current_a: f64,
    /// The voltage limit, where there is a time at it (V).
    pub cv_voltage_v: Option<f64>,
    /// How long it took to put in 80, 90 and all 100 hundredths of the charge (s).
    pub time_to: Vec<TimeTo>,
    /// What came out over what went in, with the discharge this makes a cycle with.
    pub efficiency: Option<Efficiency>,
    /// What is special to a day on a panel.
    pub solar: Option<Solar>,
    /// Voltage against what was put in, thinned.
    pub curve: Vec<CurvePoint>,
    /// What is not known, part by part.
    pub doubts: Doubts,
}

/// When a share of a recharge's charge was in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimeTo {
    /// Of the charge this recharge put in (0..1).
    pub share: f64,
    /// Charging time until then (s).
    pub duration_s: f64,
}

/// A recharge and what happens in each of its stretches.
pub(crate) fn recharge(
    trace: &Trace,
    stretches: &[Stretch],
    settings: &Settings,
    notices: &mut Vec<String>,
) -> (Recharge, Vec<Vec<Phase>>) {
    let pieces = || stretches.iter().flat_map(|stretch| trace.pieces(stretch));
    let sum: Sum = pieces().collect();
    let mut doubts = trace.doubts(settings.instrument, stretches, &sum);
    let correction = correction(trace, stretches, settings.instrument, &sum, &mut doubts, notices);
    let readings = stretches.iter().map(|stretch| stretch.samples.len()).sum();
    let mut curve = Curve::of_about(readings, correction);
    pieces().for_each(|piece| curve.push(&piece));
    let limits = Limits::find(trace, stretches);
    let mut cc = Sum::default();
    let mut cv = Sum::default();
    for piece in pieces() {
        let part = match limits.kind_at((piece.from_s + piece.to_s) / 2.0) {
            PhaseKind::ConstantCurrent => &mut cc,
            PhaseKind::ConstantVoltage => &mut cv,
            _ => continue,
        };
        part.add(&piece);
    }
    let mut time_to = Vec::new();
    let mut reached = Sum::default();
    for piece in pieces() {
        let before = reached;
        reached.add(&piece);
        for share in [0.8, 0.9] {
            let wanted_ah = share * -sum.charge_ah;
            let [from_ah, to_ah] = [-before.charge_ah, -reached.charge_ah];
            if from_ah < wanted_ah && wanted_ah <= to_ah {
                let within = (wanted_ah - from_ah) / (to_ah - from_ah);
                let duration_s = before.duration_s + within * piece.duration_s();
                time_to.push(TimeTo { share, duration_s });
            }
        }
    }
    time_to.push(TimeTo { share: 1.0, duration_s: sum.duration_s });
    let sum = correction.apply(sum);
    let phases = stretches.iter().map(|stretch| phases(trace, &limits, stretch)).collect();
    let recharge = Recharge {
        duration_s: sum.duration_s,
        charge_ah: -sum.charge_ah,
        charge_u_ah: doubts.capacity_ah.expanded_95(),
        energy_wh: -sum.energy_wh,
        energy_u_wh: doubts.energy_wh.expanded_95(),
        mean_power_w: -sum.mean_power_w(),
        cc_s: cc.duration_s,
        cv_s: cv.duration_s,
        cc_current_a: if cc.duration_s > 0.0 { -cc.mean_current_a() } else { 0.0 },
        cv_voltage_v: limits.cv_voltage_v,
        time_to,
        efficiency: None,
        solar: None,
        curve: curve.finish(),
        doubts,
    };
    (recharge, phases)
}

/// When the voltage limit took over, and when it was lowered to float.
struct Limits {
    cv_from_s: f64,
    float_from_s: f64,
    cv_voltage_v: Option<f64>,
}

impl Recharge {
    /// Whether the charger gave the current it promises (A), decided with a guard band on the mean
    /// current while the charger set it.
    #[must_use]
    pub fn charger_gives(&self, promised_a: f64) -> Verdict {
        let relative_u = self.doubts.capacity_ah.whole().standard() / self.charge_ah;
        verdict(promised_a, self.cc_current_a, relative_u * self.cc_current_a, f64::INFINITY)
    }
}

impl Limits {
    /// The current has left its plateau for good where it stays below this share of it.
    const TAPERED: f64 = 0.9;

    /// The tail in which the current is below its plateau, at a voltage that holds, is the voltage
    /// limit's; it began where the voltage first reached that level.
    fn find(trace: &Trace, stretches: &[Stretch]) -> Limits {
        let none =
            Limits { cv_from_s: f64::INFINITY, float_from_s: f64::INFINITY, cv_voltage_v: None };
        let readings = stretches.iter().map(|stretch| stretch.samples.len()).sum();
        let all = stretches.iter().flat_map(|stretch| stretch.samples.clone());
        let at: Vec<usize> = all.step_by(stride(readings)).collect();
        let amperes = |at: usize| trace.current_a(at).abs();
        let plateau_a = quantile(at.iter().map(|&at| amperes(at)).collect(), 0.9);
        let Some(last_full) = at.iter().rposition(|&at| amperes(at) >= Limits::TAPERED * plateau_a)
        else {
            return none;
        };
        let tail = &at[last_full + 1..];
        let top_v = quantile(tail.iter().map(|&at| trace.voltage_v(at)).collect(), 0.9);
        let held: Vec<usize> =
            tail.iter().copied().filter(|&at| trace.voltage_v(at) >= 0.99 * top_v).collect();
        if held.len() < 2 {
            return none;
        }
        let cv_v = median(held.iter().map(|&at| trace.voltage_v(at)).collect());
        let off_v = median(held.iter().map(|&at| (trace.voltage_v(at) - cv_v).abs()).collect());
        let room_v = (1.5 * trace.record.resolution.voltage_v).max(4.0 * off_v);
        let reached = at.iter().copied().find(|&at| trace.voltage_v(at) >= cv_v - room_v);
        // a charge that the protection ended rises to its end and never holds
        let last_v = held.last().map_or(0.0, |&at| trace.voltage_v(at));
        let first_v = held.first().map_or(0.0, |&at| trace.voltage_v(at));
        let Some(reached) = reached.filter(|_| (last_v - first_v).abs() <= 0.01 * cv_v) else {
            return none;
        };
        let after = held.last().copied().filter(|&last| at.last() != Some(&last));
        Limits {
            cv_from_s: trace.elapsed_s(reached),
            float_from_s: after.map_or(f64::INFINITY, |last| trace.elapsed_s(last)),
            cv_voltage_v: Some(cv_v),
        }
    }

    fn kind_at(&self, elapsed_s: f64) -> PhaseKind {
        if elapsed_s < self.cv_from_s {
            PhaseKind::ConstantCurrent
        } else if elapsed_s < self.float_from_s {
            PhaseKind::ConstantVoltage
        } else {
            PhaseKind::Float
        }
    }
}

/// A charging stretch as phases: bulk, absorption, float.
fn phases(trace: &Trace, limits: &Limits, stretch: &Stretch) -> Vec<Phase> {
    let mut phases: Vec<Phase> = Vec::new();
    for piece in trace.pieces(stretch) {
        let kind = limits.kind_at((piece.from_s + piece.to_s) / 2.0);
        let (ah, wh) = (piece.charge_ah(), piece.energy_wh());
        match phases.last_mut() {
            Some(last) if last.kind == kind => {
                *last = Phase { to_s: piece.to_s, ah: last.ah + ah, wh: last.wh + wh, ..*last };
            }
            _ => phases.push(Phase { kind, from_s: piece.from_s, to_s: piece.to_s, ah, wh }),
        }
    }
    phases
}
