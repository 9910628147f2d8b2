//! Which cables are tried, and that they are the right ones.

use super::*;
use crate::sizing::cables::Wirings;
use crate::sizing::market::Alternative;

const SECTIONS: &str = r#"
[cables.thin]
section = "1.5 mm²"
mass = "0.05 kg"
price = 1
[cables.middle]
section = "2.5 mm²"
mass = "0.08 kg"
price = 2
[cables.thick]
section = "6 mm²"
mass = "0.17 kg"
price = 4
"#;

fn wirings(rig: &str, cables: &str) -> Wirings {
    let plan = format!(
        r#"
format = 1
[site]
latitude = "56.9 N"
longitude = "4.2 W"
zone = "UTC"
[trip]
first_evening = "2026-10-09"
[pack]
chemistry = "LFP"
rated = "200 Ah"
{rig}"#
    );
    let plan = Plan::parse("plan.toml", Path::new(""), &plan).unwrap();
    let catalogue = format!("format = 1\ncurrency = \"crowns\"\n{cables}");
    let catalogue = Catalogue::parse("shop.toml", Path::new(""), &catalogue).unwrap();
    Wirings::new(&plan, &catalogue).unwrap()
}

fn device(name: &str, power: &str, least: &str, cable: &str) -> String {
    format!(
        "[rig.devices.{name}]\npower = \"{power}\"\nleast_voltage = \"{least}\"\nwhen = \"night\"\ncable = {{ {cable} }}\n"
    )
}

/// Which runs are laid anew in each rig, with which section.
fn laid(wirings: &Wirings) -> Vec<String> {
    let piece = |piece: &Piece| match &piece.amount {
        Amount::Run { to, section, length_m } => format!("{to} {section} {length_m} m"),
        Amount::Count(_) => panic!("a cable by the piece"),
    };
    let told = |rig: &Alternative<Rig>| rig.pieces.iter().map(piece).collect::<Vec<_>>().join(", ");
    wirings.rigs.iter().map(told).collect()
}

#[test]
fn only_what_lacks_voltage_is_laid_anew() {
    let rig = device("mount", "12 W", "11.8 V", "length = \"5 m\", section = \"0.5 mm²\"")
        + &device("clock", "0.5 W", "10 V", "length = \"5 m\", section = \"0.5 mm²\"");
    let wirings = wirings(&rig, SECTIONS);
    assert_eq!(laid(&wirings), ["", "mount 1.5 mm² 5 m", "mount 2.5 mm² 5 m", "mount 6 mm² 5 m"]);
    let costs: Vec<(f64, f64)> =
        wirings.rigs.iter().map(|rig| (rig.price, (100.0 * rig.kg).round() / 100.0)).collect();
    assert_eq!(costs, [(0.0, 0.0), (5.0, 0.25), (10.0, 0.4), (20.0, 0.85)]);
    // and that is what the simulation is given
    let section = |rig: &Rig, device: usize| rig.devices()[device].wire.cable.unwrap().section;
    assert_eq!(section(&wirings.rigs[2].thing, 0), Section::Mm2(2.5));
    assert_eq!(section(&wirings.rigs[2].thing, 1), Section::Mm2(0.5));
    assert_eq!(section(&wirings.stoutest, 0), Section::Mm2(6.0));
}

/// Neither of two alike gains anything alone.
#[test]
fn two_that_fail_together_are_mended_together() {
    let rig = device("left", "12 W", "11.8 V", "length = \"4 m\", section = \"1 mm²\"")
        + &device("right", "12 W", "11.8 V", "length = \"4 m\", section = \"1 mm²\"");
    let laid = laid(&wirings(&rig, SECTIONS));
    assert!(laid.contains(&"left 6 mm² 4 m, right 6 mm² 4 m".to_owned()), "{laid:?}");
    assert!(!laid.contains(&"left 6 mm² 4 m".to_owned()), "{laid:?}");
}

#[test]
fn what_wastes_much_is_laid_anew_though_its_device_takes_any_voltage() {
    let rig = device("mount", "2 W", "11.8 V", "length = \"1 m\", section = \"6 mm²\"")
        + &device("fridge", "50 W", "8 V", "length = \"5 m\", section = \"1 mm²\"");
    let laid = laid(&wirings(&rig, SECTIONS));
    assert!(laid.contains(&"fridge 6 mm² 5 m".to_owned()), "{laid:?}");
}

#[test]
fn a_shared_run_is_laid_where_that_is_cheaper() {
    let rig = "[rig.branches.hub]\ncable = { length = \"2 m\", section = \"1 mm²\" }\n".to_owned()
        + &["one", "two", "three"]
            .map(|name| {
                device(name, "12 W", "11.8 V", "length = \"2 m\", section = \"2.5 mm²\"")
                    + "feed = \"hub\"\n"
            })
            .concat();
    let laid = laid(&wirings(&rig, SECTIONS));
    assert_eq!(laid[1], "hub 1.5 mm² 2 m");
    assert!(laid[2..].iter().all(|rig| rig.contains("hub")), "{laid:?}");
}

/// Behind a converter no cable changes what the pack is asked for, but one may feed it.
#[test]
fn a_converter_is_fed_but_what_it_feeds_is_left_alone() {
    let rig = r#"
[rig.branches.booster]
converter = { output = "19 V", idle = "0.5 W", efficiency = "90 %", rated = "60 W", least_input = "11 V" }
cable = { length = "4 m", section = "1.5 mm²" }
"#
    .to_owned()
        + &device("laptop", "40 W", "18 V", "length = \"1.5 m\", section = \"1.5 mm²\"")
        + "feed = \"booster\"\n";
    let laid = laid(&wirings(&rig, SECTIONS));
    assert!(laid.len() > 1 && laid[1..].iter().all(|rig| rig.contains("booster")), "{laid:?}");
    assert!(laid.contains(&"booster 6 mm² 4 m".to_owned()), "{laid:?}");
}

#[test]
fn there_is_nothing_to_choose_where_the_rig_is_stout_enough() {
    let rig = device("mount", "12 W", "11.8 V", "length = \"2 m\", section = \"10 mm²\"");
    assert_eq!(laid(&wirings(&rig, SECTIONS)), [""]);
}

/// Even a great rig with many cables for sale makes few rigs to go through.
#[test]
fn many_runs_and_many_cables_make_few_rigs() {
    let device = |at: usize| {
        let (power, least) = (3 + at % 17, 110 + at % 9);
        device(
            &format!("d{at}"),
            &format!("{power} W"),
            &format!("{}.{} V", least / 10, least % 10),
            &format!("length = \"{} m\", section = \"0.75 mm²\"", 1 + at % 5),
        )
    };
    let rig: String = (0..30).map(device).collect();
    let cables: String = (1..=20)
        .map(|at| {
            format!("[cables.c{at}]\nsection = \"{at} mm²\"\nmass = \"{at}0 g\"\nprice = {at}\n")
        })
        .collect();
    let wirings = wirings(&rig, &cables);
    assert!((4..=28).contains(&wirings.rigs.len()), "{}", wirings.rigs.len());
    assert!(wirings.rigs.windows(2).all(|pair| pair[0].price <= pair[1].price));
}

/// A night on a lead-acid battery, whose voltage sinks all along, behind thin wires.
fn thinly_wired(rated: &str) -> Plan {
    let text = format!(
        r#"
format = 1
[site]
latitude = "56.9 N"
longitude = "4.2 W"
zone = "UTC"
[trip]
first_evening = "2026-09-09"
nights = 1
confidence = "90 %"
[pack]
chemistry = "AGM"
rated = "{rated}"
[rig.branches.hub]
cable = {{ length = "2 m", section = "1.5 mm²" }}
[rig.devices.mount]
feed = "hub"
power = "10 W ± 2 W"
least_voltage = "11.4 V"
when = "night"
cable = {{ length = "3 m", section = "0.75 mm²" }}
[rig.devices.heater]
feed = "hub"
power = "20 W ± 4 W"
least_voltage = "10.8 V"
when = "night"
cable = {{ length = "4 m", section = "0.75 mm²" }}
"#
    );
    Plan::parse("plan.toml", Path::new(""), &text).unwrap_or_else(|error| panic!("{error}"))
}

const CABLES: [(f64, f64); 3] = [(1.5, 1.1), (2.5, 1.7), (6.0, 3.9)];

pub(super) fn cables() -> Catalogue {
    let items = CABLES.map(|(mm2, price)| {
        format!(
            "[cables.\"{mm2}\"]\nsection = \"{mm2} mm²\"\nmass = \"{} g\"\nprice = {price}\n",
            30.0 * mm2
        )
    });
    catalogue(&items.concat())
}

/// Of all that could be laid in three runs the few that are tried are nearly as cheap.
#[test]
fn few_wirings_do_about_as_well_as_all() {
    let plan = thinly_wired("38 Ah");
    let share = |changed: &Plan| trial(changed, SETTINGS).unwrap().nights[0].share;
    let rig = &plan.gear.rig;
    let places = [Place::Branch(0), Place::Device(0), Place::Device(1)];
    let mut all = vec![(0.0, rig.clone())];
    for place in places {
        let wire = *rig.wire(place).unwrap();
        all = all
            .into_iter()
            .flat_map(|(price, rig)| {
                let laid = CABLES.map(|(mm2, per_m)| {
                    let cable = wire.cable.unwrap();
                    let cable = rig::Cable { section: Section::Mm2(mm2), ..cable };
                    let wire = rig::Wire { cable: Some(cable), ..wire };
                    (price + per_m * cable.length_m, rig.with_wire(place, wire).unwrap())
                });
                std::iter::once((price, rig)).chain(laid)
            })
            .collect();
    }
    assert_eq!(all.len(), 64);
    let all: Vec<(f64, f64)> = all
        .into_par_iter()
        .map(|(price, rig)| {
            let mut changed = plan.clone();
            changed.gear.rig = rig;
            (price, share(&changed))
        })
        .collect();
    let catalogue = cables();
    let market = Market::new(&plan, &catalogue).unwrap();
    let few = market.combinations();
    let few: Vec<(f64, f64)> =
        few.iter().map(|chosen| (chosen.price, share(&market.plan(&plan, chosen)))).collect();
    assert!(few.len() <= 12, "{}", few.len());
    let cheapest = |of: &[(f64, f64)], wanted: f64| {
        let carry = of.iter().filter(|(_, share)| *share >= wanted).map(|(price, _)| *price);
        carry.reduce(f64::min)
    };
    let surest = all.iter().map(|(_, share)| *share).fold(0.0, f64::max);
    let own = all[0].1;
    assert!(surest > own + 0.1, "cables hardly matter here: {own} {surest}");
    for step in 0..=10 {
        let wanted = own + (surest - own - 0.01) * f64::from(step) / 10.0;
        let [of_all, of_few] = [&all, &few].map(|of| cheapest(of, wanted));
        let (of_all, of_few) = (of_all.unwrap(), of_few.unwrap());
        assert!(of_few <= of_all + 10.0, "{wanted}: {of_few} instead of {of_all}");
    }
}

#[test]
fn a_cable_is_bought_for_the_run_that_lacks_voltage() {
    let plan = thinly_wired("41.2 Ah");
    let found = size(&plan, &cables(), SETTINGS, |_| true).unwrap();
    let [only] = &found.choices[..] else { panic!("{:?}", found.choices) };
    let [Piece { name, amount: Amount::Run { to, section, length_m } }] = &only.pieces[..] else {
        panic!("{:?}", only.pieces)
    };
    assert_eq!((name.as_str(), to.as_str(), *length_m), ("2.5", "mount", 3.0));
    assert_eq!((*section, only.price), (Section::Mm2(2.5), 3.0 * 1.7));
    // and it is said why the next thinner one does not do
    let [miss] = &found.misses[..] else { panic!("{:?}", found.misses) };
    assert_eq!((miss.choice.pieces[0].name.as_str(), miss.cheaper_than), ("1.5", Some(0)));
    let own = found.as_it_is.unwrap();
    assert!(own.share() < miss.choice.share() && miss.choice.share() < 0.9);
    for choice in [&miss.choice, &own] {
        let ending = choice.ending.as_ref().unwrap();
        assert_eq!(ending.lack, Some(Lack::Copper));
        assert_eq!((ending.device.as_deref(), ending.cause), (Some("mount"), Cause::Brownout));
        assert!(ending.soc > 0.2 && ending.soc_dusk > 0.99, "{ending:?}");
    }
}
