//! Each kind of change: that it changes what it says, and does what it should in a plan made for it.

use std::path::Path;

use jiff::civil::time;
use plan::{Plan, Supply};
use sky::Aim;

use super::*;
use crate::forecast::forecast;

const SETTINGS: Settings = Settings { draws: 200, seed: 3, within: None };

fn parse(pack: &str, more: &str) -> Plan {
    let text = format!(
        r#"
format = 1
currency = "crowns"
[site]
latitude = "56.9 N"
longitude = "4.2 W"
zone = "UTC"
[trip]
first_evening = "2026-10-09"
nights = 1
confidence = "95 %"
[pack]
{pack}
[rig.devices.mount]
power = "10 W ± 2 W"
least_voltage = "11 V"
when = "night"
{more}
"#
    );
    Plan::parse("test.toml", Path::new(""), &text).unwrap_or_else(|error| panic!("{error}"))
}

const HEATER: &str = r#"
[rig.devices.heater]
power = "18 W ± 4 W"
least_voltage = "11 V"
when = "night"
cable = { length = "3 m", section = "20 AWG" }
"#;

/// One night on a typical pack that is a little too small.
fn short(more: &str) -> Plan {
    parse("chemistry = \"LFP\"\nrated = \"33 Ah\"", &format!("{HEATER}{more}"))
}

fn nights(plan: &Plan, count: usize) -> Plan {
    with(plan, |changed| changed.dates.nights = count)
}

fn fixes_of(plan: &Plan) -> (Forecast, Vec<Fix>) {
    let forecast = forecast(plan, SETTINGS, |_| true).unwrap();
    let fixes = fixes(plan, &forecast, SETTINGS, |_, _| true).unwrap();
    (forecast, fixes)
}

#[track_caller]
fn the<'a>(fixes: &'a [Fix], change: &str) -> &'a Fix {
    let found = fixes.iter().find(|fix| fix.change.contains(change));
    found.unwrap_or_else(|| panic!("no {change:?} among {fixes:#?}"))
}

fn has(fixes: &[Fix], change: &str) -> bool {
    fixes.iter().any(|fix| fix.change.contains(change))
}

#[test]
fn fixes_are_ranked_and_none_that_lightens_the_load_makes_it_worse() {
    let (forecast, fixes) = fixes_of(&short(""));
    let before = forecast.nights[0].chance.share;
    assert!((0.05..0.95).contains(&before), "the plan should be unsure: {before}");
    assert!(fixes.windows(2).all(|pair| pair[0].gain >= pair[1].gain));
    for fix in fixes.iter().filter(|fix| !fix.change.contains("converter")) {
        assert!(fix.gain >= 0.0, "{fix:?}");
    }
    assert!(the(&fixes, "a second pack").weakest() > 0.99);
    assert!(the(&fixes, "leave the heater off").gain >= the(&fixes, "run the heater half").gain);
    assert!(the(&fixes, "run the heater half").gain > the(&fixes, "run the mount half").gain);
    let thicker = the(&fixes, "instead of 20 AWG to the heater");
    // 18 instead of 20 AWG, 0.823 instead of 0.518 mm² of copper, twice 3 m (ASTM B258)
    let copper_kg = 2.0 * 3.0 * (0.8231 - 0.5176) * 8.96e-3;
    assert!((thicker.kg.unwrap() - copper_kg).abs() < 1e-5, "{thicker:?}");
    assert_eq!(thicker.price, None);
}

#[test]
fn a_gain_has_an_interval_and_equal_ones_begin_with_what_is_free_and_light() {
    let (_, fixes) = fixes_of(&short(""));
    for fix in &fixes {
        let [low, high] = fix.gain_95;
        assert!(low <= fix.gain && fix.gain <= high, "{fix:?}");
        assert!(high - low < 0.15, "of 200 draws: {fix:?}");
        assert!((0.0..=1.0).contains(&fix.weakest()), "{fix:?}");
    }
    let like = |kg: Option<f64>, price: Option<f64>| Fix { kg, price, ..fixes[0].clone() };
    let free = like(Some(0.0), Some(0.0));
    let (light, heavy) = (like(Some(1.0), None), like(Some(2.0), Some(5.0)));
    let unknown = like(None, None);
    let order = ranked(vec![unknown.clone(), heavy.clone(), free.clone(), light.clone()]);
    assert_eq!(order, [free, light, heavy, unknown]);
}

#[test]
fn asking_can_be_stopped() {
    let plan = short("");
    let forecast = forecast(&plan, SETTINGS, |_| true).unwrap();
    let fixes = fixes(&plan, &forecast, SETTINGS, |done, _| done < 2).unwrap();
    assert_eq!(fixes.len(), 2);
}

#[test]
fn another_pack_is_one_more_of_the_same() {
    let stated = |more: &str| {
        let pack = "chemistry = \"LFP\"\nrated = \"17 Ah\"\nmass = \"4 kg\"\nprice = 300\n";
        parse(&format!("{pack}{more}"), HEATER)
    };
    let plan = stated("in_parallel = 2");
    let another = &pack::changes(&plan)[0];
    assert!(another.text.starts_with("one more pack like 17 Ah LFP,"), "{}", another.text);
    assert_eq!((another.kg, another.price), (Some(2.0), Some(150.0)));
    let (was, is) = (&plan.battery, &another.plan.battery);
    assert!((is.pack.circuit.capacity_ah / was.pack.circuit.capacity_ah - 1.5).abs() < 1e-12);
    let heat = |battery: &plan::Battery| battery.housing.unwrap().heat_j_per_k;
    assert!((heat(is) / heat(was) - 1.5).abs() < 1e-12, "it warms like three");

    // unlike packs are taken once more together
    let plan = stated("[pack.beside.old]\nchemistry = \"AGM\"\nrated = \"12 Ah\"");
    let another = &pack::changes(&plan)[0];
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
    let changes = pack::changes(&plan);
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
    let changes = pack::changes(&plan);
    let waiting = changes.iter().find(|change| change.spares_pack).unwrap();
    assert_eq!(waiting.plan.supplies[0].charges_above_c(), Some(0.0));
    // who waits already, and whose pack refuses by itself, needs not be told
    assert!(!pack::changes(&waiting.plan).iter().any(|change| change.spares_pack));
    let safe = frosty("protection = { no_charge_below = \"0 °C\", refuses_frost = true }");
    assert!(!pack::changes(&safe).iter().any(|change| change.spares_pack));
}

/// Two nights with a panel that stands badly, and the rig of the other tests.
fn sunny(panels: &str) -> Plan {
    nights(&short(panels), 2)
}

fn panel(name: &str, stands: &str, more: &str) -> String {
    format!(
        "[sources.{name}]\npanel = \"120 W\"\n{stands}\ncontroller = {{ kind = \"MPPT\", absorb = \"14.4 V\" }}\n{more}\n"
    )
}

#[test]
fn more_sun_is_caught_by_another_panel_by_turning_and_by_a_better_stand() {
    let north = panel("panel", "tilt = \"80°\"\nazimuth = \"0°\"", "mass = \"5 kg\"\nprice = 110");
    let (_, fixes) = fixes_of(&sunny(&north));
    let another = the(&fixes, "one more panel with its controller like panel");
    assert_eq!((another.kg, another.price), (Some(5.0), Some(110.0)));
    assert!(another.gain >= 0.0, "{another:?}");
    let turned = the(&fixes, "turn panel towards the sun every 2 h");
    let stood = the(&fixes, "stand panel at a tilt of");
    // at 57° north in October the sun stands 27° high at noon
    assert!(stood.change.ends_with("azimuth 180°"), "{}", stood.change);
    let tilt: f64 =
        stood.change.split(' ').nth(6).unwrap().trim_end_matches([',', '°']).parse().unwrap();
    assert!((50.0..=70.0).contains(&tilt), "{}", stood.change);
    assert!(stood.gain > 0.1 && stood.gain <= turned.gain, "{stood:?} {turned:?}");
    assert_eq!((stood.kg, stood.price), (Some(0.0), Some(0.0)));
}

#[test]
fn a_good_stand_is_left_alone_and_a_stand_faces_the_noon_of_its_own_half_of_the_earth() {
    let good = panel("panel", "tilt = \"60°\"\nazimuth = \"180°\"", "");
    let changes = panel::changes(&sunny(&good)).unwrap();
    assert!(!changes.iter().any(|change| change.text.starts_with("stand")));
    let mut south = sunny(&panel("panel", "flat = true", ""));
    south.site.place = sky::Place::new(-42.0, 147.0, 0.0).unwrap();
    south.dates.first_evening = jiff::civil::date(2026, 6, 20);
    let changes = panel::changes(&south).unwrap();
    let stood = changes.iter().find(|change| change.text.starts_with("stand")).unwrap();
    let Supply::Panel(panel) = &stood.plan.supplies[0] else { panic!() };
    let Aim::Fixed(facing) = panel.aim else { panic!("{:?}", panel.aim) };
    assert!((50.0..=75.0).contains(&facing.tilt_deg()), "{}", stood.text);
    assert!(facing.azimuth_deg() <= 10.0 || facing.azimuth_deg() >= 350.0, "{}", stood.text);
    // on the day before one night nothing is harvested
    assert!(
        !panel::changes(&nights(&south, 1)).unwrap().iter().any(|c| c.text.starts_with("stand"))
    );
}

#[test]
fn several_panels_are_turned_together_and_their_twins_told_once() {
    let (east, west) = ("tilt = \"80°\"\nazimuth = \"60°\"", "tilt = \"80°\"\nazimuth = \"300°\"");
    let many = [panel("a", east, ""), panel("b", east, ""), panel("c", west, "mass = \"9 kg\"")]
        .join("\n");
    let changes = panel::changes(&sunny(&many)).unwrap();
    let texts: Vec<&str> = changes.iter().map(|change| change.text.as_str()).collect();
    let [a, c, turn, stand] = texts[..] else { panic!("{texts:?}") };
    assert!(a.ends_with("like a") && c.ends_with("like c"));
    assert!(
        turn.starts_with("turn all panels") && stand.starts_with("stand all panels"),
        "{texts:?}"
    );
    assert_eq!((changes[0].kg, changes[1].kg), (None, Some(9.0)));
    let all = changes[2].plan.supplies.iter();
    let tracked = |supply: &Supply| match supply {
        Supply::Panel(panel) => matches!(panel.aim, Aim::Tracked { .. }),
        Supply::Charger(_) => false,
    };
    assert!(all.clone().all(tracked) && all.count() == 3);
}

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

    let changes = feed::changes(&plan, &forecast);
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
        let changes = feed::changes(&plan, &forecast);
        assert!(!changes.iter().any(|change| change.text.contains("converter")), "{more}");
    }
}

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
    let cutoffs = device::cutoffs(&plan);
    let [cutoff] = &cutoffs[..] else { panic!("one device says it") };
    let least = |plan: &Plan| -> Vec<Option<f64>> {
        plan.gear.rig.devices().iter().map(|device| device.least_voltage_v).collect()
    };
    assert_eq!(least(&cutoff.plan), [Some(11.0), Some(11.4)]);
    assert!(device::cutoffs(&cutoff.plan).is_empty(), "as low as it goes");
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
        let changed = device::ease(&plan, "camera", way, hour.map(|hour| 3600.0 * hour)).unwrap();
        assert_eq!(night_wh(&changed, "mount"), night_wh(&plan, "mount"));
        night_wh(&changed, "camera")
    };
    // from 01:00 on: two hours of exposing and one idle are left
    let late_wh = 2.0 * 8.2 + 4.0;
    for (way, hour, wh) in [
        (device::Way::Off, None, 0.0),
        (device::Way::Off, Some(1.0), whole_wh - late_wh),
        (device::Way::Half, None, 0.5 * whole_wh),
        (device::Way::Half, Some(1.0), whole_wh - 0.5 * late_wh),
        (device::Way::Half, Some(5.0), whole_wh),
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
    for way in [device::Way::Off, device::Way::Half] {
        let start =
            if way == device::Way::Off { "switch the heater off" } else { "run the heater half" };
        let late =
            eased.iter().find(|fix| fix.change.starts_with(start) && fix.change.ends_with(" on"));
        let late = late.unwrap_or_else(|| panic!("{eased:#?}"));
        assert!(late.weakest() >= 0.95, "{late:?}");
        let hour: f64 =
            late.change.rsplit_once(':').unwrap().0.rsplit(' ').next().unwrap().parse().unwrap();
        let later =
            device::ease(&plan, "heater", way, Some((3600.0 * (hour + 1.0)) % 86400.0)).unwrap();
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
fn what_makes_no_difference_is_not_listed() {
    let plan = parse("chemistry = \"LFP\"\nrated = \"80 Ah\"", HEATER);
    let (forecast, fixes) = fixes_of(&plan);
    assert_eq!(forecast.nights[0].chance.share, 1.0);
    assert!(fixes.len() >= 8 && fixes.iter().all(|fix| fix.gain == 0.0 && !fix.is_listed));
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
fn a_shedding_plan_is_enough_and_no_earlier_than_need_be() {
    let plan = short("shed = 1");
    let forecast = forecast(&plan, SETTINGS, |_| true).unwrap();
    let found = shedding(&plan, &forecast, SETTINGS).unwrap().unwrap();
    assert!(found.enough && found.nights[0].share >= 0.95, "{found:?}");
    let [step] = &found.steps[..] else { panic!("{found:?}") };
    assert_eq!(step.device, "heater");
    let from_s = f64::from(step.from.unwrap().hour()) * 3600.0;
    let later = device::ease(&plan, "heater", device::Way::Off, Some(from_s + 3600.0)).unwrap();
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

#[test]
fn full_hours_of_a_night_are_those_of_its_clock() {
    let plan = short("");
    let calendar = Calendar::new(&plan.site.place, &plan.site.zone, plan.dates.evenings()).unwrap();
    let hours = calendar.full_hours(&calendar.evenings[0]);
    let clock: Vec<i8> = hours.iter().map(|hour| hour.time().hour()).collect();
    assert_eq!(clock, [18, 19, 20, 21, 22, 23, 0, 1, 2, 3, 4, 5, 6]);
    assert_eq!(hours[6].time(), time(0, 0, 0, 0));
}
