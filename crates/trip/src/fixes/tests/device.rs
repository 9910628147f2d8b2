//! Less for one device.

use jiff::civil::time;

use super::*;
use crate::calendar::Calendar;
use crate::fixes;

#[test]
fn a_lower_cutoff_lets_a_device_run_on() {
    let receiver = r#"
[rig.devices.receiver]
power = "16 W ± 3 W"
least_voltage = "12.2 V"
least_settable = "11.4 V"
when = "night"
"#;
    let plan = parse("chemistry = \"AGM\"\nrated = \"52 Ah\"", receiver);
    let (forecast, fixes) = fixes_of(&plan);
    assert!(forecast.nights[0].chance.share < 0.8);
    let lower = the(&fixes, "set the receiver's cutoff to 11.4 V instead of 12.2 V");
    assert!(lower.gain > 0.1, "{lower:?}");
    assert_eq!((lower.kg, lower.price), (Some(0.0), Some(0.0)));
    let cutoffs = fixes::device::cutoffs(&plan);
    let [cutoff] = &cutoffs[..] else { panic!("one device says it") };
    let least = |plan: &Plan| -> Vec<Option<f64>> {
        plan.gear.rig.devices().iter().map(|device| device.least_voltage_v).collect()
    };
    assert_eq!(least(&cutoff.plan), [Some(11.0), Some(11.4)]);
    assert!(fixes::device::cutoffs(&cutoff.plan).is_empty(), "as low as it goes");
}

/// What a device draws on the mean through the night of a plan (Wh at its own power).
fn night_wh(plan: &Plan, name: &str) -> f64 {
    let calendar = Calendar::new(&plan.site.place, &plan.site.zone, plan.dates.evenings()).unwrap();
    let rig = &plan.gear.rig;
    let index = rig.device(name).unwrap();
    let night = calendar.moments(&calendar.evenings[0], |moments| rig.night(moments));
    let mean_w = |state: usize| {
        let used = night.states[state].0[index];
        used.map_or(0.0, |used| rig.devices()[index].uses[used].mean().power_w(12.0))
    };
    let wh = |s: &rig::Stretch| mean_w(s.state) * (s.to_s - s.from_s) / 3600.0;
    night.stretches.iter().map(wh).sum()
}

#[test]
fn a_device_eased_from_an_hour_on_draws_as_usual_until_then() {
    let camera = r#"
[rig.devices.camera]
uses.idle = { power = "4 W", when = "20:00 to 04:00" }
uses.exposing = { power = "16 W", when = "21:00 to 03:00 at 50 %", peak = { power = "20 W", share = "10 %" } }
"#;
    let plan = short(camera);
    // 2 h idle, then 6 h at half of 16.4 W
    let whole_wh = 8.0 + 6.0 * 8.2;
    assert!((night_wh(&plan, "camera") - whole_wh).abs() < 1e-6);
    let eased = |way, hour: Option<f64>| {
        let changed =
            fixes::device::ease(&plan, "camera", way, hour.map(|hour| 3600.0 * hour)).unwrap();
        assert_eq!(night_wh(&changed, "mount"), night_wh(&plan, "mount"));
        night_wh(&changed, "camera")
    };
    // from 01:00 on: two hours of exposing and one idle are left
    let late_wh = 2.0 * 8.2 + 4.0;
    for (way, hour, wh) in [
        (fixes::device::Way::Off, None, 0.0),
        (fixes::device::Way::Off, Some(1.0), whole_wh - late_wh),
        (fixes::device::Way::Half, None, 0.5 * whole_wh),
        (fixes::device::Way::Half, Some(1.0), whole_wh - 0.5 * late_wh),
        (fixes::device::Way::Half, Some(5.0), whole_wh),
    ] {
        assert!((eased(way, hour) - wh).abs() < 1e-6, "{way:?} {hour:?}: {}", eased(way, hour));
    }
}

#[test]
fn each_device_is_eased_as_late_as_is_enough_and_told_once() {
    let plan = short("");
    let (forecast, fixes) = fixes_of(&plan);
    let before = Before::new(&plan, &forecast, SETTINGS).unwrap();
    let of = |name: &str| -> Vec<&Fix> {
        fixes.iter().filter(|fix| fix.change.contains(&format!("the {name} "))).collect()
    };
    let eased: Vec<&Fix> =
        of("heater").into_iter().filter(|fix| !fix.change.contains("instead")).collect();
    assert_eq!(eased.len(), 4, "{eased:#?}");
    let listed: Vec<&&Fix> = eased.iter().filter(|fix| fix.is_listed).collect();
    let [listed] = listed[..] else { panic!("{listed:#?}") };
    assert!(listed.weakest() >= 0.95, "{listed:?}");
    assert!(listed.change.ends_with(" on") && !listed.change.starts_with("leave"), "{listed:?}");
    // an hour later would not do
    for way in [fixes::device::Way::Off, fixes::device::Way::Half] {
        let start = if way == fixes::device::Way::Off {
            "switch the heater off"
        } else {
            "run the heater half"
        };
        let late =
            eased.iter().find(|fix| fix.change.starts_with(start) && fix.change.ends_with(" on"));
        let late = late.unwrap_or_else(|| panic!("{eased:#?}"));
        assert!(late.weakest() >= 0.95, "{late:?}");
        let hour: f64 =
            late.change.rsplit_once(':').unwrap().0.rsplit(' ').next().unwrap().parse().unwrap();
        let later =
            fixes::device::ease(&plan, "heater", way, Some((3600.0 * (hour + 1.0)) % 86400.0))
                .unwrap();
        assert!(!before.is_enough(&before.judge(Change::free(String::new(), later)).unwrap()));
    }
}

#[test]
fn a_device_that_draws_too_little_is_eased_half_way_through_the_night() {
    let plan = parse("chemistry = \"LFP\"\nrated = \"21 Ah\"", HEATER);
    let (_, fixes) = fixes_of(&plan);
    let eased: Vec<&Fix> = fixes
        .iter()
        .filter(|fix| fix.change.contains("the mount ") && !fix.change.contains("instead"))
        .collect();
    assert!(eased.iter().all(|fix| fix.weakest() < 0.95), "{eased:#?}");
    let best = eased.iter().map(|fix| fix.gain).fold(f64::MIN, f64::max);
    assert!(best > 0.1 && eased.iter().filter(|fix| fix.is_listed).count() == 1, "{eased:#?}");
    assert!(eased.iter().all(|fix| !fix.is_listed || fix.gain == best), "{eased:#?}");
    // the night lasts from about 17:30 to 06:30 UTC
    assert!(has(&fixes, "switch the mount off from 00:00 on"), "{eased:#?}");
}

#[test]
fn what_runs_by_day_only_is_eased_all_day() {
    let fridge = "[rig.devices.fridge]\npower = \"20 W\"\nwhen = \"day\"\n";
    let (_, fixes) = fixes_of(&nights(&short(fridge), 2));
    let of_fridge: Vec<&str> = fixes
        .iter()
        .map(|fix| fix.change.as_str())
        .filter(|change| change.contains("fridge") && !change.contains("converter"))
        .collect();
    assert_eq!(of_fridge.len(), 2, "{of_fridge:?}");
    assert!(of_fridge.contains(&"leave the fridge off"));
}

#[test]
fn full_hours_of_a_night_are_those_of_its_clock() {
    let plan = short("");
    let calendar = Calendar::new(&plan.site.place, &plan.site.zone, plan.dates.evenings()).unwrap();
    let hours = calendar.full_hours(&calendar.evenings[0]);
    let clock: Vec<i8> = hours.iter().map(|hour| hour.time().hour()).collect();
    assert_eq!(clock, [18, 19, 20, 21, 22, 23, 0, 1, 2, 3, 4, 5, 6]);
    assert_eq!(hours[6].time(), time(0, 0, 0, 0));
}
