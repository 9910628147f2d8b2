//! `tilldawn size`.

use std::process::ExitCode;

use jiff::Timestamp;
use plan::{Catalogue, Plan};
use serde::Serialize;
use trip::{Amount, Cause, Choice, Ending, Lack, Settings, Sizing, Stage};

use crate::args;
use crate::output::{Failure, print, print_json, provenance, remark, write_file};
use crate::patience::{self, Patience};

pub(crate) fn run(asked: &args::Size) -> Result<ExitCode, Failure> {
    let plan = Plan::read(&asked.plan)?;
    let catalogue = Catalogue::read(&asked.catalogue)?;
    let settings = Settings { draws: asked.draws as usize, seed: asked.seed, within: None };
    patience::listen();
    let sizing = {
        let mut drawing =
            Patience::new("sizing {bar:40} {pos} of {len} combinations, Ctrl-C to stop here");
        let mut looking = Patience::new("looking {bar:40} {pos} of {len}, Ctrl-C to stop here");
        trip::size(&plan, &catalogue, settings, |stage| {
            match stage {
                Stage::Drawing { settled, of } => drawing.at(settled as u64, Some(of as u64)),
                Stage::Looking { done, of } => looking.at(done as u64, Some(of as u64)),
            }
            !patience::stopped()
        })?
    };
    let sized = report::SizeAsked { plan: &plan, catalogue: &catalogue, sizing: &sizing, settings };
    if asked.json {
        print_json(&Document::of(&sized))?;
    } else {
        print(&report::size_text(&sized))?;
    }
    if let Some(path) = &asked.report {
        let files = vec![plan.file.clone(), catalogue.file.clone()];
        write_file(path, &report::size_page(&sized, provenance(files, Some(asked.seed))))?;
        remark(&format!("report written to {}", path.display()));
    }
    Ok(ExitCode::SUCCESS)
}

#[derive(Serialize)]
struct Document<'a> {
    choices: Vec<ChoiceDocument<'a>>,
    /// The nearest of those that fail.
    misses: Vec<MissDocument<'a>>,
    /// The plan's own things.
    as_it_is: Option<ChoiceDocument<'a>>,
    combinations: usize,
    evaluated: usize,
    rejected: usize,
    beaten: usize,
    complete: bool,
    currency: &'a str,
    confidence: f64,
    draws: usize,
    seed: u64,
}

#[derive(Serialize)]
struct MissDocument<'a> {
    #[serde(flatten)]
    choice: ChoiceDocument<'a>,
    /// Place of the choice that it is cheaper than, from 0.
    cheaper_than: Option<usize>,
}

#[derive(Serialize)]
struct ChoiceDocument<'a> {
    items: Vec<ItemDocument<'a>>,
    kg: f64,
    price: f64,
    /// Of the weakest night.
    probability: f64,
    probability_low: f64,
    probability_high: f64,
    nights: Vec<f64>,
    /// The least of the dawns' medians.
    soc_dawn: Option<f64>,
    /// Share by which all loads may be greater.
    spare_load: Option<f64>,
    fails_first: Option<FailsDocument<'a>>,
}

#[derive(Serialize)]
struct ItemDocument<'a> {
    item: &'a str,
    #[serde(flatten)]
    amount: AmountDocument<'a>,
}

#[derive(Serialize)]
#[serde(untagged)]
enum AmountDocument<'a> {
    Count { count: u32 },
    Run { to: &'a str, section_mm2: f64, length_m: f64 },
}

/// What mostly happens in the draws that fail, in the weakest night.
#[derive(Serialize)]
struct FailsDocument<'a> {
    device: Option<&'a str>,
    cause: Cause,
    share: f64,
    median_time: Timestamp,
    soc: f64,
    soc_dusk: f64,
    lack: Option<Lack>,
}

impl<'a> Document<'a> {
    fn of(sized: &report::SizeAsked<'a>) -> Self {
        let Sizing { choices, misses, combinations, evaluated, rejected, beaten, complete, .. } =
            sized.sizing;
        Document {
            choices: choices.iter().map(ChoiceDocument::of).collect(),
            misses: misses
                .iter()
                .map(|miss| MissDocument {
                    choice: ChoiceDocument::of(&miss.choice),
                    cheaper_than: miss.cheaper_than,
                })
                .collect(),
            as_it_is: sized.sizing.as_it_is.as_ref().map(ChoiceDocument::of),
            combinations: *combinations,
            evaluated: *evaluated,
            rejected: *rejected,
            beaten: *beaten,
            complete: *complete,
            currency: &sized.catalogue.currency,
            confidence: sized.plan.dates.confidence,
            draws: sized.settings.draws,
            seed: sized.settings.seed,
        }
    }
}

impl<'a> ChoiceDocument<'a> {
    fn of(choice: &'a Choice) -> Self {
        let weakest = choice.weakest();
        let item = |piece: &'a trip::Piece| ItemDocument {
            item: &piece.name,
            amount: match &piece.amount {
                Amount::Count(count) => AmountDocument::Count { count: *count },
                Amount::Run { to, section, length_m } => {
                    AmountDocument::Run { to, section_mm2: section.mm2(), length_m: *length_m }
                }
            },
        };
        ChoiceDocument {
            items: choice.pieces.iter().map(item).collect(),
            kg: choice.kg,
            price: choice.price,
            probability: weakest.map_or(1.0, |chance| chance.share),
            probability_low: weakest.map_or(0.0, |chance| chance.low),
            probability_high: weakest.map_or(1.0, |chance| chance.high),
            nights: choice.nights.iter().map(|chance| chance.share).collect(),
            soc_dawn: choice.soc_dawn,
            spare_load: choice.spare_load,
            fails_first: choice.ending.as_ref().map(FailsDocument::of),
        }
    }
}

impl<'a> FailsDocument<'a> {
    fn of(ending: &'a Ending) -> Self {
        FailsDocument {
            device: ending.device.as_deref(),
            cause: ending.cause,
            share: ending.share,
            median_time: ending.median_time,
            soc: ending.soc,
            soc_dusk: ending.soc_dusk,
            lack: ending.lack,
        }
    }
}
