//! Which combinations carry every night: each is drawn only until that is settled.

use plan::Plan;
use quantity::uncertainty::wilson;

use super::light::{Lights, Lit};
use super::market::{Combination, Market};
use crate::answer::{Chance, Settings};
use crate::draws::Doubt;
use crate::error::TripError;
use crate::forecast::{cell_of, loads_of};
use crate::skies::Skies;
use crate::tally::{Lottery, Tally};

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
    pub(super) lights: Lights,
    pub(super) settings: Settings,
    /// So many draws of the settings' must carry each night.
    needed: usize,
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
    /// A pack, with more than any of a group of sources gives, and the thickest cables.
    Like {
        /// Which pack.
        pack: usize,
        /// How large the group is.
        level: usize,
        /// Which of this size.
        group: usize,
    },
    /// A pack and sources, with the thickest cables.
    Lit(usize, usize),
}

impl Judged {
    /// Share of the draws that carry the weakest night.
    pub(super) fn share(&self) -> f64 {
        self.nights.iter().map(|chance| chance.share).fold(1.0, f64::min)
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
        let lights = Lights::new(plan, &market.sources)?;
        let draws = settings.draws;
        let wanted = plan.dates.confidence;
        // as a forecast compares them: share < wanted
        let needed = (0..=draws)
            .find(|carried| *carried as f64 / draws as f64 >= wanted)
            .unwrap_or(draws + 1);
        Ok(Race { plan, market, lights, settings, needed })
    }

    /// Whether a combination carries every night.
    pub(super) fn judge(&self, chosen: &Combination) -> Judged {
        self.carries(&self.market.plan(self.plan, chosen), &self.lights.lit(chosen.sources), 1.0)
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
        let of_pair;
        let lit = match group {
            Group::Like { level, group, .. } => {
                // what they draw on the pack is left out too
                changed.supplies.clear();
                self.lights.most(level, group)
            }
            Group::Lit(..) if self.market.wirings.rigs.len() == 1 => return None,
            Group::Lit(..) => {
                of_pair = self.lights.lit(chosen.sources);
                &of_pair
            }
        };
        let plainly = (PLAINLY * self.settings.draws as f64) as usize;
        let needed = self.needed.saturating_sub(plainly);
        let wanted = self.plan.dates.confidence;
        // what stands for many need not be known so well
        let enough = |made: usize, share: f64| match group {
            Group::Lit(..) => made >= 4 * GROUP_DRAWS && share >= wanted,
            Group::Like { .. } => made >= GROUP_DRAWS,
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
        let doubt = Doubt::of(changed, Skies::clone(&skies), &timeline, &mut loads);
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
