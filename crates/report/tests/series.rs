//! Years of tests and packs side by side; the page is left in the target folder to be looked at.

#![allow(clippy::unwrap_used, reason = "a test")]

use std::path::Path;

use bench::{Ageing, CapacityTest, Discharge, Entry, Repeats, Run, Settings, compare, measure};
use report::page::Provenance;
use report::{Compared, Past, ageing_page, ageing_text, comparison_page, comparison_text};

/// The only test in each record of a series, with its record.
fn tests(series: &str) -> Vec<(record::Record, Run)> {
    let folder =
        Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/bench/series/logs"));
    let mut files: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.file_name().unwrap().to_string_lossy().starts_with(series))
        .collect();
    files.sort();
    files
        .iter()
        .map(|file| {
            let record = record::read_file(file, &Default::default(), |_, _| {}).unwrap();
            let run = measure(&record, &Settings::default()).unwrap().remove(0);
            (record, run)
        })
        .collect()
}

fn years() -> (Vec<Past>, Ageing) {
    let past: Vec<Past> = tests("s3-years")
        .iter()
        .map(|(record, run)| Past {
            file: Some(record.file.clone()),
            test: CapacityTest::of(record, run).unwrap(),
            u_ah: None,
        })
        .collect();
    let tests: Vec<CapacityTest> = past.iter().map(|past| past.test).collect();
    let ageing = Ageing::of(&tests).unwrap();
    (past, ageing)
}

fn packs() -> (Vec<Entry>, Vec<Vec<Run>>) {
    let pack = |name: &str, series: &str, mass_kg: f64, price: f64| {
        let runs: Vec<Run> = tests(series).into_iter().map(|(_, run)| run).collect();
        let discharges: Vec<&Discharge> =
            runs.iter().filter_map(|run| run.discharge.as_ref()).collect();
        let entry = Entry {
            name: name.to_owned(),
            usable_wh: Repeats::of_usable_energy(&discharges).unwrap(),
            share_above_cutoff: bench::mean_share_above_cutoff(&discharges),
            recharge_s: Some(17_000.0),
            mass_kg: Some(mass_kg),
            price: Some(price),
            volume_l: None,
            promised_cycles: Some(3000.0),
            warranty_years: Some(5.0),
        };
        (entry, runs)
    };
    [
        pack("steady <one>", "s1-tight", 4.8, 260.0),
        pack("wavering one", "s2-wide", 4.1, 190.0),
        pack("old one", "s3-years-2026", 4.8, 260.0),
    ]
    .into_iter()
    .unzip()
}

#[test]
fn years_in_the_terminal_and_on_a_page() {
    let (past, ageing) = years();
    let ends = ageing.ends(Some(40.0));
    let text = ageing_text(&past, &ageing, &ends);
    assert!(text.lines().all(|line| line.chars().count() <= 80) && !text.contains("NaN"), "{text}");
    let unbroken = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for part in ["80 % of the label (32.0 Ah) around", "80 % of the first test", "in 100 cycles"] {
        assert!(unbroken.contains(part), "{part:?} in {text}");
    }
    let page = ageing_page(&past, &ageing, &ends, Provenance::default());
    assert!(page.contains("7 capacity tests") && !page.contains("NaN"));
    std::fs::write(Path::new(env!("CARGO_TARGET_TMPDIR")).join("ageing.html"), page).unwrap();
}

#[test]
fn packs_in_the_terminal_and_on_a_page() {
    let (entries, runs) = packs();
    let compared = Compared {
        entries: &entries,
        places: &compare(&entries, true),
        runs: &runs,
        cutoff_v: 12.0,
        currency: "EUR",
        same_meter: true,
    };
    let text = comparison_text(&compared);
    assert!(text.lines().all(|line| line.chars().count() <= 80) && !text.contains("NaN"), "{text}");
    // the wavering one can't be told from the steady one
    let unbroken = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(unbroken.contains("can't be told apart by these tests"), "{text}");
    let page = comparison_page(&compared, Provenance::default());
    assert!(page.contains("steady &lt;one&gt;") && page.contains("EUR/kWh"));
    assert!(!page.contains("NaN"));
    std::fs::write(Path::new(env!("CARGO_TARGET_TMPDIR")).join("comparison.html"), page).unwrap();
}
