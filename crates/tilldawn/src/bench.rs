//! `tilldawn bench`.

mod document;
mod save;
mod sun;

use std::path::Path;
use std::process::ExitCode;

use bench::{Run, Settings};
use record::{ReadOptions, Record};
use report::Tested;

use crate::args;
use crate::output::{Failure, print, print_json, provenance, remark, write_file};
use crate::patience::Patience;

pub(crate) fn run(asked: &args::Bench) -> Result<ExitCode, Failure> {
    if asked.save.is_some() && asked.records.len() > 1 {
        return Err(Failure::new(
            "arguments",
            "--save writes one record to one file; name one record",
        ));
    }
    let settings = Settings {
        rated_wh: asked.rated_wh,
        delay_s: asked.delay,
        charger_a: asked.charger,
        other_charger_a: asked.other_charger,
        panel_w: asked.sun.panel,
        at_gear: asked.gear.gear(),
        ..asked.measuring.settings()
    };
    let sky = sun::Sky::asked(asked)?;
    let mut measured: Vec<(Record, Vec<Run>)> = Vec::new();
    for path in &asked.records {
        let (record, mut runs) = measure(path, &asked.reading.options(), &settings)?;
        if let Some(sky) = &sky {
            sky.compare(&record, &mut runs)?;
        }
        measured.push((record, runs));
    }
    let tested = tested(&measured, &settings);
    if asked.json {
        print_json(&document::Document::of(&tested))?;
    } else {
        print(&report::bench_text(&tested))?;
    }
    if let Some(path) = &asked.report {
        let files = measured.iter().map(|(record, _)| record.file.clone()).collect();
        write_file(path, &report::bench_page(&tested, provenance(files, None)))?;
        remark(&format!("report written to {}", path.display()));
    }
    if let (Some(path), Some((record, _))) = (&asked.save, measured.first()) {
        save::save(record, path)?;
    }
    Ok(ExitCode::SUCCESS)
}

fn tested<'a>(measured: &'a [(Record, Vec<Run>)], settings: &'a Settings) -> Vec<Tested<'a>> {
    measured.iter().map(|(record, runs)| Tested { record, runs, settings }).collect()
}

/// A record and the tests in it.
pub(crate) fn measure(
    path: &Path,
    options: &ReadOptions,
    settings: &Settings,
) -> Result<(Record, Vec<Run>), Failure> {
    let mut patience = Patience::new("reading {bar:40} {bytes} of {total_bytes}, {eta} to go");
    let record = record::read_file(path, options, |done, of| patience.at(done, of))?;
    let runs = bench::measure(&record, settings)?;
    Ok((record, runs))
}
