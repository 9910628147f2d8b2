//! Packs wired together, and packs that have aged.

use crate::charge::End;
use crate::error::above;
use crate::{Circuit, Climate, Limits, Pack, PackError, Spread, State};

impl Pack {
    /// Equal packs as one: so many in series, so many of those strings in parallel. What is
    /// uncertain of one is uncertain of all alike: how much packs of a make differ is not known,
    /// and what a fit left open is the same for all that are taken to be like the one it measured.
    ///
    /// # Errors
    /// [`PackError::Value`] for none.
    pub fn bank(&self, series: u32, parallel: u32) -> Result<Self, PackError> {
        let s = above("the packs in series", f64::from(series), 0.0, "1 or more")?;
        let p = above("the packs in parallel", f64::from(parallel), 0.0, "1 or more")?;
        let limits = &self.limits;
        let volts = |v: Option<f64>| v.map(|v| v * s);
        let amperes = |a: Option<f64>| a.map(|a| a * p);
        let wired = |circuit: &Circuit| circuit.wired(s, p);
        Ok(Self {
            name: match (series, parallel) {
                (1, 1) => self.name.clone(),
                (s, 1) => format!("{s} × {} in series", self.name),
                (1, p) => format!("{p} × {} in parallel", self.name),
                (s, p) => format!("{p} strings of {s} × {}", self.name),
            },
            rated_ah: self.rated_ah * p,
            circuit: wired(&self.circuit)?,
            variants: self.variants.iter().map(wired).collect::<Result<_, _>>()?,
            idle_a: self.idle_a * p,
            spread: Spread {
                ocv_v: self.spread.ocv_v * s,
                up_to_a: amperes(self.spread.up_to_a),
                from_a: amperes(self.spread.from_a),
                ..self.spread
            },
            limits: Limits {
                undervoltage_v: volts(limits.undervoltage_v),
                release_v: volts(limits.release_v),
                overvoltage_v: volts(limits.overvoltage_v),
                discharge_a: amperes(limits.discharge_a),
                charge_a: amperes(limits.charge_a),
                charge_v: volts(limits.charge_v),
                float_v: volts(limits.float_v),
                ..*limits
            },
            ..self.clone()
        })
    }

    /// The pack after some years: with this share of its capacity left, and its resistances times
    /// this factor.
    ///
    /// # Errors
    /// [`PackError::Value`] for a factor that is none.
    pub fn aged(&self, capacity: f64, resistance: f64) -> Result<Self, PackError> {
        above("the capacity left", capacity, 0.0, "a share above 0")?;
        above("the factor on the resistance", resistance, 0.0, "a number above 0")?;
        let aged = |circuit: &Circuit| circuit.drawn(capacity, resistance, 0.0);
        Ok(Self {
            circuit: aged(&self.circuit),
            variants: self.variants.iter().map(aged).collect(),
            ..self.clone()
        })
    }
}

impl Circuit {
    fn wired(&self, series: f64, parallel: f64) -> Result<Self, PackError> {
        let points: Vec<_> = self.ocv.points().iter().map(|&(soc, v)| (soc, v * series)).collect();
        let ohms = series / parallel;
        Ok(Self {
            capacity_ah: self.capacity_ah * parallel,
            r0_ohm: self.r0_ohm * ohms,
            r1_ohm: self.r1_ohm * ohms,
            c1_f: self.c1_f / ohms,
            charge_ohm: self.charge_ohm * ohms,
            ocv: crate::Ocv::new(points)?,
            offset_v: self.offset_v * series,
            ..self.clone()
        })
    }
}

/// One pack of several in parallel, and the wire that joins it to the others.
#[derive(Debug, Clone)]
pub struct Strand {
    /// Its model.
    pub circuit: Circuit,
    /// Where it stands.
    pub state: State,
    /// Of its own wires and connectors.
    pub wire_ohm: f64,
}

/// Unlike packs in parallel: one voltage, and each gives what its own voltage and resistance let
/// it; a fuller one charges an emptier one.
#[derive(Debug, Clone)]
pub struct Parallel {
    /// The packs.
    pub strands: Vec<Strand>,
}

impl Parallel {
    /// Rounds of Newton's method for the common voltage; it takes three or four.
    const ROUNDS: usize = 40;

    /// Voltage in V and resistance in Ω behind which they stand together at this moment.
    #[must_use]
    pub fn together(&self, climate: &Climate) -> (f64, f64) {
        let (mut short_a, mut siemens) = (0.0, 0.0);
        for strand in &self.strands {
            let ohm = strand.ohm(climate);
            short_a += strand.circuit.internal_v(&strand.state, climate) / ohm;
            siemens += 1.0 / ohm;
        }
        (short_a / siemens, 1.0 / siemens)
    }

    /// The largest current in A into or out of one of them with no load on: what flows between
    /// unequal packs the moment they are joined.
    #[must_use]
    pub fn inrush_a(&self, climate: &Climate) -> f64 {
        let (common_v, _) = self.together(climate);
        let flows = self.strands.iter().map(|strand| {
            let own_v = strand.circuit.internal_v(&strand.state, climate);
            ((own_v - common_v) / strand.ohm(climate)).abs()
        });
        flows.fold(0.0, f64::max)
    }

    /// Moves all on by `dt_s` with a constant current out of all together; gives the voltage in V
    /// at its end and what each gave in A. The currents are those that end the step at one
    /// voltage, so that long steps stay stable.
    pub fn advance(&mut self, current_a: f64, dt_s: f64, climate: &Climate) -> (f64, Vec<f64>) {
        let (together_v, together_ohm) = self.together(climate);
        let mut voltage_v = together_v - together_ohm * current_a;
        let steps: Vec<_> = self.strands.iter().map(|s| s.circuit.step(dt_s, climate)).collect();
        let ends: Vec<End<'_>> = self
            .strands
            .iter()
            .zip(&steps)
            .map(|(strand, step)| {
                let charged = strand.circuit.internal_v(&strand.state, climate) < voltage_v;
                let end = strand.circuit.end(&strand.state, charged, step, climate);
                End { ohm: end.ohm + strand.wire_ohm, ..end }
            })
            .collect();
        let mut currents_a = vec![current_a / ends.len() as f64; ends.len()];
        for _ in 0..Self::ROUNDS {
            let mut siemens = 0.0;
            for (end, current_a) in ends.iter().zip(&mut currents_a) {
                *current_a = end.hold_a(voltage_v, *current_a);
                siemens += 1.0 / end.stiffness_ohm(*current_a);
            }
            let beyond_a = currents_a.iter().sum::<f64>() - current_a;
            voltage_v += beyond_a / siemens;
            if beyond_a.abs() <= 1e-9 * (1.0 + current_a.abs()) {
                break;
            }
        }
        for ((strand, step), current_a) in self.strands.iter_mut().zip(&steps).zip(&currents_a) {
            strand.circuit.advance_by(&mut strand.state, *current_a, step);
        }
        (voltage_v, currents_a)
    }
}

impl Strand {
    fn ohm(&self, climate: &Climate) -> f64 {
        // packs without any resistance could not be told apart
        (self.circuit.r0_at(&self.state, climate) + self.wire_ohm).max(1e-6)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Chemistry, Load, runtime};

    const MILD: Climate = Climate::MILD;

    fn strand(rated_ah: f64, soc: f64) -> Strand {
        let circuit = Pack::typical(Chemistry::Lfp, rated_ah).unwrap().circuit;
        Strand { circuit, state: State::rested(soc), wire_ohm: 0.002 }
    }

    #[test]
    fn equal_packs_as_one() {
        let one = Pack::typical(Chemistry::Lfp, 50.0).unwrap();
        let four = one.bank(2, 2).unwrap();
        let hours = |pack: &Pack, power_w: f64, cutoff_v: f64| {
            runtime(pack, Load::Power(power_w), 0.0, cutoff_v).unwrap().time_to_cutoff_s / 3600.0
        };
        assert!((hours(&four, 120.0, 24.0) / hours(&one, 30.0, 12.0) - 1.0).abs() < 1e-4);
        assert_eq!(four.limits.undervoltage_v, Some(20.0));
        assert_eq!(four.limits.discharge_a, Some(100.0));
        // what is uncertain of one is uncertain of all
        let measured = Pack {
            spread: Spread { ocv_v: 0.01, up_to_a: Some(5.0), ..one.spread },
            variants: vec![one.circuit.drawn(1.02, 1.1, 0.0)],
            ..one.clone()
        };
        let all = measured.bank(2, 3).unwrap();
        assert!((all.capacity_u() - measured.capacity_u()).abs() < 1e-12);
        assert_eq!((all.spread.ocv_v, all.spread.up_to_a), (0.02, Some(15.0)));
        assert!((all.voltage_u(6.0) / (2.0 * measured.voltage_u(2.0)) - 1.0).abs() < 1e-3);
        assert!(four.name.contains("2 strings of 2"), "{}", four.name);
        assert!(one.bank(0, 1).is_err());
        assert_eq!(one.bank(1, 1).unwrap(), one);
    }

    #[test]
    fn aged_packs_give_less() {
        let new = Pack::typical(Chemistry::Agm, 50.0).unwrap();
        let old = new.aged(0.8, 1.5).unwrap();
        let hours = |pack: &Pack| {
            runtime(pack, Load::Power(30.0), 0.0, 11.5).unwrap().time_to_cutoff_s / 3600.0
        };
        assert!(hours(&old) < 0.8 * hours(&new) && hours(&old) > 0.7 * hours(&new));
        assert!(new.aged(0.0, 1.0).is_err() && new.aged(0.8, f64::NAN).is_err());
    }

    #[test]
    fn twins_share_alike_and_equal_one_of_twice_the_size() {
        let mut twins = Parallel { strands: vec![strand(50.0, 1.0), strand(50.0, 1.0)] };
        let pack = Pack::typical(Chemistry::Lfp, 50.0).unwrap().bank(1, 2).unwrap();
        let mut state = State::rested(1.0);
        for _ in 0..300 {
            let (voltage_v, currents_a) = twins.advance(8.0, 60.0, &MILD);
            assert!((currents_a[0] - 4.0).abs() < 1e-6 && (currents_a[1] - 4.0).abs() < 1e-6);
            pack.circuit.advance(&mut state, 8.0, 60.0, &MILD);
            let one_v = pack.circuit.terminal_v(&state, 8.0, &MILD) - 0.001 * 8.0;
            // R0 is taken at the beginning of the step
            assert!((voltage_v - one_v).abs() < 2e-3, "{voltage_v} {one_v}");
        }
    }

    #[test]
    fn unlike_packs_end_together() {
        let start = vec![strand(100.0, 1.0), strand(30.0, 1.0)];
        let mut minutes = Parallel { strands: start.clone() };
        let mut seconds = Parallel { strands: start };
        for minute in 0..600 {
            let (_, currents_a) = minutes.advance(12.0, 60.0, &MILD);
            assert!((currents_a.iter().sum::<f64>() - 12.0).abs() < 1e-6, "minute {minute}");
            for _ in 0..60 {
                seconds.advance(12.0, 1.0, &MILD);
            }
        }
        for (a, b) in minutes.strands.iter().zip(&seconds.strands) {
            let (a, b) = (a.state.soc, b.state.soc);
            assert!(a < 0.1 && (a - b).abs() < 2e-3, "minutes {a}, seconds {b}");
        }
    }

    #[test]
    fn a_fuller_pack_charges_an_emptier_one() {
        let mut pair = Parallel { strands: vec![strand(50.0, 1.0), strand(50.0, 0.05)] };
        let inrush_a = pair.inrush_a(&MILD);
        // 1.96 V of difference over twice 12 mΩ of pack, its rise when nearly empty, and 2 mΩ
        assert!(inrush_a > 50.0 && inrush_a < 80.0, "{inrush_a} A");
        let mut least = f64::INFINITY;
        for _ in 0..60 * 24 {
            let (_, currents_a) = pair.advance(0.0, 60.0, &MILD);
            assert!((currents_a[0] + currents_a[1]).abs() < 1e-6);
            least = least.min(currents_a[0]);
        }
        assert!(least > -1e-6, "the fuller pack was never charged: {least} A");
        let volts = |i: usize| {
            let Strand { circuit, state, .. } = &pair.strands[i];
            circuit.ocv.at(state.soc)
        };
        assert!((volts(0) - volts(1)).abs() < 0.02, "{} {}", volts(0), volts(1));
    }
}
