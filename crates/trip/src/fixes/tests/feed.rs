//! What lies between the pack and the devices.

use super::*;
use crate::fixes;

#[test]
fn a_converter_carries_a_device_past_the_voltage_it_needs() {
    // a pack with charge enough, but on a long thin cable the receiver sees too little
    let more = r#"
[rig.branches.hub]
cable = { length = "2 m", section = "14 AWG" }
[rig.devices.receiver]
feed = "hub"
power = "20 W ± 4 W"
least_voltage = "12.4 V"
when = "night"
cable = { length = "6 m", section = "18 AWG" }
[rig.devices.lamp]
feed = "hub"
power = "3 W"
least_voltage = "10.5 V"
when = "night"
"#;
    let plan = parse("chemistry = \"LFP\"\nrated = \"46 Ah\"", more);
    let (forecast, fixes) = fixes_of(&plan);
    let before = forecast.nights[0].chance.share;
    assert!((0.02..0.8).contains(&before), "{before}");
    let alone = the(&fixes, "a converter to a steady 13.8 V for the receiver, if its maker allows");
    assert!(alone.gain > 0.2, "{alone:?}");
    assert_eq!((alone.kg, alone.price), (None, None));
    assert!(alone.caution.is_some_and(|caution| caution.contains("maker")));
    let all = the(&fixes, "steady 13.8 V at the hub for all that hangs on it");
    assert!(all.gain > 0.2 && all.gain <= alone.gain + 0.02, "{all:?} {alone:?}");

    let changes = fixes::feed::changes(&plan, &forecast);
    let found = |text: &str| &changes.iter().find(|c| c.text.contains(text)).unwrap().plan.gear.rig;
    let rig = found("for the receiver");
    let receiver = &rig.devices()[rig.device("receiver").unwrap()];
    let own = rig.branches().iter().find(|b| Some(&b.name) == receiver.feed.as_ref()).unwrap();
    assert_eq!((own.feed.as_deref(), own.converter.unwrap().output_v), (Some("hub"), 13.8));
    assert_eq!(found("at the hub").branches()[0].converter.unwrap().least_input_v, 9.0);
    // the cable that takes most volts is looked at too, though nothing fails on it alone
    assert!(has(&fixes, "instead of 14 AWG to the hub") && has(&fixes, "to the receiver"));
}

#[test]
fn no_converter_for_what_has_one_or_needs_more() {
    let behind = r#"
[rig.branches.box]
converter = { output = "19 V", idle = "0.5 W", rated = "60 W", efficiency = "90 %", least_input = "12.9 V" }
[rig.devices.laptop]
feed = "box"
power = "30 W"
when = "night"
"#;
    let starved =
        "[rig.devices.radio]\npower = \"12 W\"\nleast_voltage = \"14 V\"\nwhen = \"night\"";
    for more in [behind, starved] {
        let plan = parse("chemistry = \"LFP\"\nrated = \"60 Ah\"", more);
        let forecast = forecast(&plan, SETTINGS, |_| true).unwrap();
        assert!(forecast.nights[0].chance.share < 0.95);
        let changes = fixes::feed::changes(&plan, &forecast);
        assert!(!changes.iter().any(|change| change.text.contains("converter")), "{more}");
    }
}
