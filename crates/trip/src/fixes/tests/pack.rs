//! More of the pack, and a kinder place for it.

use super::*;
use crate::fixes;

#[test]
fn another_pack_is_one_more_of_the_same() {
    let stated = |more: &str| {
        let pack = "chemistry = \"LFP\"\nrated = \"17 Ah\"\nmass = \"4 kg\"\nprice = 300\n";
        parse(&format!("{pack}{more}"), HEATER)
    };
    let plan = stated("in_parallel = 2");
    let another = &fixes::pack::changes(&plan)[0];
    assert!(another.text.starts_with("one more pack like 17 Ah LFP,"), "{}", another.text);
    assert_eq!((another.kg, another.price), (Some(2.0), Some(150.0)));
    let (was, is) = (&plan.battery, &another.plan.battery);
    assert!((is.pack.circuit.capacity_ah / was.pack.circuit.capacity_ah - 1.5).abs() < 1e-12);
    let heat = |battery: &plan::Battery| battery.housing.unwrap().heat_j_per_k;
    assert!((heat(is) / heat(was) - 1.5).abs() < 1e-12, "it warms like three");

    // unlike packs are taken once more together
    let plan = stated("[pack.beside.old]\nchemistry = \"AGM\"\nrated = \"12 Ah\"");
    let another = &fixes::pack::changes(&plan)[0];
    assert!(another.text.contains("a second pack like 17 Ah LFP with old"), "{}", another.text);
    assert_eq!((another.kg, another.price), (Some(4.0), Some(300.0)));
    let capacity_ah = |plan: &Plan| plan.battery.pack.circuit.capacity_ah;
    assert!((capacity_ah(&another.plan) / capacity_ah(&plan) - 2.0).abs() < 1e-12);
}

#[test]
fn a_box_keeps_a_pack_warm_and_leaves_its_heater_in() {
    // a mild evening and a bitter night, which costs a lead-acid battery much of its charge
    let pack = r#"
chemistry = "AGM"
rated = "47 Ah"
mass = "14 kg"
heater = { power = "1 W", on_below = "-30 °C", off_above = "-29 °C" }
"#;
    let cold = |mut plan: Plan| {
        plan.air.night_c.value = -20.0;
        plan.air.day_c.value = 10.0;
        plan
    };
    let plan = cold(parse(pack, HEATER));
    let (forecast, fixes) = fixes_of(&plan);
    let before = forecast.nights[0].chance.share;
    assert!(before < 0.9, "{before}");
    let boxed = the(&fixes, "in a box of 50 mm foam");
    assert!(boxed.gain > 0.05, "{boxed:?}");
    // 14 kg are 7 l, 30.4 by 15.2 by 15.2 cm: 50 mm around them 25.6 less 7 l of foam
    assert!(
        (boxed.kg.unwrap() - 0.03 * (40.4 * 25.2 * 25.2 / 1e3 - 7.0)).abs() < 0.01,
        "{boxed:?}"
    );
    assert_eq!(boxed.price, None);
    let changes = fixes::pack::changes(&plan);
    let changed = changes.iter().find(|change| change.text.contains("box")).unwrap();
    let housing = |plan: &Plan| plan.battery.housing.unwrap();
    assert_eq!(housing(&changed.plan).heater, housing(&plan).heater);
    assert!(housing(&changed.plan).loss_w_per_k < 0.5 * housing(&plan).loss_w_per_k);
    // a box as thick is no change
    assert!(!has(&fixes_of(&changed.plan).1, "in a box"));
}

#[test]
fn a_pack_that_nothing_keeps_from_charging_in_frost_is_spared() {
    let panel = r#"
[sources.panel]
panel = "60 W"
tilt = "60°"
azimuth = "180°"
controller = { kind = "MPPT", absorb = "14.4 V" }
"#;
    let frosty = |protection: &str| {
        let pack = format!("chemistry = \"LFP\"\nrated = \"60 Ah\"\n{protection}");
        let mut plan = nights(&parse(&pack, &format!("{HEATER}{panel}")), 2);
        plan.air.night_c.value = -8.0;
        plan.air.day_c.value = 4.0;
        plan
    };
    let plan = frosty("protection = { no_charge_below = \"0 °C\", refuses_frost = false }");
    let (_, fixes) = fixes_of(&plan);
    let waits = the(&fixes, "charge only once the pack is above 0 °C (spares the pack)");
    assert!(waits.gain <= 0.0, "it harvests less: {waits:?}");
    assert!(waits.is_listed && waits.price == Some(0.0), "{waits:?}");
    let changes = fixes::pack::changes(&plan);
    let waiting = changes.iter().find(|change| change.spares_pack).unwrap();
    assert_eq!(waiting.plan.supplies[0].charges_above_c(), Some(0.0));
    // who waits already, and whose pack refuses by itself, needs not be told
    assert!(!fixes::pack::changes(&waiting.plan).iter().any(|change| change.spares_pack));
    let safe = frosty("protection = { no_charge_below = \"0 °C\", refuses_frost = true }");
    assert!(!fixes::pack::changes(&safe).iter().any(|change| change.spares_pack));
}
