//! `tilldawn fit` on runs of electrochemical models (`tests/reference/bench`): what it writes, as
//! `runtime` and a plan take it.

use std::path::Path;

use serde_json::Value;

use crate::support::{
    check_self_contained, close, folder, json, number, reference, reference_json, run,
};

fn truth(name: &str) -> String {
    let path = reference(&format!("bench/truth/{name}.csv"));
    path.to_str().unwrap().to_owned()
}

/// Rows of a reference run: seconds, volts, amperes.
fn rows(name: &str) -> Vec<[f64; 3]> {
    let text = std::fs::read_to_string(truth(name)).unwrap();
    let row = |line: &str| {
        let mut cells = line.split(',').map(|cell| cell.parse().unwrap());
        [cells.next().unwrap(), cells.next().unwrap(), cells.next().unwrap()]
    };
    text.lines().skip(1).map(row).collect()
}

fn write(path: &Path, heading: &str, rows: &[[f64; 3]]) -> String {
    let lines: String = rows.iter().map(|[t, v, a]| format!("{t},{v},{a}\n")).collect();
    std::fs::write(path, format!("{heading}\n{lines}")).unwrap();
    path.to_str().unwrap().to_owned()
}

const PLAIN: &str = "time_s,voltage_v,current_a";

fn of_pack_a(more: &[&str]) -> Vec<String> {
    let names = ["pack-a-discharge-c20", "pack-a-discharge-c5", "pack-a-pulses"];
    let mut words = vec!["fit".to_owned()];
    words.extend(names.map(truth));
    words.extend(["--chemistry", "lfp", "--rated", "40Ah"].map(str::to_owned));
    words.extend(more.iter().map(|word| (*word).to_owned()));
    words
}

/// The runs that the fit has not seen, each to its own last voltage, within what was asked of the
/// model: 0.5 % of the time up to half the capacity an hour, 2 % at all of it.
#[test]
fn a_fitted_pack_foretells_what_it_has_not_seen() {
    let folder = folder("fit-pack-a");
    let (kept, page) = (folder.join("pack.toml"), folder.join("fit.html"));
    let (kept, page) = (kept.to_str().unwrap(), page.to_str().unwrap());
    let ran = run(&of_pack_a(&["-o", kept, "--report", page]));
    assert_eq!(ran.status, 0, "{}", ran.err);
    assert!(ran.out.lines().all(|line| line.chars().count() <= 80), "{}", ran.out);
    for part in ["39.1 Ah", "97.8 %", "Each record, by a model fitted to the others"] {
        assert!(ran.out.contains(part), "{part:?} is missing in\n{}", ran.out);
    }
    check_self_contained(&std::fs::read_to_string(page).unwrap());
    for (name, share) in [("c10", 0.005), ("c2", 0.005), ("1c", 0.02)] {
        let unseen = rows(&format!("pack-a-discharge-{name}"));
        let [time_s, voltage_v, current_a] = *unseen.last().unwrap();
        let (current, cutoff) = (format!("{current_a} A"), format!("{voltage_v} V"));
        let found = json(&["runtime", kept, "--current", &current, "--cutoff", &cutoff]);
        close(name, number(&found["time_to_cutoff_s"]), time_s, share * time_s);
        assert!(number(&found["time_low_s"]) < time_s && time_s < number(&found["time_high_s"]));
    }
}

#[test]
fn the_document_says_what_was_found_and_what_was_not() {
    let document = json(&of_pack_a(&[]));
    let parameter = |name: &str| {
        let all = document["parameters"].as_array().unwrap();
        all.iter().find(|found| found["name"] == name).unwrap().clone()
    };
    assert_eq!(parameter("R0 + R1")["held"], Value::Null);
    let why = parameter("capacity in the cold")["held"].as_str().unwrap().to_owned();
    assert!(why.contains("temperature"), "{why}");
    close("capacity", number(&document["pack"]["circuit"]["capacity_ah"]), 39.1, 0.4);
    let left_out = document["left_out"].as_array().unwrap();
    assert_eq!(left_out.len(), 3);
    for met in left_out {
        let measured_s = number(&met["measured_s"]);
        close("left out", number(&met["modelled_s"]), measured_s, 0.005 * measured_s);
    }
}

/// Two temperatures in the logs' own column foretell a third; what the cold does is then measured.
#[test]
fn a_third_temperature() {
    let record = |name: &str| {
        reference(&format!("bench/climate/truth/pack-m-{name}.csv")).to_str().unwrap().to_owned()
    };
    let kept = folder("fit-climate").join("pack.toml");
    let kept = kept.to_str().unwrap();
    let (slow, mild, warm) = (record("25c-c20"), record("25c-c5"), record("40c-c5"));
    let words = ["fit", &slow, &mild, &warm, "--chemistry", "nmc", "--rated", "21Ah", "-o", kept];
    let document = json(&words);
    for parameter in document["parameters"].as_array().unwrap() {
        let of_cold = parameter["name"].as_str().unwrap().ends_with("in the cold");
        assert!(!of_cold || parameter["held"].is_null(), "{parameter}");
    }
    // the run in air of 0 °C, whose pack warms itself by 2 K, ends at 11 V after 17857 s
    let load = ["--current", "4.2 A", "--cutoff", "11 V", "--temperature", "0 °C"];
    let found = json(&[&["runtime", kept][..], &load[..]].concat());
    close("at 0 °C", number(&found["time_to_cutoff_s"]), 17857.5, 0.005 * 17857.5);
}

/// A cycle and nights in the field as meters log them, of one pack that warms without a word of it
/// in the logs: the slow run that neither shows lies in the interval.
#[test]
fn cycles_and_nights() {
    let log =
        |name: &str| reference(&format!("bench/more/logs/{name}.csv")).to_str().unwrap().to_owned();
    let kept = folder("fit-cycle").join("pack.toml");
    let kept = kept.to_str().unwrap();
    let (cycle, nights) = (log("c01-cycle-signed"), log("c08-nights"));
    let document =
        json(&["fit", &cycle, &nights, "--chemistry", "nmc", "--rated", "16Ah", "-o", kept]);
    assert!(number(&document["records"][1]["rms_v"]) < 0.03, "{document}");
    let slow = &reference_json("bench/more/truth.json")["pack-g-discharge-c20"];
    let slow_s = number(&slow["load_on_s"]);
    let found = json(&["runtime", kept, "--current", "0.8 A", "--cutoff", "11 V"]);
    let (low_s, high_s) = (number(&found["time_low_s"]), number(&found["time_high_s"]));
    assert!(low_s < slow_s && slow_s < high_s, "{slow_s} s; {found}");
    assert!(high_s - low_s < 0.07 * slow_s, "{found}");
}

#[test]
fn a_record_that_does_not_begin_full() {
    let folder = folder("fit-not-full");
    let late: Vec<[f64; 3]> =
        rows("pack-a-discharge-c5").into_iter().filter(|[time_s, ..]| *time_s > 3600.0).collect();
    let late = write(&folder.join("late.csv"), PLAIN, &late);
    let slow = truth("pack-a-discharge-c20");
    let words = ["fit", &slow, &late, "--chemistry", "lfp", "--rated", "40Ah"];
    let document = json(&[&words[..], &["--not-full", "late.csv"]].concat());
    close("capacity", number(&document["pack"]["circuit"]["capacity_ah"]), 39.1, 0.4);
    let late = &document["records"][1];
    assert_eq!(late["from_full"], false);
    close("time", number(&late["modelled_s"]), number(&late["measured_s"]), 150.0);
    let ran = run(&[&words[..], &["--not-full", "other.csv"]].concat());
    assert_eq!(ran.status, 2);
    assert!(ran.err.contains("other.csv"), "{}", ran.err);
}

#[test]
fn a_plan_takes_the_fitted_pack() {
    let folder = folder("fit-plan");
    let kept = folder.join("pack.toml");
    let ran = run(&of_pack_a(&["-o", kept.to_str().unwrap()]));
    assert_eq!(ran.status, 0, "{}", ran.err);
    let trip = |pack: &str| {
        let plan = folder.join("plan.toml");
        std::fs::write(
            &plan,
            format!(
                r#"
                format = 1
                [site]
                latitude = "55.9 N"
                longitude = "3.2 W"
                zone = "Europe/London"
                [trip]
                first_evening = 2026-10-09
                nights = 1
                [pack]
                file = "pack.toml"
                {pack}
                [rig.devices.mount]
                power = "10 W"
                when = "night"
                "#
            ),
        )
        .unwrap();
        let ran = run(&["trip", plan.to_str().unwrap(), "--draws", "100", "--json"]);
        let document: Value = serde_json::from_str(&ran.out).unwrap();
        (document, ran.err)
    };
    let stored_wh = |pack: &str| {
        let (document, err) = trip(pack);
        assert!(document["nights"].as_array().is_some(), "{err}");
        number(&document["ledger"]["stored_start_wh"])
    };
    let one_wh = stored_wh("");
    let check = |pack: &str, factor: f64| {
        close(pack, stored_wh(pack), factor * one_wh, 1e-3 * factor * one_wh);
    };
    check("in_parallel = 2", 2.0);
    check("in_series = 2", 2.0);
    check("aged = { capacity = \"85 %\", resistance = 1.4 }", 0.85);
    check("in_parallel = 3\naged = { capacity = \"80 %\" }", 2.4);
    for (pack, why) in [
        ("in_parallel = 0", "from 1 to 100"),
        ("in_paralel = 2", "in_parallel"),
        ("aged = { capacity = \"0 %\" }", "85 %"),
        ("aged = { capacty = \"80 %\" }", "capacity"),
    ] {
        let (_, err) = trip(pack);
        assert!(err.contains(why) && err.contains("line"), "{pack}: {err}");
    }
}

#[test]
fn a_data_sheet_is_a_pack() {
    let kept = folder("fit-sheet").join("pack.toml");
    let kept = kept.to_str().unwrap();
    let sheet = "20 h: 40 Ah, 10 h: 37 Ah, 5 h: 34 Ah, 1 h: 25 Ah";
    let ran = run(&["fit", "--chemistry", "agm", "--data-sheet", sheet, "-o", kept]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    assert!(ran.out.contains("data sheet"), "{}", ran.out);
    // a lead-acid battery's usual end of discharge, 1.75 V a cell (common practice, no source)
    let found = json(&["runtime", kept, "--current", "3.7 A", "--cutoff", "10.5 V"]);
    // as well as three numbers meet four
    close("10 h", number(&found["delivered_ah"]), 37.0, 0.03 * 37.0);
    let wrong = "20 h: 30 Ah, 1 h: 40 Ah";
    let ran = run(&["fit", "--chemistry", "agm", "--data-sheet", wrong]);
    assert_eq!(ran.status, 2);
    assert!(ran.err.contains("gives less when it is emptied faster"), "{}", ran.err);
}

/// What is wrong with records, and what can still be had of them.
#[test]
fn records_that_can_not_be_fitted() {
    let folder = folder("fit-bad");
    let (a, slow, other) =
        (truth("pack-a-discharge-c5"), truth("pack-a-discharge-c20"), truth("pack-b-discharge-c5"));
    let file =
        |name: &str, heading: &str, rows: &[[f64; 3]]| write(&folder.join(name), heading, rows);
    let minutes = |volts: &dyn Fn(f64) -> f64| -> Vec<[f64; 3]> {
        (0..300).map(|k| [f64::from(k) * 60.0, volts(f64::from(k)), 4.0]).collect()
    };
    let flat = file("flat.csv", PLAIN, &minutes(&|_| 12.8));
    let charge = file("charge.csv", PLAIN, &minutes(&|k| 12.8 + 0.003 * k));
    let third = |[time_s, voltage_v, current_a]: [f64; 3]| [time_s, voltage_v, current_a / 3.0];
    let size: Vec<[f64; 3]> = rows("pack-a-discharge-c5").into_iter().map(third).collect();
    let size = file("size.csv", PLAIN, &size);
    let short = file("short.csv", PLAIN, &rows("pack-a-discharge-c5")[..2]);
    let not_there = folder.join("none.csv");
    let check = |chemistry: &str, records: &[&str], why: &str, usable: &[&str]| {
        let rest = ["--chemistry", chemistry, "--rated", "40Ah", "--positive", "out", "--json"];
        let ran = run(&[&["fit"][..], records, &rest[..]].concat());
        assert_eq!(ran.status, 2, "{records:?}: {}{}", ran.out, ran.err);
        let error = &serde_json::from_str::<Value>(&ran.out).unwrap()["error"];
        let message = error["message"].as_str().unwrap();
        assert!(message.contains(why) && ran.err.contains(why), "{why:?} is not in {message}");
        let found: Vec<&str> =
            error["usable"].as_array().unwrap().iter().map(|name| name.as_str().unwrap()).collect();
        assert_eq!(found, usable, "{message}");
    };
    check("lfp", &[&slow, &other, &a], "not records of one battery", &[&slow, &a]);
    check("lfp", &[&slow, &a, &size], "not records of one battery", &[&slow, &a]);
    check("agm", &[&slow], "would be for LFP", &[]);
    check("lfp", &[&slow, &charge], "labelled the wrong way round", &[&slow]);
    check("lfp", &[&flat, &slow], "flat.csv: the voltage stays", &[&slow]);
    check("lfp", &[&short, &slow], "short.csv", &[&slow]);
    check("lfp", &[&slow, not_there.to_str().unwrap()], "none.csv", &[&slow]);
}

#[test]
fn a_record_cut_short_gives_what_it_has() {
    let path = folder("fit-cut").join("cut.csv");
    let all = rows("pack-a-discharge-c5");
    let cut = write(&path, PLAIN, &all[..all.len() / 3]);
    let ran = run(&["fit", &cut, "--chemistry", "lfp", "--rated", "40Ah"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    for part in ["before the pack is empty", "as far as the records go", "is not counted"] {
        assert!(ran.out.contains(part), "{part:?} is missing in\n{}", ran.out);
    }
}
