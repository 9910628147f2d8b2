//! Reference records for the tests.

#![allow(dead_code, reason = "each test binary uses its own part")]

use record::{Record, Resolution, Samples};
use serde_json::Value;

pub(crate) fn path(name: &str) -> String {
    format!("{}/../../tests/reference/{name}", env!("CARGO_MANIFEST_DIR"))
}

pub(crate) fn json(name: &str) -> Value {
    serde_json::from_str(&std::fs::read_to_string(path(name)).unwrap()).unwrap()
}

pub(crate) fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap_or_else(|| panic!("{key} in {value}"))
}

/// A noise-free run: seconds, volts, amperes in the first three columns.
pub(crate) fn truth(name: &str) -> Record {
    let mut samples = Samples::default();
    for line in std::fs::read_to_string(path(name)).unwrap().lines().skip(1) {
        let cells: Vec<f64> = line.split(',').take(3).map(|cell| cell.parse().unwrap()).collect();
        samples.elapsed_s.push(cells[0]);
        samples.voltage_v.push(cells[1] as f32);
        samples.current_a.push(cells[2] as f32);
    }
    let resolution =
        Resolution { time_s: 1e-3, voltage_v: 1e-6, current_a: 1e-6, ..Resolution::default() };
    Record { file: name.to_owned(), samples, resolution, ..Record::default() }
}

/// Fails unless two numbers agree within a tolerance.
#[track_caller]
pub(crate) fn assert_within(what: &str, got: f64, expected: f64, tolerance: f64) {
    assert!(
        (got - expected).abs() <= tolerance,
        "{what}: {got}, expected {expected} ± {tolerance}"
    );
}
