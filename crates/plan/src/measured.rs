//! A pack's model from the record of a discharge.

use std::path::Path;

use bench::{RunKind, Settings};
use pack::{Chemistry, Pack};
use record::{ReadOptions, Record};

/// Relative standard uncertainty of a capacity beyond what the meter brings: a pack does not give
/// the same twice (common practice, no source).
const REPEATABILITY: f64 = 0.01;

/// The pack that a record's first discharge shows.
///
/// # Errors
/// With a sentence for people, if the file is no record, has no discharge in it, or one from which
/// no pack can be measured.
pub fn pack(
    path: &Path,
    options: &ReadOptions,
    chemistry: Option<Chemistry>,
    rated_ah: Option<f64>,
) -> Result<Pack, String> {
    let name = path.display().to_string();
    let record = record::read_file(path, options, |_, _| {}).map_err(|error| error.to_string())?;
    from_record(&name, &record, chemistry, rated_ah)
}

fn from_record(
    name: &str,
    record: &Record,
    chemistry: Option<Chemistry>,
    rated_ah: Option<f64>,
) -> Result<Pack, String> {
    let runs = bench::measure(record, &Settings::default()).map_err(|error| error.to_string())?;
    let run = runs.iter().find(|run| run.kind == RunKind::Discharge).ok_or_else(|| {
        format!("{name} holds no discharge; a pack is measured from a discharge from full to empty")
    })?;
    let discharge = run.discharge.as_ref().ok_or_else(|| format!("{name} holds no discharge"))?;
    // a little of the rest before, so that the step when the load comes on is seen
    let within = |elapsed_s: f64| (run.from_s - REST_S..=run.to_s).contains(&elapsed_s);
    let samples = record.samples.iter().filter(|sample| within(sample.elapsed_s));
    let rows = pack::counted(samples.map(|row| [row.elapsed_s, row.voltage_v, row.current_a]));
    let mut pack = Pack::from_discharge(name, chemistry, rated_ah, &rows)
        .map_err(|error| format!("{name}: {error}"))?;
    let meter = 0.5 * discharge.capacity_u_ah / discharge.capacity_ah;
    pack.spread.capacity = meter.hypot(REPEATABILITY);
    Ok(pack)
}

/// How much of the rest before a run is looked at (s).
const REST_S: f64 = 60.0;
