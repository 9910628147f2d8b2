//! Noise-free runs of an electrochemical model with exact integrals.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod common;

use bench::{PhaseKind, Run, RunKind, Settings, measure};
use common::{assert_within, json, number, truth};

/// The files are thinned to a few thousand rows: straight lines between them miss this much.
const THINNED: f64 = 2e-4;

fn runs(name: &str, settings: &Settings) -> Vec<Run> {
    measure(&truth(&format!("bench/{name}.csv")), settings).unwrap()
}

#[test]
fn discharges() {
    let all = json("bench/truth.json");
    for (name, expected) in all.as_object().unwrap() {
        if !name.contains("discharge") {
            continue;
        }
        for cutoff_v in [12.0, 11.5] {
            let settings = Settings { cutoff_v, ..Settings::default() };
            let runs = runs(&format!("truth/{name}"), &settings);
            assert_eq!(runs.len(), 1, "{name}");
            assert_eq!(runs[0].kind, RunKind::Discharge, "{name}");
            let got = runs[0].discharge.as_ref().unwrap();
            let close = |what: &str, value: f64, key: &str| {
                let expected = number(expected, key);
                assert_within(&format!("{name}: {what}"), value, expected, THINNED * expected);
            };
            close("Ah", got.capacity_ah, "capacity_ah");
            close("Wh", got.energy_wh, "energy_wh");
            close("s", got.duration_s, "duration_s");
            close("V", got.mean_voltage_v, "mean_voltage_v");
            close("share", got.above_cutoff.share, &format!("share_above_{cutoff_v:.1}"));
            close("Ah above", got.above_cutoff.capacity_ah, &format!("ah_above_{cutoff_v:.1}"));
            close("Wh above", got.above_cutoff.energy_wh, &format!("wh_above_{cutoff_v:.1}"));
            assert!(got.curve.len() <= 1000, "{name}: {}", got.curve.len());
        }
    }
}

#[test]
fn cycles() {
    let all = json("bench/more/truth.json");
    for (name, kinds) in [
        ("pack-f-cycle", vec![RunKind::Discharge, RunKind::Recharge]),
        ("pack-g-cycle", vec![RunKind::Discharge, RunKind::Recharge]),
        ("pack-g-closed-cycle", vec![RunKind::Discharge, RunKind::Recharge, RunKind::Discharge]),
    ] {
        let expected = &all[name];
        let runs = runs(&format!("more/truth/{name}"), &Settings::default());
        assert_eq!(runs.iter().map(|run| run.kind).collect::<Vec<_>>(), kinds, "{name}");
        let recharge = runs[1].recharge.as_ref().unwrap();
        let efficiency = recharge.efficiency.unwrap();
        for (what, got, key) in
            [("Ah", recharge.charge_ah, "charged_ah"), ("Wh", recharge.energy_wh, "charged_wh")]
        {
            let expected = number(expected, key);
            assert_within(&format!("{name}: {what}"), got, expected, THINNED * expected);
        }
        for (got, key) in [
            (efficiency.coulombic, "coulombic_efficiency"),
            (efficiency.energy, "energy_efficiency"),
        ] {
            assert_within(&format!("{name}: {key}"), got, number(expected, key), THINNED);
        }
        let warned = runs[1].notices.iter().any(|notice| notice.contains("more charge came out"));
        assert_eq!(warned, number(expected, "coulombic_efficiency") > 1.0, "{name}");

        // every phase of the reference, in order, by its charge and its span
        let phases: Vec<_> = runs.iter().flat_map(|run| &run.phases).collect();
        let steps = expected["phases"].as_array().unwrap();
        assert_eq!(phases.len(), steps.len(), "{name}: {phases:?}");
        for (got, step) in phases.iter().zip(steps) {
            let [from_s, to_s, ah] = ["from_s", "to_s", "ah"].map(|key| number(step, key));
            assert_within(&format!("{name}: from"), got.from_s, from_s, 1.0);
            assert_within(&format!("{name}: to"), got.to_s, to_s, 1.0);
            assert_within(&format!("{name}: {:?}", got.kind), got.ah, ah, 1e-3 * ah.abs() + 1e-6);
        }
        let cv = phases.iter().any(|phase| phase.kind == PhaseKind::ConstantVoltage);
        assert_eq!(cv, name.contains("pack-g"), "the protection of pack-f ends its charge: no CV");
    }
}

/// Thinned voltages are linear between rows to this much over the step (5 µV on 3 A).
const THINNED_OHM: f64 = 2e-5;

#[test]
fn resistance_of_pulses_at_three_delays() {
    let first = json("bench/pulses.json");
    let second = json("bench/more/truth.json");
    for (name, reference) in
        [("truth/pack-a-pulses", &first), ("more/truth/pack-g-pulses", &second["pack-g-pulses"])]
    {
        let rated_ah = Some(number(reference, "soc_reference_ah"));
        for (delay_s, key) in [(0.0, "ohm_0s"), (1.0, "ohm_1s"), (10.0, "ohm_10s")] {
            let runs = runs(name, &Settings { delay_s, rated_ah, ..Settings::default() });
            assert_eq!(runs.len(), 1, "{name}");
            assert_eq!(runs[0].kind, RunKind::Pulses, "{name}");
            let mut compared = 0;
            for pulse in reference["pulses"].as_array().unwrap() {
                let Some(expected) = pulse[key].as_f64() else { continue };
                let at_s = number(pulse, "at_s");
                let got = runs[0].resistances.iter().find(|got| (got.at_s - at_s).abs() < 0.5);
                let got = got.unwrap_or_else(|| panic!("{name}: no step at {at_s} s"));
                assert_within(&format!("{name} {at_s} s {key}"), got.ohm, expected, THINNED_OHM);
                assert_within("soc", got.soc.unwrap(), number(pulse, "soc"), 1e-4);
                compared += 1;
            }
            assert!(compared >= 40, "{name} {key}: {compared}");
        }
    }
}

#[test]
fn nights_and_levels() {
    let all = json("bench/more/truth.json");
    let levels = [("pack-g-nights", [0.8, 1.92], 3), ("pack-h-night", [0.6, 1.5], 1)];
    for (name, amperes, nights) in levels {
        let runs = runs(&format!("more/truth/{name}"), &Settings::default());
        assert_eq!(runs.len(), 1, "{name}");
        assert_eq!(runs[0].kind, RunKind::Field, "{name}");
        let field = runs[0].field.as_ref().unwrap();
        assert_eq!(field.nights.len(), nights, "{name}");
        assert_eq!(field.levels.len(), 2, "{name}: {:?}", field.levels);
        // fifty minutes of the hour at the low level, ten at the high one
        for ((level, current_a), share) in
            field.levels.iter().zip(amperes).zip([5.0 / 6.0, 1.0 / 6.0])
        {
            assert_within(name, level.current_a, current_a, 1e-3);
            assert_within(name, level.share_of_time, share, 1e-3);
        }
        let energy_wh: f64 = field.nights.iter().map(|night| night.energy_wh).sum();
        let expected = number(&all[name], "energy_wh");
        assert_within(name, energy_wh, expected, THINNED * expected);
    }
}
