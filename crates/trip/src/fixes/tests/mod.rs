//! Each kind of change: that it changes what it says, and does what it should in a plan made for it.

mod device;
mod feed;
mod pack;
mod panel;
mod shedding;

use std::path::Path;

use plan::Plan;

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
fn what_makes_no_difference_is_not_listed() {
    let plan = parse("chemistry = \"LFP\"\nrated = \"80 Ah\"", HEATER);
    let (forecast, fixes) = fixes_of(&plan);
    assert_eq!(forecast.nights[0].chance.share, 1.0);
    assert!(fixes.len() >= 8 && fixes.iter().all(|fix| fix.gain == 0.0 && !fix.is_listed));
}
