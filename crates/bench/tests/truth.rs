//! Noise-free runs of an electrochemical model with exact integrals.

mod common;

use bench::{RunKind, Settings, measure};
use common::{assert_within, json, number, truth};

/// The files are thinned to a few thousand rows: straight lines between them miss this much.
const THINNED: f64 = 2e-4;

#[test]
fn discharges() {
    let all = json("bench/truth.json");
    for (name, expected) in all.as_object().unwrap() {
        if !name.contains("discharge") {
            continue;
        }
        for cutoff_v in [12.0, 11.5] {
            let settings = Settings { cutoff_v, ..Settings::default() };
            let runs = measure(&truth(&format!("bench/truth/{name}.csv")), &settings).unwrap();
            assert_eq!(runs.len(), 1, "{name}");
            assert_eq!(runs[0].kind, RunKind::Discharge, "{name}");
            let got = runs[0].discharge.as_ref().unwrap();
            let close = |what: &str, value: f64, key: &str| {
                let expected = number(expected, key);
                assert_within(&format!("{name}: {what}"), value, expected, THINNED * expected);
            };
            close("Ah", got.capacity_ah, "capacity_ah");
            close("Wh", got.energy_wh, "energy_wh");
            close("s", got.duration_s, "duration_s");
            close("V", got.mean_voltage_v, "mean_voltage_v");
            close("share", got.above_cutoff.share, &format!("share_above_{cutoff_v:.1}"));
            close("Ah above", got.above_cutoff.capacity_ah, &format!("ah_above_{cutoff_v:.1}"));
            close("Wh above", got.above_cutoff.energy_wh, &format!("wh_above_{cutoff_v:.1}"));
            assert!(got.curve.len() <= 1000, "{name}: {}", got.curve.len());
        }
    }
}
