//! `tilldawn trip --measured`.

use crate::support::{close, folder, json, number, root, run};

const EXAMPLE: &str = "examples/heather-ridge.toml";

/// What a meter writes that sees the typical trip of the example, its clock so many minutes ahead.
fn as_planned(ahead_min: i64, has_current: bool) -> String {
    // a record of anything tells what the typical trip shows at its times
    let begins: jiff::Timestamp = "2026-10-09T17:40:00Z".parse().unwrap();
    let at = |minute: i64| begins.checked_add(jiff::SignedDuration::from_mins(minute)).unwrap();
    let anything: String =
        (0..60 * 60 / 10).map(|row| format!("{},13,2\n", at(10 * row))).collect();
    let path = folder("trip-anything").join("meter.csv");
    std::fs::write(&path, format!("time,voltage_v,current_a\n{anything}")).unwrap();
    let trip = json(&["trip", EXAMPLE, "--draws", "16", "--measured", path.to_str().unwrap()]);
    let mut text = String::from("time,voltage_v");
    text.push_str(if has_current { ",current_a\n" } else { "\n" });
    for seen in trip["hindsight"]["compared"].as_array().unwrap() {
        let time: jiff::Timestamp = seen["time"].as_str().unwrap().parse().unwrap();
        let told = time.checked_add(jiff::SignedDuration::from_mins(ahead_min)).unwrap();
        text.push_str(&format!("{told},{:.3}", number(&seen["typical_voltage_v"])));
        if has_current {
            text.push_str(&format!(",{:.3}", number(&seen["typical_current_a"])));
        }
        text.push('\n');
    }
    text
}

#[test]
fn a_trip_is_looked_back_on() {
    let folder = folder("trip-measured");
    let path = folder.join("meter.csv");
    let record = path.to_str().unwrap();
    let words = ["trip", EXAMPLE, "--draws", "16", "--measured", record];

    std::fs::write(&path, as_planned(0, true)).unwrap();
    let trip = json(&words);
    let found = &trip["hindsight"];
    assert_eq!(found["finding"], "as-forecast", "{found}");
    assert_eq!(found["partings"].as_array().unwrap().len(), 0);
    assert_eq!(found["nights"].as_array().unwrap().len(), 3);
    for night in found["nights"].as_array().unwrap() {
        assert!(number(&night["covered"]) > 0.9, "{night}");
        let planned_wh = number(&night["planned_out_wh"]);
        close("out by night", number(&night["measured_out_wh"]), planned_wh, 0.01 * planned_wh);
    }

    // without a current it is the same
    std::fs::write(&path, as_planned(0, false)).unwrap();
    let found = &json(&words)["hindsight"];
    assert_eq!((&found["finding"], &found["has_current"]), (&"as-forecast".into(), &false.into()));
    assert!(found["nights"][0]["measured_out_wh"].is_null(), "{found}");

    // a meter that was still set to another zone
    std::fs::write(&path, as_planned(60, true)).unwrap();
    let found = &json(&words)["hindsight"];
    assert_eq!(found["finding"], "explained", "{found}");
    assert_eq!(found["explanations"][0]["what"], "clock");
    close("ahead", number(&found["explanations"][0]["ahead_s"]), 3600.0, 120.0);
    let page = folder.join("trip.html");
    let ran = run(&[&words[..], &["--report", page.to_str().unwrap()]].concat());
    let told = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    for part in [
        "It did not go as forecast",
        "1 h 00 min ahead",
        "Next: set the meter's clock",
        "From Fri 9 Oct",
    ] {
        assert!(told.contains(part), "{part}: {}", ran.out);
    }
    assert!(ran.out.lines().all(|line| line.chars().count() <= 80), "{}", ran.out);
    let page = std::fs::read_to_string(page).unwrap();
    assert!(page.contains("After the trip") && !page.contains("NaN"));
    // told when it really began it is as planned
    let found = &json(&[&words[..], &["--began", "2026-10-09T18:40"]].concat())["hindsight"];
    assert_eq!(found["finding"], "as-forecast", "{found}");

    let elsewhere = as_planned(0, true).replace("2026-10", "2025-10");
    std::fs::write(&path, elsewhere).unwrap();
    let ran = run(&words);
    assert_eq!(ran.status, 2, "{}", ran.out);
    assert!(ran.err.contains("2025-10-09") && ran.err.contains("--began"), "{}", ran.err);
}

/// Where the plan names no clock, times without a zone are of the clock that its longitude gives.
#[test]
fn a_record_is_of_the_sites_clock_even_if_it_has_no_name() {
    let folder = folder("trip-unnamed-clock");
    let text = std::fs::read_to_string(root().join(EXAMPLE)).unwrap();
    let records = format!("{}/examples/records/", root().display());
    let plan = text
        .replace("zone = \"Europe/London\"\n", "")
        .replace("longitude = \"4.2 W\"", "longitude = \"64.2 W\"")
        .replace("records/", &records);
    assert!(!plan.contains("zone") && plan.contains("64.2 W"), "{plan}");
    let path = folder.join("plan.toml");
    std::fs::write(&path, plan).unwrap();
    let record = folder.join("meter.csv");
    let rows: String = (0..6).map(|row| format!("2026-10-09 20:{row}0:00,13.2,2\n")).collect();
    std::fs::write(&record, format!("time,voltage_v,current_a\n{rows}")).unwrap();
    let [path, record] = [&path, &record].map(|path| path.to_str().unwrap());
    let trip = json(&["trip", path, "--draws", "16", "--measured", record]);
    // 64.2° W is four hours behind
    assert_eq!(trip["hindsight"]["began"], "2026-10-10T00:00:00Z");
}
