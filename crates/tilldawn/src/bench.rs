//! `tilldawn bench`.

mod document;

use std::path::Path;
use std::process::ExitCode;
use std::time::{Duration, Instant};

use bench::{Run, Settings};
use indicatif::{ProgressBar, ProgressStyle};
use record::Record;
use report::Tested;

use crate::args;
use crate::output::{Failure, print, print_json, provenance, remark, write_file};

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

/// Progress is shown only where reading takes longer than this.
const PATIENCE: Duration = Duration::from_millis(700);

fn read(path: &Path, options: &record::ReadOptions) -> Result<Record, record::RecordError> {
    let began = Instant::now();
    let mut bar: Option<ProgressBar> = None;
    let record = record::read_file(path, options, |done, of| {
        if bar.is_none() && began.elapsed() > PATIENCE {
            bar = Some(progress(of));
        }
        if let Some(bar) = &bar {
            bar.set_position(done);
        }
    });
    if let Some(bar) = bar {
        bar.finish_and_clear();
    }
    record
}

fn progress(of: Option<u64>) -> ProgressBar {
    let bar = of.map_or_else(ProgressBar::new_spinner, ProgressBar::new);
    match ProgressStyle::with_template("reading {bar:40} {bytes} of {total_bytes}, {eta} to go") {
        Ok(style) if of.is_some() => bar.with_style(style),
        _ => bar,
    }
}
