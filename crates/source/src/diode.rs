//! A panel as one diode: De Soto, Klein & Beckman 2006, *Solar Energy* 80.

/// Boltzmann's constant, eV/K (CODATA 2018).
const BOLTZMANN_EV_PER_K: f64 = 8.617_333_262e-5;
/// Standard test conditions.
const REFERENCE_K: f64 = 298.15;
const REFERENCE_W_M2: f64 = 1000.0;
/// Band gap of silicon at 25 °C and its relative change (De Soto et al.).
const BAND_GAP_EV: f64 = 1.121;
const BAND_GAP_PER_K: f64 = -0.000_267_7;
const ZERO_C_IN_K: f64 = 273.15;

/// A panel's five values at standard test conditions, and how its current warms.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Module {
    /// Light-generated current, A.
    pub photocurrent_a: f64,
    /// Saturation current of the diode, A.
    pub saturation_a: f64,
    /// Resistance in series, Ω.
    pub series_ohm: f64,
    /// Resistance across, Ω.
    pub shunt_ohm: f64,
    /// Ideality × cells × thermal voltage, V.
    pub thermal_v: f64,
    /// Change of the short-circuit current with temperature.
    pub alpha_a_per_k: f64,
}

/// A panel's five values under one light and warmth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Diode {
    /// Light-generated current, A.
    pub photocurrent_a: f64,
    /// Saturation current of the diode, A.
    pub saturation_a: f64,
    /// Resistance in series, Ω.
    pub series_ohm: f64,
    /// Conductance across, S.
    pub shunt_s: f64,
    /// Ideality × cells × thermal voltage, V.
    pub thermal_v: f64,
}

/// Where a panel gives most.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct MaxPower {
    /// Voltage there.
    pub voltage_v: f64,
    /// Current there.
    pub current_a: f64,
}

impl MaxPower {
    /// The power.
    #[must_use]
    pub fn power_w(&self) -> f64 {
        self.voltage_v * self.current_a
    }
}

impl Module {
    /// The panel under an effective irradiance and a cell temperature (De Soto et al., equations
    /// 8 to 13).
    #[must_use]
    pub fn under(&self, effective_w_m2: f64, cell_c: f64) -> Diode {
        let sun = effective_w_m2.max(0.0) / REFERENCE_W_M2;
        let warm_k = cell_c + ZERO_C_IN_K;
        let (rise_k, ratio) = (warm_k - REFERENCE_K, warm_k / REFERENCE_K);
        let gap_ev = BAND_GAP_EV * (1.0 + BAND_GAP_PER_K * rise_k);
        let activation = (BAND_GAP_EV / REFERENCE_K - gap_ev / warm_k) / BOLTZMANN_EV_PER_K;
        Diode {
            photocurrent_a: sun * (self.photocurrent_a + self.alpha_a_per_k * rise_k),
            saturation_a: self.saturation_a * ratio.powi(3) * activation.exp(),
            series_ohm: self.series_ohm,
            shunt_s: sun / self.shunt_ohm,
            thermal_v: self.thermal_v * ratio,
        }
    }
}

impl Diode {
    /// Current out of the panel with the junction at a voltage, and its (negative) slope.
    fn at_junction(&self, junction_v: f64) -> (f64, f64) {
        let grown = (junction_v / self.thermal_v).exp();
        let current_a =
            self.photocurrent_a - self.saturation_a * (grown - 1.0) - self.shunt_s * junction_v;
        (current_a, -self.saturation_a * grown / self.thermal_v - self.shunt_s)
    }

    /// The junction's voltage without shunt: at or above that of the open circuit.
    fn highest_junction_v(&self) -> f64 {
        self.thermal_v * (self.photocurrent_a / self.saturation_a).ln_1p()
    }

    /// Current out of the panel at a voltage on its terminals. Negative where the voltage exceeds
    /// that of the open circuit: whatever blocks it is not part of the panel.
    #[must_use]
    pub fn current_a(&self, voltage_v: f64) -> f64 {
        // Terminal voltage grows, ever faster, with the junction's: Newton from above only falls.
        let mut junction_v = self.highest_junction_v().max(voltage_v);
        for _ in 0..200 {
            let (current_a, slope_s) = self.at_junction(junction_v);
            let excess_v = junction_v - self.series_ohm * current_a - voltage_v;
            let step_v = excess_v / (1.0 - self.series_ohm * slope_s);
            junction_v -= step_v;
            if step_v.abs() < 1e-12 * (1.0 + junction_v.abs()) {
                break;
            }
        }
        self.at_junction(junction_v).0
    }

    /// Voltage of the open circuit.
    #[must_use]
    pub fn open_circuit_v(&self) -> f64 {
        let mut junction_v = self.highest_junction_v();
        for _ in 0..200 {
            let (current_a, slope_s) = self.at_junction(junction_v);
            if slope_s >= 0.0 {
                break;
            }
            let step_v = current_a / slope_s;
            junction_v -= step_v;
            if step_v.abs() < 1e-12 * (1.0 + junction_v.abs()) {
                break;
            }
        }
        junction_v
    }

    /// Where the power is greatest.
    #[must_use]
    pub fn max_power(&self) -> MaxPower {
        if self.photocurrent_a <= 0.0 {
            return MaxPower::default();
        }
        // Power has one top between short circuit and open circuit; its slope changes sign there.
        let (mut low_v, mut high_v) = (0.0, self.highest_junction_v());
        let mut junction_v = 0.85 * high_v;
        for _ in 0..100 {
            let (current_a, slope_s) = self.at_junction(junction_v);
            let voltage_v = junction_v - self.series_ohm * current_a;
            let voltage_slope = 1.0 - self.series_ohm * slope_s;
            let power_slope = slope_s * voltage_v + current_a * voltage_slope;
            if power_slope > 0.0 {
                low_v = junction_v;
            } else {
                high_v = junction_v;
            }
            let bend = (slope_s + self.shunt_s) / self.thermal_v;
            let power_bend =
                2.0 * slope_s * voltage_slope + bend * (voltage_v - self.series_ohm * current_a);
            let newton_v = junction_v - power_slope / power_bend;
            let inside = newton_v > low_v && newton_v < high_v;
            let next_v = if inside { newton_v } else { f64::midpoint(low_v, high_v) };
            let step_v = (next_v - junction_v).abs();
            junction_v = next_v;
            if step_v < 1e-10 {
                break;
            }
        }
        let current_a = self.at_junction(junction_v).0;
        MaxPower { voltage_v: junction_v - self.series_ohm * current_a, current_a }
    }
}
