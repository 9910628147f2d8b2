//! `tilldawn bench` on logs with known answers (`tests/reference/bench`).

use serde_json::Value;

use crate::support::{
    Ran, check_self_contained, close, folder, json, number, reference, reference_json, run,
};

/// Each log of a folder against what a right reading of it gives, within its stated tolerance.
#[track_caller]
fn check_logs(folder: &str) {
    let expected = reference_json(&format!("{folder}/expected.json"));
    for (name, expected) in expected.as_object().unwrap() {
        let path = reference(&format!("{folder}/logs/{name}"));
        let document = json(&["bench", path.to_str().unwrap()]);
        let kind = expected["kind"].as_str().unwrap();
        let runs = document["runs"].as_array().unwrap();
        let run = runs
            .iter()
            .find(|run| run["kind"] == kind)
            .unwrap_or_else(|| panic!("{name}: no {kind} in {runs:?}"));
        check_run(name, run, expected);
        if expected["recharge"].is_object() {
            let recharge = runs.iter().find(|run| run["kind"] == "recharge");
            let recharge = recharge.unwrap_or_else(|| panic!("{name}: no recharge"));
            check_run(name, recharge, &expected["recharge"]);
            let mut efficiency = expected.clone();
            efficiency.as_object_mut().unwrap().retain(|key, _| key.contains("efficiency"));
            check_charge(name, recharge, &efficiency);
        }
        let rows = &run["rows"];
        let aside: f64 = rows["set_aside"].as_object().unwrap().values().map(number).sum();
        assert_eq!(number(&rows["read"]), number(&rows["used"]) + aside, "{name}: rows");
    }
}

#[track_caller]
fn check_run(name: &str, run: &Value, expected: &Value) {
    let check = |key: &str, found: &str, tolerance: &str| {
        if let Some(value) = expected[key].as_f64() {
            close(
                &format!("{name}, {key}"),
                number(&run[found]),
                value,
                number(&expected[tolerance]),
            );
        }
    };
    check("capacity_ah", "capacity_ah", "capacity_tol_ah");
    check("energy_wh", "energy_wh", "energy_tol_wh");
    check("duration_s", "duration_s", "duration_tol_s");
    check("share_above_cutoff", "share_above_cutoff", "share_tol");
    if let Some(start) = expected["start"].as_str() {
        assert_eq!(run["start"], start, "{name}");
    }
    // not every log has a thermometer, and those that do show whole degrees at the coarsest
    let celsius = [run, expected].map(|of| of["mean_temperature_c"].as_f64());
    if let [Some(found), Some(expected)] = celsius {
        close(&format!("{name}, temperature"), found, expected, 0.5);
    }
    if run["kind"] == "recharge" {
        check_charge(name, run, expected);
    }
}

/// The parts of a recharge, and what came out over what went in.
#[track_caller]
fn check_charge(name: &str, run: &Value, expected: &Value) {
    let parts = [
        ("cc_s", "cc_tol_s"),
        ("cv_s", "cv_tol_s"),
        ("coulombic_efficiency", "efficiency_tol"),
        ("energy_efficiency", "efficiency_tol"),
    ];
    for (key, tolerance) in parts {
        let Some(value) = expected[key].as_f64() else { continue };
        // the first set states one tolerance for both parts
        let room = expected[tolerance].as_f64().unwrap_or_else(|| number(&expected["cc_tol_s"]));
        close(&format!("{name}, {key}"), number(&run["charge"][key]), value, room);
    }
}

#[test]
fn logs_as_meters_and_people_write_them() {
    check_logs("bench");
}

#[test]
fn cycles_notebooks_and_meters_that_err() {
    check_logs("bench/more");
}

#[test]
fn cold_and_heat() {
    check_logs("bench/climate");
}

#[test]
fn single_logs_of_a_series() {
    check_logs("bench/series");
}

#[test]
fn what_is_no_record_is_refused_with_the_reason() {
    for folder in ["bench", "bench/more", "bench/climate"] {
        let bad = reference_json(&format!("{folder}/bad.json"));
        for (name, why) in bad.as_object().unwrap() {
            let path = reference(&format!("{folder}/bad/{name}"));
            let ran = run(&["bench", path.to_str().unwrap(), "--json"]);
            assert_eq!(ran.status, 2, "{name} ({why}) gave {}", ran.out);
            check_refusal(name, &ran);
        }
    }
}

/// Why, where and what would be right, in both languages.
#[track_caller]
fn check_refusal(name: &str, ran: &Ran) {
    let document: Value = serde_json::from_str(&ran.out).unwrap();
    let error = &document["error"];
    for key in ["kind", "file", "message", "help"] {
        assert!(
            error[key].as_str().is_some_and(|text| !text.is_empty()),
            "{name}: {key} in {error}"
        );
    }
    assert!(error["line"].is_u64() || error["line"].is_null(), "{name}: {error}");
    assert!(error.as_object().unwrap().contains_key("line"), "{name}: {error}");
    assert!(ran.err.contains(name), "{name}: {}", ran.err);
}

#[test]
fn a_record_without_current_is_refused_as_well() {
    let path = folder("bench-idle").join("idle.csv");
    let rows: String = (0..50).map(|k| format!("{},13.21,0.00\n", k * 60)).collect();
    std::fs::write(&path, format!("time_s,voltage_v,current_a\n{rows}")).unwrap();
    let ran = run(&["bench", path.to_str().unwrap(), "--json"]);
    assert_eq!(ran.status, 2, "{}", ran.out);
    check_refusal("idle.csv", &ran);
    let ran = run(&["bench", "there-is-none.csv", "--json"]);
    assert_eq!(ran.status, 2, "{}", ran.out);
    check_refusal("there-is-none.csv", &ran);
}

#[test]
fn pulses_nights_and_a_closed_cycle() {
    let all = reference_json("bench/more/expected_pulses_field.json");
    let of = |name: &str| {
        let path = reference(&format!("bench/more/logs/{name}"));
        json(&["bench", path.to_str().unwrap()])["runs"].as_array().unwrap().clone()
    };
    let name = "c03-pulses.csv";
    let runs = of(name);
    assert_eq!(runs[0]["kind"], "pulses");
    let found = runs[0]["resistance"].as_array().unwrap();
    for step in all[name]["resistance"].as_array().unwrap() {
        let at_s = number(&step["at_s"]);
        let near = |found: &&Value| (number(&found["at_s"]) - at_s).abs() < 2.0;
        let got = found.iter().find(near).unwrap_or_else(|| panic!("no step at {at_s} s"));
        let what = format!("resistance at {at_s} s");
        close(&what, number(&got["ohm"]), number(&step["ohm_10s"]), number(&step["tol_ohm"]));
    }

    let name = "c08-nights.csv";
    let runs = of(name);
    assert_eq!(runs[0]["kind"], "field");
    let field = &runs[0]["field"];
    let relative = number(&all[name]["rel_tol"]);
    for (at, night) in all[name]["nights"].as_array().unwrap().iter().enumerate() {
        let got = &field["nights"][at];
        for (found, expected) in [("energy_wh", "wh"), ("mean_power_w", "mean_w")] {
            let expected = number(&night[expected]);
            close(&format!("night {at}"), number(&got[found]), expected, relative * expected);
        }
    }
    for (at, level_a) in all[name]["levels_A"].as_array().unwrap().iter().enumerate() {
        // the meter shows two digits
        close("level", number(&field["levels"][at]["current_a"]), number(level_a), 0.01);
        let share = number(&all[name]["levels_share_of_time"][at]);
        close("share", number(&field["levels"][at]["share"]), share, 0.01);
    }
    assert!(field["devices"].as_str().unwrap().contains("[rig.devices.load-2]"), "{field}");

    let name = "c10-closed-cycle.csv";
    let runs = of(name);
    let kinds: Vec<&str> = runs.iter().map(|run| run["kind"].as_str().unwrap()).collect();
    assert_eq!(kinds, ["discharge", "recharge", "discharge"]);
    check_charge(name, &runs[1], &all[name]);
    let relative = number(&all[name]["rel_tol"]);
    let [first, second] = [0, 1].map(|at| &all[name]["discharges"][at]);
    let put_in = &all[name]["recharges"][0];
    for (run, expected) in runs.iter().zip([first, put_in, second]) {
        for (found, key) in [("capacity_ah", "ah"), ("energy_wh", "wh")] {
            let expected = number(&expected[key]);
            close(&format!("{name}, {key}"), number(&run[found]), expected, relative * expected);
        }
    }
}

#[test]
fn a_table_for_people_and_a_page() {
    let page = folder("bench-page").join("bench.html");
    let ran = run(&[
        "bench",
        "examples/records/pack-one-discharge.csv",
        "--rated",
        "40Ah",
        "--report",
        page.to_str().unwrap(),
    ]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    for part in
        ["38.0", "489.", "95.0 % of the 40 Ah label", "12.0 V or more", "926 read, 926 used"]
    {
        assert!(ran.out.contains(part), "{part:?} is missing in\n{}", ran.out);
    }
    assert!(ran.out.lines().all(|line| line.chars().count() <= 80), "{}", ran.out);
    let html = std::fs::read_to_string(page).unwrap();
    check_self_contained(&html);
}

#[test]
fn a_column_can_be_overruled() {
    let folder = folder("bench-columns");
    let path = folder.join("odd.csv");
    // two voltages: that of the pack stands second
    let rows: String = (0..100)
        .map(|k| format!("{},14.4,{:.2},4.00\n", k * 60, 13.2 - 0.01 * f64::from(k)))
        .collect();
    std::fs::write(&path, format!("time_s,panel_v,batt_v,current_a\n{rows}")).unwrap();
    let document = json(&["bench", path.to_str().unwrap(), "--column", "voltage=batt_v"]);
    close("mean voltage", number(&document["runs"][0]["mean_voltage_v"]), 13.2 - 0.01 * 49.5, 0.01);
}
