//! Choices and misses in words.

use plan::Plan;
use quantity::Kind;
use trip::{Amount, Cause, Choice, Ending, Lack, Miss, Piece};

use super::SizeAsked;
use crate::page::{Tone, Verdict};
use crate::table::NO_BREAK;
use crate::words::{chance, day_and_clock, fixed, percent, price, short};

/// What is bought: "2 × small pack, wide panel; 2.5 mm² to the camera (3.0 m of twin cable)".
pub(super) fn pieces(pieces: &[Piece]) -> String {
    let mut things = Vec::new();
    let mut cables = Vec::new();
    for Piece { name, amount } in pieces {
        match amount {
            Amount::Count(1) => things.push(name.clone()),
            Amount::Count(count) => things.push(format!("{count}{NO_BREAK}× {name}")),
            Amount::Run { to, section, length_m } => {
                let section = section.to_string().replace(' ', &NO_BREAK.to_string());
                let length = short(*length_m);
                cables.push(format!("{section} to the {to} ({length}{NO_BREAK}m of {name})"));
            }
        }
    }
    let groups = [things.join(", "), cables.join(", ")];
    let groups: Vec<String> = groups.into_iter().filter(|group| !group.is_empty()).collect();
    if groups.is_empty() { "nothing, the plan as it is".to_owned() } else { groups.join("; ") }
}

pub(super) fn kg(kg: f64) -> String {
    fixed(kg, 1)
}

pub(super) fn weakest(choice: &Choice) -> String {
    chance(choice.weakest().map_or(f64::NAN, |found| found.share))
}

/// How much greater the loads may be.
pub(super) fn spare(share: f64) -> String {
    match share {
        none if none <= 0.0 => format!("<{NO_BREAK}1{NO_BREAK}%"),
        all if all >= 1.0 => format!("100{NO_BREAK}% or more"),
        some => format!("{}{NO_BREAK}%", fixed(100.0 * some, 0)),
    }
}

/// Whether the wanted confidence lies within what the draws leave open.
pub(super) fn could_turn(choice: &Choice, wanted: f64) -> bool {
    choice.weakest().is_some_and(|chance| chance.low < wanted && wanted <= chance.high)
}

/// One of those that fail.
pub(super) struct Told {
    /// Against which choice it stands, and what it is.
    pub(super) what: String,
    /// How sure it is, what it lacks, what happens.
    pub(super) why: String,
}

pub(super) fn misses(sized: &SizeAsked<'_>) -> Vec<Told> {
    sized.sizing.misses.iter().map(|miss| told_miss(sized, miss)).collect()
}

fn told_miss(sized: &SizeAsked<'_>, miss: &Miss) -> Told {
    let SizeAsked { plan, sizing, .. } = sized;
    let (choice, wanted) = (&miss.choice, plan.dates.confidence);
    let against = match (miss.cheaper_than, sizing.choices.len()) {
        (Some(at), _) => format!("Cheaper than {}: ", at + 1),
        (None, 0) => String::new(),
        (None, count) => format!("Lighter than {count}: "),
    };
    let turns =
        if could_turn(choice, wanted) { ", so near that other draws may turn it" } else { "" };
    let share = choice.weakest().map_or(f64::NAN, |found| found.share);
    // what rounds to the wanted share is told more exactly
    let carried = if chance(share) == chance(wanted) { percent(share) } else { chance(share) };
    let mut told = format!("{carried} on the weakest night{turns}.");
    if let Some(ending) = &choice.ending {
        told.push(' ');
        told.push_str(&why(ending, plan));
    }
    Told { what: format!("{against}{}:", with_cost(sized, choice)), why: told }
}

/// "small pack (85 crowns, 2.4 kg)".
fn with_cost(sized: &SizeAsked<'_>, choice: &Choice) -> String {
    let (price, kg) = (price(choice.price), kg(choice.kg));
    let currency = &sized.catalogue.currency;
    format!("{} ({price}{NO_BREAK}{currency}, {kg}{NO_BREAK}kg)", pieces(&choice.pieces))
}

/// What is lacking, and what mostly happens in a night that is not carried.
fn why(ending: &Ending, plan: &Plan) -> String {
    let when = day_and_clock(ending.median_time, &plan.site.zone);
    let left = chance(ending.soc);
    let rig = &plan.gear.rig;
    let least_v = |device: &str| rig.devices()[rig.device(device)?].least_voltage_v;
    let happens = match (ending.cause, ending.device.as_deref()) {
        (Cause::Brownout, Some(device)) => match least_v(device) {
            Some(least_v) if !is_behind_converter(plan, device) => {
                format!("the {device} gets less than {}", Kind::Voltage.show(least_v))
            }
            _ => format!("the {device} gets too little voltage"),
        },
        (Cause::Collapse, Some(device)) => format!("the voltage at the {device} collapses"),
        _ => "the pack's protection opens".to_owned(),
    };
    let lack = ending.lack.map_or_else(String::new, |lack| lacking(lack, ending));
    let happens = format!("Mostly on {when} {happens}, with {left} of the charge left.");
    format!("{lack} {happens}").trim_start().to_owned()
}

fn is_behind_converter(plan: &Plan, device: &str) -> bool {
    let rig = &plan.gear.rig;
    rig.device(device).is_some_and(|device| rig.is_behind_converter(device))
}

fn lacking(lack: Lack, ending: &Ending) -> String {
    let dusk = chance(ending.soc_dusk);
    match lack {
        Lack::Copper => {
            "Too thin cables, not too little charge: with thick ones it carries.".to_owned()
        }
        Lack::Voltage => "Too low a voltage from this pack, in the first night and long before it is empty; thicker cables do not mend it.".to_owned(),
        Lack::Charge => "Too small a pack for the first night.".to_owned(),
        Lack::Refill => format!("Too little comes back by day: it begins that night with {dusk}."),
        Lack::Source => format!("Nothing comes back by day: it begins that night with {dusk}."),
    }
}

/// The answer.
pub(super) fn verdict(sized: &SizeAsked<'_>) -> Verdict {
    let SizeAsked { plan, sizing, .. } = sized;
    let wanted = chance(plan.dates.confidence);
    let offered = offered(sized);
    let stopped = if sizing.complete || sizing.choices.is_empty() {
        ""
    } else {
        " Stopped before all was gone through and looked at: there may be lighter ones, and not all is told of these."
    };
    let carries =
        |own: &&Choice| own.weakest().is_none_or(|chance| chance.share >= plan.dates.confidence);
    let (tone, sentence, detail) = match sizing.as_it_is.as_ref().filter(carries) {
        Some(own) => {
            let spare = own.spare_load.map_or_else(String::new, |share| {
                format!(", with {} of load to spare", spare(share))
            });
            let sentence = format!(
                "Nothing need be bought: the plan as it is carries every night with {wanted}, its weakest with {}{spare}.",
                weakest(own)
            );
            let is_own = |choice: &Choice| choice.pieces.is_empty();
            let offers_it = sizing.choices.iter().any(is_own);
            (Tone::Good, sentence, if offers_it { String::new() } else { offered.1 })
        }
        None => {
            let own = sizing.as_it_is.as_ref().map_or_else(String::new, |own| {
                format!("The plan as it is carries its weakest night with {}.", weakest(own))
            });
            (offered.0, offered.1, own)
        }
    };
    Verdict { tone, sentence, detail: format!("{detail}{stopped}").trim().to_owned() }
}

/// What the catalogue gives.
fn offered(sized: &SizeAsked<'_>) -> (Tone, String) {
    let SizeAsked { plan, catalogue, sizing, .. } = sized;
    let wanted = chance(plan.dates.confidence);
    let currency = &catalogue.currency;
    match (sizing.choices.as_slice(), sizing.misses.iter().max_by(surer)) {
        ([], None) => {
            let failed = sizing.rejected;
            let sentence = format!(
                "Stopped before a combination was found that carries every night with {wanted}; {failed} are known to fail."
            );
            (Tone::Unsure, sentence)
        }
        ([], Some(near)) => (
            Tone::Bad,
            format!(
                "Nothing in the catalogue carries every night with {wanted}; the nearest miss is {}, with {} on its weakest night.",
                with_cost(sized, &near.choice),
                weakest(&near.choice)
            ),
        ),
        ([only], _) => (
            Tone::Good,
            format!(
                "One combination carries every night with {wanted} and beats all others: {}.",
                with_cost(sized, only)
            ),
        ),
        ([cheapest, .., lightest], _) => (
            Tone::Good,
            format!(
                "{} combinations carry every night with {wanted} and none beats them, from {} {currency} ({} kg) to {} kg ({} {currency}).",
                sizing.choices.len(),
                price(cheapest.price),
                kg(cheapest.kg),
                kg(lightest.kg),
                price(lightest.price),
            ),
        ),
    }
}

fn surer(a: &&Miss, b: &&Miss) -> std::cmp::Ordering {
    let share = |miss: &Miss| miss.choice.weakest().map_or(1.0, |chance| chance.share);
    share(a).total_cmp(&share(b))
}
