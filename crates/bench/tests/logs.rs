//! Logs as meters, loads and people write them, against what a right reading gives.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod common;

use bench::{Run, RunKind, Settings, measure};
use common::{assert_within, json, number, path};
use record::{ReadOptions, read_file};
use serde_json::Value;

fn runs(file: &str, settings: &Settings) -> Vec<Run> {
    let record =
        read_file(std::path::Path::new(&path(file)), &ReadOptions::default(), |_, _| {}).unwrap();
    measure(&record, settings).unwrap()
}

fn check_discharge(file: &str, runs: &[Run], expected: &Value) -> Vec<String> {
    let mut wrong = Vec::new();
    let Some(got) = runs[0].discharge.as_ref().filter(|_| runs[0].kind == RunKind::Discharge)
    else {
        return vec![format!("{file}: {:?}", runs[0].kind)];
    };
    for (what, value, key, tolerance) in [
        ("Ah", got.capacity_ah, "capacity_ah", "capacity_tol_ah"),
        ("Wh", got.energy_wh, "energy_wh", "energy_tol_wh"),
        ("s", got.duration_s, "duration_s", "duration_tol_s"),
        ("share", got.above_cutoff.share, "share_above_cutoff", "share_tol"),
    ] {
        let (expected, tolerance) = (number(expected, key), number(expected, tolerance));
        if (value - expected).abs() > tolerance {
            wrong.push(format!("{file}: {what} {value}, expected {expected} ± {tolerance}"));
        }
    }
    wrong
}

#[test]
fn discharges() {
    let mut wrong = Vec::new();
    let mut checked = 0;
    for folder in ["bench", "bench/more", "bench/climate", "bench/series"] {
        for (file, expected) in json(&format!("{folder}/expected.json")).as_object().unwrap() {
            if expected["kind"] != "discharge" {
                continue;
            }
            let runs = runs(&format!("{folder}/logs/{file}"), &Settings::default());
            wrong.extend(check_discharge(file, &runs, expected));
            checked += 1;
        }
    }
    assert!(wrong.is_empty(), "{} of {checked}:\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn the_phase_sums_are_the_whole() {
    for file in
        ["bench/climate/logs/l03-coarse-display.csv", "bench/more/logs/c01-cycle-signed.csv"]
    {
        for run in runs(file, &Settings::default()) {
            let of_phases: f64 = run.phases.iter().map(|phase| phase.ah).sum();
            let whole = match (&run.discharge, &run.recharge) {
                (Some(discharge), None) => discharge.capacity_ah,
                (None, Some(recharge)) => -recharge.charge_ah,
                _ => panic!("{file}: {:?}", run.kind),
            };
            assert_within(file, of_phases, whole, 1e-9);
        }
    }
}

#[test]
fn recharges_and_cycles() {
    let first = json("bench/expected.json");
    let more = json("bench/more/expected.json");
    let check = |file: &str, run: &Run, expected: &Value| {
        assert_eq!(run.kind, RunKind::Recharge, "{file}");
        let got = run.recharge.as_ref().unwrap();
        let close = |what, value, key, tolerance| {
            assert_within(
                &format!("{file}: {what}"),
                value,
                number(expected, key),
                number(expected, tolerance),
            );
        };
        close("Ah", got.charge_ah, "capacity_ah", "capacity_tol_ah");
        close("Wh", got.energy_wh, "energy_wh", "energy_tol_wh");
        close("cc", got.cc_s, "cc_s", "cc_tol_s");
        let tolerance_s = expected["cv_tol_s"].as_f64().unwrap_or(60.0);
        assert_within(&format!("{file}: cv"), got.cv_s, number(expected, "cv_s"), tolerance_s);
    };
    let alone = runs("bench/logs/a14-recharge.csv", &Settings::default());
    assert_eq!(alone.len(), 1);
    check("a14", &alone[0], &first["a14-recharge.csv"]);
    for file in ["c01-cycle-signed.csv", "c02-cycle-unsigned.csv"] {
        let runs = runs(&format!("bench/more/logs/{file}"), &Settings::default());
        assert_eq!(runs.len(), 2, "{file}");
        check(file, &runs[1], &more[file]["recharge"]);
        let efficiency = runs[1].recharge.as_ref().unwrap().efficiency.unwrap();
        let tolerance = number(&more[file], "efficiency_tol");
        let coulombic = number(&more[file], "coulombic_efficiency");
        assert_within(file, efficiency.coulombic, coulombic, tolerance);
        assert_within(file, efficiency.energy, number(&more[file], "energy_efficiency"), tolerance);
    }
}

#[test]
fn a_closed_cycle_between_two_discharges() {
    let all = json("bench/more/expected_pulses_field.json");
    let expected = &all["c10-closed-cycle.csv"];
    let runs = runs("bench/more/logs/c10-closed-cycle.csv", &Settings::default());
    let kinds: Vec<RunKind> = runs.iter().map(|run| run.kind).collect();
    assert_eq!(kinds, [RunKind::Discharge, RunKind::Recharge, RunKind::Discharge]);
    let (relative, time_s) = (number(expected, "rel_tol"), number(expected, "time_tol_s"));
    for (run, expected) in
        [(&runs[0], &expected["discharges"][0]), (&runs[2], &expected["discharges"][1])]
    {
        let got = run.discharge.as_ref().unwrap();
        let [ah, wh, from_s, to_s] =
            ["ah", "wh", "from_s", "to_s"].map(|key| number(expected, key));
        assert_within("Ah", got.capacity_ah, ah, relative * ah);
        assert_within("Wh", got.energy_wh, wh, relative * wh);
        assert_within("from", run.from_s, from_s, time_s);
        assert_within("to", run.to_s, to_s, time_s);
    }
    let recharge = runs[1].recharge.as_ref().unwrap();
    let expected_recharge = &expected["recharges"][0];
    assert_within("cc", recharge.cc_s, number(expected_recharge, "cc_s"), time_s);
    assert_within("cv", recharge.cv_s, number(expected_recharge, "cv_s"), time_s);
    let efficiency = recharge.efficiency.unwrap();
    let tolerance = number(expected, "efficiency_tol");
    let close = |got, key| assert_within(key, got, number(expected, key), tolerance);
    close(efficiency.coulombic, "coulombic_efficiency");
    close(efficiency.energy, "energy_efficiency");
    // 1 within its own interval: no warning of an open cycle
    assert!((efficiency.coulombic - 1.0).abs() <= efficiency.coulombic_u, "{efficiency:?}");
    assert!(!runs[1].notices.iter().any(|notice| notice.contains("no closed cycle")));
}

#[test]
fn resistance_of_pulses() {
    let all = json("bench/more/expected_pulses_field.json");
    let file = "bench/more/logs/c03-pulses.csv";
    // the capacity the reference counts its state of charge by (C/20 of that pack)
    let rated_ah =
        Some(number(&json("bench/more/truth.json")["pack-g-pulses"], "soc_reference_ah"));
    let runs = runs(file, &Settings { rated_ah, ..Settings::default() });
    assert_eq!(runs.len(), 1);
    assert_eq!(runs[0].kind, RunKind::Pulses);
    for pulse in all["c03-pulses.csv"]["resistance"].as_array().unwrap() {
        let at_s = number(pulse, "at_s");
        let got = runs[0].resistances.iter().find(|got| (got.at_s - at_s).abs() <= 1.0).unwrap();
        assert_within("Ω", got.ohm, number(pulse, "ohm_10s"), number(pulse, "tol_ohm"));
        assert_within("A", got.step_a, number(pulse, "step_A"), 0.011);
        assert_within("SoC", got.soc.unwrap(), number(pulse, "soc"), 0.001);
        // the stated interval covers the difference
        assert!((got.ohm - number(pulse, "ohm_10s")).abs() <= got.u_ohm, "{got:?} {pulse}");
    }
}

#[test]
fn nights_in_the_field() {
    let all = json("bench/more/expected_pulses_field.json");
    let expected = &all["c08-nights.csv"];
    let runs = runs("bench/more/logs/c08-nights.csv", &Settings::default());
    assert_eq!(runs.len(), 1);
    assert_eq!(runs[0].kind, RunKind::Field);
    let field = runs[0].field.as_ref().unwrap();
    let nights = expected["nights"].as_array().unwrap();
    assert_eq!(field.nights.len(), nights.len());
    let relative = number(expected, "rel_tol");
    for (got, expected) in field.nights.iter().zip(nights) {
        let [wh, mean_w] = ["wh", "mean_w"].map(|key| number(expected, key));
        assert_within("Wh", got.energy_wh, wh, relative * wh);
        assert_within("W", got.mean_power_w, mean_w, relative * mean_w);
        // one-minute means
        assert_within("from", got.from_s, number(expected, "from_s"), 60.0);
        assert_within("to", got.to_s, number(expected, "to_s"), 60.0);
    }
    for (nth, level) in field.levels.iter().enumerate() {
        assert_within("level", level.current_a, expected["levels_A"][nth].as_f64().unwrap(), 0.002);
        let share = expected["levels_share_of_time"][nth].as_f64().unwrap();
        // a minute in an hour
        assert_within("share of time", level.share_of_time, share, 1.0 / 60.0);
    }
    assert_eq!(field.levels.len(), 2);
}

#[test]
fn what_is_odd_is_said() {
    let notices = |file: &str| runs(file, &Settings::default())[0].notices.join("\n");
    let zero = notices("bench/more/logs/c07-zero-offset.csv");
    assert!(zero.contains("shows 0.06 A with nothing connected"), "{zero}");
    let gap = notices("bench/logs/a09-noise-gap.csv");
    assert!(gap.contains("20 min without readings"), "{gap}");
    let counter = notices("bench/climate/logs/l03-coarse-display.csv");
    assert!(counter.contains("21.00 Ah counted, 22.00 Ah by the readings"), "{counter}");
}
