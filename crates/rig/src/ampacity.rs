//! How much current a wire carries without overheating.

use crate::Section;

/// Section (mm²) and greatest current (A), in rising order.
///
/// Gauges: 33 CFR 183.425 table 5, conductors with 60 °C insulation in air of up to 30 °C, the most
/// cautious column. Metric sections to 4 mm²: ratings of PVC flexible cords after BS 7671 table
/// 4F3A. The two agree where they meet.
const TABLE: [(f64, f64); 20] = [
    (0.5, 3.0),
    (0.75, 6.0),
    (0.823, 10.0), // 18 AWG
    (1.0, 10.0),
    (1.25, 13.0),
    (1.309, 15.0), // 16 AWG
    (1.5, 15.0),
    (2.08, 20.0), // 14 AWG
    (2.5, 20.0),
    (3.31, 25.0), // 12 AWG
    (4.0, 25.0),
    (5.26, 40.0),   // 10 AWG
    (8.37, 55.0),   // 8 AWG
    (13.3, 80.0),   // 6 AWG
    (21.15, 105.0), // 4 AWG
    (33.6, 140.0),  // 2 AWG
    (42.4, 165.0),  // 1 AWG
    (53.5, 195.0),  // 1/0 AWG
    (67.4, 225.0),  // 2/0 AWG
    (107.2, 300.0), // 4/0 AWG
];

/// Sections of the table are rounded; a wire this much thinner is still that size.
const ROUNDING: f64 = 0.995;

/// Greatest steady current (A) of a wire: that of the thickest size of the table it reaches. None
/// for wires thinner than 0.5 mm², which the table does not know.
///
/// A cautious guide for single cables in free air at up to 30 °C. Bundles, conduits and heat carry
/// less; the cable's maker and the local code have the last word.
#[must_use]
pub fn ampacity_a(section: Section) -> Option<f64> {
    let mm2 = section.mm2();
    TABLE.iter().rev().find(|(size, _)| mm2 >= size * ROUNDING).map(|&(_, amp)| amp)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gauges_as_33_cfr_183_425_prints_them() {
        let printed = [
            (18, 10.0),
            (16, 15.0),
            (14, 20.0),
            (12, 25.0),
            (10, 40.0),
            (8, 55.0),
            (6, 80.0),
            (4, 105.0),
            (2, 140.0),
            (1, 165.0),
            (0, 195.0),
            (-1, 225.0),
            (-3, 300.0),
        ];
        for (gauge, amp) in printed {
            assert_eq!(ampacity_a(Section::Awg(gauge)), Some(amp), "{gauge} AWG");
        }
    }

    #[test]
    fn thin_wires_are_not_guessed_and_thick_ones_carry_more() {
        assert_eq!(ampacity_a(Section::Awg(22)), None);
        assert_eq!(ampacity_a(Section::Awg(20)), Some(3.0));
        assert_eq!(ampacity_a(Section::Mm2(6.0)), Some(40.0));
        assert!(TABLE.windows(2).all(|pair| pair[0].0 < pair[1].0 && pair[0].1 <= pair[1].1));
    }
}
