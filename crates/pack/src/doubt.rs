//! What is uncertain of a pack, made ready for draws.
//!
//! A drawn pack is the central one moved along each of its variants, by a standard-normal number
//! each, then by its spread. [`crate::likely_runtime_from`] moves one after the other and adds in
//! squares; both take what is uncertain from here.

use crate::{Circuit, Climate, Pack, Spread, State, Warmth};

/// Relative standard uncertainty of the time for each factor e of current beyond what was
/// measured: models fitted to a fifth of the rate were up to 12 % off.
const BEYOND: f64 = 0.07;

/// The same for currents below, where all was measured at one: a fifth of the current was up to
/// 6 % off.
const BELOW: f64 = 0.03;

/// Standard uncertainties of the logarithms of [`Warmth`]'s two numbers, where they were not measured
/// (from memory of data sheets: at −15 °C most packs have twice to eight times the resistance they
/// have at 25 °C).
const COLD: [f64; 2] = [0.25, 0.4];

/// No pack is drawn with less than this share of its capacity.
const LEAST_CAPACITY: f64 = 0.05;

impl Pack {
    /// Standard uncertainties of the logarithms of [`Warmth`]'s two numbers; 0 where the variants
    /// tell how well they were measured.
    pub(crate) fn cold_u(&self) -> [f64; 2] {
        let measured = |variant: &Circuit| variant.warmth != self.circuit.warmth;
        if self.variants.iter().any(measured) { [0.0; 2] } else { COLD }
    }

    /// Relative standard uncertainty of the time a steady current (A) is carried, from lying
    /// outside the currents that were measured.
    pub(crate) fn rate_u(&self, current_a: f64) -> f64 {
        let Spread { up_to_a, from_a, .. } = self.spread;
        let beyond = up_to_a.map_or(0.0, |up_to_a| (current_a / up_to_a).ln().max(0.0));
        let below = from_a.map_or(0.0, |from_a| (from_a / current_a).ln().max(0.0));
        BEYOND * beyond + BELOW * below
    }
}

/// What a pack is asked for: a steady current, down to a voltage at its terminals.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Steady {
    /// In A.
    pub current_a: f64,
    /// In V.
    pub least_v: f64,
}

/// What is uncertain of a pack.
///
/// Packs drawn from it share the central one's curve, time constants and charge efficiency, so
/// that many can be stepped side by side. A curve that differs is shifted by its mean difference.
/// Of the rate at which the wells level out no draw is made: the variants are taken as they are
/// where that rate is the central one, and what its own uncertainty does to the time a steady
/// current is carried becomes one of the capacity.
#[derive(Debug, Clone, PartialEq)]
pub struct Doubt {
    central: Circuit,
    ways: Vec<Way>,
    /// Relative standard uncertainties.
    capacity: f64,
    resistance: f64,
    /// In V.
    ocv_v: f64,
    /// Of the logarithms of [`Warmth`]'s two numbers.
    cold: [f64; 2],
}

/// What one standard uncertainty along a variant changes.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Way {
    capacity_ah: f64,
    r0_ohm: f64,
    rise_ohm: f64,
    r1_ohm: f64,
    charge_ohm: f64,
    lag_h: f64,
    offset_v: f64,
    resistance_k: f64,
    capacity_per_k: f64,
    /// Along the direction in which the logarithm of the wells' rate changes, a unit vector; 0
    /// where none changes it.
    rate: f64,
}

impl Doubt {
    /// Of a pack that is asked for something steady, which counts only where the pack was measured
    /// at other currents; `None` where nothing is asked.
    #[must_use]
    pub fn of(pack: &Pack, steady: impl FnOnce() -> Option<Steady>) -> Self {
        let central = &pack.circuit;
        let mut ways: Vec<Way> =
            pack.variants.iter().map(|variant| Way::between(central, variant)).collect();
        let length = ways.iter().map(|way| way.rate * way.rate).sum::<f64>().sqrt();
        for way in &mut ways {
            way.rate = if length > 0.0 { way.rate / length } else { 0.0 };
        }
        let hangs_on_rate = pack.spread.up_to_a.or(pack.spread.from_a).is_some() || length > 0.0;
        let steady = if hangs_on_rate { steady() } else { None };
        let outside = steady.map_or(0.0, |steady| {
            pack.rate_u(steady.current_a).hypot(wells_u(pack, &ways, steady))
        });
        Self {
            central: central.clone(),
            ways,
            capacity: pack.spread.capacity.hypot(outside),
            resistance: pack.spread.resistance,
            ocv_v: pack.spread.ocv_v,
            cold: pack.cold_u(),
        }
    }

    /// The pack as it is if nothing deviates.
    #[must_use]
    pub fn central(&self) -> &Circuit {
        &self.central
    }

    /// A pack at random, from independent standard-normal numbers: those of the spread first, then
    /// one for each variant.
    #[must_use]
    pub fn draw(&self, mut normal: impl FnMut() -> f64) -> Circuit {
        let capacity = (1.0 + self.capacity * normal()).max(LEAST_CAPACITY);
        // resistances are positive and err by factors
        let resistance = (self.resistance * normal()).exp();
        let offset_v = self.ocv_v * normal();
        let [resistance_k, capacity_per_k] = self.cold.map(|u| (u * normal()).exp());
        let z: Vec<f64> = self.ways.iter().map(|_| normal()).collect();
        let mut drawn = self.along(&z).drawn(capacity, resistance, offset_v);
        drawn.warmth.resistance_k *= resistance_k;
        drawn.warmth.capacity_per_k *= capacity_per_k;
        drawn
    }

    /// The central pack, moved so far along each variant but for the rate of the wells.
    fn along(&self, z: &[f64]) -> Circuit {
        if self.ways.is_empty() {
            return self.central.clone();
        }
        let onto_rate: f64 = self.ways.iter().zip(z).map(|(way, z)| way.rate * z).sum();
        let sum = |of: fn(&Way) -> f64| -> f64 {
            self.ways.iter().zip(z).map(|(way, z)| of(way) * (z - way.rate * onto_rate)).sum()
        };
        let from = &self.central;
        let (r0_ohm, r1_ohm) = no_less_than_none(
            from.r0_ohm + sum(|way| way.r0_ohm),
            from.r1_ohm + sum(|way| way.r1_ohm),
        );
        let rise_ohm = (from.r0_ohm * from.rise.share + sum(|way| way.rise_ohm)).max(0.0);
        let mut drawn = from.clone();
        drawn.capacity_ah =
            (from.capacity_ah + sum(|way| way.capacity_ah)).max(LEAST_CAPACITY * from.capacity_ah);
        drawn.r0_ohm = r0_ohm;
        drawn.rise.share = rise_ohm / r0_ohm;
        drawn.r1_ohm = r1_ohm;
        drawn.c1_f = from.r1_ohm * from.c1_f / r1_ohm;
        drawn.charge_ohm = (from.charge_ohm + sum(|way| way.charge_ohm)).max(0.0);
        drawn.offset_v += sum(|way| way.offset_v);
        drawn.warmth = Warmth {
            resistance_k: (from.warmth.resistance_k + sum(|way| way.resistance_k)).max(0.0),
            capacity_per_k: (from.warmth.capacity_per_k + sum(|way| way.capacity_per_k)).max(0.0),
        };
        drawn.wells =
            from.wells.map(|wells| wells.lagging((wells.lag_h() + sum(|way| way.lag_h)).max(0.0)));
        drawn
    }
}

impl Way {
    fn between(from: &Circuit, to: &Circuit) -> Self {
        let by = |of: fn(&Circuit) -> f64| of(to) - of(from);
        let wells = from.wells.zip(to.wells);
        Self {
            capacity_ah: by(|circuit| circuit.capacity_ah),
            r0_ohm: by(|circuit| circuit.r0_ohm),
            rise_ohm: by(|circuit| circuit.r0_ohm * circuit.rise.share),
            r1_ohm: by(|circuit| circuit.r1_ohm),
            charge_ohm: by(|circuit| circuit.charge_ohm),
            lag_h: wells.map_or(0.0, |(from, to)| to.lag_h() - from.lag_h()),
            // the area under the curve is its mean
            offset_v: by(|circuit| circuit.ocv.area(1.0) + circuit.offset_v),
            resistance_k: by(|circuit| circuit.warmth.resistance_k),
            capacity_per_k: by(|circuit| circuit.warmth.capacity_per_k),
            rate: wells.map_or(0.0, |(from, to)| (to.rate_per_s / from.rate_per_s).ln()),
        }
    }
}

/// R0 and R1 (Ω) that are not negative. Where one would be, the other makes up for it: records tell
/// their sum far better than the two apart.
pub(crate) fn no_less_than_none(r0_ohm: f64, r1_ohm: f64) -> (f64, f64) {
    const LEAST_OHM: f64 = 1e-6;
    let all_ohm = (r0_ohm + r1_ohm).max(2.0 * LEAST_OHM);
    let r1_ohm = r1_ohm.clamp(LEAST_OHM, all_ohm - LEAST_OHM);
    (all_ohm - r1_ohm, r1_ohm)
}

/// What the uncertainty of the wells' rate, with all that goes with it, is worth in the time a
/// steady current is carried, relative.
fn wells_u(pack: &Pack, ways: &[Way], steady: Steady) -> f64 {
    let central_s = lasts_s(&pack.circuit, steady);
    if central_s <= 0.0 {
        return 0.0;
    }
    let off_s = |variant: &Circuit| lasts_s(variant, steady) - central_s;
    let along: f64 =
        ways.iter().zip(&pack.variants).map(|(way, variant)| way.rate * off_s(variant)).sum();
    (along / central_s).abs()
}

/// How long a full circuit carries a steady current (s), at 25 °C.
fn lasts_s(circuit: &Circuit, steady: Steady) -> f64 {
    const ROUNDS: usize = 40;
    let climate = Climate::MILD;
    let carried = |time_s: f64| {
        let mut state = State::rested(1.0);
        circuit.advance(&mut state, steady.current_a, time_s, &climate);
        circuit.available(&state, &climate) > 0.0
            && circuit.terminal_v(&state, steady.current_a, &climate) >= steady.least_v
    };
    let (mut short_s, mut long_s) = (0.0, 3600.0 * circuit.capacity_ah / steady.current_a);
    for _ in 0..ROUNDS {
        let half_s = f64::midpoint(short_s, long_s);
        *(if carried(half_s) { &mut short_s } else { &mut long_s }) = half_s;
    }
    short_s
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Chemistry, Ocv, Wells};

    /// A pack with three ways open: the resistances against each other, the capacity with the lag,
    /// and the rate of the wells with a little of the capacity.
    fn open() -> Pack {
        let mut pack = Pack::typical(Chemistry::Agm, 40.0).unwrap();
        pack.spread = Spread::default();
        let from = pack.circuit.clone();
        let wells = from.wells.unwrap();
        let lag_h = wells.lag_h();
        let higher: Vec<(f64, f64)> =
            from.ocv.points().iter().map(|(soc, v)| (*soc, v + 0.01)).collect();
        let all_ohm = from.r0_ohm + from.r1_ohm;
        pack.variants = vec![
            Circuit {
                r0_ohm: all_ohm - 0.1 * from.r1_ohm,
                r1_ohm: 0.1 * from.r1_ohm,
                ..from.clone()
            },
            Circuit {
                capacity_ah: 1.02 * from.capacity_ah,
                wells: Some(wells.lagging(1.2 * lag_h)),
                ocv: Ocv::new(higher).unwrap(),
                ..from.clone()
            },
            Circuit {
                capacity_ah: 1.01 * from.capacity_ah,
                wells: Some(Wells { rate_per_s: 0.7 * wells.rate_per_s, ..wells }.lagging(lag_h)),
                ..from
            },
        ];
        pack
    }

    const STEADY: Steady = Steady { current_a: 3.0, least_v: 11.5 };

    #[test]
    fn a_draw_moves_along_each_variant() {
        let pack = open();
        let doubt = Doubt::of(&pack, || Some(STEADY));
        let drawn = |z: [f64; 3]| doubt.along(&z);
        let from = &pack.circuit;
        assert_eq!(drawn([0.0; 3]).capacity_ah, from.capacity_ah);
        let one = drawn([0.0, 1.0, 0.0]);
        assert!((one.capacity_ah / from.capacity_ah - 1.02).abs() < 1e-12);
        let lag = |circuit: &Circuit| circuit.wells.unwrap().lag_h();
        assert!((lag(&one) / lag(from) - 1.2).abs() < 1e-9);
        assert!((one.offset_v - 0.01).abs() < 1e-6, "{}", one.offset_v);
        let back = drawn([0.0, -2.0, 0.0]);
        assert!((back.capacity_ah / from.capacity_ah - 0.96).abs() < 1e-12);
        // the rate of the wells is not drawn, and nothing that goes with it
        assert_eq!(drawn([0.0, 0.0, 1.0]).capacity_ah, from.capacity_ah);
        // resistances are told apart badly, their sum well: no draw changes it
        for z in [-3.0, -0.5, 0.7, 3.0] {
            let Circuit { r0_ohm, r1_ohm, c1_f, .. } = drawn([z, 0.0, 0.0]);
            assert!(r0_ohm > 0.0 && r1_ohm > 0.0, "{z}");
            assert!((r0_ohm + r1_ohm - from.r0_ohm - from.r1_ohm).abs() < 1e-9, "{z}");
            assert!((r1_ohm * c1_f / (from.r1_ohm * from.c1_f) - 1.0).abs() < 1e-9, "{z}");
        }
    }

    #[test]
    fn what_is_not_drawn_becomes_uncertainty_of_the_capacity() {
        let mut pack = open();
        // 1 % more capacity, and what the slower wells keep back
        let slower = lasts_s(&pack.variants[2], STEADY) / lasts_s(&pack.circuit, STEADY) - 1.0;
        let doubt = Doubt::of(&pack, || Some(STEADY));
        assert!(slower.abs() > 1e-3 && (doubt.capacity - slower.abs()).abs() < 1e-12, "{doubt:?}");
        assert_eq!(Doubt::of(&pack, || None).capacity, 0.0);
        // e times the largest current that was measured
        pack.variants.truncate(2);
        pack.spread.up_to_a = Some(STEADY.current_a / std::f64::consts::E);
        assert!((Doubt::of(&pack, || Some(STEADY)).capacity - BEYOND).abs() < 1e-12);
        // a pack that was not measured at some current is not asked
        pack.spread.up_to_a = None;
        let doubt = Doubt::of(&pack, || panic!("nothing hangs on it"));
        assert_eq!(doubt.capacity, 0.0);
    }

    #[test]
    fn a_steady_current_lasts_as_long_as_a_runtime_says() {
        for pack in [Pack::typical(Chemistry::Lfp, 40.0).unwrap(), open()] {
            let Steady { current_a, least_v } = STEADY;
            let pack = Pack { idle_a: 0.0, ..pack };
            let load = crate::Load::Current(current_a);
            let run = crate::runtime(&pack, load, 0.0, least_v).unwrap();
            let time_s = lasts_s(&pack.circuit, STEADY);
            assert!((time_s / run.time_to_cutoff_s - 1.0).abs() < 1e-5, "{time_s} {run:?}");
        }
    }
}
