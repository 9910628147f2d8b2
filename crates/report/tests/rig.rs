//! An inspected rig in tables and as a tree; the page is left in the target folder to be looked at.

#![allow(clippy::unwrap_used, reason = "a test")]

use std::path::Path;

use jiff::Timestamp;
use jiff::tz::TimeZone;
use report::page::Provenance;
use report::{Inspected, rig_page, rig_text};
use rig::schedule::Moments;
use rig::{Branch, Conditions, Device, Load, Rig, Section, Terms, Wire};
use trip::{Survey, SurveyedNight};

/// An invented rig: a hub for two devices, one of them on a cable that is too thin.
fn rig() -> Rig {
    let hub = Branch {
        name: "hub".into(),
        feed: None,
        wire: Wire::cable(Section::Awg(14), 1.5),
        converter: None,
    };
    let device = |name: &str, power_w, feed: Option<&str>, gauge, least_v, when: &str| Device {
        least_voltage_v: Some(least_v),
        feed: feed.map(str::to_owned),
        wire: Wire::cable(Section::Awg(gauge), 2.5),
        ..Device::new(name, Load::Power(power_w), when.parse().unwrap())
    };
    let devices = vec![
        device("mount", 9.0, Some("hub"), 16, 10.8, "dark"),
        device("camera", 24.0, Some("hub"), 24, 11.0, "dark"),
        device("small computer", 8.0, None, 18, 10.5, "sunset to sunrise"),
    ];
    Rig::new(vec![hub], devices).unwrap()
}

fn survey(rig: &Rig) -> Survey {
    let h = |hours: f64| Some(hours * 3600.0);
    let night = rig.night(&Moments {
        start_s: 0.0,
        end_s: 86_400.0,
        sunset_s: h(6.5),
        dusk_s: h(7.2),
        dark_s: h(8.6),
        dark_end_s: h(17.5),
        dawn_s: h(19.0),
        sunrise_s: h(19.6),
        clock_s: &|second| second,
    });
    let air = vec![Conditions { air_c: 5.0, dew_point_c: 2.0, wind_m_s: 1.0, cloud: 0.0 }];
    let terms = Terms { air, dusk_v: 13.1, end_v: 11.5 };
    let found = rig.inspect(&night, &terms).unwrap();
    let nights = vec![SurveyedNight {
        evening: "2026-10-09".parse().unwrap(),
        from_s: 0.0,
        to_s: 86_400.0,
        budget: found.budget(0.0, 86_400.0),
    }];
    let clock_start = "2026-10-09T12:00:00Z".parse::<Timestamp>().unwrap();
    Survey { terms, clock_start, night, found, nights }
}

fn shown(read: impl Fn(&Inspected<'_>) -> String) -> String {
    let rig = rig();
    read(&Inspected { rig: &rig, zone: &TimeZone::UTC, survey: &survey(&rig), defaults: &[] })
}

#[test]
fn budget_devices_and_wires_in_the_terminal() {
    let text = shown(rig_text);
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    insta::assert_snapshot!(text);
}

#[test]
fn the_wiring_is_drawn_and_what_is_too_low_is_named() {
    let page = shown(|inspected| rig_page("An invented rig", inspected, Provenance::default()));
    for part in ["Too low a voltage: camera.", "2.5 m of 16 AWG", "no fuse", "electrician"] {
        assert!(page.to_lowercase().contains(&part.to_lowercase()), "{part}");
    }
    assert!(!page.contains("NaN"));
    std::fs::write(Path::new(env!("CARGO_TARGET_TMPDIR")).join("rig.html"), page).unwrap();
}
