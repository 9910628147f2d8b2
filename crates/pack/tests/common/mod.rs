//! Reading the reference tables.
#![allow(dead_code, unreachable_pub)] // each test file uses its part
#![allow(clippy::unwrap_used)] // a test may

use pack::{Circuit, Ocv, Sample};
use serde_json::Value;

pub fn path(name: &str) -> String {
    format!("{}/../../tests/reference/{name}", env!("CARGO_MANIFEST_DIR"))
}

pub fn json(name: &str) -> Value {
    serde_json::from_str(&std::fs::read_to_string(path(name)).unwrap()).unwrap()
}

pub fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
}

/// The circuit of a reference's `pack`.
pub fn circuit(pack: &Value) -> Circuit {
    let number = |key: &str| pack[key].as_f64().unwrap();
    let points: Vec<_> =
        numbers(&pack["ocv_soc"]).into_iter().zip(numbers(&pack["ocv_v"])).collect();
    Circuit {
        charge_efficiency: number("charge_efficiency"),
        ..Circuit::plain(
            number("ah"),
            Ocv::new(points).unwrap(),
            number("r0_ohm"),
            number("r1_ohm"),
            number("c1_f"),
        )
    }
}

/// A noise-free run: `time_s, voltage_v, current_a` and perhaps a temperature in the last column.
pub fn truth(name: &str) -> Vec<Sample> {
    let text = std::fs::read_to_string(path(name)).unwrap();
    let columns: Vec<Vec<f64>> = text
        .lines()
        .skip(1)
        .map(|line| line.split(',').map(|field| field.parse().unwrap()).collect())
        .collect();
    let column = |i: usize| columns.iter().map(|row| row[i]).collect::<Vec<f64>>();
    let mut samples = pack::samples(&column(0), &column(1), &column(2));
    if text.lines().next().unwrap().ends_with("temperature_C") {
        for (sample, row) in samples.iter_mut().zip(&columns) {
            sample.temperature_c = row.last().copied();
        }
    }
    samples
}

/// Fails with what was compared unless `got` is within `share` of `want`.
#[track_caller]
pub fn close(what: &str, got: f64, want: f64, share: f64) {
    let off = (got / want - 1.0).abs();
    assert!(off <= share, "{what}: {got} instead of {want}, off by {:.4} %", off * 100.0);
}
