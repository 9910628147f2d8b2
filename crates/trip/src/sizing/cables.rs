//! Which cables to lay in place of the rig's own, run by run: only where it lowers the voltage at
//! which the gear stops, or saves energy worth mentioning.
//!
//! All cables for sale in all runs are too many rigs to go through. Of two rigs only two things
//! matter to a trip: the pack's voltage at which the first device stops, and what the wires waste.
//! So for some steps of that voltage the cheapest and the lightest cables that reach it are looked
//! for, each once more with what saves energy; of these stay the ones that no other makes needless.
//! For this choice the currents are those at 12 V; what the rigs then do to a trip is simulated.

use plan::{Catalogue, Offer, Plan};
use rig::{Cable, Collapse, Load, Place, Rig, Section, Solution, State};

use super::market::Alternative;
use super::{Amount, Piece};
use crate::error::TripError;
use crate::prepare::prepare;
use crate::timeline::Timeline;

/// The rigs to choose from.
pub(super) struct Wirings {
    /// As it is, then from the cheapest on.
    pub(super) rigs: Vec<Alternative<Rig>>,
    /// No run is thinner in it than in any of them.
    pub(super) stoutest: Rig,
}

impl Wirings {
    pub(super) fn new(plan: &Plan, catalogue: &Catalogue) -> Result<Self, TripError> {
        let rig = &plan.gear.rig;
        let own = Alternative::own(rig.clone());
        let as_it_is = |own: Alternative<Rig>| Wirings { stoutest: rig.clone(), rigs: vec![own] };
        if catalogue.cables.is_empty() {
            return Ok(as_it_is(own));
        }
        let (_, timeline) = prepare(plan)?;
        // what collapses in the thickest cables is no matter of cables
        let Ok(harness) = Harness::new(rig, &timeline, &catalogue.cables) else {
            return Ok(as_it_is(own));
        };
        let picks = harness.worth_trying();
        let stoutest: Pick = (0..harness.runs.len())
            .map(|run| {
                let ohm = |pick: &&Pick| harness.laid(pick, run).ohm;
                picks.iter().min_by(|a, b| ohm(a).total_cmp(&ohm(b))).map_or(0, |pick| pick[run])
            })
            .collect();
        let rigs = picks.iter().map(|pick| harness.alternative(pick));
        Ok(Wirings {
            rigs: std::iter::once(Ok(own)).chain(rigs).collect::<Result<_, _>>()?,
            stoutest: harness.alternative(&stoutest)?.thing,
        })
    }
}

/// For each run which of its options is taken.
type Pick = Vec<usize>;

/// What a choice is kept small in.
type Money = fn(&Laid<'_>) -> f64;

/// The wires of a rig as far as they have a cable, and what hangs on them.
struct Harness<'a> {
    rig: &'a Rig,
    runs: Vec<Run<'a>>,
    strands: Vec<Strand>,
    /// Out of the pack on the whole trip (Wh).
    used_wh: f64,
}

/// A cable from one place of the rig to the next.
struct Run<'a> {
    place: Place,
    length_m: f64,
    /// The first is the cable that lies there, the others are thicker.
    options: Vec<Laid<'a>>,
    /// Current squared over the whole trip (A²h): what 1 Ω there wastes, in Wh.
    wasted_wh_per_ohm: f64,
}

#[derive(Clone, Copy)]
struct Laid<'a> {
    /// None for what lies there.
    offer: Option<&'a Offer<Section>>,
    ohm: f64,
    kg: f64,
    price: f64,
}

/// The way from a steady voltage to something that needs one, while certain things are on.
struct Strand {
    /// The runs on it, with the current (A) in each.
    runs: Vec<(usize, f64)>,
    /// Needed at its beginning, but for the drop in the runs (V).
    least_v: f64,
    /// What a converter gives there; none where it begins at the pack.
    given_v: Option<f64>,
}

/// The pack's voltage for which currents are taken.
const PACK_V: f64 = 12.0;
/// So many steps of the voltage at which gear stops are looked at.
const STEPS: usize = 6;
/// And they are no smaller than this.
const LEAST_STEP_V: f64 = 0.02;
/// Voltages nearer than this are alike.
const ALIKE_V: f64 = 0.005;
/// Of what the rig uses, so much has to be saved in one run to be worth a cable.
const WORTHWHILE: f64 = 0.002;

impl<'a> Harness<'a> {
    fn new(
        rig: &'a Rig,
        timeline: &Timeline,
        cables: &'a [Offer<Section>],
    ) -> Result<Self, Collapse> {
        let places = (0..rig.branches().len())
            .map(Place::Branch)
            .chain((0..rig.devices().len()).map(Place::Device));
        let runs: Vec<Run<'_>> = places.filter_map(|place| Run::new(rig, place, cables)).collect();
        let mut harness = Harness { rig, runs, strands: Vec::new(), used_wh: 0.0 };
        // currents hardly hang on the cables, and thick ones bear the most
        let thickest: Pick = harness.runs.iter().map(Run::thickest).collect();
        let Ok(stout) = harness.alternative(&thickest) else { return Ok(harness) };
        let mut known: Vec<&[Option<usize>]> = Vec::new();
        for (index, set) in timeline.sets.iter().enumerate() {
            let state = State(set.uses.clone());
            let of_set = timeline.blocks.iter().filter(|block| block.set == index);
            let lasting_s: f64 = of_set.map(|block| block.dt_s * block.steps.len() as f64).sum();
            let means = rig.mean_loads(&state, &set.air.unwrap_or_default());
            harness.count_energy(&means, &stout.thing.solve(PACK_V, &means)?, lasting_s / 3600.0);
            if !known.contains(&set.uses.as_slice()) {
                known.push(&set.uses);
                let greatest = rig.greatest_loads(&state);
                harness.add_strands(&greatest, &stout.thing.solve(PACK_V, &greatest)?);
            }
        }
        Ok(harness)
    }

    fn count_energy(&mut self, loads: &[Load], seen: &Solution, hours: f64) {
        self.used_wh += seen.source_w() * hours;
        for run in &mut self.runs {
            let current_a = current_a(seen, run.place);
            // a plain resistance takes all the more behind a thicker cable
            let saves = match run.place {
                Place::Branch(_) => true,
                Place::Device(device) => !matches!(loads.get(device), Some(Load::Resistance(_))),
            };
            if saves {
                run.wasted_wh_per_ohm += current_a * current_a * hours;
            }
        }
    }

    /// From each device that is on up to the nearest converter, and on from there to the pack.
    fn add_strands(&mut self, loads: &[Load], seen: &Solution) {
        let rig = self.rig;
        let branch = |name: &str| rig.branches().iter().position(|branch| branch.name == name);
        for (index, device) in rig.devices().iter().enumerate() {
            if loads.get(index).is_none_or(|load| load.is_off()) {
                continue;
            }
            let mut strand = Strand::new(device.least_voltage_v.unwrap_or(0.0));
            self.lengthen(&mut strand, Place::Device(index), seen);
            let mut feed = device.feed.as_deref();
            while let Some(at) = feed.and_then(branch) {
                let above = &rig.branches()[at];
                if let Some(converter) = above.converter {
                    strand.given_v = Some(converter.output_v);
                    self.strands.push(strand);
                    strand = Strand::new(converter.least_input_v);
                }
                self.lengthen(&mut strand, Place::Branch(at), seen);
                feed = above.feed.as_deref();
            }
            self.strands.push(strand);
        }
    }

    fn lengthen(&self, strand: &mut Strand, place: Place, seen: &Solution) {
        let current_a = current_a(seen, place);
        let connectors_ohm = self.rig.wire(place).map_or(0.0, |wire| wire.connectors_ohm);
        strand.least_v += current_a * connectors_ohm;
        if let Some(run) = self.runs.iter().position(|run| run.place == place) {
            strand.runs.push((run, current_a));
        }
    }

    fn laid(&self, pick: &Pick, run: usize) -> &Laid<'a> {
        &self.runs[run].options[pick[run]]
    }

    fn sum(&self, pick: &Pick, of: impl Fn(&Run<'a>, &Laid<'a>) -> f64) -> f64 {
        self.runs.iter().zip(pick).map(|(run, at)| of(run, &run.options[*at])).sum()
    }

    fn wasted_wh(&self, pick: &Pick) -> f64 {
        self.sum(pick, |run, laid| run.wasted_wh_per_ohm * laid.ohm)
    }

    /// By how much a strand needs more than `floor_v` at the pack, or than its converter gives.
    fn short_v(&self, strand: &Strand, pick: &Pick, floor_v: f64) -> f64 {
        let drop_v = |(run, current_a): &(usize, f64)| current_a * self.laid(pick, *run).ohm;
        strand.least_v + strand.runs.iter().map(drop_v).sum::<f64>()
            - strand.given_v.unwrap_or(floor_v)
    }

    /// The pack's voltage at which the first device stops.
    fn floor_v(&self, pick: &Pick) -> f64 {
        let at_pack = self.strands.iter().filter(|strand| strand.given_v.is_none());
        at_pack.map(|strand| self.short_v(strand, pick, 0.0)).fold(0.0, f64::max)
    }

    /// The cheapest cables with which everything still runs at this voltage of the pack, as far as
    /// taking the best next one and leaving out what then proves needless finds them.
    fn reaching(&self, floor_v: f64, money: Money) -> Option<Pick> {
        let mut pick: Pick = vec![0; self.runs.len()];
        let most_short = |pick: &Pick| {
            let short =
                self.strands.iter().map(|strand| (strand, self.short_v(strand, pick, floor_v)));
            short.filter(|(_, short_v)| *short_v > 1e-9).max_by(|a, b| a.1.total_cmp(&b.1))
        };
        while let Some((strand, short_v)) = most_short(&pick) {
            let mut best: Option<(usize, usize, f64)> = None;
            for &(run, current_a) in &strand.runs {
                let now = self.laid(&pick, run);
                for (at, laid) in self.runs[run].options.iter().enumerate() {
                    let gain_v = (current_a * (now.ohm - laid.ohm)).min(short_v);
                    let per_money = gain_v / (money(laid) - money(now)).max(1e-6);
                    if gain_v > 0.0 && best.is_none_or(|(.., most)| per_money > most) {
                        best = Some((run, at, per_money));
                    }
                }
            }
            let (run, at, _) = best?;
            pick[run] = at;
        }
        for (run, Run { options, .. }) in self.runs.iter().enumerate() {
            let kept = pick[run];
            let mut cheaper: Vec<usize> = (0..options.len())
                .filter(|at| money(&options[*at]) < money(&options[kept]))
                .collect();
            cheaper.sort_by(|a, b| money(&options[*a]).total_cmp(&money(&options[*b])));
            let enough = cheaper.into_iter().find(|at| {
                pick[run] = *at;
                most_short(&pick).is_none()
            });
            pick[run] = enough.unwrap_or(kept);
        }
        Some(pick)
    }

    /// With thicker cables wherever that saves energy worth mentioning.
    fn saving(&self, pick: &Pick, money: Money) -> Pick {
        let mention_wh = WORTHWHILE * self.used_wh;
        let thicker = |(run, &at): (&Run<'_>, &usize)| {
            let wasted_wh = |laid: &Laid<'_>| run.wasted_wh_per_ohm * laid.ohm;
            let least_wh = run.options.iter().map(wasted_wh).fold(f64::INFINITY, f64::min);
            if wasted_wh(&run.options[at]) - least_wh < mention_wh {
                return at;
            }
            let fine = |at: &usize| wasted_wh(&run.options[*at]) - least_wh < mention_wh;
            let cost = |at: &usize| money(&run.options[*at]);
            (0..run.options.len())
                .filter(fine)
                .min_by(|a, b| cost(a).total_cmp(&cost(b)))
                .unwrap_or(at)
        };
        self.runs.iter().zip(pick).map(thicker).collect()
    }

    /// What may be better than the rig as it is, from the cheapest on.
    fn worth_trying(&self) -> Vec<Pick> {
        let own: Pick = vec![0; self.runs.len()];
        let (from_v, to_v) =
            (self.floor_v(&own), self.floor_v(&self.runs.iter().map(Run::thickest).collect()));
        let steps = (((from_v - to_v) / LEAST_STEP_V) as usize).clamp(1, STEPS);
        let moneys: [Money; 2] = [|laid| laid.price, |laid| laid.kg];
        let mut tried: Vec<Pick> = Vec::new();
        for step in 0..=steps {
            let floor_v = from_v - (from_v - to_v) * step as f64 / steps as f64;
            for money in moneys {
                let Some(pick) = self.reaching(floor_v + 1e-6, money) else { continue };
                tried.push(self.saving(&pick, money));
                tried.push(pick);
            }
        }
        let cost = |pick: &Pick| [self.sum(pick, |_, l| l.price), self.sum(pick, |_, l| l.kg)];
        tried.sort_by(|a, b| {
            let ([price, kg], [other_price, other_kg]) = (cost(a), cost(b));
            price.total_cmp(&other_price).then(kg.total_cmp(&other_kg))
        });
        let mention_wh = WORTHWHILE * self.used_wh;
        let mut kept = vec![own];
        for pick in tried {
            let needless = kept.iter().any(|other| {
                cost(other)[1] <= cost(&pick)[1]
                    && self.floor_v(other) < self.floor_v(&pick) + ALIKE_V
                    && self.wasted_wh(other) < self.wasted_wh(&pick) + mention_wh
            });
            if !needless {
                kept.push(pick);
            }
        }
        kept.split_off(1)
    }

    /// The rig with these cables, and what has to be bought for it.
    fn alternative(&self, pick: &Pick) -> Result<Alternative<Rig>, TripError> {
        let (mut branches, mut devices) =
            (self.rig.branches().to_vec(), self.rig.devices().to_vec());
        let mut pieces = Vec::new();
        for (run, at) in self.runs.iter().zip(pick) {
            let Some(offer) = run.options[*at].offer else { continue };
            let (wire, to) = match run.place {
                Place::Branch(b) => (&mut branches[b].wire, &self.rig.branches()[b].name),
                Place::Device(d) => (&mut devices[d].wire, &self.rig.devices()[d].name),
            };
            if let Some(cable) = &mut wire.cable {
                cable.section = offer.thing;
            }
            let amount =
                Amount::Run { to: to.clone(), section: offer.thing, length_m: run.length_m };
            pieces.push(Piece { name: offer.name.clone(), amount });
        }
        Ok(Alternative {
            pieces,
            kg: self.sum(pick, |_, laid| laid.kg),
            price: self.sum(pick, |_, laid| laid.price),
            thing: Rig::new(branches, devices)?,
        })
    }
}

impl<'a> Run<'a> {
    fn new(rig: &Rig, place: Place, cables: &'a [Offer<Section>]) -> Option<Self> {
        let cable = rig.wire(place)?.cable?;
        let own = Laid { offer: None, ohm: cable.ohm(), kg: 0.0, price: 0.0 };
        let bought = cables.iter().map(|offer| Laid {
            offer: Some(offer),
            ohm: Cable { section: offer.thing, ..cable }.ohm(),
            kg: cable.length_m * offer.mass_kg,
            price: cable.length_m * offer.price,
        });
        let options = std::iter::once(own).chain(bought.filter(|laid| laid.ohm < own.ohm));
        Some(Run {
            place,
            length_m: cable.length_m,
            options: options.collect(),
            wasted_wh_per_ohm: 0.0,
        })
    }

    fn thickest(&self) -> usize {
        let ohm = |at: &usize| self.options[*at].ohm;
        (0..self.options.len()).min_by(|a, b| ohm(a).total_cmp(&ohm(b))).unwrap_or(0)
    }
}

impl Strand {
    fn new(least_v: f64) -> Self {
        Strand { runs: Vec::new(), least_v, given_v: None }
    }
}

fn current_a(seen: &Solution, place: Place) -> f64 {
    match place {
        Place::Branch(branch) => seen.branches[branch].current_a,
        Place::Device(device) => seen.wires[device].current_a,
    }
}
