//! `tilldawn rig`.

use std::path::PathBuf;

use serde_json::Value;

use crate::support::{check_self_contained, close, folder, json, number, root, run};

const EXAMPLE: &str = "examples/heather-ridge.toml";

/// The example with changes, as a file.
#[track_caller]
fn changed(name: &str, changes: &[(&str, &str)]) -> PathBuf {
    let mut text = std::fs::read_to_string(root().join(EXAMPLE)).unwrap();
    for (line, instead) in changes {
        assert!(text.contains(line), "{line:?} is not in the example");
        text = text.replacen(line, instead, 1);
    }
    let text = text.replace("records/", &format!("{}/examples/records/", root().display()));
    let path = folder(&format!("rig-{name}")).join("plan.toml");
    std::fs::write(&path, text).unwrap();
    path
}

fn rig_of(path: &std::path::Path) -> Value {
    json(&["rig", path.to_str().unwrap()])
}

fn named<'a>(list: &'a Value, key: &str, name: &str) -> &'a Value {
    let found = list.as_array().unwrap().iter().find(|entry| entry[key] == name);
    found.unwrap_or_else(|| panic!("no {name} in {list}"))
}

/// Each state stands on its own: Kirchhoff's laws hold from the pack to every device.
#[test]
fn every_state_of_the_example_is_a_circuit() {
    let rig = json(&["rig", EXAMPLE]);
    let source_v = number(&rig["source_voltage_v"]);
    assert!(source_v > number(&rig["end_voltage_v"]));
    let states = rig["states"].as_array().unwrap();
    assert_eq!(states.len(), 4);
    for state in states {
        let (total_w, source_a) = (number(&state["total_w"]), number(&state["source_a"]));
        close("total", total_w, source_v * source_a, 1e-9 * (1.0 + total_w));
        let (devices, segments) =
            (state["devices"].as_array().unwrap(), state["segments"].as_array().unwrap());
        let sum = |list: &[Value], key: &str| list.iter().map(|of| number(&of[key])).sum::<f64>();
        close("power", sum(devices, "w") + sum(segments, "loss_w"), total_w, 1e-6);
        let hub = named(&state["segments"], "to", "hub");
        close("current", number(&hub["a"]), source_a, 1e-9);
        for device in devices {
            let wire = named(&state["segments"], "to", device["name"].as_str().unwrap());
            let dropped_v = number(&hub["drop_v"]) + number(&wire["drop_v"]);
            let v = number(&device["v"]);
            close("voltage", v, source_v - dropped_v, 1e-9);
            close("power of a device", number(&device["w"]), v * number(&wire["a"]), 1e-6);
            assert_eq!(device["ok"] == true, v >= number(&device["least_v"]), "{device}");
            assert!(number(&device["peak_v"]) <= v + 1e-9 && number(&device["end_v"]) < v);
        }
        for segment in segments {
            let loss_w = number(&segment["a"]) * number(&segment["drop_v"]);
            close("loss", number(&segment["loss_w"]), loss_w, 1e-9);
            assert!(number(&segment["ampacity_a"]) >= number(&segment["fuse_a"]));
            assert_eq!(segment["ok"], true);
        }
    }
    let [caution] = &rig["cautions"].as_array().unwrap()[..] else { panic!("{}", rig["cautions"]) };
    assert!(caution.as_str().unwrap().contains("\"dew heater\" turns up to 8 W into heat"));
}

/// Constant powers that run from sunset to sunrise: the budget is what the simulated trip uses.
#[test]
fn the_budget_of_a_night_is_what_the_trip_uses() {
    let text = std::fs::read_to_string(root().join(EXAMPLE)).unwrap();
    let (from, to) = (text.find("[rig.devices.\"dew heater\"]"), text.find("[sources.panel]"));
    let path = changed("budget", &[(&text[from.unwrap()..to.unwrap()], "")]);
    let (rig, trip) = (rig_of(&path), json(&["trip", path.to_str().unwrap(), "--draws", "16"]));
    for (night, simulated) in
        rig["nights"].as_array().unwrap().iter().zip(trip["nights"].as_array().unwrap())
    {
        assert_eq!(simulated["carried"], true);
        let taken = night["devices_wh"].as_object().unwrap();
        let taken_wh: f64 = taken.values().map(number).sum();
        close("a night", number(&simulated["used_wh"]), taken_wh, 1e-3 * taken_wh);
        let lost_wh = number(&night["cable_wh"]) + number(&night["converter_wh"]);
        close("all of it", taken_wh + lost_wh, number(&night["used_wh"]), 1e-6 * taken_wh);
    }
}

#[test]
fn what_it_says_to_change_does_it() {
    let camera = "cable = { length = \"3 m\", section = \"1.0 mm²\" }";
    let with = |name: &str, cable: &str| changed(name, &[(camera, cable), ("11.0 V", "12.0 V")]);
    let rig = rig_of(&with("thin", "cable = { length = \"9 m\", section = \"0.5 mm²\" }"));
    let found = named(&rig["devices"], "name", "camera");
    assert_eq!(found["ok"], false);
    let advice = named(&found["advice"], "wire_to", "camera");
    let (section, length_m) = (advice["section"].as_str().unwrap(), number(&advice["length_m"]));
    for (name, cable, ok) in [
        ("thicker", format!("length = \"9 m\", section = \"{section}\""), true),
        ("shorter", format!("length = \"{length_m} m\", section = \"0.5 mm²\""), true),
        ("too long", format!("length = \"{} m\", section = \"0.5 mm²\"", length_m + 0.05), false),
    ] {
        let rig = rig_of(&with(name, &format!("cable = {{ {cable} }}")));
        assert_eq!(named(&rig["devices"], "name", "camera")["ok"] == true, ok, "{name}");
    }
}

#[test]
fn cautions_follow_the_numbers_here_and_in_the_trip() {
    let check = |name: &str, line: &str, instead: &str, says: &str| {
        let path = changed(name, &[(line, instead)]);
        let rig = rig_of(&path);
        let cautions = rig["cautions"].as_array().unwrap();
        let said = |text: &Value| text.as_str().unwrap().contains(says);
        assert_eq!(cautions.iter().filter(|text| said(text)).count(), 1, "{says}: {cautions:?}");
        for command in ["rig", "trip"] {
            let ran = run(&[command, path.to_str().unwrap()]);
            let told: String = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(told.to_lowercase().contains(&says.to_lowercase()), "{command}: {told}");
            assert!(told.contains("come"), "{command} defers to nobody: {told}");
        }
    };
    let fuse = "fuse = \"10 A\"\nfuse_distance = \"10 cm\"";
    check("no fuse", fuse, "", "no fuse between the pack and \"hub\"");
    check(
        "far fuse",
        fuse,
        "fuse = \"10 A\"\nfuse_distance = \"60 cm\"",
        "the fuse of \"hub\" sits 0.6 m from the battery",
    );
    check(
        "large fuse",
        fuse,
        "fuse = \"40 A\"",
        "\"hub\" is behind a fuse of 40 A but carries 25 A",
    );
    check("small fuse", "fuse = \"2 A\"", "fuse = \"0.5 A\"", "through a fuse of 0.5 A");
}

/// A rig of everything else, by hand.
#[test]
fn converters_charging_cooling_and_states() {
    let added = r#"
[rig.branches.usb]
converter = { output = "5 V", idle = "0.2 W", loss_share = "10 %", least_input = "7 V" }

[rig.branches.mains]
feed = "hub"
inverter = { output = "230 V", idle = "4 W", rated = "100 W", efficiency = "85 %", least_input = "11 V" }

[rig.devices.phone]
feed = "usb"
charging = { energy = "15 Wh", power = "10 W" }

[rig.devices.screen]
feed = "mains"
uses.idle = { power = "2 W", when = "night" }
uses.bright = { power = "20 W", when = "21:00 to 22:30" }

[rig.devices."cooled camera"]
connectors = "20 mohm"
cooling = { set = "-9 °C", greatest_difference = "40 K", greatest_power = "20 W", steady = "2 W" }
when = "21:00 to 22:00"

[sources.panel]"#;
    let path = changed(
        "everything",
        &[
            ("[sources.panel]", added),
            ("\"11 °C ± 3 K\"", "\"3 °C\""),
            ("\"3 °C ± 3 K\"", "\"3 °C\""),
        ],
    );
    let rig = rig_of(&path);
    let night = &rig["nights"][0];
    let of = |name: &str| number(&night["devices_wh"][name]);
    close("phone", of("phone"), 15.0, 1e-6);
    // 12 K of 40 K above the set point in still 3 °C: 2 W + 20 W · 0.09
    close("cooled camera", of("cooled camera"), 3.8, 1e-6);
    let sunset: jiff::Timestamp =
        json(&["night", path.to_str().unwrap()])["sunset"].as_str().unwrap().parse().unwrap();
    let sunrise: jiff::Timestamp =
        json(&["night", path.to_str().unwrap()])["sunrise"].as_str().unwrap().parse().unwrap();
    let night_h = sunrise.duration_since(sunset).as_secs_f64() / 3600.0;
    close("screen", of("screen"), 2.0 * (night_h - 1.5) + 20.0 * 1.5, 0.01);
    let usb = named(&rig["segments"], "to", "usb");
    // three windows of a day with 0.2 W, and a tenth of the phone's 15 Wh each
    close("usb", number(&usb["converter_wh"]), 3.0 * (24.0 * 0.2 + 1.5), 1e-6);
    let says = |list: &str, what: &str| {
        rig[list].as_array().unwrap().iter().any(|text| text.as_str().unwrap().contains(what))
    };
    assert!(says("cautions", "\"mains\" gives 230 V, which can kill"), "{}", rig["cautions"]);
    assert!(says("remarks", "\"mains\" loses "), "{}", rig["remarks"]);
    assert!(says(
        "defaults",
        "90 % of its converter's output as the least voltage of phone, screen"
    ));
    let names: Vec<&str> = rig["states"]
        .as_array()
        .unwrap()
        .iter()
        .map(|state| state["name"].as_str().unwrap())
        .collect();
    assert!(names.iter().any(|name| name.contains("phone charging")), "{names:?}");
    assert!(names.iter().any(|name| name.contains("screen bright")), "{names:?}");

    // a converter's output does not fall with the pack: nobody behind one comes near its least
    let trip = json(&["trip", path.to_str().unwrap(), "--draws", "16"]);
    let worst = trip["nights"][0]["worst_device"].as_str().unwrap();
    assert!(!["phone", "screen"].contains(&worst), "{worst}");
}

/// What follows the weather does so in the budget and in the trip.
#[test]
fn damp_air_and_warm_air_cost_power() {
    let camera = "power = \"14 W ± 2 W\"";
    let cooled = "cooling = { set = \"-10 °C\", greatest_difference = \"40 K\", greatest_power = \"30 W\", steady = \"4 W\" }";
    let used = |name: &str, changes: &[(&str, &str)], device: &str| {
        let path = changed(name, changes);
        let trip = json(&["trip", path.to_str().unwrap(), "--draws", "16"]);
        let budget = &rig_of(&path)["nights"][0]["devices_wh"][device];
        (number(budget), number(&trip["nights"][0]["used_wh"]))
    };
    let humidity = "humidity = \"90 % ± 10 %\"";
    let dry = used("dry", &[(humidity, "humidity = \"60 %\"")], "dew heater");
    let damp = used("damp", &[], "dew heater");
    assert!(dry.0 < damp.0 && dry.1 < damp.1, "{dry:?} {damp:?}");
    let cold = used("cold", &[(camera, cooled)], "camera");
    let warm = used(
        "warm",
        &[
            (camera, cooled),
            ("\"3 °C ± 3 K\"", "\"9 °C ± 3 K\""),
            ("\"11 °C ± 3 K\"", "\"17 °C ± 3 K\""),
        ],
        "camera",
    );
    assert!(cold.0 < warm.0 && cold.1 < warm.1, "{cold:?} {warm:?}");
    let by_hand = "dew = { aperture = \"150 mm\", controller = false }";
    let fixed = used(
        "fixed",
        &[("dew = { aperture = \"150 mm\", margin = \"3 K\" }", by_hand)],
        "dew heater",
    );
    assert!(fixed.0 > 2.0 * damp.0, "a strip left on all night: {fixed:?}");
}

/// The trip says it as well: who plans a trip may never look at the rig.
#[test]
fn a_heater_that_is_too_weak_is_told() {
    let path = changed("weak", &[("resistance = \"18 ohm\"", "resistance = \"90 ohm\"")]);
    for words in [vec!["rig"], vec!["trip", "--draws", "16"]] {
        let ran = run(&[&words[..1], &[path.to_str().unwrap()], &words[1..]].concat());
        let told = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(told.to_lowercase().contains("\"dew heater\" would need"), "{}", ran.out);
        assert!(told.contains("to keep the dew off but gives 1.6 W"), "{}", ran.out);
    }
    assert!(!run(&["trip", EXAMPLE, "--draws", "16"]).out.contains("would need"));
}

#[test]
fn tables_fit_a_terminal_and_the_page_stands_alone() {
    let page = folder("rig-page").join("rig.html");
    let ran = run(&["rig", EXAMPLE, "--report", page.to_str().unwrap()]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    assert!(ran.out.lines().all(|line| line.chars().count() <= 80), "{}", ran.out);
    let html = std::fs::read_to_string(&page).unwrap();
    check_self_contained(&html);
    assert!(!html.contains("NaN"), "a number that is none in the page");
}

#[test]
fn a_rig_that_cannot_stand_is_named() {
    let path = changed(
        "collapse",
        &[("cable = { length = \"3 m\", section = \"1.0 mm²\" }", "connectors = \"4 ohm\"")],
    );
    let ran = run(&["rig", path.to_str().unwrap(), "--json"]);
    assert_eq!(ran.status, 2);
    assert!(ran.err.contains("the voltage collapses at \"camera\""), "{}", ran.err);
}

/// What a field run shows can be put into a plan as it stands, and takes as much there.
#[test]
fn measured_levels_become_devices() {
    let record = "tests/reference/bench/more/logs/c08-nights.csv";
    let document = json(&["bench", record]);
    let told = document["runs"][0]["field"]["devices"].as_str().unwrap();
    assert!(run(&["bench", record]).out.contains(told), "{told}");
    let text = std::fs::read_to_string(root().join(EXAMPLE)).unwrap();
    let (from, to) =
        (text.find("[rig.branches.hub]").unwrap(), text.find("[sources.panel]").unwrap());
    let devices = format!("{told}\n");
    let path = changed("measured", &[(&text[from..to], &devices)]);
    let night = &json(&["night", path.to_str().unwrap()]);
    let at = |key: &str| night[key].as_str().unwrap().parse::<jiff::Timestamp>().unwrap();
    let night_h = at("sunrise").duration_since(at("sunset")).as_secs_f64() / 3600.0;
    // 15.37 W on the mean of its nights, as the table beside the record says; shares are told to 1 %
    let used_wh = number(&rig_of(&path)["nights"][0]["used_wh"]);
    close("mean power", used_wh / night_h, 15.37, 0.01 * 15.37);
}
