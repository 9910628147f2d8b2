//! Which combinations carry every night: each is drawn only until that is settled.

use plan::Plan;
use quantity::uncertainty::wilson;
use rayon::prelude::*;

use super::market::{Combination, Market};
use crate::answer::Settings;
use crate::draws::Doubt;
use crate::error::TripError;
use crate::forecast::{cell_of, doubt, loads_of};
use crate::prepare::prepare;
use crate::tally::{Lottery, Tally};
use crate::timeline::Timeline;

/// So many draws are made first; then as many again, each time there is still doubt.
const FIRST_DRAWS: usize = 32;
/// A combination is out when the wanted confidence lies above an interval of so many standard
/// deviations: of ten thousand such decisions one is wrong at most.
const SURE_Z: f64 = 4.0;

/// What the combinations have in common.
pub(super) struct Race<'a> {
    plan: &'a Plan,
    market: &'a Market,
    /// For each alternative of the sources.
    lit: Vec<Lit>,
    /// More than any of the sources gives, at every step; none where there is nothing to gain by it
    /// or they can't be compared.
    most: Option<Lit>,
    settings: Settings,
    /// So many draws of the settings' must carry each night.
    needed: usize,
}

/// What depends on the sources alone.
#[derive(Clone)]
struct Lit {
    timeline: Timeline,
    doubt: Doubt,
}

/// What the draws say of a combination.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Judged {
    pub(super) carries: bool,
    /// Share of the draws made that carry the weakest night.
    pub(super) share: f64,
}

impl<'a> Race<'a> {
    pub(super) fn new(
        plan: &'a Plan,
        market: &'a Market,
        settings: Settings,
    ) -> Result<Self, TripError> {
        if settings.draws == 0 {
            return Err(TripError::NoDraws);
        }
        let lit = market
            .sources
            .par_iter()
            .map(|sources| {
                let mut changed = plan.clone();
                changed.supplies.clone_from(&sources.thing.supplies);
                let (_, timeline) = prepare(&changed)?;
                Ok(Lit { timeline, doubt: doubt(&changed)? })
            })
            .collect::<Result<Vec<_>, TripError>>()?;
        let most = if lit.len() > 2 { most_of(&lit) } else { None };
        let draws = settings.draws;
        let wanted = plan.dates.confidence;
        // as a forecast compares them: share < wanted
        let needed = (0..=draws)
            .find(|carried| *carried as f64 / draws as f64 >= wanted)
            .unwrap_or(draws + 1);
        Ok(Race { plan, market, lit, most, settings, needed })
    }

    /// Whether a combination carries every night.
    pub(super) fn judge(&self, chosen: &Combination) -> Result<Judged, TripError> {
        let changed = self.market.plan(self.plan, chosen);
        self.judged(&changed, &self.lit[chosen.sources])
    }

    /// What a combination's pack and cables could do with more than any of the sources gives: if
    /// that is not enough, no source is.
    pub(super) fn at_best(&self, chosen: &Combination) -> Result<Option<Judged>, TripError> {
        let Some(most) = &self.most else { return Ok(None) };
        let mut changed = self.market.plan(self.plan, chosen);
        // their draw on the pack is left out too
        changed.supplies.clear();
        self.judged(&changed, most).map(Some)
    }

    fn judged(&self, changed: &Plan, lit: &Lit) -> Result<Judged, TripError> {
        let Lit { mut timeline, doubt } = lit.clone();
        let pack = &changed.battery.pack;
        timeline.limit_charge(&pack.limits);
        let doubt = Doubt {
            capacity: pack.spread.capacity,
            resistance: pack.spread.resistance,
            ocv_v: pack.spread.ocv_v,
            ..doubt
        };
        let cell = cell_of(changed);
        let loads = loads_of(changed, &timeline);
        let seed = self.settings.seed;
        let lottery =
            Lottery { timeline: &timeline, cell: &cell, loads: &loads, doubt: &doubt, seed };
        let mut tally = Tally::new(timeline.nights);
        loop {
            let made = tally.draws();
            let more = made.max(FIRST_DRAWS).min(self.settings.draws - made);
            tally.draw(&lottery, more);
            let (made, carried) = (tally.draws(), tally.least_carried());
            let judged = |carries| Ok(Judged { carries, share: carried as f64 / made as f64 });
            if carried >= self.needed {
                return judged(true);
            }
            let out_of_reach = carried + (self.settings.draws - made) < self.needed;
            let (_, high) = wilson(carried, made, SURE_Z);
            if out_of_reach || high < self.plan.dates.confidence {
                return judged(false);
            }
        }
    }
}

/// At each step the most that any of them gives; none if their steps differ.
fn most_of(lit: &[Lit]) -> Option<Lit> {
    // a sky is drawn as it dims panels, and the last has some if any has
    let mut most = lit.last()?.clone();
    // nor does it wait for anything
    most.timeline.held.clear();
    for Lit { timeline: other, .. } in lit {
        let most = &mut most.timeline;
        if other.steps.len() != most.steps.len() || other.blocks.len() != most.blocks.len() {
            return None;
        }
        for (step, other) in most.steps.iter_mut().zip(&other.steps) {
            step.panel_w = step.panel_w.max(other.panel_w);
            step.panel_cap_a = step.panel_cap_a.max(other.panel_cap_a);
            step.panel_a = step.panel_a.max(other.panel_a);
            step.charger_a = step.charger_a.max(other.charger_a);
        }
        for (block, other) in most.blocks.iter_mut().zip(&other.blocks) {
            block.supplied |= other.supplied;
            block.hold_v = block.hold_v.max(other.hold_v);
            // held to the end: going down to float gives less
            block.float = None;
        }
    }
    Some(most)
}
