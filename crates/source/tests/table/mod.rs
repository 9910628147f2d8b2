//! The reference tables, row by row. How each was made and how close to expect: the README beside
//! them.

#![allow(dead_code, clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

use std::collections::HashMap;

use jiff::Timestamp;
use sky::Place;

pub(crate) struct Row(HashMap<String, String>);

/// The rows of a table under `tests/reference/`.
pub(crate) fn rows(path: &str) -> Vec<Row> {
    let path = format!("{}/../../tests/reference/{path}", env!("CARGO_MANIFEST_DIR"));
    let mut reader = csv::Reader::from_path(&path).expect(&path);
    let names = reader.headers().unwrap().clone();
    let rows: Vec<Row> = reader
        .records()
        .map(|record| {
            let record = record.unwrap();
            Row(names.iter().map(String::from).zip(record.iter().map(String::from)).collect())
        })
        .collect();
    assert!(!rows.is_empty(), "{path} is empty");
    rows
}

impl Row {
    pub(crate) fn text(&self, column: &str) -> &str {
        self.0.get(column).unwrap_or_else(|| panic!("no column {column}"))
    }

    pub(crate) fn number(&self, column: &str) -> f64 {
        self.text(column).parse().unwrap_or_else(|_| panic!("{column}: {}", self.text(column)))
    }

    pub(crate) fn optional(&self, column: &str) -> Option<f64> {
        (!self.text(column).is_empty()).then(|| self.number(column))
    }

    pub(crate) fn time(&self, column: &str) -> Option<Timestamp> {
        let text = self.text(column);
        (!text.is_empty()).then(|| text.parse().expect(text))
    }

    pub(crate) fn place(&self) -> Place {
        Place::new(self.number("lat_deg"), self.number("lon_deg"), self.number("elev_m")).unwrap()
    }
}

/// The largest of some differences, for one tolerance over a table.
#[derive(Default)]
pub(crate) struct Worst(f64, String);

impl Worst {
    pub(crate) fn see(&mut self, difference: f64, what: impl Fn() -> String) {
        assert!(difference.is_finite(), "{}", what());
        if difference.abs() > self.0 {
            *self = Self(difference.abs(), what());
        }
    }

    pub(crate) fn at_most(&self, tolerance: f64) {
        println!("worst {:e} at {}", self.0, self.1);
        assert!(self.0 <= tolerance, "{:e} > {tolerance:e} at {}", self.0, self.1);
    }
}
