//! A panel with its dirt and its cable: what comes out at the controller.

use crate::Error;
use crate::diode::{MaxPower, Module};
use quantity::within;

/// How the panel itself is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Cells {
    /// By its rating and one coefficient, when that is all there is:
    /// `rating G/1000 (1 + coefficient (T − 25))`.
    Rated {
        /// Power at standard test conditions.
        rating_w: f64,
        /// Relative change of power with cell temperature, 1/K; −0.004 is usual.
        coefficient_per_k: f64,
        /// Voltage at most power, 25 °C; 18 V is usual for a panel sold for 12 V.
        max_power_v: f64,
    },
    /// By a data sheet, see [`crate::DataSheet::fit`].
    Diode(Module),
}

/// A panel, or several in parallel counted as one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Panel {
    cells: Cells,
    dirt_share: f64,
    cable_ohm: f64,
}

/// Voltage at most power of a panel sold for 12 V, where it is not stated *(common practice, no
/// source)*.
pub const USUAL_MAX_POWER_V: f64 = 18.0;
/// Open-circuit voltage over voltage at most power, where only a rating is known *(common
/// practice, no source)*.
const OPEN_OVER_MAX_POWER: f64 = 1.22;

impl Panel {
    /// A panel, with the share of light that dirt keeps out (0..1) and the resistance of the cable
    /// to the controller, there and back.
    ///
    /// # Errors
    /// When a number can't be.
    pub fn new(cells: Cells, dirt_share: f64, cable_ohm: f64) -> Result<Self, Error> {
        if let Cells::Rated { rating_w, coefficient_per_k, max_power_v } = cells {
            within("the panel's rating", rating_w, (0.0, 100_000.0), "W")?;
            within("the panel's coefficient", coefficient_per_k, (-0.02, 0.005), "1/K")?;
            within("the panel's voltage at most power", max_power_v, (0.1, 1000.0), "V")?;
        }
        Ok(Self {
            cells,
            dirt_share: within("the share lost to dirt", dirt_share, (0.0, 1.0), "")?,
            cable_ohm: within("the panel cable's resistance", cable_ohm, (0.0, 100.0), "Ω")?,
        })
    }

    /// A clean panel of a rating with no cable to speak of, 18 V at most power.
    ///
    /// # Errors
    /// When a number can't be.
    pub fn rated(rating_w: f64, coefficient_per_k: f64) -> Result<Self, Error> {
        let max_power_v = USUAL_MAX_POWER_V;
        Self::new(Cells::Rated { rating_w, coefficient_per_k, max_power_v }, 0.0, 0.0)
    }

    /// The most power that arrives at the controller, under an effective irradiance and a cell
    /// temperature.
    #[must_use]
    pub fn power_w(&self, effective_w_m2: f64, cell_c: f64) -> f64 {
        let light_w_m2 = self.clean(effective_w_m2);
        match &self.cells {
            Cells::Rated { rating_w, coefficient_per_k, max_power_v } => {
                let warmth = warmth(*coefficient_per_k, cell_c);
                let power_w = rating_w * light_w_m2 / 1000.0 * warmth;
                let current_a = rating_w * light_w_m2 / 1000.0 / max_power_v;
                (power_w - current_a * current_a * self.cable_ohm).max(0.0)
            }
            Cells::Diode(_) => self.max_power(effective_w_m2, cell_c).power_w(),
        }
    }

    /// Where the most power is found, at the controller's end of the cable.
    #[must_use]
    pub fn max_power(&self, effective_w_m2: f64, cell_c: f64) -> MaxPower {
        let light_w_m2 = self.clean(effective_w_m2);
        match &self.cells {
            Cells::Rated { rating_w, coefficient_per_k, max_power_v } => {
                let current_a = rating_w * light_w_m2 / 1000.0 / max_power_v;
                let there_v = max_power_v * warmth(*coefficient_per_k, cell_c);
                MaxPower { voltage_v: (there_v - current_a * self.cable_ohm).max(0.0), current_a }
            }
            Cells::Diode(module) => self.behind_cable(module).under(light_w_m2, cell_c).max_power(),
        }
    }

    /// Current that arrives at the controller with a voltage there; never backwards (a blocking
    /// diode or the controller sees to that).
    ///
    /// A panel known by its rating gives its current at most power up to that voltage and from
    /// there less and less, to nothing at 1.22 of it; both voltages fall with warmth as the power
    /// does, the current does not.
    #[must_use]
    pub fn current_a(&self, effective_w_m2: f64, cell_c: f64, voltage_v: f64) -> f64 {
        let light_w_m2 = self.clean(effective_w_m2);
        match &self.cells {
            Cells::Rated { rating_w, coefficient_per_k, max_power_v } => {
                let full_a = rating_w * light_w_m2 / 1000.0 / max_power_v;
                let knee_v = max_power_v * warmth(*coefficient_per_k, cell_c);
                let fall_v = knee_v * (OPEN_OVER_MAX_POWER - 1.0);
                if fall_v <= 0.0 || full_a <= 0.0 {
                    return 0.0;
                }
                // At the panel: voltage + I R; on the falling side I = full (open − V) / fall.
                if voltage_v + full_a * self.cable_ohm <= knee_v {
                    return full_a;
                }
                let left_v = knee_v + fall_v - voltage_v;
                (full_a * left_v / (fall_v + full_a * self.cable_ohm)).clamp(0.0, full_a)
            }
            Cells::Diode(module) => {
                self.behind_cable(module).under(light_w_m2, cell_c).current_a(voltage_v).max(0.0)
            }
        }
    }

    /// Two conductors of cable act like more series resistance.
    fn behind_cable(&self, module: &Module) -> Module {
        Module { series_ohm: module.series_ohm + self.cable_ohm, ..*module }
    }

    fn clean(&self, effective_w_m2: f64) -> f64 {
        effective_w_m2.max(0.0) * (1.0 - self.dirt_share)
    }
}

fn warmth(coefficient_per_k: f64, cell_c: f64) -> f64 {
    (1.0 + coefficient_per_k * (cell_c - 25.0)).max(0.0)
}
