//! What the sources to choose from give under a clear sky: each alone, and groups of them at most.

use std::sync::Arc;

use plan::{Plan, Supply};
use rayon::prelude::*;

use super::market::{Alternative, Sources};
use crate::aim;
use crate::calendar::Calendar;
use crate::error::TripError;
use crate::prepare::Ground;
use crate::skies::Skies;
use crate::suns::PanelSun;
use crate::timeline::{Block, Step, Timeline};

/// A trip's steps under sources, and the skies that dim them.
#[derive(Clone)]
pub(super) struct Lit {
    pub(super) timeline: Timeline,
    pub(super) skies: Arc<Skies>,
}

/// What all alternatives of the sources give. The steps of each are put together when they are
/// asked for; of a long trip they take too much room to keep.
pub(super) struct Lights {
    /// Without chargers.
    plain: Ground,
    /// Cut where chargers come and go.
    cut: Ground,
    given: Vec<Given>,
    /// Groups of sources that give about as much, at each step the most that any of them gives;
    /// from groups of a few up to one of all.
    levels: Vec<Level>,
}

struct Given {
    supplies: Vec<Supply>,
    suns: Vec<PanelSun>,
    skies: Arc<Skies>,
}

struct Level {
    most: Vec<Lit>,
    /// The group of each alternative.
    of: Vec<usize>,
}

/// So many that give about as much are taken together.
const ALIKE: usize = 8;
/// The voltage at which a source's current is counted as power.
const ABOUT_V: f64 = 13.6;

impl Lights {
    pub(super) fn new(plan: &Plan, sources: &[Alternative<Sources>]) -> Result<Self, TripError> {
        let with = |supplies: &[Supply]| {
            let mut changed = plan.clone();
            changed.supplies = supplies.to_vec();
            changed
        };
        let plain = Ground::of(&with(&[]))?;
        // all chargers come and go at the same hours
        let charged = sources.iter().map(|given| &given.thing.supplies).find(|s| has_charger(s));
        let cut = Ground::of(&with(charged.map_or(&[], Vec::as_slice)))?;
        let mut suns = plain.suns();
        let mut skies: Vec<(Vec<Supply>, Arc<Skies>)> = Vec::new();
        let mut given = Vec::with_capacity(sources.len());
        for Alternative { thing: Sources { supplies, .. }, .. } in sources {
            let panels: Vec<Supply> =
                supplies.iter().filter(|supply| is_panel(supply)).cloned().collect();
            let skies = match skies.iter().find(|(known, _)| *known == panels) {
                Some((_, known)) => Arc::clone(known),
                None => {
                    let fresh = Arc::new(Skies::of_plan(&with(&panels))?);
                    skies.push((panels, Arc::clone(&fresh)));
                    fresh
                }
            };
            let suns = suns.of(supplies)?;
            given.push(Given { supplies: supplies.clone(), suns, skies });
        }
        let mut lights = Lights { plain, cut, given, levels: Vec::new() };
        lights.levels = lights.levels();
        Ok(lights)
    }

    pub(super) fn calendar(&self) -> &Calendar {
        &self.plain.calendar
    }

    /// The steps under an alternative of the sources.
    pub(super) fn lit(&self, sources: usize) -> Lit {
        let given = &self.given[sources];
        given.lit(if has_charger(&given.supplies) { &self.cut } else { &self.plain })
    }

    /// How many levels of groups there are.
    pub(super) fn height(&self) -> usize {
        self.levels.len()
    }

    /// The group of an alternative at a level, 0 for the smallest.
    pub(super) fn group(&self, level: usize, sources: usize) -> usize {
        self.levels[level].of[sources]
    }

    /// More than any of a group gives.
    pub(super) fn most(&self, level: usize, group: usize) -> &Lit {
        &self.levels[level].most[group]
    }

    fn levels(&self) -> Vec<Level> {
        let all: Vec<usize> = (0..self.given.len()).collect();
        let clear: Vec<f64> =
            all.par_iter().map(|at| clear_j(&self.given[*at].lit(&self.cut).timeline)).collect();
        let mut order = all;
        order.sort_by(|a, b| clear[*a].total_cmp(&clear[*b]));
        let of_order = |of: &dyn Fn(usize) -> usize| {
            let mut groups = vec![0; order.len()];
            order.iter().enumerate().for_each(|(place, at)| groups[*at] = of(place));
            groups
        };
        let mut levels: Vec<Level> = Vec::new();
        let mut together = 1;
        while self.given.len() > together {
            together *= ALIKE;
            let most: Vec<Lit> = match levels.last() {
                None => order
                    .par_chunks(ALIKE)
                    .filter_map(|chunk| {
                        most_of(chunk.iter().map(|at| self.given[*at].lit(&self.cut)))
                    })
                    .collect(),
                Some(below) => below
                    .most
                    .chunks(ALIKE)
                    .filter_map(|chunk| most_of(chunk.iter().cloned()))
                    .collect(),
            };
            levels.push(Level { most, of: of_order(&|place| place / together) });
        }
        levels
    }
}

impl Given {
    fn lit(&self, ground: &Ground) -> Lit {
        let timeline = ground.under(&self.supplies, &self.suns);
        Lit { timeline, skies: Arc::clone(&self.skies) }
    }
}

impl Lit {
    /// The steps of a plan with its own sources.
    pub(super) fn of(plan: &Plan) -> Result<Self, TripError> {
        let ground = Ground::of(plan)?;
        let suns = ground.suns().of(&plan.supplies)?;
        let timeline = ground.under(&plan.supplies, &suns);
        Ok(Lit { timeline, skies: Arc::new(Skies::of_plan(plan)?) })
    }
}

fn is_panel(supply: &Supply) -> bool {
    matches!(supply, Supply::Panel(_))
}

fn has_charger(supplies: &[Supply]) -> bool {
    supplies.iter().any(|supply| !is_panel(supply))
}

/// What sources give on the whole trip under a clear sky (J).
fn clear_j(timeline: &Timeline) -> f64 {
    let power_w = |step: &Step| step.panel_w + ABOUT_V * (step.panel_a + step.charger_a);
    let of_block = |block: &Block| {
        block.dt_s * timeline.steps[block.steps.clone()].iter().map(power_w).sum::<f64>()
    };
    timeline.blocks.iter().map(of_block).sum()
}

/// At each step the most that any of them gives, however well its panels stand by chance. All have
/// the same steps.
fn most_of(all: impl Iterator<Item = Lit>) -> Option<Lit> {
    let mut all = all.map(stood_best);
    let mut most = all.next()?;
    // nor does it wait for anything, and held to the end: going down to float gives less
    most.timeline.held.clear();
    most.timeline.blocks.iter_mut().for_each(|block| block.float = None);
    for other in all {
        // a sky is drawn as it dims panels, so it is that of the last that has some
        if other.timeline.steps.iter().any(|step| step.panel_w > 0.0 || step.panel_a > 0.0) {
            most.skies = other.skies;
        }
        let (most, other) = (&mut most.timeline, &other.timeline);
        for (step, other) in most.steps.iter_mut().zip(&other.steps) {
            step.panel_w = step.panel_w.max(other.panel_w);
            step.panel_cap_a = step.panel_cap_a.max(other.panel_cap_a);
            step.panel_a = step.panel_a.max(other.panel_a);
            step.charger_a = step.charger_a.max(other.charger_a);
        }
        for (block, other) in most.blocks.iter_mut().zip(&other.blocks) {
            block.supplied |= other.supplied;
            block.hold_v = block.hold_v.max(other.hold_v);
        }
    }
    Some(most)
}

/// The same with panels that stand as well as any error makes them.
fn stood_best(mut lit: Lit) -> Lit {
    let Timeline { steps, blocks, .. } = &mut lit.timeline;
    for block in blocks {
        let factor = aim::greatest(&block.aims);
        for step in &mut steps[block.steps.clone()] {
            step.panel_w *= factor;
            step.panel_a *= factor;
        }
        block.aims.clear();
    }
    lit
}
