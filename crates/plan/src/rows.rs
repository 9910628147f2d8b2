//! A record's rows as the battery model takes them.

use bench::{PhaseKind, Run, RunKind};
use pack::{Chemistry, Pack, Sample};
use record::Record;

/// A record as one run of a battery.
#[derive(Debug, Clone, PartialEq)]
pub struct BatteryRun {
    /// The record's file.
    pub name: String,
    /// Its rows, without those in which the pack's protection was open.
    pub samples: Vec<Sample>,
    /// Whether the battery was full when they began.
    pub from_full: bool,
    /// Standard uncertainty of its charge by the meter, relative.
    pub charge_u: f64,
    /// What became of the record, a sentence each.
    pub notices: Vec<String>,
}

/// The rows of a record, with the charge that its measurement found (which knows counters, gaps
/// and a wrong zero). A record is taken to begin with a full battery unless it is said not to;
/// one that begins with a recharge is taken from the end of that.
///
/// # Errors
/// With a sentence for people, if nothing in it comes out of a battery.
pub fn battery_run(record: &Record, runs: &[Run], begins_full: bool) -> Result<BatteryRun, String> {
    let is_recharge = |run: &&Run| matches!(run.kind, RunKind::Recharge | RunKind::SolarRecharge);
    let Some(first) = runs.iter().find(|run| !is_recharge(run)) else {
        return Err(format!(
            "{}: no discharge in it, only a recharge; a battery's model needs current out of it (if its current is labelled the other way round, say so with --positive out)",
            record.file
        ));
    };
    let mut notices = record.notices.clone();
    // a little of the rest before, so that the step when the load comes on is seen
    let mut from_s = runs.first().map_or(0.0, |run| run.from_s) - REST_S;
    if let Some(recharge) = runs.first().filter(is_recharge).filter(|_| begins_full) {
        from_s = from_s.max(recharge.to_s).max(first.from_s - REST_S);
        notices.push("it begins with a recharge, after which the battery is taken as full".into());
    }
    let to_s = runs.iter().map(|run| run.to_s).fold(from_s, f64::max);
    let open: Vec<(f64, f64)> = runs
        .iter()
        .flat_map(|run| &run.phases)
        .filter(|phase| phase.kind == PhaseKind::Open)
        .map(|phase| (phase.from_s, phase.to_s))
        .collect();
    let scales: Vec<(f64, f64, f64)> = runs.iter().map(|run| scale(record, run)).collect();
    let mut samples: Vec<Sample> = Vec::new();
    for (at, row) in record.samples.iter().enumerate() {
        let elapsed_s = row.elapsed_s;
        let is_open = open.iter().any(|(from_s, to_s)| (*from_s..=*to_s).contains(&elapsed_s));
        if elapsed_s < from_s || elapsed_s > to_s || is_open {
            continue;
        }
        let delivered_ah = samples.last().map_or(0.0, |last| {
            let charge_ah = trapezoid_ah(last.elapsed_s, last.current_a, elapsed_s, row.current_a);
            let within = scales.iter().find(|(from, to, _)| (*from..=*to).contains(&elapsed_s));
            let factor = within.filter(|_| charge_ah > 0.0).map_or(1.0, |(_, _, factor)| *factor);
            last.delivered_ah + charge_ah * factor
        });
        let temperature_c = record.samples.temperature_c.as_ref().and_then(|c| c.get(at));
        samples.push(Sample {
            elapsed_s,
            voltage_v: row.voltage_v,
            current_a: row.current_a,
            delivered_ah,
            temperature_c: temperature_c.map(|c| f64::from(*c)).filter(|c| c.is_finite()),
        });
    }
    let begun_s = samples.first().map_or(0.0, |first| first.elapsed_s);
    for sample in &mut samples {
        sample.elapsed_s -= begun_s;
    }
    notices.extend(runs.iter().flat_map(|run| run.notices.iter().cloned()));
    notices.dedup();
    let charge_u = runs.iter().filter_map(|run| run.discharge.as_ref()).map(|found| {
        // stated as half the width of a 95 % interval
        0.5 * found.capacity_u_ah / found.capacity_ah
    });
    let charge_u = charge_u.filter(|u| u.is_finite()).fold(0.0, f64::max);
    let name = record.file.clone();
    Ok(BatteryRun { name, samples, from_full: begins_full, charge_u, notices })
}

/// From when to when a run lasts, and the charge it gave over that of plain trapezoids.
fn scale(record: &Record, run: &Run) -> (f64, f64, f64) {
    let samples = &record.samples;
    let first = samples.elapsed_s.partition_point(|&elapsed_s| elapsed_s < run.from_s);
    let rows = || {
        let to_end = samples.iter().skip(first);
        to_end.take_while(|row| row.elapsed_s <= run.to_s)
    };
    let pieces = rows()
        .zip(rows().skip(1))
        .map(|(a, b)| trapezoid_ah(a.elapsed_s, a.current_a, b.elapsed_s, b.current_a).max(0.0));
    let plain_ah: f64 = pieces.sum();
    let factor = run.discharge.as_ref().map_or(1.0, |found| found.capacity_ah / plain_ah);
    // beyond this the two do not mean the same
    let believed = (0.5..2.0).contains(&factor);
    (run.from_s, run.to_s, if believed { factor } else { 1.0 })
}

fn trapezoid_ah(from_s: f64, from_a: f64, to_s: f64, to_a: f64) -> f64 {
    (to_s - from_s) * 0.5 * (from_a + to_a) / 3600.0
}

impl BatteryRun {
    /// As the fit takes it.
    #[must_use]
    pub fn run(&self) -> pack::fit::Run<'_> {
        pack::fit::Run { name: &self.name, samples: &self.samples, from_full: self.from_full }
    }
}

/// The most of these records that can be fitted together, as indices into them.
#[must_use]
pub fn most_together(chemistry: Chemistry, records: &[BatteryRun]) -> Vec<usize> {
    let grown = |seed: usize| {
        let mut kept = Vec::new();
        for index in (0..records.len()).cycle().skip(seed).take(records.len()) {
            let with = kept.iter().copied().chain([index]);
            let runs: Vec<_> = with.filter_map(|i: usize| Some(records.get(i)?.run())).collect();
            if pack::fit::belong(chemistry, &runs).is_ok() {
                kept.push(index);
            }
        }
        kept.sort_unstable();
        kept
    };
    let taken_ah = |indices: &[usize]| -> f64 {
        let last = |index: &usize| Some(records.get(*index)?.samples.last()?.delivered_ah);
        indices.iter().filter_map(last).sum()
    };
    (0..records.len())
        .map(grown)
        .max_by(|a, b| a.len().cmp(&b.len()).then(taken_ah(a).total_cmp(&taken_ah(b))))
        .unwrap_or_default()
}

/// A pack as the text of its file.
///
/// # Errors
/// With a sentence for people, if it can't be written as TOML.
pub fn pack_text(pack: &Pack) -> Result<String, String> {
    let failed = |error: toml::ser::Error| format!("this pack can't be kept: {error}");
    let mut value = toml::Value::try_from(pack).map_err(failed)?;
    shorten(&mut value);
    let text = toml::to_string(&value).map_err(failed)?;
    Ok(format!("# A battery pack as tilldawn keeps it; docs/pack.md describes the form.\n\n{text}"))
}

/// Rounds to more digits than any battery is known to, so that people can read them.
fn shorten(value: &mut toml::Value) {
    match value {
        toml::Value::Float(number) => {
            *number = format!("{number:.6e}").parse().unwrap_or(*number);
        }
        toml::Value::Array(values) => values.iter_mut().for_each(shorten),
        toml::Value::Table(table) => table.iter_mut().for_each(|(_, value)| shorten(value)),
        _ => {}
    }
}

/// How much of the rest before a run is looked at (s).
const REST_S: f64 = 60.0;
