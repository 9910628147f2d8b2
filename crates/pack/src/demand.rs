//! Power against voltage at the terminals: everything that hangs on a pack, as one curve.

/// What is drawn at the terminals: `p(v) = g·v² + a·v + m1 + m2/v² + m3/v⁴`.
///
/// Resistors, constant currents and constant powers are the first three terms; constant powers
/// behind cables add the others. A source is a negative current or power.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Demand {
    /// Conductance in S.
    pub g_s: f64,
    /// Constant current in A.
    pub a_a: f64,
    /// Constant power in W.
    pub m1_w: f64,
    /// In W·V².
    pub m2_wv2: f64,
    /// In W·V⁴.
    pub m3_wv4: f64,
}

impl Demand {
    /// A constant power.
    #[must_use]
    pub fn power(power_w: f64) -> Self {
        Self { m1_w: power_w, ..Self::default() }
    }

    /// The current in A at a voltage, and its slope in A/V.
    #[must_use]
    #[inline(always)]
    pub fn current_a(&self, voltage_v: f64) -> (f64, f64) {
        let w = 1.0 / voltage_v;
        let w2 = w * w;
        let current_a = self.g_s * voltage_v
            + self.a_a
            + w * (self.m1_w + w2 * (self.m2_wv2 + w2 * self.m3_wv4));
        let slope =
            self.g_s - w2 * (self.m1_w + w2 * (3.0 * self.m2_wv2 + w2 * (5.0 * self.m3_wv4)));
        (current_a, slope)
    }

    /// The voltage at the terminals in V and the current in A behind `ohm` from `internal_v`, by
    /// Newton's method from `near_v`; `None` where there is none (voltage collapse).
    ///
    /// Of two solutions it is the upper one, at which more current means less voltage.
    #[must_use]
    pub fn solve(&self, internal_v: f64, ohm: f64, near_v: f64) -> Option<(f64, f64)> {
        let solved = self.newton(internal_v, ohm, near_v);
        solved.holds(internal_v).then_some((solved.voltage_v, solved.current_a))
    }

    /// Two rounds of Newton, always the same, so that many can be solved side by side.
    ///
    /// From a voltage two percent off, and with a drop of two percent, the first leaves about
    /// 1e-5 of the voltage and the second 1e-12.
    #[inline(always)]
    pub(crate) fn newton(&self, internal_v: f64, ohm: f64, near_v: f64) -> Solved {
        let mut solved = Solved { voltage_v: near_v, current_a: 0.0, off_v: 0.0 };
        for _ in 0..2 {
            let v = solved.voltage_v;
            let (current_a, slope) = self.current_a(v);
            let off_v = (v - internal_v + ohm * current_a) / (1.0 + ohm * slope);
            // along the tangent, so that `voltage_v + ohm·current_a` is `internal_v` at any time
            solved = Solved { voltage_v: v - off_v, current_a: current_a - slope * off_v, off_v };
        }
        solved
    }
}

/// Where Newton's rounds ended.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Solved {
    pub(crate) voltage_v: f64,
    pub(crate) current_a: f64,
    /// The last correction.
    pub(crate) off_v: f64,
}

impl Solved {
    /// Whether this is a solution: the last correction was small, which near a solution makes
    /// the next one smaller by its square, and it is the upper branch.
    #[inline(always)]
    pub(crate) fn holds(&self, internal_v: f64) -> bool {
        self.off_v.abs() < 1e-3 * internal_v && self.voltage_v > 0.5 * internal_v
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Load;

    #[test]
    fn meets_a_constant_power() {
        for (power_w, ohm) in [(5.0, 0.01), (30.0, 0.05), (120.0, 0.1), (-80.0, 0.03)] {
            let (v, current_a) = Demand::power(power_w).solve(13.0, ohm, 13.0).unwrap();
            let exact_a = Load::Power(power_w).current_a(13.0, ohm).unwrap();
            assert!((current_a - exact_a).abs() < 1e-3 * exact_a.abs(), "{power_w} {current_a}");
            // and to the last digits from near by
            let (v, current_a) = Demand::power(power_w).solve(13.0, ohm, v).unwrap();
            assert!((current_a - exact_a).abs() < 1e-9 * exact_a.abs(), "{power_w} {current_a}");
            assert!((v + ohm * current_a - 13.0).abs() < 1e-12);
        }
    }

    #[test]
    fn adds_its_terms() {
        let demand = Demand { g_s: 0.5, a_a: 1.0, m1_w: 24.0, m2_wv2: 144.0, m3_wv4: 20736.0 };
        let (current_a, slope) = demand.current_a(12.0);
        let power_w = 0.5 * 144.0 + 12.0 + 24.0 + 1.0 + 1.0;
        assert!((current_a * 12.0 - power_w).abs() < 1e-9);
        let step = demand.current_a(12.001).0 - demand.current_a(11.999).0;
        assert!((step / 0.002 - slope).abs() < 1e-6);
    }

    #[test]
    fn finds_no_solution_where_there_is_none() {
        // the most that 13 V can give through 0.1 Ω is 13²/0.4 = 422.5 W
        for power_w in [500.0, 1000.0, 1e6] {
            let mut near_v = 13.0;
            let mut solved = true;
            for _ in 0..3 {
                let newton = Demand::power(power_w).newton(13.0, 0.1, near_v);
                near_v = newton.voltage_v;
                solved = newton.holds(13.0);
            }
            assert!(!solved, "{power_w}");
            assert_eq!(Demand::power(power_w).solve(13.0, 0.1, 13.0), None, "{power_w}");
        }
    }
}
