//! `tilldawn runtime` against a stiff solver (`tests/reference/circuit/thevenin.json`), and facts
//! of the trade.

use serde_json::Value;

use crate::support::{close, folder, json, number, reference, reference_json, run};

/// The reference's circuit as a pack file.
fn pack_file() -> String {
    let pack = &reference_json("circuit/thevenin.json")["pack"];
    let pairs: Vec<String> = pack["ocv_soc"]
        .as_array()
        .unwrap()
        .iter()
        .zip(pack["ocv_v"].as_array().unwrap())
        .map(|(soc, voltage)| format!("[{soc}, {voltage}]"))
        .collect();
    let text = format!(
        "format = 1\n[pack]\nname = \"reference\"\n[pack.circuit]\ncapacity = \"{} Ah\"\nr0 = \"{} ohm\"\nr1 = \"{} ohm\"\nc1 = \"{} F\"\ncharge_efficiency = {}\nocv = [{}]\n",
        pack["ah"],
        pack["r0_ohm"],
        pack["r1_ohm"],
        pack["c1_f"],
        pack["charge_efficiency"],
        pairs.join(", ")
    );
    let path = folder("runtime-pack").join("pack.toml");
    std::fs::write(&path, text).unwrap();
    path.to_str().unwrap().to_owned()
}

#[test]
fn a_circuit_stated_outright() {
    let pack = pack_file();
    let cases = reference_json("circuit/thevenin.json")["cases"].clone();
    for case in cases.as_array().unwrap() {
        let load = match case["power_w"].as_f64() {
            Some(power_w) => ["--power".to_owned(), format!("{power_w} W")],
            None => ["--current".to_owned(), format!("{} A", case["current_a"])],
        };
        let mut words = vec!["runtime".to_owned(), pack.clone()];
        words.extend(load);
        if let Some(ohm) = case["cable_ohm"].as_f64() {
            words.extend(["--cable".to_owned(), format!("{ohm} ohm")]);
        }
        // a collapse comes at any cutoff
        let cutoff = case["cutoff_v"].as_f64().or(case["device_cutoff_v"].as_f64()).unwrap_or(0.0);
        words.extend(["--cutoff".to_owned(), format!("{cutoff} V")]);
        check_case(&json(&words), case);
    }
}

#[track_caller]
fn check_case(found: &Value, case: &Value) {
    let (ended_by, time) = match case["collapse_at_s"].as_f64() {
        Some(time) => ("collapse", time),
        None => ("cutoff", number(&case["time_to_cutoff_s"])),
    };
    assert_eq!(found["ended_by"], ended_by, "{case}");
    // as the reference states: time within 0.1 %, energy within 0.05 %
    close("time", number(&found["time_to_cutoff_s"]), time, 1e-3 * time);
    if let Some(ah) = case["delivered_ah"].as_f64() {
        close("charge", number(&found["delivered_ah"]), ah, 1e-3 * ah);
    }
    if let Some(wh) = case["delivered_wh"].as_f64() {
        close("energy", number(&found["delivered_wh"]), wh, 5e-4 * wh);
    }
}

/// Common practice, no source: about 600 Wh run a 30 W rig for 20 h and a 60 W rig for 10 h.
#[test]
fn six_hundred_watt_hours() {
    // a label of 50 Ah at 12.8 V, of which a good LFP pack gives 93 to 95 %
    for (power, hours) in [("30 W", 20.0), ("60 W", 10.0)] {
        let found = json(&["runtime", "--chemistry", "lfp", "--rated", "50Ah", "--power", power]);
        close(power, number(&found["time_to_cutoff_s"]) / 3600.0, hours, 0.05 * hours);
    }
}

#[test]
fn a_record_is_a_pack() {
    let path = reference("bench/logs/a01-plain.csv");
    let found = json(&[
        "runtime",
        path.to_str().unwrap(),
        "--chemistry",
        "lfp",
        "--rated",
        "40 Ah",
        "--current",
        "4 A",
    ]);
    // the record itself crosses 12 V after this share of 34630 s
    let expected = &reference_json("bench/expected.json")["a01-plain.csv"];
    let own_s = number(&expected["share_above_cutoff"]) * number(&expected["duration_s"]);
    close("its own run", number(&found["time_to_cutoff_s"]), own_s, 5e-3 * own_s);
}

#[test]
fn a_cable_by_length_and_section() {
    let by = |cable: &str| {
        json(&[
            "runtime",
            "--chemistry",
            "lfp",
            "--rated",
            "40Ah",
            "--power",
            "60 W",
            "--cable",
            cable,
        ])
    };
    let long = number(&by("6 m of 16 AWG")["time_to_cutoff_s"]);
    let short = number(&by("1 m of 10 AWG")["time_to_cutoff_s"]);
    assert!(long < short, "{long} s behind 6 m of 16 AWG, {short} s behind 1 m of 10 AWG");
}

#[test]
fn what_is_missing_is_said() {
    let ran = run(&["runtime", "--chemistry", "lfp", "--power", "30 W"]);
    assert_eq!(ran.status, 2);
    assert!(ran.err.contains("--rated"), "{}", ran.err);
    let ran = run(&["runtime", "--chemistry", "lfp", "--rated", "40Ah"]);
    assert_eq!(ran.status, 2);
    assert!(ran.err.contains("--power"), "{}", ran.err);
}

#[test]
fn a_kept_pack_and_how_sure_it_is() {
    // the form in which a measured pack is kept, as the documents show it
    let documents = concat!(env!("CARGO_MANIFEST_DIR"), "/../../docs/pack.md");
    let text = std::fs::read_to_string(documents).unwrap();
    let kept = text.split("```toml").nth(1).unwrap().split("```").next().unwrap();
    let path = folder("runtime-kept").join("pack.toml");
    std::fs::write(&path, kept).unwrap();
    let path = path.to_str().unwrap();
    let found = json(&["runtime", path, "--current", "4 A", "--cutoff", "11 V"]);
    let time = |key: &str| number(&found[key]);
    assert!(time("time_low_s") < time("time_to_cutoff_s"), "{found}");
    assert!(time("time_to_cutoff_s") < time("time_high_s"), "{found}");
    // known to 1 % and a little resistance: two standard uncertainties either way
    close("width", time("time_high_s") / time("time_low_s"), 1.04, 0.02);
    std::fs::write(path, kept.replace("r0_ohm = 0.0086", "r0_ohm = -1.0")).unwrap();
    let ran = run(&["runtime", path, "--current", "4 A"]);
    assert_eq!(ran.status, 2);
    assert!(ran.err.contains("r0_ohm") && ran.err.contains("0 or more"), "{}", ran.err);
}
