//! Years of tests and packs side by side; the page is left in the target folder to be looked at.

#![allow(clippy::unwrap_used, reason = "a test")]

use std::path::Path;

use bench::{Ageing, CapacityTest, Discharge, Entry, Repeats, Settings, compare, measure};
use report::page::{Page, Provenance, Section, Tone, Verdict};
use report::{ageing_blocks, ageing_text, comparison_blocks, comparison_text};

/// The discharges of one series of the reference logs, with when they began.
fn discharges(series: &str) -> Vec<(Option<jiff::Timestamp>, Discharge)> {
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
            (run.start, run.discharge.unwrap())
        })
        .collect()
}

fn years() -> Vec<CapacityTest> {
    let tests = discharges("s3-years").into_iter().map(|(start, discharge)| CapacityTest {
        at: start.unwrap(),
        cycles: None,
        capacity_ah: discharge.capacity_ah,
    });
    tests.collect()
}

fn packs() -> Vec<Entry> {
    let entry = |name: &str, series: &str, mass_kg: f64, price: f64| {
        let runs = discharges(series);
        let runs: Vec<&Discharge> = runs.iter().map(|(_, discharge)| discharge).collect();
        Entry {
            name: name.to_owned(),
            usable_wh: Repeats::of_usable_energy(&runs).unwrap(),
            share_above_cutoff: runs[0].above_cutoff.share,
            recharge_s: Some(17_000.0),
            mass_kg: Some(mass_kg),
            price: Some(price),
            volume_l: None,
            promised_cycles: Some(3000.0),
            warranty_years: Some(5.0),
        }
    };
    vec![
        entry("steady <one>", "s1-tight", 4.8, 260.0),
        entry("wavering one", "s2-wide", 4.1, 190.0),
        entry("old one", "s3-years-2026", 4.8, 260.0),
    ]
}

#[test]
fn years_and_packs_in_the_terminal() {
    let tests = years();
    let ageing = Ageing::of(&tests).unwrap();
    let reach = ageing.reaches(0.8 * 40.0);
    let aged = ageing_text(&tests, &ageing, reach.as_ref());
    let packs = packs();
    let compared = comparison_text(&packs, &compare(&packs, true));
    for text in [&aged, &compared] {
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
        assert!(!text.contains("NaN"), "{text}");
    }
    let unbroken = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(unbroken(&aged).contains("comes down to 32.0 Ah around"), "{aged}");
    assert_eq!(aged.matches(" May ").count() + aged.matches(" April ").count(), 4, "{aged}");
    // the wavering one can't be told from the steady one
    assert!(unbroken(&compared).contains("can't be told apart by these tests"), "{compared}");
}

#[test]
fn years_and_packs_on_a_page() {
    let tests = years();
    let ageing = Ageing::of(&tests).unwrap();
    let reach = ageing.reaches(0.8 * 40.0);
    let packs = packs();
    let page = Page {
        title: "Series".into(),
        subtitle: String::new(),
        verdict: Verdict {
            tone: Tone::Plain,
            sentence: "Invented packs.".into(),
            detail: String::new(),
        },
        sections: vec![
            Section::new("Over the years", ageing_blocks(&tests, &ageing, reach.as_ref())),
            Section::new("Side by side", comparison_blocks(&packs, &compare(&packs, true))),
        ],
        provenance: Provenance::default(),
    }
    .html();
    assert!(page.contains("steady &lt;one&gt;") && !page.contains("NaN"));
    std::fs::write(Path::new(env!("CARGO_TARGET_TMPDIR")).join("series.html"), page).unwrap();
}
