//! What the draws come to, counted as they are made.

use std::collections::BTreeMap;

use rayon::prelude::*;

use crate::answer::{Band, Carried, Chance, Culprit};
use crate::calendar::Calendar;
use crate::carries::Carries;
use crate::draws::{Doubt, Draw};
use crate::engine::{self, Cell, Keep, Outcome};
use crate::loads::Loads;
use crate::timeline::Timeline;

/// Draws side by side in one pass of the engine.
pub(crate) const LANES: usize = 16;
/// Bands and medians are drawn from so many draws at most, so that memory does not grow with their
/// number.
const KEPT_DRAWS: usize = 1000;
/// A 5 % quantile of fewer draws than this says little.
const LEAST_CARRYING: usize = 40;

/// The count so far.
#[derive(Debug, Clone)]
pub(crate) struct Tally {
    draws: usize,
    /// How many draws carry each night.
    carried: Vec<usize>,
    /// How many carry all of them.
    all: usize,
    /// Which draw carries which night.
    carries: Carries,
    /// For each night the devices that were the first to fail.
    stops: Vec<BTreeMap<Option<usize>, Stops>>,
    /// The first draws, with their paths.
    kept: Vec<Outcome>,
}

#[derive(Debug, Clone, Default)]
struct Stops {
    count: usize,
    at_s: Vec<f64>,
}

/// What draws are made of.
pub(crate) struct Lottery<'a> {
    pub(crate) timeline: &'a Timeline,
    pub(crate) cell: &'a Cell<'a>,
    pub(crate) loads: &'a Loads<'a>,
    pub(crate) doubt: &'a Doubt,
    /// Factor on all loads; 1 for those of the plan.
    pub(crate) load: f64,
    pub(crate) seed: u64,
}

impl Lottery<'_> {
    /// Makes the draws of these numbers, in parallel, and gives them in their order.
    fn draw(&self, numbers: std::ops::Range<usize>) -> Vec<Outcome> {
        let of_group = |loads: &mut Loads<'_>, first: usize| -> Vec<Outcome> {
            let mut draws: [Draw; LANES] =
                std::array::from_fn(|lane| self.doubt.draw(self.seed, (first + lane) as u64));
            for draw in &mut draws {
                draw.devices.iter_mut().for_each(|factor| *factor *= self.load);
            }
            let keep = if first < KEPT_DRAWS { Keep::Paths } else { Keep::Ends };
            let mut outcomes =
                Vec::from(engine::run(self.timeline, self.cell, loads, &draws, keep));
            outcomes.truncate(numbers.end - first);
            outcomes
        };
        let groups: Vec<usize> = numbers.clone().step_by(LANES).collect();
        groups
            .into_par_iter()
            .map_init(|| self.loads.clone(), |loads, first| of_group(loads, first))
            .collect::<Vec<_>>()
            .into_iter()
            .flatten()
            .collect()
    }
}

impl Tally {
    pub(crate) fn new(nights: usize) -> Self {
        Tally {
            draws: 0,
            carried: vec![0; nights],
            all: 0,
            carries: Carries::default(),
            stops: vec![BTreeMap::new(); nights],
            kept: Vec::new(),
        }
    }

    /// Makes so many more draws.
    pub(crate) fn draw(&mut self, lottery: &Lottery<'_>, more: usize) {
        for outcome in lottery.draw(self.draws..self.draws + more) {
            self.count(outcome);
        }
    }

    fn count(&mut self, outcome: Outcome) {
        self.draws += 1;
        self.all += usize::from(outcome.failures.iter().all(Option::is_none));
        self.carries.push(outcome.failures.iter().map(Option::is_none));
        let nights = self.carried.iter_mut().zip(&mut self.stops);
        for ((carried, stops), failure) in nights.zip(&outcome.failures) {
            match failure {
                None => *carried += 1,
                Some(stop) => {
                    let stops = stops.entry(stop.device).or_default();
                    stops.count += 1;
                    if stops.at_s.len() < KEPT_DRAWS {
                        stops.at_s.push(stop.at_s);
                    }
                }
            }
        }
        if self.kept.len() < KEPT_DRAWS {
            self.kept.push(outcome);
        }
    }

    pub(crate) fn draws(&self) -> usize {
        self.draws
    }

    /// The first draws, with their paths.
    pub(crate) fn kept(&self) -> &[Outcome] {
        &self.kept
    }

    /// How many draws carry the night that fewest carry.
    pub(crate) fn least_carried(&self) -> usize {
        self.carried.iter().copied().min().unwrap_or(self.draws)
    }

    /// The chance of each night.
    pub(crate) fn nights(&self) -> Vec<Chance> {
        self.carried.iter().map(|carried| Chance::of(*carried, self.draws)).collect()
    }

    /// Which draw carries which night.
    pub(crate) fn into_carries(self) -> Carries {
        self.carries
    }

    /// The chance that all nights are carried.
    pub(crate) fn trip(&self) -> Chance {
        Chance::of(self.all, self.draws)
    }

    /// The widest of the nights' intervals, as ±.
    pub(crate) fn widest(&self) -> f64 {
        self.nights().iter().map(|chance| 0.5 * (chance.high - chance.low)).fold(0.0, f64::max)
    }

    /// What fails first on a night, most frequent first.
    pub(crate) fn culprits(
        &self,
        night: usize,
        calendar: &Calendar,
        name: &dyn Fn(Option<usize>) -> Option<String>,
    ) -> Vec<Culprit> {
        let median = |stops: &Stops| {
            let mut at_s = stops.at_s.clone();
            at_s.sort_by(f64::total_cmp);
            at_s.get(at_s.len() / 2).copied().unwrap_or_default()
        };
        let mut culprits: Vec<Culprit> = self.stops[night]
            .iter()
            .map(|(device, stops)| Culprit {
                device: name(*device),
                share: stops.count as f64 / self.draws as f64,
                median_time: calendar.instant(median(stops)),
            })
            .collect();
        culprits.sort_by(|a, b| b.share.total_cmp(&a.share));
        culprits
    }

    /// Where the draws lie through the trip.
    pub(crate) fn bands(&self, calendar: &Calendar, timeline: &Timeline) -> Vec<Band> {
        let all: Vec<usize> = (0..self.kept.len()).collect();
        let carrying: Vec<Vec<usize>> = (0..timeline.nights)
            .map(|night| {
                let carries = |draw: &usize| self.kept[*draw].failures[night].is_none();
                all.iter().copied().filter(carries).collect()
            })
            .collect();
        // the value at the end of a block that a share of these draws stay below
        let quantile = |draws: &[usize], block: usize, which: usize, share: f64| {
            let mut values: Vec<f32> =
                draws.iter().map(|draw| self.kept[*draw].path[block][which]).collect();
            let rank = ((values.len() - 1) as f64 * share).round() as usize;
            let (_, value, _) = values.select_nth_unstable_by(rank, f32::total_cmp);
            f64::from(*value)
        };
        let least = |night: usize, block: usize| {
            let draws = &carrying[night];
            (draws.len() >= LEAST_CARRYING).then(|| Carried {
                soc: quantile(draws, block, 0, 0.05),
                terminal_v: quantile(draws, block, 1, 0.05),
            })
        };
        timeline
            .blocks
            .par_iter()
            .enumerate()
            .filter_map(|(index, block)| {
                let last = timeline.steps.get(block.steps.clone())?.last()?;
                let time = calendar.instant(last.at_s + block.dt_s);
                let soc = [0.1, 0.9].map(|share| quantile(&all, index, 0, share));
                let terminal_v = [0.1, 0.9].map(|share| quantile(&all, index, 1, share));
                Some(Band { time, soc, terminal_v, carried: least(block.night, index) })
            })
            .collect()
    }
}
