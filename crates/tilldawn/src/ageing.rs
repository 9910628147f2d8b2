//! `tilldawn ageing`.

use std::path::Path;
use std::process::ExitCode;

use bench::{Ageing, CapacityTest, End, Settings, Trend};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use plan::{Capacity, History, PastTest};
use report::Past;
use serde::Serialize;

use crate::args;
use crate::bench::measure;
use crate::output::{Failure, print, print_json, provenance, remark, write_file};

pub(crate) fn run(asked: &args::Ageing) -> Result<ExitCode, Failure> {
    let mut settings = asked.measuring.settings();
    let tests = match asked.records.as_slice() {
        [file] if is_toml(file) => {
            let history = History::read(file)?;
            settings.rated_ah = settings.rated_ah.or(history.rated_ah);
            settings.instrument = settings.instrument.or(history.meter);
            history.tests
        }
        records => records
            .iter()
            .map(|path| PastTest {
                capacity: Capacity::Record(path.clone(), asked.reading.options()),
                date: None,
                cycles: None,
            })
            .collect(),
    };
    let mut past = Vec::new();
    for test in &tests {
        past.push(capacity_test(test, &settings)?);
    }
    past.sort_by_key(|past| past.test.at);
    let tests: Vec<CapacityTest> = past.iter().map(|past| past.test).collect();
    let ageing = Ageing::of(&tests).ok_or_else(|| {
        Failure::new(
            "ageing",
            format!(
                "{} tests are too few for a trend; it needs three or more, on different dates",
                tests.len()
            ),
        )
    })?;
    let ends = ageing.ends(settings.rated_ah);
    if asked.json {
        print_json(&Document::of(&past, &ageing, &ends))?;
    } else {
        print(&report::ageing_text(&past, &ageing, &ends))?;
    }
    if let Some(path) = &asked.report {
        let files = asked.records.iter().map(|path| path.display().to_string()).collect();
        let page = report::ageing_page(&past, &ageing, &ends, provenance(files, None));
        write_file(path, &page)?;
        remark(&format!("report written to {}", path.display()));
    }
    Ok(ExitCode::SUCCESS)
}

fn is_toml(path: &Path) -> bool {
    path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("toml"))
}

fn capacity_test(test: &PastTest, settings: &Settings) -> Result<Past, Failure> {
    let noon = |date: jiff::civil::Date| {
        let noon = TimeZone::UTC.to_timestamp(date.at(12, 0, 0, 0));
        noon.map_err(|error| Failure::new("plan", error.to_string()))
    };
    let stated_at = test.date.map(noon).transpose()?;
    let (path, options) = match &test.capacity {
        Capacity::Stated(capacity_ah) => {
            let at = stated_at.ok_or_else(|| Failure::new("plan", "a capacity needs its date"))?;
            let test = CapacityTest { at, cycles: test.cycles, capacity_ah: *capacity_ah };
            return Ok(Past { file: None, test, u_ah: None });
        }
        Capacity::Record(path, options) => (path, options),
    };
    let (record, runs) = measure(path, options, settings)?;
    let trouble = |message: &str, help: &str| Failure {
        message: format!("{}: {message}; {help}", record.file),
        document: serde_json::json!({ "error": {
            "kind": "ageing", "file": record.file, "line": null, "message": message, "help": help,
        } }),
    };
    let discharges: Vec<_> =
        runs.iter().filter(|run| run.kind == bench::RunKind::Discharge).collect();
    let [run] = discharges.as_slice() else {
        return Err(trouble(
            &format!("{} discharges are in it", discharges.len()),
            "a capacity test is one discharge from full to empty",
        ));
    };
    let mut found = CapacityTest::of(&record, run)
        .or_else(|| {
            let capacity_ah = run.discharge.as_ref()?.capacity_ah;
            Some(CapacityTest { at: stated_at?, cycles: None, capacity_ah })
        })
        .ok_or_else(|| {
            trouble(
                "it does not tell its date",
                "list the tests in a TOML file, with record = \"…\" and date = \"2024-04-06\"",
            )
        })?;
    found.at = stated_at.unwrap_or(found.at);
    found.cycles = test.cycles.or(found.cycles);
    let u_ah = run.discharge.as_ref().map(|discharge| discharge.capacity_u_ah);
    Ok(Past { file: Some(record.file.clone()), test: found, u_ah })
}

#[derive(Serialize)]
struct Document<'a> {
    tests: Vec<TestDocument<'a>>,
    by_year: TrendDocument,
    by_cycle: Option<TrendDocument>,
    reaches: Vec<ReachDocument>,
}

#[derive(Serialize)]
struct TestDocument<'a> {
    file: Option<&'a str>,
    at: Timestamp,
    cycles: Option<f64>,
    capacity_ah: f64,
    capacity_u_ah: Option<f64>,
}

/// Capacity along a straight line, with the half-width of the slope's 95 % interval.
#[derive(Serialize)]
struct TrendDocument {
    slope_ah: f64,
    slope_u_ah: f64,
    intercept_ah: f64,
    residual_ah: f64,
}

/// When the trend comes down to 80 %, with its 95 % interval; an end is null where the trend is
/// too weak.
#[derive(Serialize)]
struct ReachDocument {
    of: &'static str,
    level_ah: f64,
    date: Timestamp,
    earliest: Option<Timestamp>,
    latest: Option<Timestamp>,
}

impl<'a> Document<'a> {
    fn of(past: &'a [Past], ageing: &Ageing, ends: &[End]) -> Self {
        let tests = past.iter().map(|past| TestDocument {
            file: past.file.as_deref(),
            at: past.test.at,
            cycles: past.test.cycles,
            capacity_ah: past.test.capacity_ah,
            capacity_u_ah: past.u_ah,
        });
        let reaches = ends.iter().map(|end| ReachDocument {
            of: end.of,
            level_ah: end.reach.level_ah,
            date: end.reach.date,
            earliest: end.reach.earliest,
            latest: end.reach.latest,
        });
        Document {
            tests: tests.collect(),
            by_year: TrendDocument::of(&ageing.by_year),
            by_cycle: ageing.by_cycle.as_ref().map(TrendDocument::of),
            reaches: reaches.collect(),
        }
    }
}

impl TrendDocument {
    fn of(trend: &Trend) -> Self {
        TrendDocument {
            slope_ah: trend.slope_ah,
            slope_u_ah: trend.slope_u_ah,
            intercept_ah: trend.intercept_ah,
            residual_ah: trend.residual_ah,
        }
    }
}
