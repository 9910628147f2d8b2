//! What there is to choose from: packs, supplies and cables of a catalogue, each alternative with
//! its weight and its price, and which of them go together.

use std::collections::HashSet;

use pack::{Housing, Pack};
use plan::{Battery, Catalogue, Charger, Offer, Panel, Plan, Rated, Supply};
use sky::{Aim, AimError, Facing};
use source::{Controller, Conversion};

use super::cables::Wirings;
use super::{Amount, Piece};
use crate::error::TripError;

/// Something of which exactly one is chosen.
pub(super) struct Alternative<T> {
    pub(super) pieces: Vec<Piece>,
    pub(super) kg: f64,
    pub(super) price: f64,
    pub(super) thing: T,
}

/// Panels with a controller, a charger, both or nothing.
#[derive(Default)]
pub(super) struct Sources {
    pub(super) supplies: Vec<Supply>,
    /// The most they may push into a pack (A).
    pub(super) most_a: f64,
    /// The voltages at which they hold it, the lowest and the highest.
    pub(super) absorb_v: Option<[f64; 2]>,
}

/// Equal packs side by side, or the plan's own.
pub(super) struct Packs {
    all: Pack,
    /// So many of so many kilograms each; none if they are the plan's own.
    bought: Option<(u32, f64)>,
}

/// All that is for sale, put together as it can be used.
pub(super) struct Market {
    pub(super) packs: Vec<Alternative<Packs>>,
    pub(super) sources: Vec<Alternative<Sources>>,
    pub(super) wirings: Wirings,
    pub(super) remarks: Vec<String>,
}

/// One of each.
#[derive(Debug, Clone, Copy)]
pub(super) struct Combination {
    pub(super) pack: usize,
    pub(super) sources: usize,
    pub(super) rig: usize,
    pub(super) kg: f64,
    pub(super) price: f64,
}

/// More combinations than this are not gone through.
pub(crate) const MOST_COMBINATIONS: usize = 200_000;

fn few_enough(found: usize) -> Result<(), TripError> {
    if found > MOST_COMBINATIONS {
        return Err(TripError::TooManyCombinations { found });
    }
    Ok(())
}

impl<T> Alternative<T> {
    /// What the plan has: it costs and weighs nothing more.
    pub(super) fn own(thing: T) -> Self {
        Alternative { pieces: Vec::new(), kg: 0.0, price: 0.0, thing }
    }

    fn bought<O>(offer: &Offer<O>, count: u32, thing: T) -> Self {
        let piece = Piece { name: offer.name.clone(), amount: Amount::Count(count) };
        let count = f64::from(count);
        let (kg, price) = (count * offer.mass_kg, count * offer.price);
        Alternative { pieces: vec![piece], kg, price, thing }
    }

    fn and<O, B>(&self, other: &Alternative<O>, thing: B) -> Alternative<B> {
        Alternative {
            pieces: self.pieces.iter().chain(&other.pieces).cloned().collect(),
            kg: self.kg + other.kg,
            price: self.price + other.price,
            thing,
        }
    }
}

impl Market {
    pub(super) fn new(plan: &Plan, catalogue: &Catalogue) -> Result<Self, TripError> {
        let mut remarks = Vec::new();
        let sources = sources(plan, catalogue, &mut remarks)?;
        let (packs, wirings) = (packs(plan, catalogue)?, Wirings::new(plan, catalogue)?);
        let fits = |pack: &Alternative<Packs>| {
            let goes = |with: &&Alternative<Sources>| go_together(&pack.thing.all, &with.thing);
            sources.iter().filter(goes).count()
        };
        few_enough(packs.iter().map(fits).sum::<usize>() * wirings.rigs.len())?;
        Ok(Market { packs, sources, wirings, remarks })
    }

    /// All that go together, from the cheapest on, among equally cheap ones from the lightest on.
    pub(super) fn combinations(&self) -> Vec<Combination> {
        let mut all = Vec::new();
        for (pack, chosen) in self.packs.iter().enumerate() {
            for (sources, given) in self.sources.iter().enumerate() {
                if !go_together(&chosen.thing.all, &given.thing) {
                    continue;
                }
                for (rig, wired) in self.wirings.rigs.iter().enumerate() {
                    let kg = chosen.kg + given.kg + wired.kg;
                    let price = chosen.price + given.price + wired.price;
                    all.push(Combination { pack, sources, rig, kg, price });
                }
            }
        }
        all.sort_by(|a, b| a.price.total_cmp(&b.price).then(a.kg.total_cmp(&b.kg)));
        all
    }

    /// Names what is in none of the combinations, since nothing goes with it.
    pub(super) fn left_over(&self, all: &[Combination], catalogue: &Catalogue) -> Vec<String> {
        let used =
            |of: fn(&Combination) -> usize| -> HashSet<usize> { all.iter().map(of).collect() };
        let (packs, sources) = (used(|chosen| chosen.pack), used(|chosen| chosen.sources));
        let packs = packs.iter().flat_map(|at| &self.packs[*at].pieces);
        let sources = sources.iter().flat_map(|at| &self.sources[*at].pieces);
        let taken: HashSet<&str> = packs.chain(sources).map(|piece| piece.name.as_str()).collect();
        let packs = catalogue.packs.iter().map(|offer| &offer.name);
        let panels = catalogue.panels.iter().map(|offer| &offer.name);
        let controllers = catalogue.controllers.iter().map(|offer| &offer.name);
        let chargers = catalogue.chargers.iter().map(|offer| &offer.name);
        // of chargers without hours it is said already why they are left out
        let chargers = chargers.filter(|_| self.remarks.is_empty());
        let offered = packs.chain(panels).chain(controllers).chain(chargers);
        offered.filter(|name| !taken.contains(name.as_str())).cloned().collect()
    }

    /// What a combination consists of.
    pub(super) fn pieces(&self, chosen: &Combination) -> Vec<Piece> {
        let of = [
            &self.packs[chosen.pack].pieces,
            &self.sources[chosen.sources].pieces,
            &self.wirings.rigs[chosen.rig].pieces,
        ];
        of.into_iter().flatten().cloned().collect()
    }

    /// The plan with a combination in place of its own.
    pub(super) fn plan(&self, plan: &Plan, chosen: &Combination) -> Plan {
        let mut changed = plan.clone();
        self.packs[chosen.pack].thing.replace(&mut changed.battery);
        changed.supplies.clone_from(&self.sources[chosen.sources].thing.supplies);
        changed.gear.rig = self.wirings.rigs[chosen.rig].thing.clone();
        changed
    }
}

impl Packs {
    /// Puts them where the plan's pack is, each in a place like it.
    fn replace(&self, battery: &mut Battery) {
        battery.pack = self.all.clone();
        (battery.one, battery.strings) = (self.all.clone(), 1);
        let Some((count, mass_kg)) = self.bought else { return };
        battery.inrush_a = 0.0;
        battery.housing = battery.housing.map(|housing| Housing {
            heater: housing.heater,
            ..Housing::insulated(mass_kg, battery.foam_m).times(f64::from(count))
        });
    }
}

/// A voltage this far below that of the full pack at rest still fills it (common practice, no
/// source).
const REST_ROOM_V: f64 = 0.1;
/// Sources that hold a pack at voltages farther apart than this are not put together: the lower one
/// would rest while the other fills it (common practice, no source).
const APART_V: f64 = 0.3;

/// Whether a pack bears what sources push into it, their voltage and their current, and is filled by
/// it.
fn go_together(pack: &Pack, sources: &Sources) -> bool {
    let limits = &pack.limits;
    let most_v = limits.bears_v();
    let voltage = sources.absorb_v.is_none_or(|[least_v, highest_v]| {
        // a current flows into a full pack only above the voltage at which that rests
        let fills = least_v > pack.circuit.ocv.at(1.0) - REST_ROOM_V;
        fills && most_v.is_none_or(|most_v| highest_v <= most_v)
    });
    voltage && limits.charge_a.is_none_or(|most_a| sources.most_a <= most_a)
}

fn packs(plan: &Plan, catalogue: &Catalogue) -> Result<Vec<Alternative<Packs>>, TripError> {
    if catalogue.packs.is_empty() {
        let own = Packs { all: plan.battery.pack.clone(), bought: None };
        return Ok(vec![Alternative::own(own)]);
    }
    let mut packs = Vec::new();
    for offer in &catalogue.packs {
        for count in 1..=offer.most {
            let all = offer.thing.bank(1, count)?;
            let bought = Some((count, offer.mass_kg));
            packs.push(Alternative::bought(offer, count, Packs { all, bought }));
        }
    }
    Ok(packs)
}

/// Panels, or none, with each charger, or none.
fn sources(
    plan: &Plan,
    catalogue: &Catalogue,
    remarks: &mut Vec<String>,
) -> Result<Vec<Alternative<Sources>>, TripError> {
    let own = |is_meant: fn(&Supply) -> bool| {
        let supplies: Vec<Supply> =
            plan.supplies.iter().filter(|supply| is_meant(supply)).cloned().collect();
        vec![Alternative::own(Sources { supplies, ..Sources::default() })]
    };
    let panels = if catalogue.panels.is_empty() {
        own(|supply| matches!(supply, Supply::Panel(_)))
    } else {
        panels(plan, catalogue)?
    };
    let hours = plan.supplies.iter().find_map(|supply| match supply {
        Supply::Charger(charger) => Some(charger),
        Supply::Panel(_) => None,
    });
    let chargers = match hours {
        Some(hours) if !catalogue.chargers.is_empty() => chargers(hours, catalogue),
        _ => {
            if hours.is_none() && !catalogue.chargers.is_empty() {
                remarks.push("Chargers are left out: the plan has none, so nothing says when mains or an engine are at hand.".to_owned());
            }
            own(|supply| matches!(supply, Supply::Charger(_)))
        }
    };
    few_enough(panels.len() * chargers.len())?;
    let mut both = Vec::new();
    for panel in &panels {
        for charger in &chargers {
            let (a, b) = (&panel.thing, &charger.thing);
            let volts = [a.absorb_v, b.absorb_v].into_iter().flatten();
            let absorb_v = volts.reduce(|a, b| [a[0].min(b[0]), a[1].max(b[1])]);
            if absorb_v.is_some_and(|[least_v, highest_v]| highest_v - least_v > APART_V) {
                continue;
            }
            let joined = Sources {
                supplies: a.supplies.iter().chain(&b.supplies).cloned().collect(),
                most_a: a.most_a + b.most_a,
                absorb_v,
            };
            both.push(panel.and(charger, joined));
        }
    }
    Ok(both)
}

fn chargers(hours: &Charger, catalogue: &Catalogue) -> Vec<Alternative<Sources>> {
    let mut chargers = vec![Alternative::own(Sources::default())];
    for offer in &catalogue.chargers {
        let charger = Charger {
            name: offer.name.clone(),
            current_a: offer.thing.current_a,
            profile: offer.thing.profile,
            when: hours.when.clone(),
            charges_above_c: hours.charges_above_c,
        };
        let sources = Sources {
            most_a: charger.current_a,
            absorb_v: Some([charger.profile.absorb_v; 2]),
            supplies: vec![Supply::Charger(charger)],
        };
        chargers.push(Alternative::bought(offer, 1, sources));
    }
    chargers
}

fn panels(plan: &Plan, catalogue: &Catalogue) -> Result<Vec<Alternative<Sources>>, TripError> {
    let stands = plan.supplies.iter().find_map(|supply| match supply {
        Supply::Panel(Panel { aim, aim_spread, charges_above_c, .. }) => Some(Stands {
            aim: aim.clone(),
            aim_spread: *aim_spread,
            charges_above_c: *charges_above_c,
        }),
        Supply::Charger(_) => None,
    });
    let stands = stands.unwrap_or(Stands {
        aim: Aim::Fixed(Facing::FLAT),
        aim_spread: plan::AIM_BY_HAND,
        charges_above_c: None,
    });
    let mut panels = vec![Alternative::own(Sources::default())];
    for offer in &catalogue.panels {
        for count in 1..=offer.most {
            let alone = Alternative::bought(offer, count, ());
            for with in &catalogue.controllers {
                if !bears(&with.thing, &offer.thing, count) {
                    continue;
                }
                let Some(sources) = array(offer, count, &with.thing.controller, &stands) else {
                    continue;
                };
                panels.push(alone.and(&Alternative::bought(with, 1, ()), sources));
                few_enough(panels.len())?;
            }
        }
    }
    Ok(panels)
}

/// How a panel is set up that is bought: like the first of the plan.
struct Stands {
    aim: Aim,
    aim_spread: AimError,
    charges_above_c: Option<f64>,
}

/// In a frost this sharp a panel's voltage is compared with what a controller bears (°C).
const COLDEST_C: f64 = -20.0;
const FULL_SUN_W_M2: f64 = 1000.0;
const WARM_C: f64 = 25.0;

/// Whether a controller bears so many panels in parallel, and can pass on what they give.
fn bears(rated: &Rated, panel: &source::Panel, count: u32) -> bool {
    let count = f64::from(count);
    let controller = &rated.controller;
    let power_w = count * panel.power_w(FULL_SUN_W_M2, WARM_C);
    let most_a = controller.current_limit_a();
    let current = match controller.conversion() {
        // where its maker says nothing: no more than it can pass on
        Conversion::Mppt { .. } => {
            power_w <= rated.most_panel_w.unwrap_or(most_a * controller.profile().absorb_v)
        }
        Conversion::Pwm => {
            count * panel.current_a(FULL_SUN_W_M2, WARM_C, 0.0) <= most_a
                && rated.most_panel_w.is_none_or(|most_w| power_w <= most_w)
        }
    };
    let gives = |voltage_v: f64| panel.current_a(FULL_SUN_W_M2, COLDEST_C, voltage_v) > 0.0;
    current && rated.most_panel_v.is_none_or(|most_v| !gives(most_v))
}

/// Equal panels in parallel at one controller: each gets its share of it.
fn array(
    offer: &Offer<source::Panel>,
    count: u32,
    controller: &Controller,
    stands: &Stands,
) -> Option<Sources> {
    let share = f64::from(count);
    let part = Controller::new(
        controller.conversion(),
        controller.current_limit_a() / share,
        controller.own_draw_w() / share,
        *controller.profile(),
    )
    .ok()?;
    let panel = Panel {
        name: offer.name.clone(),
        panel: offer.thing,
        aim: stands.aim.clone(),
        aim_spread: stands.aim_spread,
        controller: part,
        charges_above_c: stands.charges_above_c,
        mass_kg: None,
        price: None,
    };
    let absorb_v = controller.profile().absorb_v;
    let full_a = match controller.conversion() {
        Conversion::Mppt { efficiency } => {
            share * efficiency * offer.thing.power_w(FULL_SUN_W_M2, WARM_C) / absorb_v
        }
        Conversion::Pwm => share * offer.thing.current_a(FULL_SUN_W_M2, WARM_C, 0.0),
    };
    Some(Sources {
        supplies: vec![Supply::Panel(panel); count as usize],
        most_a: full_a.min(controller.current_limit_a()),
        absorb_v: Some([absorb_v; 2]),
    })
}
