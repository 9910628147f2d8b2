//! `tilldawn night` against an ephemeris (`tests/reference/sky/night_events.csv`).

use jiff::Timestamp;

use crate::support::{json, number, reference, run};

/// Seconds: the wanted 20 s, or what 0.001° of altitude means where the sun grazes.
fn room_s(slowest_deg_per_min: Option<f64>, latitude_deg: f64) -> f64 {
    let grazing = slowest_deg_per_min.map_or(0.0, |rate| 0.001 / rate * 60.0);
    grazing.max(if latitude_deg.abs() <= 60.0 { 20.0 } else { 60.0 })
}

#[test]
fn events_of_the_night() {
    let text = std::fs::read_to_string(reference("sky/night_events.csv")).unwrap();
    let mut lines = text.lines();
    let heading: Vec<&str> = lines.next().unwrap().split(',').collect();
    // every seventh: the sky's own tests take them all
    for line in lines.step_by(7) {
        let cells: Vec<&str> = line.split(',').collect();
        let cell = |name: &str| cells[heading.iter().position(|found| *found == name).unwrap()];
        let night = json(&[
            "night",
            "--latitude",
            cell("lat_deg"),
            "--longitude",
            cell("lon_deg"),
            "--elevation",
            cell("elev_m"),
            "--date",
            cell("night_date_local"),
        ]);
        let room_s = room_s(
            cell("slowest_event_rate_deg_per_min").parse().ok(),
            cell("lat_deg").parse().unwrap(),
        );
        for event in [
            "sunset",
            "civil_dusk",
            "nautical_dusk",
            "astronomical_dusk",
            "astronomical_dawn",
            "nautical_dawn",
            "civil_dawn",
            "sunrise",
        ] {
            let expected = cell(&format!("{event}_utc"));
            let Some(found) = night[event].as_str() else {
                assert_eq!(expected, "", "{line}: no {event}");
                continue;
            };
            let (found, expected): (Timestamp, Timestamp) =
                (found.parse().unwrap(), expected.parse().unwrap());
            let off_s = found.duration_since(expected).as_secs_f64().abs();
            assert!(off_s <= room_s, "{line}: {event} off by {off_s} s");
        }
    }
}

#[test]
fn a_place_as_people_write_it_and_as_programs_do() {
    let people =
        json(&["night", "--latitude", "56.9 N", "--longitude", "4.2 W", "--date", "2026-10-09"]);
    let programs =
        json(&["night", "--latitude", "56.9", "--longitude", "-4.2", "--date", "2026-10-09"]);
    assert_eq!(people, programs);
    assert!((8.5..9.5).contains(&number(&people["dark_h"])));
    assert!(people["moon"]["lit_fraction"].is_number());
}

#[test]
fn times_are_shown_as_people_at_the_site_live_them() {
    let night = |zone: &str| {
        run(&[
            "night",
            "--latitude",
            "56.9 N",
            "--longitude",
            "4.2 W",
            "--date",
            "2026-10-09",
            "--zone",
            zone,
        ])
    };
    let (utc, summer) = (night("UTC"), night("Europe/London"));
    assert_eq!((utc.status, summer.status), (0, 0));
    assert!(utc.out.contains("17:30") && summer.out.contains("18:30"), "{}", summer.out);
    let plan = run(&["night", "examples/heather-ridge.toml"]);
    assert!(plan.out.contains("Heather Ridge") && plan.out.contains("18:30"), "{}", plan.out);
}

#[test]
fn a_summer_in_the_north_has_no_dark() {
    let night =
        json(&["night", "--latitude", "60.2", "--longitude", "24.9", "--date", "2026-06-20"]);
    assert!(night["astronomical_dusk"].is_null() && night["nautical_dusk"].is_null());
    assert_eq!(number(&night["dark_h"]), 0.0);
    assert!(night["sunset"].is_string());
}

#[test]
fn a_year_of_nights() {
    let page = crate::support::folder("season-page").join("season.html");
    let place = ["night", "--latitude", "56.9 N", "--longitude", "4.2 W", "--date", "2026-09-01"];
    let asked = [&place[..], &["--season", "--tilt", "45", "--azimuth", "180"]].concat();
    let season = json(&asked);
    let nights = season["nights"].as_array().unwrap();
    assert_eq!((nights.len(), season["stretches"].as_array().unwrap().len()), (365, 12));
    // one of its nights is that of the plain command
    let date = ["night", "--latitude", "56.9 N", "--longitude", "4.2 W", "--date", "2026-10-09"];
    let night = json(&date);
    let same = nights.iter().find(|night| night["evening"] == "2026-10-09").unwrap();
    for key in ["sunset", "sunrise", "dark_h", "moonless_dark_h"] {
        assert_eq!(same[key], night[key], "{key}");
    }
    // and its light that of the day's harvest, in coarser steps
    let day = ["harvest", "--latitude", "56.9 N", "--longitude", "4.2 W", "--date", "2026-10-09"];
    let day = json(&[&day[..], &["--tilt", "45", "--azimuth", "180"]].concat());
    let light = number(&day["poa_effective_wh_per_m2"]);
    crate::support::close("light", number(&same["clear_wh_per_m2"]), light, 5e-3 * light);
    for by in ["week", "month"] {
        let report = page.to_str().unwrap();
        let ran = run(&[&asked[..], &["--by", by, "--report", report]].concat());
        assert_eq!(ran.status, 0, "{}", ran.err);
        assert!(ran.out.lines().all(|line| line.chars().count() <= 80), "{}", ran.out);
        assert!(ran.out.contains("nights do not get dark"), "{}", ran.out);
    }
    let html = std::fs::read_to_string(&page).unwrap();
    crate::support::check_self_contained(&html);
    assert!(!html.contains("NaN"));
    // a plan's site, with its skyline and its panel
    let plan = run(&["night", "examples/heather-ridge.toml", "--season"]);
    assert!(plan.out.contains("tilted 45°, facing 180°"), "{}{}", plan.out, plan.err);
}

#[test]
fn without_a_clock_the_longitude_gives_one() {
    let night =
        run(&["night", "--latitude", "44.2 S", "--longitude", "170.1 E", "--date", "2027-07-03"]);
    assert!(night.out.contains("Local (+11)"), "{}", night.out);
    assert!(night.out.contains("Sat 3 Jul 17:"), "{}", night.out);
}
