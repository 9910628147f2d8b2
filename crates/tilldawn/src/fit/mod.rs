//! `tilldawn fit`.

mod document;

use std::path::Path;
use std::process::ExitCode;

use pack::fit::{self, Fit, Run};
use plan::BatteryRun;
use report::{Fitted, FromRecord};

use crate::args;
use crate::output::{Failure, print, print_json, provenance, remark, write_file};
use crate::patience::Patience;

pub(crate) fn run(asked: &args::Fit) -> Result<ExitCode, Failure> {
    match &asked.data_sheet {
        Some(sheet) => of_sheet(asked, &sheet.0),
        None => of_records(asked),
    }
}

fn of_sheet(asked: &args::Fit, table: &[fit::Rated]) -> Result<ExitCode, Failure> {
    let pack = fit::from_sheet(&asked.name, asked.chemistry, table)
        .map_err(|error| Failure::new("arguments", error.to_string()))?;
    if asked.json {
        print_json(&document::Sheet { pack: &pack })?;
    } else {
        print(&report::sheet_text(&pack))?;
    }
    keep(asked, &pack)
}

fn of_records(asked: &args::Fit) -> Result<ExitCode, Failure> {
    let records = read_all(asked)?;
    let runs: Vec<Run<'_>> = records.iter().map(BatteryRun::run).collect();
    let rated_ah = asked.rated.unwrap_or_default();
    let mut patience = Patience::new("fitting {bar:40} {percent} %, {eta} to go");
    let mut progress = |share: f64| patience.at((100.0 * share) as u64, Some(100));
    let mut fit = fit::fit(&asked.name, asked.chemistry, rated_ah, &runs, &mut progress)
        .map_err(|error| Failure::new("record", error.to_string()))?;
    drop(patience);
    // one meter is wrong the same way in all records
    let meter_u = records.iter().map(|record| record.charge_u).fold(0.0, f64::max);
    fit.pack.spread.capacity = fit.pack.spread.capacity.hypot(meter_u);
    let told = fitted(&fit, &records);
    if asked.json {
        print_json(&document::Document::of(&fit, &records))?;
    } else {
        print(&report::fit_text(&told))?;
    }
    if let Some(path) = &asked.report {
        let files = records.iter().map(|record| record.name.clone()).collect();
        write_file(path, &report::fit_page(&told, provenance(files, None)))?;
        remark(&format!("report written to {}", path.display()));
    }
    keep(asked, &fit.pack)
}

fn fitted<'a>(fit: &'a Fit, records: &'a [BatteryRun]) -> Fitted<'a> {
    let records = records.iter().map(|record| FromRecord {
        name: &record.name,
        from_full: record.from_full,
        notices: &record.notices,
    });
    Fitted { fit, records: records.collect() }
}

fn keep(asked: &args::Fit, pack: &pack::Pack) -> Result<ExitCode, Failure> {
    if let Some(path) = &asked.output {
        let text = plan::pack_text(pack).map_err(|problem| Failure::new("output", problem))?;
        write_file(path, &text)?;
        remark(&format!("pack written to {}", path.display()));
    }
    Ok(ExitCode::SUCCESS)
}

/// All records, if all can be fitted together; else what is wrong and what can still be had.
fn read_all(asked: &args::Fit) -> Result<Vec<BatteryRun>, Failure> {
    for named in &asked.not_full {
        if !asked.records.iter().any(|path| is_meant(path, named)) {
            return Err(Failure::new(
                "arguments",
                format!("--not-full {}: this is none of the records", named.display()),
            ));
        }
    }
    let (mut records, mut problems) = (Vec::new(), Vec::new());
    for path in &asked.records {
        match read(path, asked) {
            Ok(record) => records.push(record),
            Err(problem) => problems.push(problem),
        }
    }
    let runs: Vec<Run<'_>> = records.iter().map(BatteryRun::run).collect();
    if let Err(error) = fit::belong(asked.chemistry, &runs)
        && !records.is_empty()
    {
        problems.push(error.to_string());
    }
    if problems.is_empty() {
        return Ok(records);
    }
    let usable = plan::most_together(asked.chemistry, &records);
    let usable: Vec<&str> = usable.iter().map(|index| records[*index].name.as_str()).collect();
    let rest = match usable.as_slice() {
        [] => "Nothing is left to fit; `tilldawn bench` shows what a record proves by itself."
            .to_owned(),
        [one] => format!("What can still be had: {one} can be fitted by itself."),
        several => format!(
            "What can still be had: {} belong together; leave the rest out.",
            several.join(", ")
        ),
    };
    problems.push(rest);
    let message = problems.join("\n  ");
    Err(Failure {
        document: serde_json::json!({ "error": {
            "kind": "record", "message": message, "usable": usable,
        } }),
        message,
    })
}

fn read(path: &Path, asked: &args::Fit) -> Result<BatteryRun, String> {
    let mut patience = Patience::new("reading {bar:40} {bytes} of {total_bytes}, {eta} to go");
    let record =
        record::read_file(path, &asked.reading.options(), |done, of| patience.at(done, of))
            .map_err(|error| error.to_string())?;
    let settings = bench::Settings { instrument: asked.meter, ..bench::Settings::default() };
    let runs =
        bench::measure(&record, &settings).map_err(|error| format!("{}: {error}", record.file))?;
    let is_full = !asked.not_full.iter().any(|named| is_meant(path, named));
    plan::battery_run(&record, &runs, is_full)
}

/// A record is named by its path, or by the last part of it.
fn is_meant(path: &Path, named: &Path) -> bool {
    path == named || path.file_name() == Some(named.as_os_str())
}
