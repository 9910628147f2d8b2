//! Unlike packs side by side, as one.

use crate::{Circuit, Climate, Limits, Ocv, Pack, PackError, Parallel, State, Strand};

impl Pack {
    /// Unlike packs joined in parallel, as one pack: what [`Parallel`] does, for a load slow enough
    /// that the packs' own voltages stay together. The first of `packs` is the main one; each has
    /// the resistance (Ω) of its own wires.
    ///
    /// Packs of one chemistry last as long as they do each for itself within 2 %, those of different
    /// ones within 5 %, which the spread holds. The curve is exact at rest: at each voltage the
    /// charges of all packs together. The resistances are those of all side by side, and what one
    /// can bear limits all by its share of the current. What cold, emptiness and rate do is taken
    /// from the largest. What the fits of the packs left open is independent from pack to pack; of
    /// the spreads the widest counts.
    ///
    /// # Errors
    /// [`PackError::Value`] for no packs, [`PackError::Ocv`] where their curves make none together.
    pub fn joined(packs: &[(Pack, f64)]) -> Result<Self, PackError> {
        let Some((main, _)) = packs.first() else {
            return Err(PackError::Value {
                what: "the number of packs",
                value: 0.0,
                right: "1 or more",
            });
        };
        let size = |(_, pack): &(usize, &(Pack, f64))| pack.0.circuit.capacity_ah;
        let by_size = packs.iter().enumerate().max_by(|a, b| size(a).total_cmp(&size(b)));
        let largest = by_size.map_or(0, |(index, _)| index);
        // what one pack's fit left open has nothing to do with another's
        let mut variants = Vec::new();
        for (index, (pack, _)) in packs.iter().enumerate() {
            for variant in &pack.variants {
                let mut moved = packs.to_vec();
                if let Some((pack, _)) = moved.get_mut(index) {
                    pack.circuit = variant.clone();
                }
                variants.push(together(&moved, largest)?);
            }
        }
        let siemens = siemens(packs);
        let of_all_a =
            |of: fn(&Pack) -> Option<f64>| shared(packs, &siemens, move |(pack, _)| of(pack));
        let alike = packs.iter().all(|(pack, _)| pack.chemistry == main.chemistry);
        let names: Vec<&str> = packs.iter().map(|(pack, _)| pack.name.as_str()).collect();
        let most =
            |of: fn(&Pack) -> f64| packs.iter().map(|(pack, _)| of(pack)).fold(0.0, f64::max);
        Ok(Self {
            name: names.join(" with "),
            rated_ah: packs.iter().map(|(pack, _)| pack.rated_ah).sum(),
            circuit: together(packs, largest)?,
            variants,
            idle_a: packs.iter().map(|(pack, _)| pack.idle_a).sum(),
            limits: limits(packs, &siemens),
            spread: crate::Spread {
                capacity: most(|pack| pack.spread.capacity).hypot(if alike { 0.0 } else { UNLIKE }),
                resistance: most(|pack| pack.spread.resistance),
                ocv_v: most(|pack| pack.spread.ocv_v),
                up_to_a: of_all_a(|pack| pack.spread.up_to_a).reduce(f64::min),
                from_a: of_all_a(|pack| pack.spread.from_a).reduce(f64::max),
            },
            ..main.clone()
        })
    }
}

/// Their circuits as one; what cold, emptiness and rate do is that of the one at `largest`.
fn together(packs: &[(Pack, f64)], largest: usize) -> Result<Circuit, PackError> {
    let circuits = || packs.iter().map(|(pack, _)| &pack.circuit);
    let capacity_ah: f64 = circuits().map(|circuit| circuit.capacity_ah).sum();
    let by_charge = |of: &dyn Fn(&Circuit) -> f64| {
        circuits().map(|circuit| of(circuit) * circuit.capacity_ah).sum::<f64>() / capacity_ah
    };
    let siemens = siemens(packs);
    let all: f64 = siemens.iter().sum();
    // the share of each in the current sets the slow part too
    let r1_ohm: f64 =
        circuits().zip(&siemens).map(|(circuit, own)| circuit.r1_ohm * (own / all).powi(2)).sum();
    let tau_s = by_charge(&|circuit| circuit.r1_ohm * circuit.c1_f);
    Ok(Circuit {
        capacity_ah,
        r0_ohm: 1.0 / all,
        r1_ohm,
        c1_f: if r1_ohm > 0.0 { tau_s / r1_ohm } else { 0.0 },
        charge_ohm: circuits()
            .zip(&siemens)
            .map(|(circuit, own)| circuit.charge_ohm * (own / all).powi(2))
            .sum(),
        charge_efficiency: by_charge(&|circuit| circuit.charge_efficiency),
        ocv: Ocv::new(curve(packs, capacity_ah))?,
        offset_v: 0.0,
        ..packs[largest].0.circuit.clone()
    })
}

/// Conductances (S) of packs behind their own wires. Packs without any resistance could not be told
/// apart.
fn siemens(packs: &[(Pack, f64)]) -> Vec<f64> {
    let ohm = |(pack, wire_ohm): &(Pack, f64)| (pack.circuit.r0_ohm + wire_ohm).max(1e-6);
    packs.iter().map(|pack| 1.0 / ohm(pack)).collect()
}

/// The current (A) of all packs at which each has a current of its own, by its share of it.
fn shared(
    packs: &[(Pack, f64)],
    siemens: &[f64],
    of: impl Fn(&(Pack, f64)) -> Option<f64>,
) -> impl Iterator<Item = f64> {
    let all: f64 = siemens.iter().sum();
    packs.iter().zip(siemens).filter_map(move |(pack, own)| Some(of(pack)? * all / own))
}

/// Relative standard uncertainty of taking packs of different chemistries as one: in the tests it is
/// 4 % off.
const UNLIKE: f64 = 0.025;

/// The largest current (A) that flows between packs the moment they are joined, each rested at this
/// charge: what unequal voltages do.
#[must_use]
pub fn inrush_a(packs: &[(Pack, f64)], soc: f64) -> f64 {
    let strand = |(pack, wire_ohm): &(Pack, f64)| Strand {
        circuit: pack.circuit.clone(),
        state: State::rested(soc),
        wire_ohm: *wire_ohm,
    };
    Parallel { strands: packs.iter().map(strand).collect() }.inrush_a(&Climate::MILD)
}

/// At each voltage of any curve, the charge of all packs together.
fn curve(packs: &[(Pack, f64)], capacity_ah: f64) -> Vec<(f64, f64)> {
    let points_of = |circuit: &Circuit| -> Vec<(f64, f64)> {
        circuit.ocv.points().iter().map(|(soc, v)| (*soc, v + circuit.offset_v)).collect()
    };
    let tables: Vec<(f64, Vec<(f64, f64)>)> = packs
        .iter()
        .map(|(pack, _)| (pack.circuit.capacity_ah, points_of(&pack.circuit)))
        .collect();
    let mut volts: Vec<f64> =
        tables.iter().flat_map(|(_, points)| points.iter().map(|p| p.1)).collect();
    volts.sort_by(f64::total_cmp);
    volts.dedup();
    let mut curve: Vec<(f64, f64)> = Vec::with_capacity(2 * volts.len());
    for v in volts {
        // where a curve is flat a voltage stands for a stretch of charge: its both ends
        for upper in [false, true] {
            let held_ah: f64 =
                tables.iter().map(|(ah, points)| ah * soc_at(points, v, upper)).sum();
            let soc = held_ah / capacity_ah;
            if curve.last().is_none_or(|last| soc > last.0 + 1e-9) {
                curve.push((soc, v));
            }
        }
    }
    // rounding must not keep the ends from being the ends
    if let Some(first) = curve.first_mut() {
        first.0 = 0.0;
    }
    if let Some(last) = curve.last_mut() {
        last.0 = 1.0;
    }
    curve
}

/// The least or greatest charge at which a rising curve stands at a voltage.
fn soc_at(points: &[(f64, f64)], v: f64, upper: bool) -> f64 {
    let right = points.partition_point(|point| if upper { point.1 <= v } else { point.1 < v });
    match (right.checked_sub(1).and_then(|left| points.get(left)), points.get(right)) {
        (Some(a), Some(b)) => a.0 + (b.0 - a.0) * (v - a.1) / (b.1 - a.1),
        (None, Some(_)) => 0.0,
        (_, None) => 1.0,
    }
}

fn limits(packs: &[(Pack, f64)], siemens: &[f64]) -> Limits {
    let of = |get: fn(&Limits) -> Option<f64>| packs.iter().map(move |(pack, _)| get(&pack.limits));
    // the first to reach what it bears, by its share of the current
    let first = |get: fn(&Limits) -> Option<f64>| {
        shared(packs, siemens, |(pack, _)| get(&pack.limits)).reduce(f64::min)
    };
    let least = |get: fn(&Limits) -> Option<f64>| of(get).flatten().reduce(f64::min);
    let most = |get: fn(&Limits) -> Option<f64>| of(get).flatten().reduce(f64::max);
    Limits {
        // the pack is cut off when the last of them is
        undervoltage_v: of(|limits| limits.undervoltage_v)
            .collect::<Option<Vec<f64>>>()
            .and_then(|cuts| cuts.into_iter().reduce(f64::min)),
        release_v: most(|limits| limits.release_v),
        overvoltage_v: least(|limits| limits.overvoltage_v),
        discharge_a: first(|limits| limits.discharge_a),
        charge_a: first(|limits| limits.charge_a),
        charge_least_c: most(|limits| limits.charge_least_c),
        refuses_frost: packs.iter().all(|(pack, _)| pack.limits.refuses_frost),
        most_c: least(|limits| limits.most_c),
        advised_soc: most(|limits| limits.advised_soc),
        charge_v: least(|limits| limits.charge_v),
        float_v: least(|limits| limits.float_v),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Chemistry, Load, runtime};

    fn typical(chemistry: Chemistry, rated_ah: f64) -> Pack {
        Pack::typical(chemistry, rated_ah).unwrap()
    }

    #[test]
    fn twins_joined_are_a_bank_of_two() {
        let one = typical(Chemistry::Lfp, 50.0);
        let joined = Pack::joined(&[(one.clone(), 0.0), (one.clone(), 0.0)]).unwrap();
        let bank = one.bank(1, 2).unwrap();
        let hours = |pack: &Pack| {
            runtime(pack, Load::Power(60.0), 0.0, 12.0).unwrap().time_to_cutoff_s / 3600.0
        };
        assert!((hours(&joined) / hours(&bank) - 1.0).abs() < 1e-3);
        let [joined_a, bank_a] = [&joined, &bank].map(|pack| pack.limits.discharge_a.unwrap());
        assert!((joined_a / bank_a - 1.0).abs() < 1e-9);
        assert_eq!(joined.limits.undervoltage_v, bank.limits.undervoltage_v);
    }

    /// Two packs of which one was measured, to 2 % of its capacity and up to 5 A.
    #[test]
    fn what_was_measured_of_one_pack_is_known_of_all_by_its_share() {
        let mut measured = typical(Chemistry::Lfp, 60.0);
        measured.variants = vec![measured.circuit.drawn(1.02, 1.0, 0.0)];
        measured.spread = crate::Spread { up_to_a: Some(5.0), ..crate::Spread::default() };
        let mut other = typical(Chemistry::Lfp, 30.0);
        other.spread = crate::Spread::default();
        let joined = Pack::joined(&[(measured, 0.0), (other, 0.0)]).unwrap();
        assert!((joined.capacity_u() - 0.02 * 2.0 / 3.0).abs() < 1e-9, "{}", joined.capacity_u());
        // equal packs of half the size take half the current
        assert!((joined.spread.up_to_a.unwrap() - 7.5).abs() < 1e-9, "{:?}", joined.spread);
        assert_eq!(joined.spread.from_a, None);
    }

    /// Against the packs stepped each for itself, with the current shared by their own voltages.
    #[test]
    fn unlike_packs_as_one_last_as_long_as_they_do_together() {
        for (first, second, room) in [
            (typical(Chemistry::Lfp, 100.0), typical(Chemistry::Lfp, 30.0), 0.02),
            (typical(Chemistry::Agm, 100.0), typical(Chemistry::Agm, 30.0), 0.02),
            (typical(Chemistry::Lfp, 60.0), typical(Chemistry::Agm, 80.0), 0.05),
        ] {
            let packs = [(first, 0.003), (second, 0.006)];
            let strands = packs.iter().map(|(pack, wire_ohm)| Strand {
                circuit: pack.circuit.clone(),
                state: State::rested(1.0),
                wire_ohm: *wire_ohm,
            });
            let mut each = Parallel { strands: strands.collect() };
            let mut minutes = 0.0;
            while each.advance(8.0, 60.0, &Climate::MILD).0 > 12.0 {
                minutes += 1.0;
            }
            let joined = Pack::joined(&packs).unwrap();
            let one =
                runtime(&joined, Load::Current(8.0), 0.0, 12.0).unwrap().time_to_cutoff_s / 60.0;
            assert!(
                (one / minutes - 1.0).abs() < room,
                "{}: {one} min, each {minutes}",
                joined.name
            );
        }
    }

    #[test]
    fn unequal_voltages_are_felt_when_they_are_joined() {
        let (lfp, agm) = (typical(Chemistry::Lfp, 50.0), typical(Chemistry::Agm, 50.0));
        assert!(inrush_a(&[(lfp.clone(), 0.002), (lfp.clone(), 0.002)], 1.0) < 1e-9);
        assert!(inrush_a(&[(lfp.clone(), 0.002), (agm, 0.002)], 1.0) > 5.0);
        assert!(Pack::joined(&[]).is_err());
    }
}
