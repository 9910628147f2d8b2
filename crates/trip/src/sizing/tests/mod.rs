use std::path::Path;

mod cables;
mod look;

use super::*;
use crate::forecast::trial;
use rig::{Place, Rig};

impl Choice {
    fn share(&self) -> f64 {
        self.weakest().map_or(1.0, |chance| chance.share)
    }
}

const SETTINGS: Settings = Settings { draws: 128, seed: 5, within: None };

/// Two nights with a day between, and a charger's hours.
fn plan(confidence: &str) -> Plan {
    let text = format!(
        r#"
format = 1
[site]
latitude = "56.9 N"
longitude = "4.2 W"
zone = "UTC"
[trip]
first_evening = "2026-09-09"
nights = 2
confidence = "{confidence}"
[weather]
sun = "60 % ± 40 %"
[pack]
chemistry = "LFP"
rated = "33 Ah"
[rig.devices.mount]
power = "8 W ± 2 W"
least_voltage = "11 V"
when = "night"
[rig.devices.heater]
power = "12 W ± 4 W"
least_voltage = "11.8 V"
when = "night"
cable = {{ length = "4 m", section = "20 AWG" }}
[sources.panel]
panel = "50 W"
tilt = "30°"
azimuth = "180°"
controller = {{ kind = "MPPT", most_current = "10 A", absorb = "14.4 V" }}
[sources.engine]
charger = "5 A"
absorb = "14.4 V"
when = "10:00 to 11:00"
"#
    );
    Plan::parse("plan.toml", Path::new(""), &text).unwrap_or_else(|error| panic!("{error}"))
}

const PACKS: &str = r#"
[packs.small]
chemistry = "LFP"
rated = "14 Ah"
mass = "2 kg"
price = 50
most = 3
[packs.heavy]
chemistry = "AGM"
rated = "40 Ah"
mass = "13 kg"
price = 80
[packs.strong]
chemistry = "LFP"
rated = "40 Ah"
mass = "4.2 kg"
price = 190
most = 1
[cables.thick]
section = "4 mm²"
mass = "0.12 kg"
price = 2.5
"#;

const REST: &str = r#"
[panels.light]
panel = "40 W"
mass = "1 kg"
price = 70
most = 1
[panels.plain]
panel = "80 W"
mass = "5 kg"
price = 60
most = 1
[controllers.switching]
kind = "PWM"
most_current = "10 A"
absorb = "14.4 V"
own_draw = "0.1 W"
mass = "0.2 kg"
price = 15
[controllers.tracking]
kind = "MPPT"
most_current = "10 A"
absorb = "14.4 V"
mass = "0.3 kg"
price = 60
"#;

fn catalogue(items: &str) -> Catalogue {
    let text = format!("format = 1\ncurrency = \"crowns\"\n{items}");
    Catalogue::parse("shop.toml", Path::new(""), &text).unwrap_or_else(|error| panic!("{error}"))
}

/// Weight, price and chance of each combination when all draws are made for each, through the very
/// forecast a person would ask for.
fn by_force(plan: &Plan, catalogue: &Catalogue) -> Vec<(f64, f64, f64)> {
    let market = Market::new(plan, catalogue).unwrap();
    let looked_at = |chosen: &Combination| {
        let nights = trial(&market.plan(plan, chosen), SETTINGS).unwrap().nights;
        let weakest = nights.iter().map(|chance| chance.share).fold(1.0, f64::min);
        (chosen.kg, chosen.price, weakest)
    };
    market.combinations().par_iter().map(looked_at).collect()
}

#[track_caller]
fn check_as_by_force(confidences: &[f64], items: &str) -> Vec<Sizing> {
    let (mut plan, catalogue) = (plan("90 %"), catalogue(items));
    let all = by_force(&plan, &catalogue);
    let check = |confidence: &f64| {
        plan.dates.confidence = *confidence;
        let found = size(&plan, &catalogue, SETTINGS, |_| true).unwrap();
        let carry = || all.iter().filter(|(.., share)| share >= confidence);
        let beaten = |&&(kg, price, _): &&(f64, f64, f64)| {
            carry()
                .any(|other| other.0 <= kg && other.1 <= price && (other.0, other.1) != (kg, price))
        };
        let mut front: Vec<_> = carry()
            .filter(|one| !beaten(one))
            .map(|&(kg, price, share)| (kg, price, share))
            .collect();
        front.dedup_by_key(|(kg, price, _)| (*kg, *price));
        let choices: Vec<_> = found.choices.iter().map(|c| (c.kg, c.price, c.share())).collect();
        assert_eq!(choices, front, "{confidence}");
        assert!(found.misses.iter().all(|miss| miss.choice.share() < *confidence));
        assert_eq!(found.choices.len() + found.rejected + found.beaten, found.combinations);
        assert!(found.complete);
        found
    };
    confidences.iter().map(check).collect()
}

#[test]
fn racing_finds_what_brute_force_finds() {
    let found = check_as_by_force(&[0.6, 0.9, 0.97], &format!("{PACKS}{REST}"));
    for found in &found {
        assert!(found.evaluated < found.combinations, "nothing was saved");
    }
    let choices: Vec<usize> = found.iter().map(|found| found.choices.len()).collect();
    assert!(choices.iter().all(|count| *count >= 2), "too easy: {choices:?}");
}

#[test]
fn what_is_not_for_sale_stays_as_the_plan_has_it() {
    let (plan, catalogue) = (plan("90 %"), catalogue(PACKS));
    let market = Market::new(&plan, &catalogue).unwrap();
    assert_eq!((market.packs.len(), market.sources.len(), market.wirings.rigs.len()), (6, 1, 2));
    assert_eq!(market.sources[0].thing.supplies.len(), 2);
    check_as_by_force(&[0.9], PACKS);
}

#[test]
fn chargers_work_in_the_hours_of_the_plan_s() {
    let items = format!(
        "{PACKS}[chargers.brick]\ncharger = \"10 A\"\nabsorb = \"14.4 V\"\nmass = \"1 kg\"\nprice = 30\n"
    );
    let found = check_as_by_force(&[0.9], &items).remove(0);
    let of_brick = |c: &&Choice| c.pieces.iter().any(|piece| piece.name == "brick");
    assert!(found.choices.iter().any(|c| of_brick(&c)), "{:?}", found.choices);
    let mut without = plan("90 %");
    without.supplies.pop();
    let market = Market::new(&without, &catalogue(&items)).unwrap();
    assert!(market.remarks[0].contains("Chargers are left out"), "{:?}", market.remarks);
}

#[test]
fn what_does_not_go_together_is_not_offered() {
    let market = |items: &str| Market::new(&plan("90 %"), &catalogue(items)).unwrap();
    let panel = "[panels.p]\npanel = \"200 W\"\nmax_power_voltage = \"34 V\"\nmass = \"9 kg\"\nprice = 9\nmost = 1\n";
    let controller = |more: &str| {
        format!("{panel}[controllers.c]\nabsorb = \"14.4 V\"\nmass = \"1 kg\"\nprice = 1\n{more}")
    };
    // one alternative is to have no panel
    for (more, alternatives) in [
        ("kind = \"MPPT\"\nmost_current = \"20 A\"", 2),
        ("kind = \"MPPT\"\nmost_current = \"10 A\"", 1),
        ("kind = \"MPPT\"\nmost_current = \"10 A\"\nmost_panel = \"220 W\"", 2),
        ("kind = \"MPPT\"\nmost_current = \"20 A\"\nmost_voltage = \"55 V\"", 2),
        // 34 V at most power is above 41 V open, and more in frost
        ("kind = \"MPPT\"\nmost_current = \"20 A\"\nmost_voltage = \"42 V\"", 1),
        ("kind = \"PWM\"\nmost_current = \"6 A\"", 2),
        ("kind = \"PWM\"\nmost_current = \"5 A\"", 1),
    ] {
        assert_eq!(market(&controller(more)).sources.len(), alternatives, "{more}");
    }
    // 14.4 V is too much for three lithium cells of 4.2 V
    let nmc =
        "[packs.n]\nchemistry = \"NMC\"\nrated = \"20 Ah\"\nmass = \"1 kg\"\nprice = 1\nmost = 1\n";
    let items = format!("{nmc}{}", controller("kind = \"MPPT\"\nmost_current = \"20 A\""));
    let mut mains = plan("90 %");
    mains.supplies.clear();
    let market = Market::new(&mains, &catalogue(&items)).unwrap();
    assert_eq!((market.sources.len(), market.combinations().len()), (2, 1));
    // nor do 12.6 V fill four of LFP, alone or beside a charger that would
    let low = controller("kind = \"MPPT\"\nmost_current = \"20 A\"").replace("14.4 V", "12.6 V");
    let brick =
        "[chargers.brick]\ncharger = \"4 A\"\nabsorb = \"14.4 V\"\nmass = \"1 kg\"\nprice = 1\n";
    let items = format!("{}{low}\n{brick}", nmc.replace("NMC", "LFP"));
    let (plan, catalogue) = (plan("90 %"), catalogue(&items));
    let market = Market::new(&plan, &catalogue).unwrap();
    let told: Vec<String> = market
        .combinations()
        .iter()
        .map(|chosen| market.pieces(chosen).iter().map(|piece| piece.name.as_str()).collect())
        .collect();
    assert_eq!(told, ["n", "nbrick"]);
}

#[test]
fn where_nothing_carries_the_nearest_miss_is_told() {
    let items =
        "[packs.tiny]\nchemistry = \"LFP\"\nrated = \"6 Ah\"\nmass = \"1 kg\"\nprice = 20\n";
    let mut hopeless = plan("90 %");
    hopeless.supplies.clear();
    let found = size(&hopeless, &catalogue(items), SETTINGS, |_| true).unwrap();
    assert!(found.choices.is_empty() && found.rejected == found.combinations);
    let near = &found.misses[0];
    assert!(near.choice.ending.is_some() && near.choice.share() < 0.9, "{near:?}");
}

#[test]
fn asking_can_be_stopped_and_gives_the_same_every_time() {
    let (plan, catalogue) = (plan("90 %"), catalogue(&format!("{PACKS}{REST}")));
    let ask = |rounds: usize| {
        let mut asked = 0;
        size(&plan, &catalogue, SETTINGS, |_| {
            asked += 1;
            asked <= rounds
        })
        .unwrap()
    };
    let stopped = ask(1);
    assert!(!stopped.complete && stopped.evaluated <= SIDE_BY_SIDE);
    let told = |found: &Sizing| format!("{found:?}");
    assert_eq!(told(&ask(usize::MAX)), told(&ask(usize::MAX)));
}

#[test]
fn what_goes_with_nothing_is_named() {
    let weak = "[controllers.weak]\nkind = \"PWM\"\nmost_current = \"1 A\"\nabsorb = \"14.4 V\"\nmass = \"1 kg\"\nprice = 1\n";
    let panel = "[panels.wide]\npanel = \"200 W\"\nmass = \"9 kg\"\nprice = 9\n";
    let found =
        size(&plan("90 %"), &catalogue(&format!("{PACKS}{panel}{weak}")), SETTINGS, |_| true);
    let remarks = found.unwrap().remarks;
    assert!(remarks[0].starts_with("In no combination"), "{remarks:?}");
    assert!(remarks[0].ends_with(": wide, weak."), "{remarks:?}");
}

#[test]
fn too_many_combinations_are_refused() {
    let packs: String = (1..=101)
        .map(|at| format!("[packs.p{at}]\nchemistry = \"LFP\"\nrated = \"1{at:03} Ah\"\nmass = \"1 kg\"\nprice = 1\nmost = 20\n"))
        .collect();
    let panels: String = (1..=5)
        .map(|at| {
            format!("[panels.s{at}]\npanel = \"{at} W\"\nmass = \"1 kg\"\nprice = 1\nmost = 20\n")
        })
        .collect();
    let controller = "[controllers.c]\nkind = \"MPPT\"\nmost_current = \"200 A\"\nabsorb = \"14.4 V\"\nmass = \"1 kg\"\nprice = 1\n";
    let catalogue = catalogue(&format!("{packs}{panels}{controller}"));
    let error = size(&plan("90 %"), &catalogue, SETTINGS, |_| true).unwrap_err();
    // 101 · 20 packs, one more than 5 · 20 arrays
    assert!(matches!(error, TripError::TooManyCombinations { found: 204_020 }), "{error}");
    assert!(error.to_string().contains("leave some items out or lower their `most`"), "{error}");
}

/// Whatever a catalogue may say comes to an answer.
#[test]
fn odd_things_for_sale_are_sized_too() {
    let pack = |rated: &str, price: &str, mass: &str| {
        format!(
            "[packs.\"{rated}\"]\nchemistry = \"LFP\"\nrated = \"{rated}\"\nmass = \"{mass}\"\nprice = {price}\nmost = 2\n"
        )
    };
    let (small, settings) = (plan("90 %"), Settings { draws: 33, ..SETTINGS });
    for items in [
        // all alike: one of them is enough
        [pack("50 Ah", "7", "3 kg"), pack("50.0 Ah", "7", "3 kg")].concat(),
        // for nothing
        [pack("10 Ah", "0", "3 kg"), pack("60 Ah", "0", "3 kg")].concat(),
        // beyond all measure
        [pack("0.1 Ah", "1e9", "1 g"), pack("9000 Ah", "0.001", "900 kg")].concat(),
    ] {
        let found = size(&small, &catalogue(&items), settings, |_| true)
            .unwrap_or_else(|error| panic!("{items}: {error}"));
        assert_eq!(found.choices.len(), 1, "{items}");
        assert!(found.choices[0].share() >= 0.9 && found.choices[0].soc_dawn.unwrap() > 0.0);
    }
    // a single draw, and a confidence that nothing reaches for sure
    for (draws, confidence) in [(1, 0.9), (7, 1.0), (64, 1.0)] {
        let mut plan = plan("90 %");
        plan.dates.confidence = confidence;
        let settings = Settings { draws, ..SETTINGS };
        let found = size(&plan, &catalogue(PACKS), settings, |_| true).unwrap();
        assert_eq!(found.choices.len() + found.rejected + found.beaten, found.combinations);
    }
}
