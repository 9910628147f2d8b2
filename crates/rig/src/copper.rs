//! Resistance of copper wire.

use crate::RigError;
use crate::device::Fuse;
use quantity::{Kind, wire};
use std::str::FromStr;

/// Resistivity of annealed copper of 100 % IACS at 20 °C, Ω·mm²/km: IEC 60028 sets 1/58 Ω·mm²/m.
const IACS_OHM_MM2_KM: f64 = 1000.0 / 58.0;
/// Change of that resistance with temperature at 20 °C, 1/K (IEC 60028).
const PER_KELVIN: f64 = 0.003_93;

/// Density of copper at 20 °C, g/cm³ (CRC Handbook of Chemistry and Physics, physical constants of
/// inorganic compounds). Copper drawn to wire and annealed has 8.89 (IEC 60028), a hundredth less.
const DENSITY_G_CM3: f64 = 8.96;

/// IEC 60228 table 3, class 5 (flexible), plain copper: nominal section (mm²) and the greatest
/// resistance at 20 °C (Ω/km) a conductor of that name may have.
pub(crate) const FLEXIBLE_OHM_KM: [(f64, f64); 18] = [
    (0.5, 39.0),
    (0.75, 26.0),
    (1.0, 19.5),
    (1.5, 13.3),
    (2.5, 7.98),
    (4.0, 4.95),
    (6.0, 3.30),
    (10.0, 1.91),
    (16.0, 1.21),
    (25.0, 0.780),
    (35.0, 0.554),
    (50.0, 0.386),
    (70.0, 0.272),
    (95.0, 0.206),
    (120.0, 0.161),
    (150.0, 0.129),
    (185.0, 0.106),
    (240.0, 0.0801),
];

/// How thick a conductor is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Section {
    /// American wire gauge; 0 is 0, 00 is -1, 0000 is -3.
    Awg(i32),
    /// Nominal section (mm²) of a flexible conductor.
    Mm2(f64),
}

impl Section {
    /// Area of the conductor (mm²).
    #[must_use]
    pub fn mm2(self) -> f64 {
        match self {
            Section::Awg(gauge) => wire::awg_mm2(gauge),
            Section::Mm2(mm2) => mm2,
        }
    }

    /// Resistance of one conductor at 20 °C (Ω/km).
    ///
    /// A gauge: the area of ASTM B258 at 100 % IACS. A section in mm²: the greatest resistance
    /// IEC 60228 allows a flexible conductor (class 5) of that name, which is more than its area
    /// says; between the names of the standard, in equal ratios.
    #[must_use]
    pub fn ohm_km(self) -> f64 {
        match self {
            Section::Awg(_) => IACS_OHM_MM2_KM / self.mm2(),
            Section::Mm2(mm2) => flexible_ohm_km(mm2),
        }
    }

    /// The next thicker size one can buy: every second gauge to 4/0, or the next name of
    /// IEC 60228; none above.
    #[must_use]
    pub fn thicker(self) -> Option<Section> {
        match self {
            Section::Awg(gauge) => {
                // below 0 each size is made
                let next = if gauge > 0 { (gauge - 1) / 2 * 2 } else { gauge - 1 };
                wire::GAUGES.contains(&next).then_some(Section::Awg(next))
            }
            Section::Mm2(mm2) => FLEXIBLE_OHM_KM
                .iter()
                .find(|(name, _)| *name > mm2)
                .map(|&(name, _)| Section::Mm2(name)),
        }
    }

    fn is_possible(self) -> bool {
        match self {
            Section::Awg(gauge) => wire::GAUGES.contains(&gauge),
            Section::Mm2(mm2) => Kind::WireArea.range().contains(&mm2),
        }
    }
}

fn flexible_ohm_km(mm2: f64) -> f64 {
    let above = FLEXIBLE_OHM_KM.iter().position(|&(name, _)| name >= mm2);
    let at = |(name, ohm): (f64, f64)| ohm * name / mm2;
    match above {
        Some(0) => at(FLEXIBLE_OHM_KM[0]),
        None => at(FLEXIBLE_OHM_KM[FLEXIBLE_OHM_KM.len() - 1]),
        Some(k) => {
            let ((a, ra), (b, rb)) = (FLEXIBLE_OHM_KM[k - 1], FLEXIBLE_OHM_KM[k]);
            if mm2 == b { rb } else { ra * (rb / ra).powf((mm2 / a).ln() / (b / a).ln()) }
        }
    }
}

impl FromStr for Section {
    type Err = quantity::ReadError;

    /// Reads "16 AWG" or "2.5 mm²".
    fn from_str(text: &str) -> Result<Section, Self::Err> {
        match wire::read_awg(text) {
            Some(gauge) => Ok(Section::Awg(gauge)),
            None => Kind::WireArea.read(text).map(Section::Mm2),
        }
    }
}

impl std::fmt::Display for Section {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Section::Awg(gauge) => f.write_str(&wire::show_awg(*gauge)),
            Section::Mm2(mm2) => f.write_str(&Kind::WireArea.show(*mm2)),
        }
    }
}

/// A pair of copper conductors, there and back.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cable {
    /// Thickness of each conductor.
    pub section: Section,
    /// Length one way (m); the current runs it twice.
    pub length_m: f64,
    /// Temperature of the copper (°C).
    pub copper_c: f64,
}

impl Cable {
    /// A cable at 20 °C, the temperature wire tables speak of.
    #[must_use]
    pub fn new(section: Section, length_m: f64) -> Cable {
        Cable { section, length_m, copper_c: 20.0 }
    }

    /// Resistance of both leads (Ω) at the temperature of the copper.
    #[must_use]
    pub fn ohm(&self) -> f64 {
        let per_m = self.section.ohm_km() / 1000.0;
        2.0 * self.length_m * per_m * (1.0 + PER_KELVIN * (self.copper_c - 20.0))
    }

    /// Mass of the copper of both leads (kg), without insulation and sheath, by its nominal
    /// section.
    #[must_use]
    pub fn copper_kg(&self) -> f64 {
        // 1 mm² over 1 m is 1 cm³
        2.0 * self.length_m * self.section.mm2() * DENSITY_G_CM3 / 1000.0
    }
}

/// What lies between one point of the rig and the next.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Wire {
    /// The cable; none where a device is plugged in directly.
    pub cable: Option<Cable>,
    /// Resistance of connectors, fuse and switch together (Ω).
    pub connectors_ohm: f64,
    /// The fuse at its beginning.
    pub fuse: Option<Fuse>,
}

impl Wire {
    /// A cable alone.
    #[must_use]
    pub fn cable(section: Section, length_m: f64) -> Wire {
        Wire { cable: Some(Cable::new(section, length_m)), ..Wire::default() }
    }

    /// A wire known only by its resistance there and back (Ω).
    #[must_use]
    pub fn resistance(ohm: f64) -> Wire {
        Wire { connectors_ohm: ohm, ..Wire::default() }
    }

    /// Resistance there and back (Ω).
    #[must_use]
    pub fn ohm(&self) -> f64 {
        self.connectors_ohm + self.cable.map_or(0.0, |cable| cable.ohm())
    }

    pub(crate) fn check(&self, name: &str) -> Result<(), RigError> {
        let whose = || name.to_owned();
        if let Some(cable) = self.cable {
            if !(cable.length_m > 0.0 && cable.length_m.is_finite()) {
                return Err(RigError::Length { name: whose(), length_m: cable.length_m });
            }
            if !cable.section.is_possible() {
                return Err(RigError::Section { name: whose(), section: cable.section });
            }
            if !Kind::Temperature.range().contains(&cable.copper_c) {
                return Err(RigError::CopperTemperature {
                    name: whose(),
                    copper_c: cable.copper_c,
                });
            }
        }
        if !(self.connectors_ohm >= 0.0 && self.connectors_ohm.is_finite()) {
            return Err(RigError::Connectors { name: whose(), ohm: self.connectors_ohm });
        }
        if let Some(fuse) = self.fuse
            && !(fuse.rated_a > 0.0 && fuse.rated_a.is_finite() && fuse.distance_m >= 0.0)
        {
            return Err(RigError::Fuse { name: whose(), rated_a: fuse.rated_a });
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn copper_weighs_what_its_volume_says() {
        // 2 × 10 m of 2.5 mm² are 50 cm³
        let cable = Cable::new(Section::Mm2(2.5), 10.0);
        assert!((cable.copper_kg() - 0.448).abs() < 1e-9, "{} kg", cable.copper_kg());
        // wire tables have 19.77 lb per 1000 ft of a bare 12 AWG conductor (ASTM B258 at 8.89 g/cm³,
        // from memory): 29.4 kg/km
        let gauge = Cable::new(Section::Awg(12), 500.0).copper_kg();
        assert!((gauge / 29.42 - 1.0).abs() < 0.01, "{gauge} kg");
    }

    #[test]
    fn sizes_one_can_buy() {
        for (text, thicker) in [
            ("18 AWG", Some("16 AWG")),
            ("17 AWG", Some("16 AWG")),
            ("2 AWG", Some("0 AWG")),
            ("0 AWG", Some("2/0 AWG")),
            ("4/0 AWG", None),
            ("1.5 mm²", Some("2.5 mm²")),
            ("2 mm²", Some("2.5 mm²")),
            ("240 mm²", None),
        ] {
            let found = text.parse::<Section>().unwrap().thicker();
            assert_eq!(found.map(|s| s.to_string()).as_deref(), thicker, "{text}");
        }
    }
}
