//! Copper against the tables of the standards.

use rig::{Cable, Section};

/// IEC 60228:2004 table 3, class 5, plain copper, Ω/km at 20 °C as printed (also GB/T 3956).
const CLASS_5: [(f64, &str); 18] = [
    (0.5, "39.0"),
    (0.75, "26.0"),
    (1.0, "19.5"),
    (1.5, "13.3"),
    (2.5, "7.98"),
    (4.0, "4.95"),
    (6.0, "3.30"),
    (10.0, "1.91"),
    (16.0, "1.21"),
    (25.0, "0.780"),
    (35.0, "0.554"),
    (50.0, "0.386"),
    (70.0, "0.272"),
    (95.0, "0.206"),
    (120.0, "0.161"),
    (150.0, "0.129"),
    (185.0, "0.106"),
    (240.0, "0.0801"),
];

/// Solid annealed copper at 20 °C, Ω per 1000 ft as wire tables after NBS Handbook 100 (which
/// prints the sizes of ASTM B258) give it.
const PER_1000_FT: [(i32, &str); 14] = [
    (12, "1.588"),
    (13, "2.003"),
    (14, "2.525"),
    (15, "3.184"),
    (16, "4.016"),
    (17, "5.064"),
    (18, "6.385"),
    (19, "8.051"),
    (20, "10.15"),
    (22, "16.14"),
    (24, "25.67"),
    (26, "40.81"),
    (28, "64.90"),
    (30, "103.2"),
];

#[track_caller]
fn check(section: Section, value: f64, printed: &str) {
    let decimals = printed.split_once('.').map_or(0, |(_, digits)| digits.len());
    assert_eq!(format!("{value:.decimals$}"), printed, "{section}");
}

#[test]
fn sections_of_iec_60228() {
    for (mm2, printed) in CLASS_5 {
        let section = Section::Mm2(mm2);
        check(section, section.ohm_km(), printed);
    }
}

#[test]
fn gauges_of_astm_b258() {
    for (gauge, printed) in PER_1000_FT {
        let section = Section::Awg(gauge);
        check(section, section.ohm_km() * 0.3048, printed);
    }
}

#[test]
fn between_the_names_resistance_only_falls() {
    let mut last = f64::INFINITY;
    for step in 0..2000 {
        let mm2 = 0.05 * 1.005_f64.powi(step);
        let ohm_km = Section::Mm2(mm2).ohm_km();
        assert!(ohm_km < last, "{mm2} mm²");
        assert!(ohm_km > 17.241 / mm2, "{mm2} mm²: better than pure copper");
        last = ohm_km;
    }
}

#[test]
fn both_leads_and_their_temperature_count() {
    // 2 m of 2.5 mm² there and back: 4 m of 7.98 mΩ/m
    let mut cable = Cable::new(Section::Mm2(2.5), 2.0);
    assert!((cable.ohm() - 0.031_92).abs() < 1e-12);
    // IEC 60228 annex: from 20 to 45 °C the table's factor is 1/0.911 (0.003 93/K: 1.0983)
    cable.copper_c = 45.0;
    assert!((cable.ohm() / 0.031_92 - 1.098_25).abs() < 1e-9);
}
