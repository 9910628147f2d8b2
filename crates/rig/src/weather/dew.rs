//! A heater that keeps dew off a lens, a corrector plate or a mirror.

use super::Conditions;

/// Stefan–Boltzmann constant, W/(m²·K⁴) (CODATA 2018).
const SIGMA: f64 = 5.670_374e-8;
/// 0 °C in K.
const ZERO_C_K: f64 = 273.15;
/// Emissivity of glass in the thermal infrared. From memory of heat-transfer tables, which give
/// 0.90 to 0.95 for window glass.
const GLASS: f64 = 0.9;

/// A strip round an optic, and what it has to do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DewHeater {
    /// Diameter of the surface (m).
    pub aperture_m: f64,
    /// Width of the warm band round it (m): the strip itself, which gives heat to the side.
    pub band_m: f64,
    /// How far above the dew point it is held (K).
    pub margin_k: f64,
    /// Share of the sky that the surface sees (0..1); a dew shield takes most of it away.
    pub sky_view: f64,
    /// Whether a controller gives it just the power it needs. Without one it takes what its setting
    /// gives, and can only be asked whether that is enough.
    pub controlled: bool,
}

impl DewHeater {
    /// Heat (W) that holds the surface its margin above the dew point, from balance of convection
    /// and radiation; 0 where it stays warm enough by itself.
    ///
    /// Convection h = 2.8 + 3.0·v W/(m²·K) (Watmuff, Charters & Proctor 1977, *Solar and wind
    /// induced external coefficients*); sky emissivity of Berdahl & Martin (1984); clouds radiate
    /// as a black body at air temperature; the band sees half sky, half ground at air temperature.
    #[must_use]
    pub fn power_w(&self, conditions: &Conditions) -> f64 {
        let surface_c = conditions.dew_point_c + self.margin_k;
        let disc_m2 = std::f64::consts::FRAC_PI_4 * self.aperture_m * self.aperture_m;
        let band_m2 = std::f64::consts::PI * self.aperture_m * self.band_m;
        let heat_w = disc_m2 * loss_w_m2(surface_c, self.sky_view, conditions)
            + band_m2 * loss_w_m2(surface_c, 0.5, conditions);
        heat_w.max(0.0)
    }
}

/// Heat a warm surface loses (W/m²), seeing so much sky and for the rest things at air temperature.
fn loss_w_m2(surface_c: f64, sky_view: f64, conditions: &Conditions) -> f64 {
    let (surface_k, air_k) = (surface_c + ZERO_C_K, conditions.air_c + ZERO_C_K);
    let clear = clear_sky_emissivity(conditions.dew_point_c);
    let sky = clear + (1.0 - clear) * conditions.cloud.clamp(0.0, 1.0);
    let around = 1.0 - sky_view * (1.0 - sky);
    let convection = (2.8 + 3.0 * conditions.wind_m_s.max(0.0)) * (surface_k - air_k);
    convection + GLASS * SIGMA * (surface_k.powi(4) - around * air_k.powi(4))
}

/// Emissivity of a clear night sky from the dew point (°C): Berdahl & Martin 1984, *Emissivity of
/// clear skies*, Solar Energy 32, 663, without the small terms for the hour and the pressure.
fn clear_sky_emissivity(dew_point_c: f64) -> f64 {
    let x = dew_point_c / 100.0;
    (0.711 + x * (0.56 + 0.73 * x)).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    const NIGHT: Conditions =
        Conditions { air_c: 5.0, dew_point_c: 3.0, wind_m_s: 1.0, cloud: 0.0 };
    const PLATE: DewHeater =
        DewHeater { aperture_m: 0.2, band_m: 0.05, margin_k: 2.0, sky_view: 1.0, controlled: true };

    #[test]
    fn a_200_mm_plate_by_hand() {
        // docs/rig.md: surface at air temperature, so radiation alone. ε = 0.7285,
        // σT⁴ = 339.42 W/m²; disc 31.42e-3 m² × 0.9 × 339.42 × 0.2715 = 2.606 W,
        // band 31.42e-3 m² × half of that view = 1.303 W
        let found = PLATE.power_w(&NIGHT);
        assert!((found - 3.909).abs() < 0.005, "{found}");
    }

    #[test]
    fn wind_cold_and_clear_skies_cost_and_shields_save() {
        let power = |plate: DewHeater, night: Conditions| plate.power_w(&night);
        let base = power(PLATE, NIGHT);
        assert!(power(DewHeater { margin_k: 4.0, ..PLATE }, NIGHT) > base);
        assert!(power(DewHeater { sky_view: 0.3, ..PLATE }, NIGHT) < base);
        assert!(power(PLATE, Conditions { cloud: 1.0, ..NIGHT }) < 0.01);
        // dry air: the plate never comes near its dew point by itself
        assert_eq!(power(PLATE, Conditions { dew_point_c: -20.0, ..NIGHT }), 0.0);
        let warm = DewHeater { margin_k: 5.0, ..PLATE };
        assert!(power(warm, Conditions { wind_m_s: 5.0, ..NIGHT }) > power(warm, NIGHT));
    }
}
