//! `tilldawn bench`.

mod document;

use std::path::Path;
use std::process::ExitCode;

use bench::{Run, Settings};
use record::Record;
use report::Tested;

use crate::args;
use crate::output::{Failure, print, print_json, provenance, remark, write_file};
use crate::patience::Patience;

pub(crate) fn run(asked: &args::Bench) -> Result<ExitCode, Failure> {
    let settings = Settings {
        cutoff_v: asked.cutoff,
        rated_ah: asked.rated,
        instrument: asked.meter,
        ..Settings::default()
    };
    let mut measured: Vec<(Record, Vec<Run>)> = Vec::new();
    for path in &asked.records {
        let record = read(path, &asked.reading.options())?;
        let runs = bench::measure(&record, &settings)
            .map_err(|error| Failure::new("record", format!("{}: {error}", record.file)))?;
        measured.push((record, runs));
    }
    if asked.json {
        print_json(&document::Document::of(&measured))?;
    } else {
        print(&report::bench_text(&tested(&measured, &settings)))?;
    }
    if let Some(path) = &asked.report {
        let files = measured.iter().map(|(record, _)| record.file.clone()).collect();
        write_file(
            path,
            &report::bench_page(&tested(&measured, &settings), provenance(files, None)),
        )?;
        remark(&format!("report written to {}", path.display()));
    }
    Ok(ExitCode::SUCCESS)
}

fn tested<'a>(measured: &'a [(Record, Vec<Run>)], settings: &'a Settings) -> Vec<Tested<'a>> {
    measured.iter().map(|(record, runs)| Tested { record, runs, settings }).collect()
}

fn read(path: &Path, options: &record::ReadOptions) -> Result<Record, record::RecordError> {
    let mut patience = Patience::new("reading {bar:40} {bytes} of {total_bytes}, {eta} to go");
    record::read_file(path, options, |done, of| patience.at(done, of))
}
