//! `tilldawn harvest` against a general-purpose solar library's days
//! (`tests/reference/sky/harvest_day.csv`, `tests/reference/measured/daily_summary.csv`).

use crate::support::{check_self_contained, close, folder, json, number, reference, run};

/// A table's rows, each cell by its column's name.
fn rows(path: &str) -> Vec<impl Fn(&str) -> String> {
    let text = std::fs::read_to_string(reference(path)).unwrap();
    let mut lines = text.lines();
    let heading: Vec<String> = lines.next().unwrap().split(',').map(str::to_owned).collect();
    let of_line = |line: &str| {
        let (heading, cells): (Vec<String>, Vec<String>) =
            (heading.clone(), line.split(',').map(str::to_owned).collect());
        move |name: &str| cells[heading.iter().position(|found| found == name).unwrap()].clone()
    };
    lines.map(of_line).collect()
}

fn value(text: &str) -> f64 {
    text.parse().unwrap()
}

#[test]
fn clear_days() {
    for row in rows("sky/harvest_day.csv") {
        let (air, wind) = (format!("{} °C", row("temp_air_c")), format!("{} m/s", row("wind_mps")));
        let asked = [
            ("--latitude", row("lat_deg")),
            ("--longitude", row("lon_deg")),
            ("--elevation", row("elev_m")),
            ("--date", row("local_date")),
            ("--tilt", row("surface_tilt_deg")),
            ("--azimuth", row("surface_azimuth_deg")),
            ("--turbidity", row("linke_turbidity")),
            ("--albedo", row("albedo")),
            ("--air", air),
            ("--wind", wind),
            ("--panel", "100 W".to_owned()),
            ("--coefficient", "-0.4 %/K".to_owned()),
        ];
        let words = ["harvest"].into_iter().map(str::to_owned);
        let words: Vec<String> = words
            .chain(asked.into_iter().flat_map(|(name, value)| [name.to_owned(), value]))
            .collect();
        let day = json(&words);
        let what = |of: &str| format!("{} {} {of}", row("site"), row("local_date"));
        // the reference's own accuracy, 0.1 %, and half of its last printed digit
        for (key, column) in [
            ("poa_wh_per_m2", "poa_global_wh_m2"),
            ("poa_effective_wh_per_m2", "poa_effective_wh_m2"),
            ("ghi_wh_per_m2", "ghi_wh_m2"),
            ("panel_wh", "panel_100w_wh"),
            ("peak_w", "peak_panel_w"),
        ] {
            let expect = value(&row(column));
            close(&what(key), number(&day[key]), expect, 1e-3 * expect + 0.005);
        }
    }
}

#[test]
fn measured_days() {
    for row in rows("measured/daily_summary.csv") {
        let file = reference("measured").join(row("file"));
        let (tilt, azimuth, albedo) = (row("tilt_deg"), row("azimuth_deg"), row("albedo"));
        let (latitude, longitude, elevation) = (row("lat_deg"), row("lon_deg"), row("elev_m"));
        let words = [
            "harvest",
            "--weather",
            file.to_str().unwrap(),
            "--date",
            &row("day")[..10],
            "--tilt",
            &tilt,
            "--azimuth",
            &azimuth,
            "--albedo",
            &albedo,
            // the table's own coordinates: not all files tell theirs
            "--latitude",
            &latitude,
            "--longitude",
            &longitude,
            "--elevation",
            &elevation,
        ];
        let day = json(&words);
        for (key, column) in [
            ("poa_wh_per_m2", "poa_from_measured_wh_m2"),
            ("ghi_wh_per_m2", "ghi_wh_m2"),
            ("panel_wh", "panel_100w_from_measured_wh"),
        ] {
            let expect = value(&row(column));
            close(&format!("{} {key}", row("file")), number(&day[key]), expect, 5e-3 * expect);
        }
        let dark = day["weather"]["steps"]["dark"].as_u64().unwrap();
        assert_eq!(dark, row("missing_dni").parse::<u64>().unwrap(), "{}", row("file"));
    }
}

const RIDGE: [&str; 6] =
    ["harvest", "--latitude", "56.9 N", "--longitude", "4.2 W", "--elevation=430 m"];

fn ridge<'a>(more: &[&'a str]) -> Vec<&'a str> {
    RIDGE.iter().chain(more).copied().collect()
}

#[test]
fn better_aimed_gives_more() {
    let energy = |more: &[&str]| {
        number(&json(&ridge(&[&["--date", "2026-06-20"], more].concat()))["panel_wh"])
    };
    let [flat, fixed, hourly, daily] = [
        energy(&["--flat"]),
        energy(&["--tilt", "35°", "--azimuth", "180°"]),
        energy(&["--turned-every", "1 h"]),
        energy(&["--turned-every", "4 h"]),
    ];
    assert!(flat < fixed && fixed < daily && daily < hourly, "{flat} {fixed} {daily} {hourly}");
}

#[test]
fn hours_of_sun_are_those_from_sunrise_to_sunset() {
    let day = json(&ridge(&["--date", "2026-10-09", "--flat"]));
    let night = |date: &str| {
        json(&["night", "--latitude", "56.9 N", "--longitude", "4.2 W", "--date", date])
    };
    let instant =
        |value: &serde_json::Value| -> jiff::Timestamp { value.as_str().unwrap().parse().unwrap() };
    let sunrise = instant(&night("2026-10-08")["sunrise"]);
    let sunset = instant(&night("2026-10-09")["sunset"]);
    let hours = sunset.duration_since(sunrise).as_secs_f64() / 3600.0;
    // counted by the minute
    close("sun_hours", number(&day["sun_hours"]), hours, 1.5 / 60.0);
    close(
        "peak_sun_hours",
        number(&day["peak_sun_hours"]),
        number(&day["poa_wh_per_m2"]) / 1e3,
        1e-9,
    );
    // a day without the sun, and one with nothing else
    let at = |date: &str| {
        json(&["harvest", "--latitude", "78.2", "--longitude", "15.6", "--date", date, "--flat"])
    };
    let (winter, summer) = (at("2026-12-20"), at("2026-06-20"));
    assert_eq!((number(&winter["sun_hours"]), number(&winter["panel_wh"])), (0.0, 0.0));
    assert_eq!(number(&summer["sun_hours"]), 24.0);
}

#[test]
fn a_day_by_the_clock_has_23_or_25_hours_where_clocks_are_changed() {
    let day = |date: &str| json(&ridge(&["--date", date, "--zone", "Europe/London", "--flat"]));
    assert_eq!(day("2026-07-01")["start"], "2026-06-30T23:00:00Z");
    assert_eq!(day("2026-12-01")["start"], "2026-12-01T00:00:00Z");
    let changed = number(&day("2026-10-25")["panel_wh"]);
    let plain = number(&json(&ridge(&["--date", "2026-10-25", "--flat"]))["panel_wh"]);
    close("the night does not count", changed, plain, 1e-6 * plain);
}

#[test]
fn a_day_on_a_screen_and_as_a_page() {
    let page = folder("harvest-page").join("day.html");
    let file = reference("measured/bsrn-pay0616-days-07-21-23.dat");
    let ran = run(&[
        "harvest",
        "--weather",
        file.to_str().unwrap(),
        "--date",
        "2016-06-23",
        "--flat",
        "--report",
        page.to_str().unwrap(),
    ]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    assert!(ran.out.lines().all(|line| line.chars().count() <= 80), "{}", ran.out);
    assert!(ran.out.contains("6 steps had light that was not measured"), "{}", ran.out);
    let html = std::fs::read_to_string(&page).unwrap();
    check_self_contained(&html);
    assert!(!html.contains("NaN"));
}

#[test]
fn what_can_not_be_is_named() {
    #[track_caller]
    fn check(words: &[&str], says: &[&str]) {
        let ran = run(words);
        assert_eq!(ran.status, 2, "{words:?} was taken: {}", ran.out);
        for part in says {
            assert!(ran.err.contains(part), "{words:?}: {part:?} is missing in\n{}", ran.err);
        }
    }
    let there = ["harvest", "--longitude", "4.2 W", "--date", "2026-10-09", "--flat"];
    check(&[&there[..], &["--latitude", "91"]].concat(), &["91"]);
    check(&ridge(&["--date", "2026-02-30", "--flat"]), &["2026-02-30", "no date"]);
    check(&ridge(&["--date", "1949-02-01", "--flat"]), &["1950 to 2100"]);
    check(
        &ridge(&["--date", "2026-10-09", "--tilt", "95", "--azimuth", "180"]),
        &["95", "0 to 90"],
    );
    check(&ridge(&["--date", "2026-10-09", "--tilt", "40"]), &["--azimuth"]);
    check(&ridge(&["--date", "2026-10-09"]), &["--tilt", "--flat"]);
    check(&ridge(&["--date", "2026-10-09", "--flat", "--turbidity", "40"]), &["turbidity", "40"]);
    check(&ridge(&["--date", "2026-10-09", "--flat", "--albedo", "140 %"]), &["140"]);
    check(&ridge(&["--date", "2026-10-09", "--flat", "--panel", "9 Q"]), &["\"Q\""]);
    check(&["harvest", "--weather", "no-such-file", "--flat"], &["no-such-file", "no such file"]);
    let weather = |name: &str, more: &[&str]| {
        let path = reference("measured").join(name);
        let words = ["harvest", "--flat", "--weather", path.to_str().unwrap()];
        let words: Vec<String> = words.iter().chain(more).map(|word| (*word).to_owned()).collect();
        run(&words)
    };
    for (name, more, says) in [
        ("README.md", &[][..], "no weather file of a known layout"),
        ("midc_raw_20181018.txt", &[], "where it was measured"),
        ("bsrn-pay0616-days-07-21-23.dat", &[], "3 days"),
        ("surfrad-slv16001.dat", &["--date", "2017-01-01"], "no reading of 2017-01-01"),
    ] {
        let ran = weather(name, more);
        assert!(ran.status == 2 && ran.err.contains(says), "{name}: {}", ran.err);
    }
}
