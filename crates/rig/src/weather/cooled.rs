//! A sensor with a thermoelectric cooler.

/// A cooled sensor by its maker's two numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CooledSensor {
    /// The temperature it is held at (°C).
    pub set_c: f64,
    /// Greatest difference from the air that the maker states (K).
    pub greatest_difference_k: f64,
    /// Power of the cooler there (W).
    pub greatest_w: f64,
    /// Power of fan and electronics (W), which does not depend on the air.
    pub steady_w: f64,
}

impl CooledSensor {
    /// Power (W) at an air temperature (°C).
    ///
    /// The difference a thermoelectric cooler holds grows with its current, its power with the
    /// square of it: P = P_max·(ΔT/ΔT_max)². Joule heat on the cold side makes the true curve
    /// flatter below the maker's point and steeper near it (ΔT/ΔT_max = 2x − x² with x the share of
    /// the current, Goldsmid, *Electronic Refrigeration*, 1986), so this is on the safe side.
    /// Nothing but the steady part where the air is no warmer than the set point.
    #[must_use]
    pub fn power_w(&self, air_c: f64) -> f64 {
        let share = ((air_c - self.set_c) / self.greatest_difference_k).clamp(0.0, 1.0);
        self.steady_w + self.greatest_w * share * share
    }

    /// Warmest air (°C) in which it still holds its temperature.
    #[must_use]
    pub fn warmest_air_c(&self) -> f64 {
        self.set_c + self.greatest_difference_k
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn power_follows_the_square_of_the_difference() {
        let sensor = CooledSensor {
            set_c: -10.0,
            greatest_difference_k: 35.0,
            greatest_w: 24.0,
            steady_w: 4.0,
        };
        for (air_c, w) in [(-15.0, 4.0), (-10.0, 4.0), (7.5, 10.0), (25.0, 28.0), (35.0, 28.0)] {
            assert!((sensor.power_w(air_c) - w).abs() < 1e-12, "{air_c} °C");
        }
        assert_eq!(sensor.warmest_air_c(), 25.0);
    }
}
