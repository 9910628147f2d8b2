//! `tilldawn size`.

use std::process::ExitCode;

use jiff::Timestamp;
use plan::{Catalogue, Plan};
use serde::Serialize;
use trip::{Amount, Choice, Settings, Sizing};

use crate::args;
use crate::output::{Failure, print, print_json, provenance, remark, write_file};
use crate::patience::{self, Patience};

pub(crate) fn run(asked: &args::Size) -> Result<ExitCode, Failure> {
    let plan = Plan::read(&asked.plan)?;
    let catalogue = Catalogue::read(&asked.catalogue)?;
    let settings = Settings { draws: asked.draws as usize, seed: asked.seed, within: None };
    patience::listen();
    let sizing = {
        let mut patience =
            Patience::new("sizing {bar:40} {pos} of {len} combinations, Ctrl-C to stop here");
        trip::size(&plan, &catalogue, settings, |done, of| {
            patience.at(done as u64, Some(of as u64));
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
    misses: Vec<ChoiceDocument<'a>>,
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
struct ChoiceDocument<'a> {
    items: Vec<ItemDocument<'a>>,
    kg: f64,
    price: f64,
    /// Of the weakest night.
    probability: f64,
    probability_low: f64,
    probability_high: f64,
    nights: Vec<f64>,
    /// The least, in the central case.
    soc_dawn: f64,
    fails_first: Option<FailsDocument<'a>>,
}

#[derive(Serialize)]
struct ItemDocument<'a> {
    item: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    count: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    length_m: Option<f64>,
}

/// What fails first in most of the draws that fail, in the weakest night.
#[derive(Serialize)]
struct FailsDocument<'a> {
    device: Option<&'a str>,
    share: f64,
    median_time: Timestamp,
}

impl<'a> Document<'a> {
    fn of(sized: &report::SizeAsked<'a>) -> Self {
        let Sizing { choices, misses, combinations, evaluated, rejected, beaten, complete, .. } =
            sized.sizing;
        Document {
            choices: choices.iter().map(ChoiceDocument::of).collect(),
            misses: misses.iter().map(ChoiceDocument::of).collect(),
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
        let item = |piece: &'a trip::Piece| match piece.amount {
            Amount::Count(count) => {
                ItemDocument { item: &piece.name, count: Some(count), length_m: None }
            }
            Amount::Metres(length_m) => {
                ItemDocument { item: &piece.name, count: None, length_m: Some(length_m) }
            }
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
            fails_first: choice.culprit.as_ref().map(|culprit| FailsDocument {
                device: culprit.device.as_deref(),
                share: culprit.share,
                median_time: culprit.median_time,
            }),
        }
    }
}
