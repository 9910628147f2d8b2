//! What to switch off.

use super::*;
use crate::fixes;
use crate::forecast::trial;

#[test]
fn a_shedding_plan_is_enough_and_no_earlier_than_need_be() {
    let plan = short("shed = 1");
    let forecast = forecast(&plan, SETTINGS, |_| true).unwrap();
    let found = shedding(&plan, &forecast, SETTINGS).unwrap().unwrap();
    assert!(found.enough && found.nights[0].share >= 0.95, "{found:?}");
    let [step] = &found.steps[..] else { panic!("{found:?}") };
    assert_eq!(step.device, "heater");
    let from_s = f64::from(step.from.unwrap().hour()) * 3600.0;
    let later =
        fixes::device::ease(&plan, "heater", fixes::device::Way::Off, Some(from_s + 3600.0))
            .unwrap();
    assert!(trial(&later, SETTINGS).unwrap().nights[0].share < 0.95, "an hour later would do too");
}

#[test]
fn nothing_is_shed_without_need_or_without_an_order() {
    let ample = parse("chemistry = \"LFP\"\nrated = \"80 Ah\"", &format!("{HEATER}shed = 1"));
    for plan in [short(""), ample] {
        let forecast = forecast(&plan, SETTINGS, |_| true).unwrap();
        assert_eq!(shedding(&plan, &forecast, SETTINGS).unwrap(), None);
    }
}
