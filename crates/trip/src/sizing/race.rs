//! Which combinations carry every night: each is drawn only until that is settled.

use plan::Plan;
use quantity::uncertainty::wilson;
use rayon::prelude::*;

use super::market::{Combination, Market};
use crate::answer::{Chance, Settings};
use crate::calendar::Calendar;
use crate::draws::Doubt;
use crate::error::TripError;
use crate::forecast::{cell_of, loads_of};
use crate::prepare::prepare;
use crate::skies::Skies;
use crate::tally::{Lottery, Tally};
use crate::timeline::{Block, Step, Timeline};

/// So many draws are made first; then as many again, each time there is still doubt.
const FIRST_DRAWS: usize = 32;
/// A group of combinations is out when its best falls short by this share of the draws more than
/// would be enough. For less may now and then be more: where gear is cut off on one night, charge is
/// kept for the next.
const PLAINLY: f64 = 0.005;
/// So many draws are made of one.
const GROUP_DRAWS: usize = 64;
/// A combination is out when the wanted confidence lies above an interval of so many standard
/// deviations: of ten thousand such decisions one is wrong at most.
const SURE_Z: f64 = 4.0;

/// What the combinations have in common.
pub(super) struct Race<'a> {
    pub(super) plan: &'a Plan,
    pub(super) market: &'a Market,
    pub(super) calendar: Calendar,
    /// For each alternative of the sources.
    lit: Vec<Lit>,
    /// More than any of the sources gives, at every step; none where there is nothing to gain by it
    /// or they can't be compared.
    most: Option<Lit>,
    /// The same for a few sources that give about as much.
    likes: Vec<Option<Lit>>,
    /// Of each alternative, where among these it is.
    like: Vec<usize>,
    pub(super) settings: Settings,
    /// So many draws of the settings' must carry each night.
    needed: usize,
}

/// What depends on the sources alone.
#[derive(Clone)]
pub(super) struct Lit {
    pub(super) timeline: Timeline,
    skies: Skies,
}

/// What the draws say of a combination.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Judged {
    pub(super) carries: bool,
    /// Of each night, as far as it was drawn.
    pub(super) nights: Vec<Chance>,
}

/// A group of combinations that fail together if the best that could be made of them does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Group {
    /// A pack, with more than any sources give and the thickest cables.
    Pack(usize),
    /// A pack, with more than a few sources give, and the thickest cables.
    Like(usize, usize),
    /// A pack and sources, with the thickest cables.
    Lit(usize, usize),
}

impl Judged {
    /// Share of the draws that carry the weakest night.
    pub(super) fn share(&self) -> f64 {
        self.nights.iter().map(|chance| chance.share).fold(1.0, f64::min)
    }
}

impl Lit {
    pub(super) fn of(plan: &Plan) -> Result<(Calendar, Lit), TripError> {
        let (calendar, timeline) = prepare(plan)?;
        Ok((calendar, Lit { timeline, skies: Skies::of_plan(plan)? }))
    }

    fn has_panels(&self) -> bool {
        self.timeline.steps.iter().any(|step| step.panel_w > 0.0 || step.panel_a > 0.0)
    }
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
        let (calendar, _) = prepare(plan)?;
        let lit = market
            .sources
            .par_iter()
            .map(|sources| {
                let mut changed = plan.clone();
                changed.supplies.clone_from(&sources.thing.supplies);
                Ok(Lit::of(&changed)?.1)
            })
            .collect::<Result<Vec<_>, TripError>>()?;
        let (likes, like) = likes(&lit);
        let most = most_of(lit.iter());
        let draws = settings.draws;
        let wanted = plan.dates.confidence;
        // as a forecast compares them: share < wanted
        let needed = (0..=draws)
            .find(|carried| *carried as f64 / draws as f64 >= wanted)
            .unwrap_or(draws + 1);
        Ok(Race { plan, market, calendar, lit, most, likes, like, settings, needed })
    }

    /// The group of like sources that a combination's belong to.
    pub(super) fn like(&self, chosen: &Combination) -> Group {
        Group::Like(chosen.pack, self.like[chosen.sources])
    }

    /// What depends on a combination's sources.
    pub(super) fn lit(&self, chosen: &Combination) -> &Lit {
        &self.lit[chosen.sources]
    }

    /// Whether a combination carries every night.
    pub(super) fn judge(&self, chosen: &Combination) -> Judged {
        self.carries(&self.market.plan(self.plan, chosen), self.lit(chosen), 1.0)
    }

    /// Whether a plan does, with all loads so many times what it says.
    pub(super) fn carries(&self, changed: &Plan, lit: &Lit, load: f64) -> Judged {
        let (carries, tally) = self.draw(changed, lit, load, |lottery, tally| {
            self.settled(lottery, tally, self.needed, |_, _| false)
        });
        Judged { carries: carries == Some(true), nights: tally.nights() }
    }

    /// Draws until it is clear whether so many of all draws carry each night, or `enough` says that
    /// it will not become clear.
    fn settled(
        &self,
        lottery: &Lottery<'_>,
        mut tally: Tally,
        needed: usize,
        enough: impl Fn(usize, f64) -> bool,
    ) -> (Option<bool>, Tally) {
        let all = self.settings.draws;
        loop {
            let made = tally.draws();
            tally.draw(lottery, made.max(FIRST_DRAWS).min(all - made));
            let (made, carried) = (tally.draws(), tally.least_carried());
            let (_, high) = wilson(carried, made, SURE_Z);
            if carried >= needed {
                return (Some(true), tally);
            }
            if carried + (all - made) < needed || high < self.plan.dates.confidence {
                return (Some(false), tally);
            }
            if enough(made, carried as f64 / made as f64) {
                return (None, tally);
            }
        }
    }

    /// What is drawn for a whole group, if that is enough to see that all of it fails.
    pub(super) fn hopeless(&self, group: Group, chosen: &Combination) -> Option<Judged> {
        let mut changed = self.market.plan(self.plan, chosen);
        changed.gear.rig.clone_from(&self.market.wirings.stoutest);
        let lit = match group {
            Group::Pack(_) => self.most.as_ref()?,
            Group::Like(_, like) => self.likes[like].as_ref()?,
            Group::Lit(..) if self.market.wirings.rigs.len() == 1 => return None,
            Group::Lit(..) => self.lit(chosen),
        };
        if !matches!(group, Group::Lit(..)) {
            // what they draw on the pack is left out too
            changed.supplies.clear();
        }
        let plainly = (PLAINLY * self.settings.draws as f64) as usize;
        let needed = self.needed.saturating_sub(plainly);
        let wanted = self.plan.dates.confidence;
        // what stands for many need not be known so well
        let enough = |made: usize, share: f64| match group {
            Group::Lit(..) => made >= 4 * GROUP_DRAWS && share >= wanted,
            Group::Pack(_) | Group::Like(..) => made >= GROUP_DRAWS,
        };
        let (carries, tally) = self.draw(&changed, lit, 1.0, |lottery, tally| {
            self.settled(lottery, tally, needed, enough)
        });
        (carries == Some(false)).then(|| Judged { carries: false, nights: tally.nights() })
    }

    /// Hands on all that draws of a plan are made of, and an empty count of them.
    fn draw<T>(
        &self,
        changed: &Plan,
        lit: &Lit,
        load: f64,
        then: impl FnOnce(&Lottery<'_>, Tally) -> T,
    ) -> T {
        let Lit { mut timeline, skies } = lit.clone();
        timeline.limit_charge(&changed.battery.pack.limits);
        let mut loads = loads_of(changed, &timeline);
        let doubt = Doubt::of(changed, skies, &timeline, &mut loads);
        let lottery = Lottery {
            timeline: &timeline,
            cell: &cell_of(changed),
            loads: &loads,
            doubt: &doubt,
            load,
            seed: self.settings.seed,
        };
        then(&lottery, Tally::new(timeline.nights))
    }

    /// All draws of a plan.
    pub(super) fn all(&self, changed: &Plan, lit: &Lit) -> Tally {
        self.draw(changed, lit, 1.0, |lottery, mut tally| {
            tally.draw(lottery, self.settings.draws);
            tally
        })
    }
}

/// So many sources that give about as much are taken together.
const ALIKE: usize = 8;

/// Sources in groups that give about as much under a clear sky, and of each source its group.
fn likes(lit: &[Lit]) -> (Vec<Option<Lit>>, Vec<usize>) {
    let clear_j = |lit: &Lit| {
        let Timeline { steps, blocks, .. } = &lit.timeline;
        let power_w = |step: &Step| step.panel_w + ABOUT_V * (step.panel_a + step.charger_a);
        let of_block = |block: &Block| {
            block.dt_s * steps[block.steps.clone()].iter().map(power_w).sum::<f64>()
        };
        blocks.iter().map(of_block).sum::<f64>()
    };
    let mut order: Vec<(f64, usize)> =
        lit.iter().enumerate().map(|(at, lit)| (clear_j(lit), at)).collect();
    order.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut like = vec![0; lit.len()];
    let likes = order.chunks(ALIKE).enumerate().map(|(group, chunk)| {
        chunk.iter().for_each(|(_, at)| like[*at] = group);
        most_of(chunk.iter().map(|(_, at)| &lit[*at]))
    });
    (likes.collect(), like)
}

/// The voltage at which a source's current is counted as power.
const ABOUT_V: f64 = 13.6;

/// At each step the most that any of them gives; none if there is nothing to gain by it, or their
/// steps differ.
fn most_of<'a>(all: impl Iterator<Item = &'a Lit> + Clone) -> Option<Lit> {
    if all.clone().count() <= 2 {
        return None;
    }
    // a sky is drawn as it dims panels, so it is that of one that has some
    let mut most = all.clone().find(|lit| lit.has_panels()).or(all.clone().next())?.clone();
    // nor does it wait for anything
    most.timeline.held.clear();
    for Lit { timeline: other, .. } in all {
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
