//! What is told of choices and misses.

use super::*;

/// Half a night's charge, three nights' charge without sun and with too little of it.
#[test]
fn what_is_lacking_is_told() {
    let lack_of = |plan: &Plan, chemistry: &str, rated: &str| {
        let pack = catalogue(&format!(
            "[packs.only]\nchemistry = \"{chemistry}\"\nrated = \"{rated}\"\nmass = \"3 kg\"\nprice = 9\nmost = 1\n"
        ));
        let found = size(plan, &pack, SETTINGS, |_| true).unwrap();
        let ending = found.misses[0].choice.ending.clone().unwrap();
        (ending.lack.unwrap(), ending.soc_dusk)
    };
    let lack = |plan: &Plan, rated: &str| lack_of(plan, "LFP", rated);
    let mut plan = plan("90 %");
    assert_eq!(lack(&plan, "12 Ah").0, Lack::Charge);
    // three cells that stand at 12.6 V when full, for what needs 11.8 V
    assert_eq!(lack_of(&plan, "NMC", "24 Ah").0, Lack::Voltage);
    plan.weather = plan::Weather::Share(plan::Sun { mean: 0.02, spread: 0.0, persistence: 0.0 });
    let (found, soc_dusk) = lack(&plan, "30 Ah");
    assert_eq!(found, Lack::Refill);
    assert!((0.3..0.9).contains(&soc_dusk), "{soc_dusk}");
    plan.supplies.clear();
    assert_eq!(lack(&plan, "30 Ah").0, Lack::Source);
}

#[test]
fn the_load_to_spare_is_carried_and_no_more() {
    let plan = plan("92 %");
    let found = size(&plan, &catalogue(PACKS), SETTINGS, |_| true).unwrap();
    let catalogue = catalogue(PACKS);
    let market = Market::new(&plan, &catalogue).unwrap();
    let mut told = Vec::new();
    for choice in &found.choices {
        let same = |chosen: &Combination| market.pieces(chosen) == choice.pieces;
        let chosen = market.combinations().into_iter().find(same).unwrap();
        let raised = |share: f64| {
            let mut changed = market.plan(&plan, &chosen);
            let mut devices = changed.gear.rig.devices().to_vec();
            for used in devices.iter_mut().flat_map(|device| &mut device.uses) {
                used.load = used.load.times(1.0 + share);
            }
            changed.gear.rig = Rig::new(changed.gear.rig.branches().to_vec(), devices).unwrap();
            let nights = trial(&changed, SETTINGS).unwrap().nights;
            nights.iter().all(|chance| chance.share >= 0.92)
        };
        let spare = choice.spare_load.unwrap();
        assert!(raised(spare), "{choice:?}");
        assert!(spare >= 1.0 || !raised(1.5 * spare + 0.011), "{choice:?}");
        told.push(spare);
    }
    assert!(told.iter().any(|spare| *spare > 0.02), "{told:?}");
}

#[test]
fn a_plan_that_cannot_fail_needs_nothing() {
    let mut idle = plan("90 %");
    let mut devices = idle.gear.rig.devices().to_vec();
    devices.iter_mut().for_each(|device| device.uses[0].load = rig::Load::OFF);
    idle.gear.rig = Rig::new(Vec::new(), devices).unwrap();
    let found = size(&idle, &catalogue(&format!("{PACKS}{REST}")), SETTINGS, |_| true).unwrap();
    let own = found.as_it_is.unwrap();
    assert!(own.share() >= 1.0 && own.spare_load == Some(1.0) && own.ending.is_none());
    let [cheapest] = &found.choices[..] else { panic!("{:?}", found.choices) };
    assert_eq!((cheapest.price, cheapest.kg), (50.0, 2.0));
    assert!(found.misses.is_empty());
    // without packs for sale the plan as it is is what to buy
    let found = size(&idle, &cables::cables(), SETTINGS, |_| true).unwrap();
    assert!(found.choices[0].pieces.is_empty() && found.choices.len() == 1);
}

#[test]
fn packs_stand_in_a_place_like_the_plan_s() {
    let mut cold = plan("90 %");
    (cold.battery.mass_kg, cold.battery.foam_m) = (Some(4.0), 0.03);
    cold.battery.housing = Some(pack::Housing::insulated(4.0, 0.03));
    let catalogue = catalogue(PACKS);
    let market = Market::new(&cold, &catalogue).unwrap();
    let two_small = market.combinations().into_iter().find(|c| (c.kg, c.price) == (4.0, 100.0));
    let changed = market.plan(&cold, &two_small.unwrap());
    let one = pack::Housing::insulated(2.0, 0.03);
    assert_eq!(changed.battery.housing, Some(one.times(2.0)));
}

#[test]
fn the_last_look_can_be_stopped_too() {
    let (plan, catalogue) = (plan("90 %"), catalogue(PACKS));
    let stop_after = |looks: usize| {
        size(&plan, &catalogue, SETTINGS, |stage| match stage {
            Stage::Drawing { .. } => true,
            Stage::Looking { done, of } => {
                assert!(done < of);
                done < looks
            }
        })
        .unwrap()
    };
    let (none, two, all) = (stop_after(0), stop_after(2), stop_after(usize::MAX));
    assert!(all.complete && !two.complete && !none.complete);
    assert!(none.as_it_is.is_none() && two.as_it_is.is_some());
    let looked_at = |found: &Sizing| -> Vec<bool> {
        found.choices.iter().map(|choice| choice.soc_dawn.is_some()).collect()
    };
    assert!(looked_at(&all).iter().all(|looked| *looked) && !all.misses.is_empty());
    assert!(looked_at(&two)[0] && !looked_at(&two)[1..].contains(&true));
    assert!(!looked_at(&none).contains(&true) && none.misses.is_empty());
    // what is found is all there, with the chance as far as it was drawn
    let costs = |found: &Sizing| -> Vec<(f64, f64)> {
        found.choices.iter().map(|choice| (choice.kg, choice.price)).collect()
    };
    assert_eq!(costs(&none), costs(&all));
    assert!(none.choices.iter().all(|choice| choice.share() >= 0.9));
}
