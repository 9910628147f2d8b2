//! `tilldawn compare`.

use std::path::PathBuf;
use std::process::ExitCode;

use bench::{Discharge, Entry, Place, Repeats, Run, RunKind, Settings, compare};
use plan::{Candidate, Comparison};
use report::Compared;
use serde::Serialize;

use crate::args;
use crate::bench::measure;
use crate::output::{Failure, print, print_json, provenance, remark, write_file};

pub(crate) fn run(asked: &args::Compare) -> Result<ExitCode, Failure> {
    let comparison = Comparison::read(&asked.file)?;
    let mut runs = Vec::new();
    for candidate in &comparison.candidates {
        runs.push(runs_of(candidate, comparison.cutoff_v)?);
    }
    let mut entries = Vec::new();
    for (candidate, runs) in comparison.candidates.iter().zip(&runs) {
        entries.push(entry(candidate, runs)?);
    }
    let places = compare(&entries, comparison.same_meter);
    let compared = Compared {
        entries: &entries,
        places: &places,
        runs: &runs,
        cutoff_v: comparison.cutoff_v,
        currency: &comparison.currency,
        same_meter: comparison.same_meter,
    };
    if asked.json {
        print_json(&Document::of(&comparison, &entries, &places))?;
    } else {
        print(&report::comparison_text(&compared))?;
    }
    if let Some(path) = &asked.report {
        let records = comparison.candidates.iter().flat_map(records);
        let files = std::iter::once(&asked.file)
            .chain(records)
            .map(|path| path.display().to_string())
            .collect();
        write_file(path, &report::comparison_page(&compared, provenance(files, None)))?;
        remark(&format!("report written to {}", path.display()));
    }
    Ok(ExitCode::SUCCESS)
}

fn records(candidate: &Candidate) -> impl Iterator<Item = &PathBuf> {
    candidate.records.iter().chain(&candidate.recharge)
}

/// All tests of a pack.
fn runs_of(candidate: &Candidate, cutoff_v: f64) -> Result<Vec<Run>, Failure> {
    let settings = Settings {
        cutoff_v,
        rated_ah: candidate.rated_ah,
        instrument: candidate.meter,
        ..Settings::default()
    };
    let mut all = Vec::new();
    for path in records(candidate) {
        let (_, runs) = measure(path, &candidate.reading, &settings)?;
        all.extend(runs);
    }
    Ok(all)
}

fn entry(candidate: &Candidate, runs: &[Run]) -> Result<Entry, Failure> {
    let discharges: Vec<&Discharge> = runs
        .iter()
        .filter(|run| run.kind == RunKind::Discharge)
        .filter_map(|run| run.discharge.as_ref())
        .collect();
    let no_discharge = || {
        Failure::new(
            "comparison",
            format!(
                "{}: no discharge is in its records; a comparison needs one from full to empty",
                candidate.name
            ),
        )
    };
    Ok(Entry {
        name: candidate.name.clone(),
        usable_wh: Repeats::of_usable_energy(&discharges).ok_or_else(no_discharge)?,
        share_above_cutoff: bench::mean_share_above_cutoff(&discharges),
        recharge_s: runs
            .iter()
            .filter(|run| run.kind == RunKind::Recharge)
            .find_map(|run| run.recharge.as_ref())
            .map(|recharge| recharge.duration_s),
        mass_kg: candidate.mass_kg,
        price: candidate.price,
        volume_l: candidate.volume_l,
        promised_cycles: candidate.promised_cycles,
        warranty_years: candidate.warranty_years,
    })
}

#[derive(Serialize)]
struct Document<'a> {
    cutoff_v: f64,
    currency: &'a str,
    same_meter: bool,
    /// Best first.
    packs: Vec<PackDocument<'a>>,
}

#[derive(Serialize)]
struct PackDocument<'a> {
    name: &'a str,
    /// Packs that can't be told apart share one.
    rank: usize,
    n: usize,
    usable_wh: f64,
    usable_u_wh: f64,
    behind: Option<Behind>,
    share_above_cutoff: f64,
    recharge_s: Option<f64>,
    mass_kg: Option<f64>,
    volume_l: Option<f64>,
    price: Option<f64>,
    promised_cycles: Option<f64>,
    warranty_years: Option<f64>,
    usable_wh_per_kg: Option<f64>,
    usable_wh_per_l: Option<f64>,
    usable_wh_per_price: Option<f64>,
    price_per_wh_of_life: Option<f64>,
}

/// How far behind the best of its rank, or the best of a rank behind the rank above.
#[derive(Serialize)]
struct Behind {
    wh: f64,
    u_wh: f64,
    can_be_told_apart: bool,
}

impl<'a> Document<'a> {
    fn of(comparison: &'a Comparison, entries: &'a [Entry], places: &[Place]) -> Self {
        let packs = places.iter().filter_map(|place| {
            let entry = entries.get(place.entry)?;
            Some(PackDocument {
                name: &entry.name,
                rank: place.rank,
                n: entry.usable_wh.n,
                usable_wh: entry.usable_wh.mean,
                usable_u_wh: entry.usable_wh.u_95,
                behind: place.behind.map(|behind| Behind {
                    wh: behind.difference,
                    u_wh: behind.u_95,
                    can_be_told_apart: behind.told_apart(),
                }),
                share_above_cutoff: entry.share_above_cutoff,
                recharge_s: entry.recharge_s,
                mass_kg: entry.mass_kg,
                volume_l: entry.volume_l,
                price: entry.price,
                promised_cycles: entry.promised_cycles,
                warranty_years: entry.warranty_years,
                usable_wh_per_kg: place.usable_wh_per_kg,
                usable_wh_per_l: place.usable_wh_per_l,
                usable_wh_per_price: place.usable_wh_per_price,
                price_per_wh_of_life: place.price_per_wh_of_life,
            })
        });
        Document {
            cutoff_v: comparison.cutoff_v,
            currency: &comparison.currency,
            same_meter: comparison.same_meter,
            packs: packs.collect(),
        }
    }
}
