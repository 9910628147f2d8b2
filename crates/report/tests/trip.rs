//! A trip of an invented plan, as text, page and card; the pages are left in the target folder to
//! be looked at.

#![allow(clippy::unwrap_used, reason = "a test")]

use std::path::Path;

use plan::Plan;
use report::page::Provenance;
use report::{Mends, field_card, trip_page, trip_text};
use trip::{Chance, Fix, Forecast, Settings, Shed, Shedding, forecast};

/// Three nights of which the last is not sure.
const PLAN: &str = r#"
format = 1
[site]
name = "Heather Ridge"
latitude = "56.9 N"
longitude = "4.2 W"
zone = "Europe/London"
[air]
night = "3 °C ± 3 K"
day = "11 °C ± 3 K"
[trip]
first_evening = "2026-10-09"
nights = 3
[weather]
sun = "45 % ± 40 %"
[pack]
name = "pack one"
chemistry = "LFP"
rated = "40 Ah"
[rig.devices.mount]
power = "9 W ± 2 W"
least_voltage = "11.4 V"
cable = { length = "2.5 m", section = "16 AWG" }
when = "dark"
[rig.devices.camera]
power = "14 W ± 2 W"
least_voltage = "11.0 V"
cable = { length = "3 m", section = "1.0 mm²" }
when = "dark"
[rig.devices."dew <heater>"]
resistance = "18 ohm"
least_voltage = "10 V"
cable = { length = "2 m", section = "20 AWG" }
when = "dusk to dawn at 50 %"
shed = 2
[sources.panel]
panel = "100 W"
tilt = "45°"
azimuth = "180°"
controller = { kind = "MPPT", efficiency = "95 %", most_current = "10 A", absorb = "14.4 V" }
"#;

fn example() -> (Plan, Forecast) {
    let plan = Plan::parse("heather-ridge.toml", Path::new(""), PLAN).unwrap();
    let forecast =
        forecast(&plan, Settings { draws: 300, ..Settings::default() }, |_| true).unwrap();
    (plan, forecast)
}

fn keep(name: &str, page: &str) {
    std::fs::write(Path::new(env!("CARGO_TARGET_TMPDIR")).join(name), page).unwrap();
}

#[test]
fn the_answer_comes_first_and_fits_the_terminal() {
    let (plan, forecast) = example();
    let text = trip_text(&plan, &forecast, None);
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    let weakest = forecast.nights.iter().map(|night| night.chance.share).fold(1.0, f64::min);
    let answer = text.lines().nth(3).unwrap();
    assert_eq!(answer.contains("It lasts till dawn"), weakest >= plan.dates.confidence, "{text}");
    assert!(!text.contains("NaN"), "{text}");
    for night in &forecast.nights {
        assert!(text.contains(&night.evening.strftime("%a %-d %b").to_string()), "{text}");
    }
}

#[test]
fn the_page_shows_the_trip() {
    let (plan, forecast) = example();
    let page = trip_page(
        &plan,
        &forecast,
        None,
        None,
        Provenance { seed: Some(1), ..Provenance::default() },
    );
    keep("trip.html", &page);
    assert!(!page.contains("NaN") && !page.contains("inf"));
    for part in ["dew &lt;heater&gt;", "Fri night", "State of charge", "Caution", "not measured"] {
        assert!(page.contains(part), "{part}");
    }
}

#[test]
fn the_card_has_each_hour_of_each_night() {
    let (plan, forecast) = example();
    let card = field_card(&plan, &forecast, None, Provenance::default());
    keep("card.html", &card);
    assert!(!card.contains("NaN"));
    for clock in ["19:00", "00:00", "07:00"] {
        let row = format!("<th scope=\"row\">{clock}</th>");
        assert_eq!(card.matches(&row).count(), 3, "{clock}");
    }
}

#[test]
fn the_card_says_what_to_switch_off() {
    let (plan, forecast) = example();
    let shed = |device: &str, hour: Option<i8>| Shed {
        device: device.into(),
        from: hour.map(|hour| jiff::civil::time(hour, 0, 0, 0)),
    };
    let shedding = Shedding {
        steps: vec![shed("dew <heater>", Some(2)), shed("camera", None)],
        nights: Vec::new(),
        enough: false,
    };
    let mends = Mends { fixes: &[], shedding: Some(&shedding) };
    let card = field_card(&plan, &forecast, Some(mends), Provenance::default());
    assert!(card.contains(
        "To reach dawn switch off the dew &lt;heater&gt; from 02:00 on and the camera all night. Even that is not sure enough."
    ));
    let card = field_card(&plan, &forecast, None, Provenance::default());
    assert!(card.contains("Switch off first: dew &lt;heater&gt;."));
}

fn fix(change: &str, share: f64, gain: f64, adds: (Option<f64>, Option<f64>)) -> Fix {
    Fix {
        change: change.into(),
        nights: vec![Chance { share, low: share, high: share }],
        gain,
        gain_95: [gain - 0.03, gain + 0.03],
        kg: adds.0,
        price: adds.1,
        is_listed: gain != 0.0,
        caution: (gain > 0.0).then_some("Mind the <terminals>."),
    }
}

/// The cells of a table's row behind its first.
fn row<'a>(text: &'a str, first: &str) -> Vec<&'a str> {
    let line = text.lines().find(|line| line.starts_with(first));
    let line = line.unwrap_or_else(|| panic!("no {first:?} in {text}"));
    line[first.len()..].split("  ").map(str::trim).filter(|cell| !cell.is_empty()).collect()
}

#[test]
fn changes_are_shown_with_what_they_add_and_how_sure_their_gain_is() {
    let (mut plan, forecast) = example();
    plan.currency = Some("crowns".into());
    let fixes = [
        fix("a second pack", 0.98, 0.28, (Some(5.13), Some(240.0))),
        fix("leave the lamp off", 0.9, 0.2, (Some(0.0), Some(0.0))),
        fix("thicker cable", 0.75, 0.05, (Some(0.0131), None)),
        fix("no use at all", 0.7, 0.0, (Some(0.0), Some(0.0))),
        fix("a converter", 0.6, -0.1, (None, None)),
    ];
    let mends = Mends { fixes: &fixes, shedding: None };
    let text = trip_text(&plan, &forecast, Some(mends));
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    let row = |change: &str| row(&text, change);
    assert_eq!(row("a second pack"), ["98 %", "+28 ± 3", "5.1", "240"]);
    assert_eq!(row("leave the lamp off"), ["90 %", "+20 ± 3", "0", "0"]);
    assert_eq!(row("thicker cable"), ["75 %", "+5 ± 3", "0.013", "–"]);
    assert_eq!(row("a converter"), ["60 %", "-10 ± 3", "–", "–"]);
    assert!(!text.contains("no use at all"), "{text}");
    let running = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(running.contains("5 changes were tried; 1 of them makes no difference"), "{text}");
    assert!(!running.contains("None of them alone"), "{text}");
    assert_eq!(running.matches("Mind the <terminals>.").count(), 1, "{text}");

    let page = trip_page(&plan, &forecast, Some(mends), None, Provenance::default());
    keep("mends.html", &page);
    for part in ["+28", "5.1 kg, 240 crowns", "nothing to buy", "0.013 kg, price not known"] {
        assert!(page.contains(part), "{part}");
    }
    assert_eq!(page.matches("Mind the &lt;terminals&gt;.").count(), 1);
    assert!(!page.contains("no use at all"));

    let weak = [
        Fix { is_listed: true, ..fix("wait for warmth", 0.7, 0.0, (Some(0.0), Some(0.0))) },
        fix("thicker cable", 0.75, 0.05, (Some(0.0131), None)),
    ];
    let text = trip_text(&plan, &forecast, Some(Mends { fixes: &weak, shedding: None }));
    assert_eq!(self::row(&text, "wait for warmth"), ["70 %", "0 ± 3", "0", "0"]);
    let running = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(running.contains("None of them alone brings it to 90 %."), "{text}");

    let idle = [fix("no use at all", 0.7, 0.0, (Some(0.0), Some(0.0)))];
    let text = trip_text(&plan, &forecast, Some(Mends { fixes: &idle, shedding: None }));
    assert!(text.contains("None of the changes that were tried (1) makes a difference"), "{text}");
}
