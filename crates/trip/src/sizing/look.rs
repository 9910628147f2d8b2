//! A combination looked at closely: what all draws say, what is left and to spare, what it lacks.

use std::collections::BTreeMap;

use plan::Plan;
use rig::Rig;

use super::light::Lit;
use super::market::Combination;
use super::race::{Judged, Race};
use super::{Choice, Ending, Lack};
use crate::engine::{Outcome, Stop};
use crate::error::TripError;
use crate::tally::Tally;
use crate::timeline::Timeline;

/// As far as the race went.
pub(super) fn roughly(race: &Race<'_>, chosen: &Combination, judged: &Judged) -> Choice {
    let weakest = weakest(judged.nights.iter().map(|chance| chance.share));
    Choice {
        pieces: race.market.pieces(chosen),
        kg: chosen.kg,
        price: chosen.price,
        nights: judged.nights.clone(),
        soc_dawn: None,
        spare_load: None,
        weakest_evening: race.lights.calendar().evenings.get(weakest).map(|evening| evening.date),
        ending: None,
    }
}

/// With all draws.
pub(super) fn closely(race: &Race<'_>, chosen: &Combination) -> Result<Choice, TripError> {
    let seen = look(race, &race.market.plan(race.plan, chosen), &race.lights.lit(chosen.sources))?;
    let pieces = race.market.pieces(chosen);
    Ok(Choice { pieces, kg: chosen.kg, price: chosen.price, ..seen })
}

/// The plan with its own things.
pub(super) fn as_it_is(race: &Race<'_>) -> Result<Choice, TripError> {
    look(race, race.plan, &Lit::of(race.plan)?)
}

fn look(race: &Race<'_>, changed: &Plan, lit: &Lit) -> Result<Choice, TripError> {
    let tally = race.all(changed, lit);
    let nights = tally.nights();
    let weakest = weakest(nights.iter().map(|chance| chance.share));
    let fails = |night: usize| {
        nights.get(night).is_some_and(|chance| chance.share < race.plan.dates.confidence)
    };
    let carries = !fails(weakest);
    let mut ending = ending(race, changed, &tally, &lit.timeline, weakest);
    if let Some(ending) = ending.as_mut().filter(|_| !carries) {
        ending.lack = Some(lack(race, changed, lit, (fails(0), ending.soc))?);
    }
    let dawns = (0..nights.len())
        .map(|night| median(tally.kept().iter().map(|outcome| outcome.soc[night][1])));
    Ok(Choice {
        pieces: Vec::new(),
        kg: 0.0,
        price: 0.0,
        soc_dawn: Some(dawns.fold(1.0, f64::min)),
        spare_load: carries.then(|| spare_load(race, changed, lit)),
        weakest_evening: race.lights.calendar().evenings.get(weakest).map(|evening| evening.date),
        ending,
        nights,
    })
}

fn weakest(shares: impl Iterator<Item = f64>) -> usize {
    shares.enumerate().min_by(|a, b| a.1.total_cmp(&b.1)).map_or(0, |(night, _)| night)
}

/// By what share all loads are raised, to see what there is to spare.
const RAISED: [f64; 12] = [0.01, 0.02, 0.03, 0.05, 0.07, 0.1, 0.15, 0.2, 0.3, 0.5, 0.75, 1.0];

fn spare_load(race: &Race<'_>, changed: &Plan, lit: &Lit) -> f64 {
    let carried = RAISED.partition_point(|raised| race.carries(changed, lit, 1.0 + raised).carries);
    carried.checked_sub(1).map_or(0.0, |at| RAISED[at])
}

/// How a night mostly ends early, where it does.
fn ending(
    race: &Race<'_>,
    changed: &Plan,
    tally: &Tally,
    timeline: &Timeline,
    night: usize,
) -> Option<Ending> {
    let mut stopped: BTreeMap<Option<usize>, Vec<(&Outcome, Stop)>> = BTreeMap::new();
    for outcome in tally.kept() {
        if let Some(Some(stop)) = outcome.failures.get(night) {
            stopped.entry(stop.device).or_default().push((outcome, *stop));
        }
    }
    let (device, stopped) = stopped.into_iter().max_by_key(|(_, stopped)| stopped.len())?;
    let mut at_s: Vec<(f64, Stop)> = stopped.iter().map(|(_, stop)| (stop.at_s, *stop)).collect();
    at_s.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (median_s, middle) = at_s[at_s.len() / 2];
    let soc = |(outcome, stop): &(&Outcome, Stop)| soc_at(outcome, timeline, stop.at_s);
    Some(Ending {
        device: device.map(|index| changed.gear.rig.devices()[index].name.clone()),
        cause: middle.cause,
        share: stopped.len() as f64 / tally.kept().len() as f64,
        median_time: race.lights.calendar().instant(median_s),
        soc: median(stopped.iter().map(soc)),
        soc_dusk: median(stopped.iter().map(|(outcome, _)| outcome.soc[night][0])),
        lack: None,
    })
}

/// The charge at a time, straight between the ends of the block it lies in.
fn soc_at(outcome: &Outcome, timeline: &Timeline, at_s: f64) -> f64 {
    let begins_s =
        |at: usize| timeline.steps.get(timeline.blocks[at].steps.start).map_or(0.0, |s| s.at_s);
    let block = (1..timeline.blocks.len()).rev().find(|at| begins_s(*at) <= at_s).unwrap_or(0);
    let ends = |at: usize| outcome.path.get(at).map(|[soc, _]| f64::from(*soc));
    let after = ends(block).unwrap_or(f64::NAN);
    let before = block.checked_sub(1).and_then(ends).unwrap_or(after);
    let lasting_s = timeline.blocks[block].dt_s * timeline.blocks[block].steps.len() as f64;
    before + (after - before) * ((at_s - begins_s(block)) / lasting_s).clamp(0.0, 1.0)
}

/// With less charge left than this a pack is empty: there its voltage falls steeply, whatever lies
/// between it and the gear (common practice, no source).
const EMPTY: f64 = 0.15;

/// What a plan lacks that is not carried as surely as is wanted, and stops with so much charge left.
fn lack(
    race: &Race<'_>,
    changed: &Plan,
    lit: &Lit,
    (first_fails, soc): (bool, f64),
) -> Result<Lack, TripError> {
    if soc >= EMPTY {
        let mut stout = changed.clone();
        stout.gear.rig = thickly_wired(&changed.gear.rig)?;
        if race.carries(&stout, lit, 1.0).carries {
            return Ok(Lack::Copper);
        }
    }
    let supplied = || lit.timeline.blocks.iter().any(|block| block.supplied);
    Ok(match first_fails {
        true if soc >= EMPTY => Lack::Voltage,
        true => Lack::Charge,
        false if supplied() => Lack::Refill,
        false => Lack::Source,
    })
}

/// The rig with cables in which hardly anything is lost.
fn thickly_wired(rig: &Rig) -> Result<Rig, TripError> {
    let (mut branches, mut devices) = (rig.branches().to_vec(), rig.devices().to_vec());
    let wires = branches.iter_mut().map(|branch| &mut branch.wire);
    for wire in wires.chain(devices.iter_mut().map(|device| &mut device.wire)) {
        if let Some(cable) = &mut wire.cable {
            // as of ten times the section
            cable.length_m *= 0.1;
        }
    }
    Ok(Rig::new(branches, devices)?)
}

fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}
