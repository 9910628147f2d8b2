//! Wire gauges.

/// The least and the greatest gauge number that ASTM B258 gives a diameter for: 0000 is -3.
pub const GAUGES: std::ops::RangeInclusive<i32> = -3..=56;

/// Cross-section of a solid round conductor of an American wire gauge, in mm².
///
/// ASTM B258: the diameter is 0.005 in at gauge 36 and 0.46 in at 0000, in equal ratios between.
/// `gauge` counts 0 as 0, 00 as -1, 000 as -2, 0000 as -3.
#[must_use]
pub fn awg_mm2(gauge: i32) -> f64 {
    let diameter_mm = 0.127 * 92f64.powf(f64::from(36 - gauge) / 39.0);
    std::f64::consts::FRAC_PI_4 * diameter_mm * diameter_mm
}

/// Reads "14 AWG", "AWG 14", "14AWG", "2/0 AWG", "00 AWG" as a gauge number; none if it is none.
#[must_use]
pub fn read_awg(text: &str) -> Option<i32> {
    let lower = text.trim().to_ascii_lowercase();
    let size = lower
        .strip_suffix("awg")
        .or_else(|| lower.strip_prefix("awg"))
        .or_else(|| lower.strip_suffix("ga"))?
        .trim()
        .trim_start_matches('#');
    if let Some(noughts) = size.strip_suffix("/0") {
        let count: i32 = noughts.trim().parse().ok()?;
        return (1..=4).contains(&count).then_some(1 - count);
    }
    if size.len() > 1 && size.bytes().all(|b| b == b'0') {
        return (size.len() <= 4).then(|| 1 - size.len() as i32);
    }
    let gauge: i32 = size.parse().ok()?;
    (0..=*GAUGES.end()).contains(&gauge).then_some(gauge)
}

/// A gauge as people write it: "14 AWG", "2/0 AWG".
#[must_use]
pub fn show_awg(gauge: i32) -> String {
    if gauge < 0 { format!("{}/0 AWG", 1 - gauge) } else { format!("{gauge} AWG") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gauges() {
        for (text, gauge) in [
            ("14 AWG", 14),
            ("AWG 14", 14),
            ("14awg", 14),
            ("2/0 AWG", -1),
            ("00 AWG", -1),
            ("0 AWG", 0),
            ("4/0 awg", -3),
        ] {
            assert_eq!(read_awg(text), Some(gauge), "{text}");
        }
        for text in ["AWG", "99 AWG", "5/0 AWG", "2.5 mm²", "-4 AWG"] {
            assert_eq!(read_awg(text), None, "{text}");
        }
    }

    #[test]
    fn sections_as_astm_b258_prints_them() {
        // ASTM B258-18 table 1, diameters in mm (from memory): 10 AWG 2.588, 14 AWG 1.628, 36 AWG 0.127, 4/0 11.684
        for (gauge, diameter_mm) in [(10, 2.588), (14, 1.628), (36, 0.127), (-3, 11.684)] {
            let found = (awg_mm2(gauge) / std::f64::consts::FRAC_PI_4).sqrt();
            assert!((found - diameter_mm).abs() < 0.0006, "{gauge} AWG: {found} mm");
        }
    }
}
