//! What to buy: of all that a catalogue can be put together to, the combinations that carry every
//! night and that no other such combination beats on weight and price.

mod cables;
mod found;
mod light;
mod look;
mod market;
mod race;
#[cfg(test)]
mod tests;

use jiff::Timestamp;
use jiff::civil::Date;
use plan::{Catalogue, Plan};
use rayon::prelude::*;
use rig::Section;

use crate::answer::{Chance, Settings};
use crate::engine::Cause;
use crate::error::TripError;

use found::{Drawn, Found};
pub(crate) use market::MOST_COMBINATIONS;
use market::{Combination, Market};
use race::Race;

/// What to buy.
#[derive(Debug, Clone)]
pub struct Sizing {
    /// The combinations that carry every night and that none beats, from the cheapest and heaviest
    /// to the dearest and lightest.
    pub choices: Vec<Choice>,
    /// For each choice the surest that are cheaper, and for the last the surest that are lighter, as
    /// far as they were looked at.
    pub misses: Vec<Miss>,
    /// The plan with its own pack, sources and cables; none where it was not looked at.
    pub as_it_is: Option<Choice>,
    /// Weight (kg) and price of each combination that draws showed to fail.
    pub failed: Vec<(f64, f64)>,
    /// How many combinations go together at all.
    pub combinations: usize,
    /// For how many draws were made.
    pub evaluated: usize,
    /// How many are known to fail: by their own draws, or since what is better fails.
    pub rejected: usize,
    /// How many were passed over, since one that carries is neither heavier nor dearer.
    pub beaten: usize,
    /// Whether all were gone through and looked at; not so where it was stopped.
    pub complete: bool,
    /// What was left out and why, a sentence each.
    pub remarks: Vec<String>,
}

/// One combination and what it does.
#[derive(Debug, Clone)]
pub struct Choice {
    /// What it consists of; empty for what the plan has.
    pub pieces: Vec<Piece>,
    /// Of all that is bought (kg).
    pub kg: f64,
    /// Of all that is bought.
    pub price: f64,
    /// The chance of each night.
    pub nights: Vec<Chance>,
    /// The least of the dawns' median SoC; none where it was stopped before it was looked at.
    pub soc_dawn: Option<f64>,
    /// All loads may be greater by this share and it still carries every night; as far as was
    /// tried, and none where it does not carry or was not looked at.
    pub spare_load: Option<f64>,
    /// The evening of the weakest night.
    pub weakest_evening: Option<Date>,
    /// How that night mostly ends early, where it ever does and was looked at.
    pub ending: Option<Ending>,
}

/// One that fails.
#[derive(Debug, Clone)]
pub struct Miss {
    /// What it consists of and does.
    pub choice: Choice,
    /// Which of the choices it is cheaper than, by its place; none where it is dearer than all of
    /// them, or there are none.
    pub cheaper_than: Option<usize>,
}

/// What mostly happens in the draws of a night that are not carried.
#[derive(Debug, Clone, PartialEq)]
pub struct Ending {
    /// What stops first; everything where the pack's protection opens.
    pub device: Option<String>,
    /// Why.
    pub cause: Cause,
    /// In which share of all draws.
    pub share: f64,
    /// The median of the times at which it does.
    pub median_time: Timestamp,
    /// The median charge then, as SoC.
    pub soc: f64,
    /// And at that night's dusk.
    pub soc_dusk: f64,
    /// What it lacks, where the night is not carried as surely as is wanted.
    pub lack: Option<Lack>,
}

/// What a combination that fails lacks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Lack {
    /// Thicker cables: with much charge left the voltage behind these is too low.
    Copper,
    /// Voltage: with much charge left it is too low for the first night, whatever the cables.
    Voltage,
    /// Charge: the first night already fails.
    Charge,
    /// Sun, or time at a charger: the first night is carried, but too little comes back by day.
    Refill,
    /// A source: the first night is carried, and nothing comes back by day.
    Source,
}

impl Choice {
    /// The chance of the weakest night.
    #[must_use]
    pub fn weakest(&self) -> Option<Chance> {
        self.nights.iter().copied().min_by(|a, b| a.share.total_cmp(&b.share))
    }
}

/// So much of an item.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    /// Its name in the catalogue.
    pub name: String,
    /// How much of it.
    pub amount: Amount,
}

/// How much of an item.
#[derive(Debug, Clone, PartialEq)]
pub enum Amount {
    /// So many.
    Count(u32),
    /// A cable in place of the one that feeds a branch or device.
    Run {
        /// Which branch or device.
        to: String,
        /// How thick it is.
        section: Section,
        /// How long, both conductors counted once (m).
        length_m: f64,
    },
}

/// How far the search is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    /// Combinations are drawn.
    Drawing {
        /// So many are settled.
        settled: usize,
        /// Of so many.
        of: usize,
    },
    /// What was found is looked at closely.
    Looking {
        /// So much is done.
        done: usize,
        /// Of so much.
        of: usize,
    },
}

/// So many combinations are drawn side by side. A fixed number, so that the count of those drawn
/// is the same on any number of threads.
const SIDE_BY_SIDE: usize = 8;

/// Finds what to buy. `progress` is told how far the search is and may say to stop; what is found by
/// then is returned.
///
/// # Errors
/// As [`crate::forecast()`]; and if the catalogue makes too many combinations.
pub fn size(
    plan: &Plan,
    catalogue: &Catalogue,
    settings: Settings,
    mut progress: impl FnMut(Stage) -> bool,
) -> Result<Sizing, TripError> {
    let market = Market::new(plan, catalogue)?;
    let combinations = market.combinations();
    let mut remarks = market.remarks.clone();
    let left_over = market.left_over(&combinations, catalogue);
    if !left_over.is_empty() {
        remarks.push(format!(
            "In no combination, since nothing else in the catalogue goes with it: {}.",
            left_over.join(", ")
        ));
    }
    let race = Race::new(plan, &market, settings)?;
    let mut found = Found::default();
    let mut complete = draw(&race, &combinations, &mut found, &mut progress);

    let misses = found.misses();
    let of = 1 + found.front.len() + misses.len();
    let mut done = 0;
    let mut may_look = || {
        complete = complete && progress(Stage::Looking { done, of });
        done += 1;
        complete
    };
    let as_it_is = if may_look() { Some(look::as_it_is(&race)?) } else { None };
    let mut choices = Vec::with_capacity(found.front.len());
    for (chosen, judged) in &found.front {
        choices.push(if may_look() {
            look::closely(&race, chosen)?
        } else {
            look::roughly(&race, chosen, judged)
        });
    }
    let mut told = Vec::with_capacity(misses.len());
    // what stands for its group is not known well enough to be told unseen
    for chosen in misses.into_iter().take_while(|_| may_look()) {
        let cheaper_than = choices.iter().position(|choice| chosen.price < choice.price);
        told.push(Miss { choice: look::closely(&race, chosen)?, cheaper_than });
    }
    Ok(Sizing {
        choices,
        misses: told,
        as_it_is,
        failed: found.failed.iter().map(|(chosen, _)| (chosen.kg, chosen.price)).collect(),
        combinations: combinations.len(),
        evaluated: found.evaluated,
        rejected: found.rejected,
        beaten: found.beaten,
        complete,
        remarks,
    })
}

/// Settles one combination after the other, from the cheapest on. False if it was stopped.
fn draw<'a>(
    race: &Race<'_>,
    combinations: &'a [Combination],
    found: &mut Found<'a>,
    progress: &mut impl FnMut(Stage) -> bool,
) -> bool {
    let mut waiting = combinations.iter().peekable();
    loop {
        let (settled, of) = (found.settled(), combinations.len());
        if !progress(Stage::Drawing { settled, of }) {
            return false;
        }
        let mut drawn: Vec<&Combination> = Vec::with_capacity(SIDE_BY_SIDE);
        while let Some(chosen) = waiting.peek().copied() {
            // what is drawn beside it may settle it
            let alike =
                |other: &&Combination| (other.pack, other.sources) == (chosen.pack, chosen.sources);
            if drawn.len() == SIDE_BY_SIDE || drawn.iter().any(alike) {
                break;
            }
            waiting.next();
            if !found.is_settled(race, chosen) {
                drawn.push(chosen);
            }
        }
        if drawn.is_empty() {
            return true;
        }
        let is_new: Vec<bool> = drawn.iter().map(|chosen| found.is_new(chosen)).collect();
        let judged: Vec<Drawn> = drawn
            .par_iter()
            .zip(is_new)
            .map(|(chosen, is_new)| Drawn::of(race, chosen, is_new))
            .collect();
        for (chosen, judged) in drawn.into_iter().zip(judged) {
            found.count(chosen, judged);
        }
    }
}
