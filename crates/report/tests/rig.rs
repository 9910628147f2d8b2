//! A rig in tables and as a tree; the page is left in the target folder to be looked at.

#![allow(clippy::unwrap_used, reason = "a test")]

use std::path::Path;

use report::page::{Page, Provenance, Section, Tone, Verdict};
use report::{RigMoment, rig_blocks, rig_text};
use rig::schedule::When;
use rig::{Branch, Device, Load, Rig, Section as Gauge, Wire};

/// An invented rig: a hub for two devices, one of them on a cable that is too thin.
fn rig() -> Rig {
    let hub = Branch {
        name: "hub".into(),
        feed: None,
        wire: Wire::cable(Gauge::Awg(14), 1.5),
        converter: None,
    };
    let device = |name: &str, power_w, feed: Option<&str>, gauge, least_v| Device {
        least_voltage_v: Some(least_v),
        feed: feed.map(str::to_owned),
        wire: Wire::cable(Gauge::Awg(gauge), 2.5),
        ..Device::new(name, Load::Power(power_w), When::always())
    };
    let devices = vec![
        device("mount", 9.0, Some("hub"), 16, 11.4),
        device("camera", 24.0, Some("hub"), 24, 11.8),
        device("small computer", 8.0, None, 18, 11.5),
    ];
    Rig::new(vec![hub], devices).unwrap()
}

fn moment(rig: &Rig, source_v: f64) -> RigMoment {
    let loads: Vec<Load> = rig.devices().iter().map(|device| device.uses[0].load).collect();
    RigMoment { name: "everything on".into(), solution: rig.solve(source_v, &loads) }
}

#[test]
fn devices_and_wires_in_the_terminal() {
    let rig = rig();
    let text = rig_text(&rig, &[moment(&rig, 12.6)]);
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    insta::assert_snapshot!(text);
}

#[test]
fn the_wiring_is_drawn_and_what_is_too_low_is_named() {
    let rig = rig();
    let page = Page {
        title: "An invented rig".into(),
        subtitle: String::new(),
        verdict: Verdict {
            tone: Tone::Bad,
            sentence: "The camera sees too few volts.".into(),
            detail: String::new(),
        },
        sections: vec![Section::new("Wires", rig_blocks(&rig, &[moment(&rig, 12.6)]))],
        provenance: Provenance::default(),
    }
    .html();
    assert!(page.contains("Too low a voltage: camera."));
    assert!(page.contains("2.5 m of 16 AWG"));
    assert!(!page.contains("NaN"));
    std::fs::write(Path::new(env!("CARGO_TARGET_TMPDIR")).join("rig.html"), page).unwrap();
}

#[test]
fn a_collapse_is_told() {
    let rig = rig();
    let text = rig_text(&rig, &[moment(&rig, 4.0)]);
    assert!(text.contains("collapses at \"camera\""), "{text}");
}
