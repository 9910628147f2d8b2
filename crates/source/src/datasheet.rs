//! From a data sheet's figures to the one-diode model.

use crate::Error;
use crate::diode::Module;
use quantity::within;

/// What a panel's label or data sheet says, at standard test conditions.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DataSheet {
    /// Voltage at the most power.
    pub max_power_v: f64,
    /// Current at the most power.
    pub max_power_a: f64,
    /// Voltage of the open circuit.
    pub open_circuit_v: f64,
    /// Current of the short circuit.
    pub short_circuit_a: f64,
    /// Change of the short-circuit current with temperature.
    pub alpha_a_per_k: f64,
    /// Change of the open-circuit voltage with temperature (negative).
    pub beta_v_per_k: f64,
}

/// Rise of temperature at which the fifth equation is set up.
const RISE_K: f64 = 2.0;
/// Share of the open circuit's fall with temperature that a panel without shunt loss may miss.
const MOST_MISSED: f64 = 0.4;

impl DataSheet {
    /// The five values that meet the data sheet: short circuit, open circuit, the point of most
    /// power and its flat top, and the open circuit's fall with temperature (De Soto, Klein &
    /// Beckman 2006, *Solar Energy* 80).
    ///
    /// For a thermal voltage and a series resistance the first three equations are linear; the
    /// flat top then gives the resistance and the temperature the thermal voltage, each by
    /// bisection. No start value is guessed, so no fit fails from a bad one.
    ///
    /// The rounded figures of a good panel may want a shunt that makes current. Then the panel has
    /// no shunt loss, meets the data sheet at standard conditions, and its open circuit falls with
    /// temperature somewhat slower (by 40 % at most) than the data sheet says.
    ///
    /// # Errors
    /// When a figure can't be, or no diode has these figures.
    pub fn fit(&self) -> Result<Module, Error> {
        self.check()?;
        // Open circuit over thermal voltage is about 24 for silicon of ideality 1; a cell opens at
        // 0.55 to 0.75 V and fits give idealities of 0.7 to 2.
        let (least_v, most_v) = (self.open_circuit_v / 45.0, self.open_circuit_v / 8.0);
        // A diode exists up to some thermal voltage: walk up to it, looking for the one whose
        // open circuit falls as it should.
        const WALK: u32 = 200;
        let mut before: Option<(f64, f64)> = None;
        for step in 0..=WALK {
            let thermal_v = least_v + (most_v - least_v) * f64::from(step) / f64::from(WALK);
            match (before, self.fall_missed_v(thermal_v)) {
                (Some((from_v, from)), Some(value)) if (from <= 0.0) != (value <= 0.0) => {
                    let same_side =
                        |v| self.fall_missed_v(v).is_some_and(|m| (m <= 0.0) == (from <= 0.0));
                    return self.last(same_side, from_v, thermal_v).ok_or_else(|| self.misfit());
                }
                (Some((from_v, _)), None) => {
                    let exists = |v| self.at_thermal(v).is_some();
                    return self
                        .last(exists, from_v, thermal_v)
                        .filter(|module| {
                            let missed_v = self.fall_missed_v(module.thermal_v).unwrap_or(f64::MAX);
                            missed_v.abs() <= MOST_MISSED * (self.beta_v_per_k * RISE_K).abs()
                        })
                        .ok_or_else(|| self.misfit());
                }
                (_, now) => before = now.map(|value| (thermal_v, value)),
            }
        }
        Err(self.misfit())
    }

    /// How far the open circuit of the diode of a thermal voltage, a little warmer, lies from
    /// where the data sheet puts it.
    fn fall_missed_v(&self, thermal_v: f64) -> Option<f64> {
        let warm = self.at_thermal(thermal_v)?.under(1000.0, 25.0 + RISE_K);
        Some(warm.open_circuit_v() - self.open_circuit_v - self.beta_v_per_k * RISE_K)
    }

    /// The diode of the highest thermal voltage for which something still holds, between one for
    /// which it does and one for which it does not.
    fn last(&self, holds: impl Fn(f64) -> bool, mut low_v: f64, mut high_v: f64) -> Option<Module> {
        for _ in 0..60 {
            let middle_v = f64::midpoint(low_v, high_v);
            if holds(middle_v) { low_v = middle_v } else { high_v = middle_v }
        }
        self.at_thermal(low_v)
    }

    fn misfit(&self) -> Error {
        Error::DataSheet {
            reason: format!(
                "no diode with {} V and {} A at most power, {} V open and {} A shorted loses {} V \
                 a kelvin; expected about 0.3 % of the open-circuit voltage a kelvin",
                self.max_power_v,
                self.max_power_a,
                self.open_circuit_v,
                self.short_circuit_a,
                -self.beta_v_per_k
            ),
        }
    }

    /// The diode of a thermal voltage that meets the first four equations, if there is one.
    fn at_thermal(&self, thermal_v: f64) -> Option<Module> {
        // Slope of power at the point of most power; falls as the series resistance grows.
        let steepness = |series_ohm: f64| {
            let module = self.through_three_points(thermal_v, series_ohm)?;
            let grown = ((self.max_power_v + self.max_power_a * series_ohm) / thermal_v).exp();
            let conductance_s = module.saturation_a * grown / thermal_v + 1.0 / module.shunt_ohm;
            let slope_s = conductance_s / (1.0 + series_ohm * conductance_s);
            Some(self.max_power_a - self.max_power_v * slope_s)
        };
        let (mut low_ohm, mut high_ohm) =
            (0.0, (self.open_circuit_v - self.max_power_v) / self.max_power_a);
        let at_low = steepness(low_ohm)?;
        for _ in 0..60 {
            let middle_ohm = f64::midpoint(low_ohm, high_ohm);
            match steepness(middle_ohm) {
                Some(value) if (value <= 0.0) == (at_low <= 0.0) => low_ohm = middle_ohm,
                _ => high_ohm = middle_ohm,
            }
        }
        let left = steepness(low_ohm)?;
        // A bisection that ran to the end of the range without a change of sign found no root.
        (left.abs() < 1e-6 * self.max_power_a)
            .then(|| self.through_three_points(thermal_v, low_ohm))
            .flatten()
            .filter(|module| module.shunt_ohm > 0.0)
    }

    /// The diode of a thermal voltage and a series resistance through short circuit, open circuit
    /// and the point of most power: three equations linear in photocurrent, saturation current
    /// and shunt conductance.
    fn through_three_points(&self, thermal_v: f64, series_ohm: f64) -> Option<Module> {
        let junctions_v = [
            self.short_circuit_a * series_ohm,
            self.open_circuit_v,
            self.max_power_v + self.max_power_a * series_ohm,
        ];
        let grown = junctions_v.map(|v| (v / thermal_v).exp_m1());
        // Short minus open, short minus most power: the photocurrent drops out.
        let (a1, b1, c1) =
            (grown[1] - grown[0], junctions_v[1] - junctions_v[0], self.short_circuit_a);
        let (a2, b2, c2) = (
            grown[2] - grown[0],
            junctions_v[2] - junctions_v[0],
            self.short_circuit_a - self.max_power_a,
        );
        let determinant = a1 * b2 - a2 * b1;
        let saturation_a = (c1 * b2 - c2 * b1) / determinant;
        let shunt_s = (a1 * c2 - a2 * c1) / determinant;
        let photocurrent_a = saturation_a * grown[1] + shunt_s * junctions_v[1];
        (saturation_a > 0.0 && saturation_a.is_finite() && shunt_s.is_finite()).then_some(Module {
            photocurrent_a,
            saturation_a,
            series_ohm,
            shunt_ohm: 1.0 / shunt_s,
            thermal_v,
            alpha_a_per_k: self.alpha_a_per_k,
        })
    }

    fn check(&self) -> Result<(), Error> {
        within("the panel's open-circuit voltage", self.open_circuit_v, (0.1, 1000.0), "V")?;
        within("the panel's short-circuit current", self.short_circuit_a, (0.001, 100.0), "A")?;
        let share = |what, part: f64, whole: f64, unit| {
            within(what, part, (0.4 * whole, 0.999 * whole), unit).map(|_| ()).map_err(Error::from)
        };
        share("the panel's voltage at most power", self.max_power_v, self.open_circuit_v, "V")?;
        share("the panel's current at most power", self.max_power_a, self.short_circuit_a, "A")?;
        let steepest = 0.01 * self.open_circuit_v;
        within("the open circuit's change", self.beta_v_per_k, (-steepest, 0.0), "V/K")?;
        let steepest = 0.01 * self.short_circuit_a;
        within("the short circuit's change", self.alpha_a_per_k, (-steepest, steepest), "A/K")?;
        Ok(())
    }
}
