//! What a person is told when something is wrong.

use std::io::Read;
use std::process::{Command, Stdio};

use serde_json::Value;

use crate::support::{folder, root, run};

/// Changes one line of the example and expects an error that names the line and says `says`.
#[track_caller]
fn check_plan(line: &str, instead: &str, says: &[&str]) {
    check_plan_at(line, instead, instead.lines().last().unwrap_or_default(), says);
}

/// The same where another line than the last of the change is the wrong one.
#[track_caller]
fn check_plan_at(line: &str, instead: &str, wrong: &str, says: &[&str]) {
    let example = std::fs::read_to_string(root().join("examples/heather-ridge.toml")).unwrap();
    assert!(example.contains(line), "{line:?} is not in the example");
    let text = example
        .replacen(line, instead, 1)
        .replace("records/", &format!("{}/examples/records/", root().display()));
    let path = folder(&format!("errors-{:x}", fingerprint(instead))).join("plan.toml");
    std::fs::write(&path, &text).unwrap();
    let ran = run(&["trip", path.to_str().unwrap(), "--draws", "16", "--json"]);
    assert_eq!(ran.status, 2, "{instead:?} was taken: {}", ran.out);
    let document: Value = serde_json::from_str(&ran.out).unwrap();
    let error = &document["error"];
    assert_eq!(error["kind"], "plan", "{document}");
    for part in says {
        assert!(ran.err.contains(part), "{instead:?}: {part:?} is missing in\n{}", ran.err);
    }
    if !instead.is_empty() {
        let expected = text.lines().position(|found| found.contains(wrong)).unwrap() + 1;
        let found = error["line"].as_u64().unwrap();
        assert!(found.abs_diff(expected as u64) <= 1, "line {found}, not {expected}: {}", ran.err);
    }
}

fn fingerprint(text: &str) -> u64 {
    text.bytes().fold(14_695_981_039_346_656_037, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(1_099_511_628_211)
    })
}

#[test]
fn a_wrong_value_is_answered_with_its_line_and_what_would_be_right() {
    check_plan(
        "power = \"9 W ± 2 W\"",
        "power = \"9 Q\"",
        &["\"Q\" is no unit of power", "\"9 W\"", "rig.devices.mount.power"],
    );
    check_plan("latitude = \"56.9 N\"", "latitude = \"156.9 N\"", &["outside", "site.latitude"]);
    check_plan("nights = 3", "nights = 300", &["\"300\" is no whole number from 1 to 60"]);
    check_plan(
        "first_evening = \"2026-10-09\"",
        "first_evening = \"09.10.2026\"",
        &["is no date", "2026-10-09"],
    );
    check_plan(
        "confidence = \"90 %\"",
        "confidence = \"0 %\"",
        &["trip.confidence", "0 % asks nothing of the nights", "\"90 %\""],
    );
    check_plan("when = \"dark\"", "when = \"midnightish\"", &["midnightish", "\"night\""]);
    check_plan("rated = \"40 Ah\"", "rated = \"40\"", &["has no unit", "40 Ah"]);
    check_plan("chemistry = \"LFP\"", "chemistry = \"potato\"", &["potato", "lfp"]);
    check_plan("zone = \"Europe/London\"", "zone = \"Heather/Ridge\"", &["no time zone"]);
    check_plan("tilt = \"45°\"", "tilt = \"145°\"", &["145"]);
    check_plan(
        "start = \"100 %\"",
        "strat = \"100 %\"",
        &["`strat` is not known here", "did you mean `start`?"],
    );
    check_plan("format = 1", "format = 2", &["format 2", "format 1"]);
    check_plan("nights = 3", "nights = = 3", &["not TOML"]);
    check_plan("sun = \"65 % ± 40 %\"", "sun = \"10 % ± 90 %\"", &["can't spread so wide"]);
    check_plan(
        "cable = { length = \"2.5 m\", section = \"16 AWG\" }",
        "cable = { length = \"0 m\", section = \"16 AWG\" }",
        &["length above zero"],
    );
    check_plan(
        "record = \"records/pack-one-discharge.csv\"",
        "record = \"nowhere.csv\"",
        &["nowhere.csv", "pack.record"],
    );
}

#[test]
fn a_wrong_way_to_feed_is_answered_with_its_line() {
    let mount = "feed = \"hub\"\npower = \"9 W";
    check_plan(mount, "feed = \"hubb\"\npower = \"9 W", &["no branch of that name", "hub"]);
    check_plan(mount, "feed = [\"hub\", \"spur\"]\npower = \"9 W", &["has one feed"]);
    check_plan("[rig.devices.mount]", "[rig.devices.hub]", &["two things called \"hub\""]);
    check_plan(
        "[rig.devices.camera]",
        "[rig.devices.mount] # again",
        &["not TOML", "duplicate key"],
    );
    let hub = "[rig.branches.hub]";
    check_plan(hub, &format!("{hub}\nfeed = \"hub\""), &["is fed from itself"]);
    check_plan_at(
        hub,
        &format!("[rig.branches.spur]\nfeed = \"hub\"\n{hub}\nfeed = \"spur\""),
        "feed = \"hub\"",
        &["spur and hub feed each other in a loop", "rig.branches.spur.feed"],
    );
}

#[test]
fn a_wrong_wire_is_answered_with_its_line() {
    let cable = "cable = { length = \"2.5 m\", section = \"16 AWG\" }";
    check_plan(cable, "cable = { length = \"-2 m\", section = \"16 AWG\" }", &["length"]);
    check_plan(cable, "cable = { length = \"2.5 m\", section = \"77 AWG\" }", &["77 AWG"]);
    check_plan(cable, "cable = { length = \"2.5 m\", section = \"thick\" }", &["thick", "14 AWG"]);
    check_plan(cable, "cable = { length = \"2.5 m\" }", &["`section` is missing"]);
    check_plan("fuse = \"2 A\"", "fuse = \"0 A\"", &["rating must be above zero"]);
}

#[test]
fn a_wrong_converter_is_answered_with_its_line() {
    let check = |converter: &str, says: &[&str]| {
        let hub = "[rig.branches.hub]";
        let line = format!("converter = {{ output = \"5 V\", idle = \"0.1 W\", {converter} }}");
        check_plan_at(hub, &format!("[rig.branches.usb]\n{line}\n\n{hub}"), &line, says);
    };
    check(
        "rated = \"15 W\", efficiency = \"85 %\", least_input = \"24 V\"",
        &["needs at least 24 V at its input", "even the full pack gives"],
    );
    check("rated = \"15 W\", efficiency = \"0 %\"", &["above 0 %"]);
    check("efficiency = \"85 %\"", &["`rated` is missing"]);
    check("rated = \"15 W\"", &["`efficiency` is missing", "loss_share"]);
    check(
        "rated = \"15 W\", efficiency = \"85 %\", loss_share = \"6 %\"",
        &["not both", "rig.branches.usb.converter.efficiency"],
    );
    let usb = "[rig.branches.usb]\nconverter = { output = \"5 V\", idle = \"0.1 W\", rated = \"15 W\", efficiency = \"85 %\" }\n\n";
    let up = "converter = { output = \"19 V\", idle = \"0.2 W\", rated = \"60 W\", efficiency = \"90 %\", least_input = \"9 V\" }";
    check_plan_at(
        "[rig.branches.hub]",
        &format!("{usb}[rig.branches.up]\nfeed = \"usb\"\n{up}\n\n[rig.branches.hub]"),
        up,
        &["needs at least 9 V, but \"usb\" before it gives 5 V"],
    );
    check_plan_at(
        "[rig.devices.mount]\nfeed = \"hub\"",
        &format!("{usb}[rig.devices.mount]\nfeed = \"usb\""),
        "least_voltage = \"11.4 V\"",
        &["needs at least 11.4 V, but the converter \"usb\" gives 5 V"],
    );
}

#[test]
fn a_wrong_use_is_answered_with_its_line() {
    let dew = "dew = { aperture = \"150 mm\", margin = \"3 K\" }";
    check_plan(dew, "dew = { aperture = \"0 mm\" }", &["aperture must be above zero"]);
    check_plan(dew, "dew = { margin = \"3 K\" }", &["`aperture` is missing"]);
    check_plan(
        dew,
        "dew = { aperture = \"150 mm\", skyview = \"50 %\" }",
        &["did you mean `sky_view`?"],
    );
    check_plan(
        "peak = { power = \"30 W\", share = \"1 %\" }",
        "peak = { current = \"3 A\" }",
        &["in the same unit", "rig.devices.mount.peak"],
    );
    let camera = "power = \"14 W ± 2 W\"";
    check_plan(
        camera,
        "cooling = { set = \"-10 °C\", greatest_difference = \"0 K\", greatest_power = \"20 W\" }",
        &["greatest difference from the air must be above zero"],
    );
    check_plan(
        camera,
        "charging = { energy = \"0 Wh\", power = \"20 W\" }",
        &["rig.devices.camera.charging.energy"],
    );
    check_plan(
        camera,
        "charging = { energy = \"20 Wh\", power = \"20 W\", from = \"teatime\" }",
        &["teatime", "sunset"],
    );
    let humidity = "humidity = \"90 % ± 10 %\"";
    check_plan(humidity, "humidity = \"0 %\"", &["no air is so dry"]);
    check_plan(humidity, "dew_point = \"7 °C\"", &["at most the coldest air of the night, 3 °C"]);
    check_plan(humidity, "dew_point = \"1 °C\"\nhumidity = \"90 % ± 10 %\"", &["not both"]);
}

#[test]
fn a_missing_file_is_named() {
    let ran = run(&["trip", "no-such-plan.toml"]);
    assert_eq!(ran.status, 2);
    assert!(
        ran.err.contains("no-such-plan.toml") && ran.err.contains("no such file"),
        "{}",
        ran.err
    );
}

#[test]
fn a_wrong_argument_says_what_would_be_right() {
    let ran = run(&["night", "--latitude", "91", "--longitude", "0", "--date", "2026-10-09"]);
    assert_eq!(ran.status, 2);
    assert!(ran.err.contains("outside"), "{}", ran.err);
    let ran = run(&["bench", "examples/records/pack-one-discharge.csv", "--rated", "40"]);
    assert_eq!(ran.status, 2);
    assert!(ran.err.contains("has no unit"), "{}", ran.err);
}

#[test]
fn a_report_that_cannot_be_written_is_said_and_leaves_nothing() {
    let ran = run(&[
        "trip",
        "examples/heather-ridge.toml",
        "--draws",
        "16",
        "--report",
        "/no/such/folder/trip.html",
    ]);
    assert_eq!(ran.status, 2);
    assert!(ran.err.contains("there is no folder"), "{}", ran.err);
}

/// `tilldawn … | head -1`: a reader that goes away is no error.
#[test]
fn a_closed_pipe_is_no_error() {
    let mut child = Command::new(env!("CARGO_BIN_EXE_tilldawn"))
        .args(["trip", "examples/heather-ridge.toml", "--draws", "16"])
        .current_dir(root())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let mut said = String::new();
    child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
    assert_eq!(child.wait().unwrap().code(), Some(0), "{said}");
    assert_eq!(said, "");
}
