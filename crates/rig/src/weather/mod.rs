//! Loads that follow the weather: heaters against dew and cooled sensors.

mod cooled;
mod dew;

pub use cooled::CooledSensor;
pub use dew::DewHeater;

/// The air around the gear.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Conditions {
    /// Air temperature (°C).
    pub air_c: f64,
    /// Dew point (°C).
    pub dew_point_c: f64,
    /// Wind (m/s) at the gear.
    pub wind_m_s: f64,
    /// Share of the sky under cloud (0..1).
    pub cloud: f64,
}

/// What sets the power of a use, within its rating.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Follows {
    /// A heater holds a surface above the dew point.
    Dew(DewHeater),
    /// A cooler holds a sensor at its temperature.
    Cooling(CooledSensor),
}

impl Follows {
    /// Mean power (W) it asks for, before the limit of its rating.
    #[must_use]
    pub fn power_w(&self, conditions: &Conditions) -> f64 {
        match self {
            Follows::Dew(heater) => heater.power_w(conditions),
            Follows::Cooling(sensor) => sensor.power_w(conditions.air_c),
        }
    }

    /// Whether the power follows the weather at all; a heater without a controller does not.
    #[must_use]
    pub fn sets_power(&self) -> bool {
        match self {
            Follows::Dew(heater) => heater.controlled,
            Follows::Cooling(_) => true,
        }
    }

    /// What is wrong with its numbers and what would be right; none if nothing is.
    #[must_use]
    pub fn problem(&self) -> Option<&'static str> {
        let positive = |x: f64| x.is_finite() && x > 0.0;
        let not_negative = |x: f64| x.is_finite() && x >= 0.0;
        match self {
            Follows::Dew(heater) if !positive(heater.aperture_m) => {
                Some("the aperture must be above zero")
            }
            Follows::Dew(heater)
                if !(not_negative(heater.band_m) && not_negative(heater.margin_k)) =>
            {
                Some("the width of the band and the margin above the dew point can't be negative")
            }
            Follows::Dew(heater) if !(0.0..=1.0).contains(&heater.sky_view) => {
                Some("the share of sky it sees must be 0 to 1")
            }
            Follows::Cooling(sensor) if !positive(sensor.greatest_difference_k) => {
                Some("the greatest difference from the air must be above zero")
            }
            Follows::Cooling(sensor)
                if !(not_negative(sensor.greatest_w) && not_negative(sensor.steady_w)) =>
            {
                Some("the power of cooler and fan can't be negative")
            }
            Follows::Cooling(sensor) if !sensor.set_c.is_finite() => {
                Some("the temperature of the sensor must be a number")
            }
            _ => None,
        }
    }
}
