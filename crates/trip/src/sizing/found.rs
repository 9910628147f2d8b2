//! The state of the search.

use std::collections::HashMap;

use super::market::Combination;
use super::race::{Group, Judged, Race};

/// Combinations come from the cheapest on, so that one is beaten exactly if it is not lighter than
/// the lightest that carries so far.
#[derive(Default)]
pub(super) struct Found<'a> {
    /// What carries and is not beaten.
    pub(super) front: Vec<(&'a Combination, Judged)>,
    /// What was drawn and failed; for a group that fails as a whole the first of it.
    pub(super) failed: Vec<(&'a Combination, Judged)>,
    /// The groups that were drawn, and whether each is hopeless.
    groups: HashMap<Group, bool>,
    pub(super) evaluated: usize,
    pub(super) rejected: usize,
    pub(super) beaten: usize,
}

/// What was drawn of a combination.
pub(super) struct Drawn {
    /// That of its pack and sources with the thickest cables, if that is hopeless.
    hopeless: Option<Judged>,
    /// Else its own.
    own: Option<Judged>,
}

impl Drawn {
    pub(super) fn of(race: &Race<'_>, chosen: &Combination, is_new: bool) -> Self {
        let hopeless = if is_new { race.hopeless(Group::lit(chosen), chosen) } else { None };
        let own = hopeless.is_none().then(|| race.judge(chosen));
        Drawn { hopeless, own }
    }
}

impl Group {
    fn lit(chosen: &Combination) -> Self {
        Group::Lit(chosen.pack, chosen.sources)
    }
}

/// So many that fail are looked at closely, unless there are more choices to hold them against.
const MISSES: usize = 8;
/// Among those, cables are told of where they make a night surer by so much.
const WORTH_CABLES: f64 = 0.05;

impl<'a> Found<'a> {
    pub(super) fn settled(&self) -> usize {
        self.rejected + self.beaten + self.front.len()
    }

    fn is_beaten(&self, chosen: &Combination) -> bool {
        self.front.last().is_some_and(|(lightest, _)| lightest.kg <= chosen.kg)
    }

    /// Whether its pack and sources have not been drawn yet.
    pub(super) fn is_new(&self, chosen: &Combination) -> bool {
        !self.groups.contains_key(&Group::lit(chosen))
    }

    /// Whether nothing more of a combination need be drawn.
    pub(super) fn is_settled(&mut self, race: &Race<'_>, chosen: &'a Combination) -> bool {
        if self.is_beaten(chosen) {
            self.beaten += 1;
            return true;
        }
        let of_level = |level: usize| Group::Like {
            pack: chosen.pack,
            level,
            group: race.lights.group(level, chosen.sources),
        };
        let is_hopeless = self.groups.get(&Group::lit(chosen)) == Some(&true)
            || (0..race.lights.height())
                .rev()
                .any(|level| self.is_hopeless(race, of_level(level), chosen));
        if is_hopeless {
            self.rejected += 1;
        }
        is_hopeless
    }

    fn is_hopeless(&mut self, race: &Race<'_>, group: Group, chosen: &'a Combination) -> bool {
        if let Some(is_hopeless) = self.groups.get(&group) {
            return *is_hopeless;
        }
        let hopeless = race.hopeless(group, chosen);
        let is_hopeless = hopeless.is_some();
        self.groups.insert(group, is_hopeless);
        // one stands for all, so that there is something to show where all are hopeless
        self.failed.extend(hopeless.map(|judged| (chosen, judged)));
        is_hopeless
    }

    pub(super) fn count(&mut self, chosen: &'a Combination, drawn: Drawn) {
        self.evaluated += 1;
        self.groups.entry(Group::lit(chosen)).or_insert(drawn.hopeless.is_some());
        let Some(judged) = drawn.hopeless.or(drawn.own) else { return };
        match judged.carries {
            // one of those drawn beside it may beat it
            true if self.is_beaten(chosen) => self.beaten += 1,
            true => self.front.push((chosen, judged)),
            false => {
                self.rejected += 1;
                self.failed.push((chosen, judged));
            }
        }
    }

    /// For each choice the surest of those that are cheaper than it, but no cheaper than the one
    /// before; and of those that are dearer than all. Without what a surer one beats on weight and
    /// price.
    pub(super) fn misses(&self) -> Vec<&'a Combination> {
        let step = |chosen: &Combination| {
            self.front.iter().filter(|(choice, _)| choice.price <= chosen.price).count()
        };
        let each = (MISSES / (self.front.len() + 1)).max(1);
        let mut failed: Vec<(&Combination, f64)> = self
            .failed
            .iter()
            .map(|(chosen, judged)| {
                // thicker cables are told of only where they bring something
                let cables = if chosen.rig == 0 { 0.0 } else { WORTH_CABLES };
                (*chosen, judged.share() - cables)
            })
            .collect();
        // among equally sure ones the cheapest is told; among hopeless ones more is nearer
        let sign = |share: f64| if share > 0.0 { 1.0 } else { -1.0 };
        failed.sort_by(|a, b| {
            let dearer = (sign(a.1) * a.0.price).total_cmp(&(sign(b.1) * b.0.price));
            b.1.total_cmp(&a.1).then(dearer)
        });
        let mut told: Vec<&Combination> = Vec::new();
        for (chosen, _) in failed {
            let of_step = told.iter().filter(|other| step(other) == step(chosen)).count();
            let beats = |other: &Combination| other.kg <= chosen.kg && other.price <= chosen.price;
            let is_alike = |other: &Combination| Group::lit(other) == Group::lit(chosen);
            let is_new = !told.iter().any(|other| beats(other) || is_alike(other))
                && !self.front.iter().any(|(choice, _)| beats(choice));
            if is_new && of_step < each {
                told.push(chosen);
            }
        }
        told.sort_by(|a, b| a.price.total_cmp(&b.price));
        told
    }
}
