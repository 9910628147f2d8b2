//! A pack survives being written and read, and what is wrong in a file is named.
#![allow(clippy::unwrap_used)] // a test may

mod common;
use common::truth;
use pack::fit::{Run, fit};
use pack::{Chemistry, Pack};

#[test]
fn comes_back_the_same() {
    for chemistry in Chemistry::ALL {
        let pack = Pack::typical(chemistry, 40.0).unwrap();
        let text = toml::to_string(&pack).unwrap();
        assert_eq!(toml::from_str::<Pack>(&text).unwrap(), pack, "{text}");
    }
    let samples = truth("bench/truth/pack-a-discharge-c20.csv");
    let runs = [Run { name: "c20", samples: &samples, from_full: true }];
    let pack = fit("a", Chemistry::Lfp, 40.0, &runs, &mut |_| {}).unwrap().pack;
    let text = toml::to_string(&pack).unwrap();
    assert!(text.contains("kind = \"measured\"") && text.contains("\"c20\""), "{text}");
    assert_eq!(toml::from_str::<Pack>(&text).unwrap(), pack);
}

const LEAST: &str = r#"
format = 1
name = "small"
rated_ah = 7.0
[provenance]
kind = "stated"
[circuit]
capacity_ah = 6.5
r0_ohm = 0.03
ocv = [[0.0, 10.5], [0.5, 12.1], [1.0, 12.8]]
"#;

#[test]
fn needs_little() {
    let pack: Pack = toml::from_str(LEAST).unwrap();
    assert_eq!(pack.circuit.charge_efficiency, 1.0);
    assert_eq!(pack.limits.undervoltage_v, None);
    assert!(pack.variants.is_empty());
}

#[test]
fn names_what_is_wrong() {
    for (from, to, word) in [
        ("format = 1", "format = 2", "format"),
        ("rated_ah = 7.0", "rated_ah = 0.0", "rated_ah"),
        ("rated_ah = 7.0", "rated = 7.0", "rated"),
        ("capacity_ah = 6.5", "capacity_ah = -1.0", "capacity_ah"),
        ("capacity_ah = 6.5", "capacity_ah = nan", "capacity_ah"),
        ("r0_ohm = 0.03", "r0_ohm = 0.03\nr1_ohm = 0.01", "c1_f"),
        ("r0_ohm = 0.03", "r0_ohm = -0.03", "r0_ohm"),
        ("[0.5, 12.1]", "[0.5, 13.1]", "below"),
        ("r0_ohm = 0.03", "r0_ohm = 0.03\ncharge_efficiency = 0.0", "charge_efficiency"),
        ("r0_ohm = 0.03", "r0_ohm = 0.03\nwells = { at_hand = 2.0, rate_per_s = 1.0 }", "at_hand"),
        ("name = \"small\"", "name = \"small\"\nchemistry = \"NiCd\"", "NiCd"),
    ] {
        let text = LEAST.replace(from, to);
        assert_ne!(text, LEAST);
        let error = toml::from_str::<Pack>(&text).unwrap_err().to_string();
        assert!(error.contains(word), "{to}: {error}");
    }
}

#[test]
fn the_form_in_the_documents_is_right() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../docs/pack.md");
    let text = std::fs::read_to_string(path).unwrap();
    let example = text.split("```toml").nth(1).unwrap().split("```").next().unwrap();
    let pack: Pack = toml::from_str(example).unwrap();
    assert_eq!(pack.chemistry, Some(Chemistry::Lfp));
    assert!(pack.limits.refuses_frost && pack.circuit.wells.is_some());
}
