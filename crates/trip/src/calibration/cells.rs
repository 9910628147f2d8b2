//! Packs as they may really be: whole circuits, each with a curve of its own.

use pack::{Circuit, Ocv, Pack, Wells};

use super::dice::Dice;

/// docs/pack.md: "a drawn pack is the central one moved along every variant by a random number
/// each, then by the spread, what cold does, and what lies outside the measured currents (as
/// uncertainty of the capacity [...])". Here with a curve of its own.
pub(super) fn drawn(pack: &Pack, outside: f64, dice: &mut Dice) -> Circuit {
    let z: Vec<f64> = pack.variants.iter().map(|_| dice.normal()).collect();
    let capacity = 1.0 + pack.spread.capacity.hypot(outside) * dice.normal();
    let resistance = 1.0 + pack.spread.resistance * dice.normal();
    let offset_v = pack.spread.ocv_v * dice.normal();
    let mut drawn = along(pack, &z).drawn(capacity.max(0.05), resistance.max(0.1), offset_v);
    // docs/pack.md: "where nothing was measured at two temperatures, what cold does is taken as
    // known within a factor e^0.25 for K and e^0.4 for the capacity lost per kelvin"
    if pack.variants.iter().all(|variant| variant.warmth == pack.circuit.warmth) {
        drawn.warmth.resistance_k *= (0.25 * dice.normal()).exp();
        drawn.warmth.capacity_per_k *= (0.4 * dice.normal()).exp();
    }
    drawn
}

/// docs/pack.md: "beyond the largest current measured, 7 % for each factor e of current [...] (3 %
/// for smaller currents where all was measured at one)".
pub(super) fn outside(pack: &Pack, current_a: f64) -> f64 {
    let beyond = pack.spread.up_to_a.map_or(0.0, |most_a| (current_a / most_a).ln().max(0.0));
    let below = pack.spread.from_a.map_or(0.0, |from_a| (from_a / current_a).ln().max(0.0));
    0.07 * beyond + 0.03 * below
}

/// A pack moved along its variants with all that goes with them: docs/pack.md, "circuits one
/// standard uncertainty away in each direction, with all that goes with it".
fn along(pack: &Pack, z: &[f64]) -> Circuit {
    let from = &pack.circuit;
    if z.is_empty() {
        return from.clone();
    }
    let moved = |of: &dyn Fn(&Circuit) -> f64| -> f64 {
        let here = of(from);
        here + pack.variants.iter().zip(z).map(|(to, z)| z * (of(to) - here)).sum::<f64>()
    };
    let mut socs: Vec<f64> = from.ocv.points().iter().map(|point| point.0).collect();
    socs.extend((0..=200).map(|part| f64::from(part) / 200.0));
    socs.sort_by(f64::total_cmp);
    socs.dedup_by(|a, b| (*a - *b).abs() < 1e-6);
    let mut points: Vec<(f64, f64)> = Vec::new();
    for soc in socs {
        let least_v = points.last().map_or(f64::NEG_INFINITY, |last| last.1 + 1e-6);
        points.push((soc, moved(&|circuit| circuit.ocv.at(soc)).max(least_v)));
    }
    // docs/pack.md: "where R0 or R1 alone would fall below nothing the other makes up for it"
    let all_ohm = moved(&|circuit| circuit.r0_ohm + circuit.r1_ohm).max(1e-5);
    let r1_ohm = moved(&|circuit| circuit.r1_ohm).clamp(1e-6, all_ohm - 1e-6);
    let r0_ohm = all_ohm - r1_ohm;
    let tau_s = moved(&|circuit| circuit.r1_ohm * circuit.c1_f).max(1.0);
    let rise_ohm = moved(&|circuit| circuit.r0_ohm * circuit.rise.share).max(0.0);
    let mut drawn = from.clone();
    drawn.capacity_ah = moved(&|circuit| circuit.capacity_ah).max(0.05 * from.capacity_ah);
    (drawn.r0_ohm, drawn.r1_ohm, drawn.c1_f) = (r0_ohm, r1_ohm, tau_s / r1_ohm);
    drawn.rise.share = rise_ohm / r0_ohm;
    drawn.charge_ohm = moved(&|circuit| circuit.charge_ohm).max(0.0);
    drawn.charge_efficiency = moved(&|circuit| circuit.charge_efficiency).min(1.0);
    drawn.offset_v = moved(&|circuit| circuit.offset_v);
    drawn.ocv = Ocv::new(points).unwrap();
    drawn.warmth.resistance_k = moved(&|circuit| circuit.warmth.resistance_k).max(0.0);
    drawn.warmth.capacity_per_k = moved(&|circuit| circuit.warmth.capacity_per_k).max(0.0);
    drawn.wells = from.wells.map(|wells| {
        let lag_h = moved(&|circuit| circuit.wells.map_or(0.0, |wells| wells.lag_h()));
        let rate = moved(&|circuit| circuit.wells.map_or(0.0, |wells| wells.rate_per_s.ln())).exp();
        Wells { rate_per_s: rate, ..wells }.lagging(lag_h.max(0.0))
    });
    drawn
}
