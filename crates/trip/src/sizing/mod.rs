//! What to buy: of all that a catalogue can be put together to, the combinations that carry every
//! night and that no other such combination beats on weight and price.

mod market;
mod race;
#[cfg(test)]
mod tests;

use std::collections::HashMap;

use jiff::civil::Date;
use plan::{Catalogue, Plan};
use rayon::prelude::*;

use crate::answer::{Chance, Culprit, Settings};
use crate::error::TripError;
use crate::forecast::forecast;

pub(crate) use market::MOST_COMBINATIONS;
use market::{Combination, Market};
use race::{Judged, Race};

/// What to buy.
#[derive(Debug, Clone)]
pub struct Sizing {
    /// The combinations that carry every night and that none beats, from the cheapest and heaviest
    /// to the dearest and lightest.
    pub choices: Vec<Choice>,
    /// Combinations that do not, best first, of which no other that fails is surer, lighter and
    /// cheaper all at once: the first few, without those that never carry their weakest night
    /// where another does.
    pub misses: Vec<Choice>,
    /// Weight (kg) and price of each combination that draws showed to fail.
    pub failed: Vec<(f64, f64)>,
    /// How many combinations go together at all.
    pub combinations: usize,
    /// For how many draws were made.
    pub evaluated: usize,
    /// How many are known to fail: by their own draws, or since their pack and cables fail with
    /// more sun than any panel in the catalogue gives.
    pub rejected: usize,
    /// How many were passed over, since one that carries is neither heavier nor dearer.
    pub beaten: usize,
    /// Whether all were gone through; not so where it was stopped.
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
    /// The least SoC at a dawn, in the central case.
    pub soc_dawn: f64,
    /// The evening of the weakest night.
    pub weakest_evening: Option<Date>,
    /// What mostly fails first in that night, where anything does.
    pub culprit: Option<Culprit>,
}

impl Choice {
    /// The chance of the weakest night.
    #[must_use]
    pub fn weakest(&self) -> Option<Chance> {
        self.nights.iter().copied().min_by(|a, b| a.share.total_cmp(&b.share))
    }

    fn share(&self) -> f64 {
        self.weakest().map_or(1.0, |chance| chance.share)
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
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Amount {
    /// So many.
    Count(u32),
    /// So many metres, both conductors counted once.
    Metres(f64),
}

/// So many combinations are drawn side by side. A fixed number, so that the count of those drawn
/// is the same on any number of threads.
const SIDE_BY_SIDE: usize = 8;
/// So many that fail are looked at closely.
const MISSES: usize = 8;

/// Finds what to buy. `progress` is told how many of how many combinations are settled and may say
/// to stop; what is found by then is returned.
///
/// # Errors
/// As [`crate::forecast()`]; and if nothing in the catalogue goes together, or too much.
pub fn size(
    plan: &Plan,
    catalogue: &Catalogue,
    settings: Settings,
    mut progress: impl FnMut(usize, usize) -> bool,
) -> Result<Sizing, TripError> {
    let market = Market::new(plan, catalogue)?;
    let combinations = market.combinations();
    if combinations.is_empty() {
        return Err(TripError::NothingFits);
    }
    let race = Race::new(plan, &market, settings)?;
    let mut found = Found::default();
    let mut complete = true;
    let mut waiting = combinations.iter();
    loop {
        let done = found.rejected + found.beaten + found.front.len();
        if !progress(done, combinations.len()) {
            complete = false;
            break;
        }
        let mut drawn: Vec<&Combination> = Vec::with_capacity(SIDE_BY_SIDE);
        while drawn.len() < SIDE_BY_SIDE {
            let Some(chosen) = waiting.next() else { break };
            if found.is_settled(&race, chosen)? {
                continue;
            }
            drawn.push(chosen);
        }
        if drawn.is_empty() {
            break;
        }
        let judged: Vec<Judged> =
            drawn.par_iter().map(|chosen| race.judge(chosen)).collect::<Result<_, _>>()?;
        for (chosen, judged) in drawn.into_iter().zip(judged) {
            found.count(chosen, judged);
        }
    }
    let settings = Settings { within: None, ..settings };
    let look = |chosen: &&Combination| choice(plan, &market, chosen, settings);
    let choices = found.front.iter().map(look).collect::<Result<Vec<_>, _>>()?;
    let near = found.near_misses();
    let mut misses = near.iter().map(look).collect::<Result<Vec<_>, _>>()?;
    let until = |miss: &Choice| miss.culprit.as_ref().map(|culprit| culprit.median_time);
    misses.sort_by(|a, b| b.share().total_cmp(&a.share()).then(until(b).cmp(&until(a))));
    let best = misses.first().map_or(0.0, Choice::share);
    misses.retain(|miss| miss.share() > 0.0 || best <= 0.0);
    let failed = found.failed.iter().map(|(chosen, _)| (chosen.kg, chosen.price)).collect();
    Ok(Sizing {
        choices,
        misses,
        failed,
        combinations: combinations.len(),
        evaluated: found.evaluated,
        rejected: found.rejected,
        beaten: found.beaten,
        complete,
        remarks: market.remarks,
    })
}

/// The state of the search. Combinations come from the cheapest on, so that one is beaten exactly
/// if it is not lighter than the lightest that carries so far.
#[derive(Default)]
struct Found<'a> {
    front: Vec<&'a Combination>,
    /// What failed, and in what share of the draws its weakest night was carried.
    failed: Vec<(&'a Combination, f64)>,
    /// What is known of pack and rig with the best of all sources.
    at_best: HashMap<(usize, usize), Option<Judged>>,
    evaluated: usize,
    rejected: usize,
    beaten: usize,
}

impl<'a> Found<'a> {
    fn is_beaten(&self, chosen: &Combination) -> bool {
        self.front.last().is_some_and(|lightest| lightest.kg <= chosen.kg)
    }

    /// Whether nothing of a combination need be drawn.
    fn is_settled(&mut self, race: &Race<'_>, chosen: &'a Combination) -> Result<bool, TripError> {
        if self.is_beaten(chosen) {
            self.beaten += 1;
            return Ok(true);
        }
        let key = (chosen.pack, chosen.rig);
        let known = self.at_best.get(&key).copied();
        let at_best = match known {
            Some(at_best) => at_best,
            None => {
                let at_best = race.at_best(chosen)?;
                self.at_best.insert(key, at_best);
                at_best
            }
        };
        match at_best {
            Some(Judged { carries: false, share }) => {
                self.rejected += 1;
                // one stands for all, so that there is something to show where all are hopeless
                if known.is_none() {
                    self.failed.push((chosen, share));
                }
                Ok(true)
            }
            _ => Ok(false),
        }
    }

    fn count(&mut self, chosen: &'a Combination, judged: Judged) {
        self.evaluated += 1;
        match judged.carries {
            // one of those drawn beside it may beat it
            true if self.is_beaten(chosen) => self.beaten += 1,
            true => self.front.push(chosen),
            false => {
                self.rejected += 1;
                self.failed.push((chosen, judged.share));
            }
        }
    }

    /// The surest that fail, without those that a surer one beats on weight and price.
    fn near_misses(&self) -> Vec<&'a Combination> {
        let mut failed = self.failed.clone();
        // among equally sure ones the cheapest is told; among hopeless ones more is nearer
        let sign = |share: f64| if share > 0.0 { 1.0 } else { -1.0 };
        failed.sort_by(|a, b| {
            let dearer = (sign(a.1) * a.0.price).total_cmp(&(sign(b.1) * b.0.price));
            b.1.total_cmp(&a.1).then(dearer)
        });
        let mut near: Vec<&Combination> = Vec::new();
        for (chosen, _) in failed {
            if near.len() == MISSES {
                break;
            }
            if !near.iter().any(|surer| surer.kg <= chosen.kg && surer.price <= chosen.price) {
                near.push(chosen);
            }
        }
        near
    }
}

/// A combination looked at closely, with all draws.
fn choice(
    plan: &Plan,
    market: &Market,
    chosen: &Combination,
    settings: Settings,
) -> Result<Choice, TripError> {
    let forecast = forecast(&market.plan(plan, chosen), settings, |_| true)?;
    let nights: Vec<Chance> = forecast.nights.iter().map(|night| night.chance).collect();
    let weakest = forecast.nights.iter().min_by(|a, b| a.chance.share.total_cmp(&b.chance.share));
    Ok(Choice {
        pieces: market.pieces(chosen),
        kg: chosen.kg,
        price: chosen.price,
        nights,
        soc_dawn: forecast.nights.iter().map(|night| night.soc_dawn).fold(1.0, f64::min),
        weakest_evening: weakest.map(|night| night.evening),
        culprit: weakest.and_then(|night| night.culprits.first().cloned()),
    })
}
