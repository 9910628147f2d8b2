//! Measured discharges of single cells without a heading or a current: readable once a person says
//! what the columns are. Source of the data and its licence: README.md beside it.

#![allow(clippy::unwrap_used)]

use std::path::PathBuf;

use record::{ColumnChoice, CurrentFrom, ErrorKind, ReadOptions, Role, Which};

#[test]
fn told_what_the_columns_are() {
    let folder =
        PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/measured-cells"));
    let about = std::fs::read_to_string(folder.join("measured.json")).unwrap();
    let about: serde_json::Value = serde_json::from_str(&about).unwrap();
    for (file, current_a) in [
        ("pouch-1-0p5c-voltage.txt", 1.14),
        ("pouch-1-2c-voltage.txt", 4.56),
        ("pouch-2-5c-from-figure.csv", 1.0),
    ] {
        let expect = |key: &str| about[file][key].as_f64().unwrap();
        let path = folder.join(file);
        let untold = record::read_file(&path, &ReadOptions::default(), |_, _| {}).unwrap_err();
        assert_eq!(untold.kind, ErrorKind::NoHeading, "{untold}");
        let column = |role, number| ColumnChoice { role, which: Which::Number(number), unit: None };
        let options = ReadOptions {
            columns: vec![column(Role::Time, 1), column(Role::Voltage, 2)],
            stated_current_a: Some(current_a),
            ..ReadOptions::default()
        };
        let record = record::read_file(&path, &options, |_, _| {}).unwrap();
        let samples = &record.samples;
        assert_eq!(record.current_from, CurrentFrom::Stated);
        assert_eq!(record.rows.used as f64, expect("rows"), "{file}");
        assert!(record.rows.set_aside.is_empty());
        let last = samples.len() - 1;
        assert!((samples.elapsed_s[last] - expect("last_s")).abs() < 1e-9, "{file}");
        // single precision holds seven digits
        assert!((f64::from(samples.voltage_v[0]) - expect("first_v")).abs() < 1e-6, "{file}");
        assert!((f64::from(samples.voltage_v[last]) - expect("last_v")).abs() < 1e-6, "{file}");
        let all: Vec<_> = samples.iter().collect();
        let volt_seconds: f64 = all
            .windows(2)
            .map(|pair| {
                (pair[1].elapsed_s - pair[0].elapsed_s) * (pair[0].voltage_v + pair[1].voltage_v)
                    / 2.0
            })
            .sum();
        let mean_v = volt_seconds / samples.elapsed_s[last];
        assert!((mean_v - expect("mean_v")).abs() < 1e-6, "{file}: {mean_v}");
    }
}
