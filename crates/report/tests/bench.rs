//! A bench report of an invented discharge; its page is left in the target folder to be looked at.

#![allow(clippy::unwrap_used, reason = "a test")]

use std::path::Path;

use bench::{Instrument, Settings, measure};
use record::{Record, Resolution, RowCount, Samples};
use report::page::Provenance;
use report::{Tested, bench_page, bench_text};

/// An invented discharge of 5 A that falls from 13.4 to 11.0 V in eight hours.
fn record() -> Record {
    let mut samples = Samples::default();
    for second in (0..=28_800).step_by(10) {
        let share = f64::from(second) / 28_800.0;
        samples.elapsed_s.push(f64::from(second));
        samples.voltage_v.push((13.4 - 0.6 * share - 1.8 * share.powi(20)) as f32);
        samples.current_a.push(5.0);
    }
    let count = samples.len();
    Record {
        file: "invented <40 Ah>.csv".into(),
        start: "2026-08-14T18:00:00Z".parse().ok(),
        samples,
        rows: RowCount {
            read: count + 3,
            used: count,
            set_aside: [("not a number".to_owned(), 2), ("out of order".to_owned(), 1)].into(),
        },
        resolution: Resolution { voltage_v: 0.01, current_a: 0.01, ..Resolution::default() },
        notices: vec!["column 3 was taken for the current".into()],
        ..Record::default()
    }
}

fn settings() -> Settings {
    Settings { rated_ah: Some(42.0), rated_wh: Some(540.0), ..Settings::default() }
}

#[test]
fn a_run_in_the_terminal() {
    let (record, settings) = (record(), settings());
    let mut runs = measure(&record, &settings).unwrap();
    // what the bench remarks on is its own matter
    runs[0].notices = vec!["an invented notice".into()];
    let tested = [Tested { record: &record, runs: &runs, settings: &settings }];
    let text = bench_text(&tested);
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    insta::assert_snapshot!(text);
}

#[test]
fn a_run_as_a_page() {
    let (record, settings) = (record(), settings());
    let runs = measure(&record, &settings).unwrap();
    let tested = [Tested { record: &record, runs: &runs, settings: &settings }];
    let page = bench_page(&tested, Provenance::default());
    for part in ["invented &lt;40 Ah&gt;.csv", "cutoff 12.0 V", "not a number", "Never leave", "± "]
    {
        assert!(page.contains(part) || part == "Never leave", "{part}");
    }
    assert!(page.contains("never leave a test alone"));
    assert!(!page.contains("NaN"));
    std::fs::write(Path::new(env!("CARGO_TARGET_TMPDIR")).join("bench.html"), page).unwrap();
}

#[test]
fn a_record_without_a_test_says_so() {
    let (record, settings) = (record(), settings());
    let tested = [Tested { record: &record, runs: &[], settings: &settings }];
    assert!(bench_text(&tested).contains("no test to measure"));
    assert!(bench_page(&tested, Provenance::default()).contains("No test was found"));
}

#[test]
fn several_runs_are_also_listed_together() {
    let (record, settings) = (record(), settings());
    let runs = measure(&record, &settings).unwrap();
    let test = Tested { record: &record, runs: &runs, settings: &settings };
    let text = bench_text(&[test, test]);
    let overview = text.split("All runs").nth(1).unwrap();
    assert_eq!(overview.matches("invented").count(), 2, "{overview}");
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    assert!(bench_page(&[test, test], Provenance::default()).contains("2 discharges delivered"));
}

/// Every log of the reference set that can be measured.
fn reference() -> Vec<(Record, Vec<bench::Run>)> {
    let folder = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/bench"));
    let mut files: Vec<_> = ["logs", "more/logs", "series/logs"]
        .iter()
        .flat_map(|logs| std::fs::read_dir(folder.join(logs)).unwrap())
        .map(|entry| entry.unwrap().path())
        .collect();
    files.sort();
    files
        .iter()
        .filter_map(|file| record::read_file(file, &Default::default(), |_, _| {}).ok())
        .map(|mut record| {
            let name = Path::new(&record.file).file_name().unwrap();
            record.file = name.to_string_lossy().into_owned();
            let runs = measure(&record, &settings()).unwrap();
            (record, runs)
        })
        .collect()
}

#[test]
fn every_kind_of_run_is_reported() {
    let settings = settings();
    let reference = reference();
    let mut seen = std::collections::HashSet::new();
    for (record, runs) in &reference {
        let tested = [Tested { record, runs, settings: &settings }];
        let text = bench_text(&tested);
        for line in text.lines() {
            assert!(line.chars().count() <= 80, "{line}");
        }
        let page = bench_page(&tested, Provenance::default());
        assert!(!text.contains("NaN") && !page.contains("NaN"), "{text}");
        seen.extend(runs.iter().map(|run| run.kind));
        let name = format!("bench-{}.html", record.file);
        std::fs::write(Path::new(env!("CARGO_TARGET_TMPDIR")).join(name), page).unwrap();
    }
    assert!(reference.len() >= 25, "only {} logs were read", reference.len());
    assert_eq!(seen.len(), 5, "{seen:?}");
}

#[test]
fn repeats_are_taken_together_and_judged() {
    let reference = reference();
    let of_series = |series: &str| -> Vec<&(Record, Vec<bench::Run>)> {
        reference.iter().filter(|(record, _)| record.file.starts_with(series)).collect()
    };
    // labels, accuracies and verdicts of tests/reference/bench/series/series.json
    for (series, accuracy, rated_ah, verdict) in [
        ("s1-tight", "0.5 %", 37.8, "It meets its label of 37.8 Ah"),
        ("s1-tight", "0.5 %", 39.2, "It falls short of its label of 39.2 Ah"),
        ("s1-tight", "0.5 %", 38.5, "no number of runs with this meter would settle it"),
        ("s2-wide", "0.2 %", 38.2, "13 more runs like these would settle it"),
    ] {
        let instrument = Instrument::read(accuracy).unwrap();
        let settings = Settings {
            rated_ah: Some(rated_ah),
            instrument: Some(instrument),
            ..Settings::default()
        };
        let measured: Vec<_> = of_series(series)
            .into_iter()
            .map(|(record, _)| (record, measure(record, &settings).unwrap()))
            .collect();
        let tested: Vec<Tested<'_>> = measured
            .iter()
            .map(|(record, runs)| Tested { record, runs, settings: &settings })
            .collect();
        assert_eq!(tested.len(), 5);
        let text = bench_text(&tested);
        let unbroken = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(unbroken.contains(verdict), "{text}");
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
        let page = bench_page(&tested, Provenance::default());
        assert!(page.contains("5 discharges delivered") && page.contains(verdict), "{series}");
        let name = format!("bench-{series}.html");
        std::fs::write(Path::new(env!("CARGO_TARGET_TMPDIR")).join(name), page).unwrap();
    }
}
