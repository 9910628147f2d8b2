//! Which way the current flows is found from the runs themselves, whatever its sign in the file,
//! whole and in pieces. Provenance of the runs: README.md in the reference folder.

#![allow(clippy::unwrap_used)]

use std::path::{Path, PathBuf};

use record::ReadOptions;

/// Time, voltage and current out of the pack, as text.
type Row = (String, String, f64);

fn runs(folder: &str) -> Vec<(String, Vec<Row>)> {
    let folder =
        PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference")).join(folder);
    let mut runs: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "csv"))
        .map(|path| (path.file_name().unwrap().to_str().unwrap().to_owned(), rows(&path)))
        .collect();
    runs.sort_by(|a, b| a.0.cmp(&b.0));
    runs
}

fn rows(path: &Path) -> Vec<Row> {
    let text = std::fs::read_to_string(path).unwrap();
    let row = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        (cells[0].to_owned(), cells[1].to_owned(), cells[2].parse().unwrap())
    };
    text.lines().skip(1).map(row).collect()
}

/// Charge out of the pack (A s) as the reader sees it and as it is, and whether it was sure.
fn charge_out(rows: &[Row], sign: f64) -> (f64, f64, bool) {
    let mut text = "s,V,A\n".to_owned();
    for (time, voltage, current) in rows {
        text += &format!("{time},{voltage},{:.4}\n", sign * current);
    }
    let record = record::read_bytes("run", text.as_bytes(), &ReadOptions::default()).unwrap();
    let all: Vec<_> = record.samples.iter().collect();
    let seen = all
        .windows(2)
        .map(|pair| {
            (pair[1].elapsed_s - pair[0].elapsed_s) * (pair[0].current_a + pair[1].current_a) / 2.0
        })
        .sum();
    let time = |row: &Row| row.0.parse::<f64>().unwrap();
    let truth = rows
        .windows(2)
        .map(|pair| (time(&pair[1]) - time(&pair[0])) * (pair[0].2 + pair[1].2) / 2.0)
        .sum();
    let sure = !record.notices.iter().any(|notice| notice.contains("doesn't tell"));
    (seen, truth, sure)
}

#[test]
fn whole_runs() {
    let mut count = 0;
    for (name, rows) in ["bench/truth", "bench/more/truth"].into_iter().flat_map(runs) {
        for sign in [1.0, -1.0] {
            let (seen, truth, _) = charge_out(&rows, sign);
            assert!((seen - truth).abs() <= 1e-3 * truth.abs() + 1.0, "{name}: {seen} {truth}");
            count += 1;
        }
    }
    assert!(count >= 30);
}

/// A sixth of a run is a record too. Where its voltage tells nothing the reader may be wrong, but
/// then it has said so.
#[test]
fn pieces_of_runs() {
    let (mut sure_of, mut count) = (0, 0);
    for (name, rows) in ["bench/truth", "bench/more/truth"].into_iter().flat_map(runs) {
        for (at, piece) in rows.chunks(rows.len() / 6).enumerate() {
            for sign in [1.0, -1.0] {
                let (seen, truth, sure) = charge_out(piece, sign);
                let right = (seen - truth).abs() <= 1e-3 * truth.abs() + 1.0;
                assert!(right || !sure, "{name}, piece {at}: {seen} {truth}");
                count += 1;
                sure_of += usize::from(sure);
            }
        }
    }
    assert!(sure_of * 10 >= count * 9, "{sure_of} of {count}");
}
