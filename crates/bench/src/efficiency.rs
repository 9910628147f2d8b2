//! What comes out over what went in.

use quantity::uncertainty::{Budget, Shape};

use crate::doubt::{COUNTER_DIGITS, DIGIT, Doubt, OFFSET, VOLTAGE_OFFSET};
use crate::{Discharge, Recharge};

/// The efficiencies of a cycle: a recharge and its discharge, recorded by the same meter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Efficiency {
    /// Charge delivered over charge put in. Above 1 if the cycle does not close: the pack ended in
    /// another state than it began in.
    pub coulombic: f64,
    /// Half-width of its 95 % interval.
    pub coulombic_u: f64,
    /// Energy delivered over energy put in.
    pub energy: f64,
    /// Half-width of its 95 % interval.
    pub energy_u: f64,
}

impl Efficiency {
    /// Of a discharge and the recharge that makes a cycle with it, both by the same meter. What is
    /// the same in both falls out of the ratio: the gains. An offset does not: it adds to one and
    /// takes from the other (JCGM 100:2008, F.1.2.3).
    #[must_use]
    pub fn of(discharge: &Discharge, recharge: &Recharge) -> Efficiency {
        let coulombic = discharge.capacity_ah / recharge.charge_ah;
        let energy = discharge.energy_wh / recharge.energy_wh;
        let of = |ratio: f64, out: (&Doubt, f64), put_in: (&Doubt, f64)| {
            ratio * relative(out, put_in).expanded_95()
        };
        Efficiency {
            coulombic,
            coulombic_u: of(
                coulombic,
                (&discharge.doubts.capacity_ah, discharge.capacity_ah),
                (&recharge.doubts.capacity_ah, recharge.charge_ah),
            ),
            energy,
            energy_u: of(
                energy,
                (&discharge.doubts.energy_wh, discharge.energy_wh),
                (&recharge.doubts.energy_wh, recharge.energy_wh),
            ),
        }
    }
}

/// The relative doubts of the ratio of two integrals by one meter.
fn relative(out: (&Doubt, f64), put_in: (&Doubt, f64)) -> Budget {
    let mut budget = Budget::default();
    for (doubt, value) in [out, put_in] {
        for part in &doubt.run.parts {
            budget.add(part.name, part.u / value, part.shape);
        }
    }
    let of_meter = |(doubt, value): (&Doubt, f64), name: &str| {
        doubt.meter.parts.iter().find(|part| part.name == name).map_or(0.0, |part| part.u / value)
    };
    let both = |name| (of_meter(out, name), of_meter(put_in, name));
    for digits in [DIGIT, COUNTER_DIGITS] {
        let (a, b) = both(digits);
        budget.add(digits, a.hypot(b), Shape::Rectangular);
    }
    let (a, b) = both(OFFSET);
    budget.add(OFFSET, a + b, Shape::Rectangular);
    let (a, b) = both(VOLTAGE_OFFSET);
    budget.add(VOLTAGE_OFFSET, (a - b).abs(), Shape::Rectangular);
    budget
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gain_common_to_both_falls_out() {
        // 42.1 Ah out, 43.0 Ah in, 0.05 and 0.06 Ah of their own: u = 0.001 793 998 7 of the ratio
        // (worked case, JCGM 100:2008, 5.2.2 and F.1.2.3)
        let doubt = |value: f64, u: f64| {
            let mut doubt = Doubt::default();
            let gain = quantity::uncertainty::rectangular(0.005) * value;
            doubt.meter.add(crate::doubt::GAIN, gain, Shape::Rectangular);
            doubt.run.add("own", u, Shape::Normal);
            doubt
        };
        let (out, put_in) = (doubt(42.1, 0.05), doubt(43.0, 0.06));
        let u = 42.1 / 43.0 * relative((&out, 42.1), (&put_in, 43.0)).standard();
        assert!((u - 0.001_793_998_7).abs() < 1e-9, "{u}");
    }

    #[test]
    fn an_offset_counts_twice() {
        let mut doubt = Doubt::default();
        doubt.meter.add(OFFSET, 0.1, Shape::Rectangular);
        let u = relative((&doubt, 40.0), (&doubt, 40.0)).standard();
        assert!((u - 0.005).abs() < 1e-12, "{u}");
    }
}
