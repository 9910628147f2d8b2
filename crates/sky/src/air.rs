//! The air: pressure with height, vapour and dew.

/// Pressure of the standard atmosphere at a height above the sea, Pa.
///
/// ISO 2533 (the 1976 standard atmosphere): 44331.514 m and 11880.516 fold its constants together,
/// `p = 100 ((44331.514 − z) / 11880.516)^(1/0.1902632)`.
#[must_use]
pub fn pressure_pa(elevation_m: f64) -> f64 {
    100.0 * ((44_331.514 - elevation_m) / 11_880.516).max(0.0).powf(1.0 / 0.190_263_2)
}

/// Coefficients of the Magnus form over water (WMO-No. 8, 2018 edition, annex 4.B).
const MAGNUS_HPA: f64 = 6.112;
const MAGNUS_SLOPE: f64 = 17.62;
const MAGNUS_C: f64 = 243.12;

/// Saturation vapour pressure over water, hPa: the Magnus form of WMO-No. 8, for −45 to 60 °C.
#[must_use]
pub fn vapour_pressure_hpa(temperature_c: f64) -> f64 {
    MAGNUS_HPA * (MAGNUS_SLOPE * temperature_c / (MAGNUS_C + temperature_c)).exp()
}

/// Dew point of air at a temperature and a relative humidity (0..1), °C. Humidity is held at
/// 0.1 % or more: perfectly dry air has no dew point.
#[must_use]
pub fn dew_point_c(temperature_c: f64, relative_humidity: f64) -> f64 {
    let gamma = relative_humidity.max(1e-3).ln()
        + MAGNUS_SLOPE * temperature_c / (MAGNUS_C + temperature_c);
    MAGNUS_C * gamma / (MAGNUS_SLOPE - gamma)
}

/// Relative humidity (0..1) of air at a temperature and a dew point; 1 where the dew point is not
/// below the temperature.
#[must_use]
pub fn relative_humidity(temperature_c: f64, dew_point_c: f64) -> f64 {
    (vapour_pressure_hpa(dew_point_c) / vapour_pressure_hpa(temperature_c)).min(1.0)
}
