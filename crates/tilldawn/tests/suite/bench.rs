//! `tilldawn bench` on logs with known answers (`tests/reference/bench`).

use serde_json::Value;

use crate::support::{
    check_self_contained, close, folder, json, number, reference, reference_json, run,
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
    if expected["cc_s"].is_number() {
        let room = number(&expected["cc_tol_s"]);
        close(
            &format!("{name}, cc_s"),
            number(&run["charge"]["cc_s"]),
            number(&expected["cc_s"]),
            room,
        );
        close(
            &format!("{name}, cv_s"),
            number(&run["charge"]["cv_s"]),
            number(&expected["cv_s"]),
            room,
        );
    }
}

#[test]
fn logs_as_meters_and_people_write_them() {
    check_logs("bench");
}

#[test]
fn what_is_no_record_is_refused_with_the_reason() {
    let bad = reference_json("bench/bad.json");
    for (name, why) in bad.as_object().unwrap() {
        let path = reference(&format!("bench/bad/{name}"));
        let ran = run(&["bench", path.to_str().unwrap(), "--json"]);
        assert_eq!(ran.status, 2, "{name} ({why}) gave {}", ran.out);
        let document: Value = serde_json::from_str(&ran.out).unwrap();
        let error = &document["error"];
        for key in ["kind", "file", "message", "help"] {
            assert!(
                error[key].as_str().is_some_and(|text| !text.is_empty()),
                "{name}: {key} in {error}"
            );
        }
        assert!(ran.err.contains(name.as_str()), "{name}: {}", ran.err);
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
