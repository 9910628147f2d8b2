//! Reading a log, beside the bare csv crate that only parts it into cells.

#![allow(missing_docs, clippy::unwrap_used)]

use std::fmt::Write;

use divan::counter::BytesCount;
use divan::{Bencher, black_box};

const ROWS: usize = 1_000_000;

fn main() {
    divan::main();
}

/// A discharge at 4 A, a row a second: "0,14.355,4.000".
fn plain() -> String {
    let mut text = String::from("time_s,voltage_v,current_a\n");
    for row in 0..ROWS {
        let voltage_v = 13.3 - 3.0 * row as f64 / ROWS as f64;
        let current_a = 4.0 + (row % 7) as f64 / 1000.0;
        writeln!(text, "{row},{voltage_v:.3},{current_a:.3}").unwrap();
    }
    text
}

/// The same as a meter with a calendar writes it.
fn dated() -> String {
    let mut text = String::from("timestamp;U [V];I [A]\n");
    for row in 0..ROWS {
        let (day, hour, minute, second) =
            (1 + row / 86_400, row / 3600 % 24, row / 60 % 60, row % 60);
        let voltage_mv = 13_300 - 3000 * row / ROWS;
        writeln!(
            text,
            "2026-03-{day:02} {hour:02}:{minute:02}:{second:02};{},{:03};4,00{}",
            voltage_mv / 1000,
            voltage_mv % 1000,
            row % 7
        )
        .unwrap();
    }
    text
}

#[divan::bench(args = ["plain", "dated"], sample_count = 5)]
fn bare_csv(bencher: Bencher, kind: &str) {
    let text = if kind == "plain" { plain() } else { dated() };
    bencher.counter(BytesCount::new(text.len())).bench(|| {
        let delimiter = if kind == "plain" { b',' } else { b';' };
        let mut reader =
            csv::ReaderBuilder::new().delimiter(delimiter).from_reader(text.as_bytes());
        let mut row = csv::ByteRecord::new();
        let mut cells = 0;
        while reader.read_byte_record(&mut row).unwrap() {
            cells += row.len();
        }
        black_box(cells)
    });
}

#[divan::bench(args = ["plain", "dated"], sample_count = 5)]
fn record(bencher: Bencher, kind: &str) {
    let text = if kind == "plain" { plain() } else { dated() };
    bencher.counter(BytesCount::new(text.len())).bench(|| {
        let record =
            record::read_bytes("log", black_box(text.as_bytes()), &Default::default()).unwrap();
        assert_eq!(record.rows.used, ROWS);
        record
    });
}
