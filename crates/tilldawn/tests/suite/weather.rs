//! What a plan says of sun, cloud and panels, and what the trip makes of it.

use serde_json::Value;

use crate::support::{check_self_contained, close, folder, json, number, reference, root, run};

/// The example with some of its lines replaced, written to a folder of the test's own; its path.
#[track_caller]
fn plan(name: &str, changes: &[(&str, &str)]) -> String {
    let example = std::fs::read_to_string(root().join("examples/heather-ridge.toml")).unwrap();
    let mut text = example.replace("records/", &format!("{}/examples/records/", root().display()));
    for (line, instead) in changes {
        assert!(text.contains(line), "{line:?} is not in the example");
        text = text.replacen(line, instead, 1);
    }
    let path = folder(&format!("weather-{name}")).join("plan.toml");
    std::fs::write(&path, text).unwrap();
    path.to_str().unwrap().to_owned()
}

const SUN: &str = "sun = \"65 % ± 40 %\"";
const FACING: &str = "tilt = \"45°\"\nazimuth = \"180°\"";
const PANEL: &str = "panel = \"100 W\"\ncoefficient = \"-0.4 %/K\"";

fn days(path: &str) -> Vec<Value> {
    json(&["harvest", path])["days"].as_array().unwrap().clone()
}

fn sum(days: &[Value], key: &str) -> f64 {
    days.iter().map(|day| number(&day[key])).sum()
}

#[test]
fn a_share_of_the_clear_sky() {
    let found = days(&plan("share", &[]));
    assert_eq!(found.len(), 3);
    for day in &found {
        let clear = number(&day["clear_wh"]);
        close("mean", number(&day["panel_wh"]), 0.65 * clear, 1e-9 * clear);
        let [low, mean, high] =
            ["panel_low_wh", "panel_wh", "panel_high_wh"].map(|key| number(&day[key]));
        assert!(low < mean && mean < high && high <= clear, "{day}");
    }
    // the same day asked for by itself, in nearly the same air
    let day = json(&[
        "harvest",
        "--latitude",
        "56.9 N",
        "--longitude",
        "4.2 W",
        "--elevation",
        "430 m",
        "--date",
        "2026-10-10",
        "--tilt",
        "45",
        "--azimuth",
        "180",
        "--air",
        "9 °C",
        "--wind",
        "2 m/s",
    ]);
    let clear = number(&found[1]["clear_wh"]);
    // a degree of air is 0.4 % of the power
    close("the day alone", number(&day["panel_wh"]), clear, 0.01 * clear);
}

#[test]
fn mean_clearness_and_peak_sun_hours() {
    let clearness = days(&plan("clearness", &[(SUN, "clearness = \"40 %\"")]));
    let cloudy = days(&plan("cloudy", &[(SUN, "clearness = \"25 %\"")]));
    let by_month =
        days(&plan("months", &[(SUN, "clearness = { sep = \"70 %\", oct = \"40 % ± 20 %\" }")]));
    let mean = |days: &[Value]| sum(days, "panel_wh") / sum(days, "clear_wh");
    // a clear day's clearness is about 0.66 here: on the level 60 % of its light is left, on a
    // plane that faces a low sun less
    assert!((0.45..0.60).contains(&mean(&clearness)), "{}", mean(&clearness));
    assert!(mean(&cloudy) < mean(&clearness) - 0.1, "{}", mean(&cloudy));
    // a clear day gains a tilted panel more than a dull one loses it, so days more alike give less
    let less = mean(&by_month) / mean(&clearness);
    assert!((0.8..1.0).contains(&less), "{less}");
    let spread = |days: &[Value]| sum(days, "panel_high_wh") - sum(days, "panel_low_wh");
    assert!(spread(&by_month) < spread(&clearness));
    // light outside the air on 15 October at 56.9° N: 3.8 kWh/m² (by the closed form of Duffie &
    // Beckman, eq. 1.10.3, with a declination of -8.4°), so 1.52 peak sun hours are 40 %
    let hours = days(&plan("hours", &[(SUN, "peak_sun_hours = { oct = \"1.52 h\" }")]));
    close("peak sun hours", mean(&hours), mean(&clearness), 0.04);
}

#[test]
fn a_file_of_hours_gives_the_days_of_its_season() {
    let file = reference("measured/tmy3-723170-greensboro-jan-jul.csv");
    let weather = format!("file = \"{}\"", file.display());
    let january = [
        (SUN, weather.as_str()),
        ("first_evening = \"2026-10-09\"", "first_evening = \"2027-01-16\""),
        ("latitude = \"56.9 N\"", "latitude = \"36.1 N\""),
        ("longitude = \"4.2 W\"", "longitude = \"79.95 W\""),
    ];
    let path = plan("file", &january);
    let found = days(&path);
    for day in &found {
        let [low, mean, high, clear] =
            ["panel_low_wh", "panel_wh", "panel_high_wh", "clear_wh"].map(|key| number(&day[key]));
        assert!(low < 0.5 * mean && high > 1.2 * mean && high < 1.3 * clear, "{day}");
    }
    // the mean of the days of a harvest by the file, day by day, over those of a clear sky
    let of_file = |date: String| {
        let day = json(&[
            "harvest",
            "--weather",
            file.to_str().unwrap(),
            "--date",
            &date,
            "--tilt",
            "45",
            "--azimuth",
            "180",
            "--close-gaps",
        ]);
        number(&day["panel_wh"])
    };
    let file_mean = (2..=31).map(|day| of_file(format!("2001-01-{day:02}"))).sum::<f64>() / 30.0;
    // 17 January: its season is 2 January to 1 February
    let mean = number(&found[1]["panel_wh"]);
    // the plan's own air; and shares of a clear 17 January, not of each day's own
    close("January by the file", mean, file_mean, 0.05 * file_mean);
    let trip = json(&["trip", &path, "--draws", "64"]);
    assert_eq!(trip, json(&["trip", &path, "--draws", "64"]), "the same seed, the same trip");
    // July is not in October's season
    let ran = run(&["trip", &plan("file-july", &[(SUN, &weather)])]);
    assert!(ran.status == 2 && ran.err.contains("0 whole days within 15 days"), "{}", ran.err);
}

#[test]
fn panels_in_all_their_ways() {
    let energy =
        |name: &str, changes: &[(&str, &str)]| sum(&days(&plan(name, changes)), "clear_wh");
    let fixed = energy("fixed", &[]);
    let flat = energy("flat", &[(FACING, "flat = true")]);
    let hourly = energy("hourly", &[(FACING, "turned_every = \"1 h\"")]);
    let aims = "aims = [\n  { from = \"06:00\", tilt = \"60°\", azimuth = \"135°\" },\n  \
                { from = \"13:50\", tilt = \"60°\", azimuth = \"225°\" },\n]";
    let aimed = energy("aims", &[(FACING, aims)]);
    assert!(flat < fixed && fixed < aimed && aimed < hourly, "{flat} {fixed} {aimed} {hourly}");

    let dirty = energy("dirty", &[(PANEL, &format!("{PANEL}\ndirt = \"5 %\""))]);
    close("dirt", dirty, 0.95 * fixed, 1e-6 * fixed);
    let cable = "cable = { length = \"10 m\", section = \"2.5 mm²\" }";
    let far = energy("far", &[(PANEL, &format!("{PANEL}\n{cable}"))]);
    // 10 m of 2.5 mm² there and back are 0.14 Ω; at 5.6 A that is 4 % of 100 W
    assert!((0.96..0.99).contains(&(far / fixed)), "{far} of {fixed}");
    let sheet = "data_sheet = { max_power_voltage = \"18 V\", max_power_current = \"5.56 A\", \
                 open_circuit_voltage = \"21.8 V\", short_circuit_current = \"5.9 A\", \
                 voltage_coefficient = \"-0.31 %/K\" }";
    let diode = energy("diode", &[(PANEL, sheet)]);
    close("one diode", diode, fixed, 0.05 * fixed);

    let harvest = |name: &str, changes: &[(&str, &str)]| {
        let trip = json(&["trip", &plan(name, changes), "--draws", "16"]);
        number(&trip["ledger"]["harvest_wh"])
    };
    let mppt = "kind = \"MPPT\", efficiency = \"95 %\"";
    let pwm = [(mppt, "kind = \"PWM\"")];
    // a tracker at 95 % turns 18 V into about 13.5 V; the other leaves them unused
    let ratio = harvest("pwm", &pwm) / harvest("mppt", &[]);
    assert!((0.70..0.90).contains(&ratio), "{ratio}");
}

#[test]
fn a_device_that_waits_for_a_clear_sky_draws_less_the_cloudier_it_is() {
    let camera = "[rig.devices.camera]";
    let waits = format!("{camera}\nonly_when_clear = true");
    let used = |name: &str, sun: &str, camera_line: &str| {
        let path = plan(name, &[(SUN, sun), (camera, camera_line)]);
        number(&json(&["trip", &path, "--draws", "16"])["nights"][0]["used_wh"])
    };
    // the same clear nights for the heater, which feels the cloud too
    let always = used("clear-always", "sun = \"100 %\"", camera);
    let clear = used("clear-clear", "sun = \"100 %\"", &waits);
    let some = used("clear-some", SUN, &waits);
    let cloudy = used("clear-cloudy", "sun = \"30 %\"", &waits);
    close("clear nights", clear, always, 1.0);
    assert!(cloudy < some && some < clear, "{cloudy} {some} {clear}");
    // never less than without the camera: 14 W through 9 h of dark
    let cloudy_always = used("clear-cloudy-always", "sun = \"30 %\"", camera);
    let saved = cloudy_always - cloudy;
    assert!(saved > 50.0 && saved < 14.0 * 9.5, "{cloudy_always} {cloudy}");
}

#[test]
fn clocks_put_back_within_a_trip() {
    let changes = [
        ("first_evening = \"2026-10-09\"", "first_evening = \"2026-10-24\""),
        // runs dry in the second night, so that a time is told
        ("start = \"100 %\"", "start = \"90 %\""),
        ("record = \"", "# record = \""),
        ("when = \"sunset to sunrise\"", "when = \"18:00 to 08:00\""),
        ("rated = \"40 Ah\"", "rated = \"30 Ah\""),
    ];
    let path = plan("clocks", &changes);
    let trip = json(&["trip", &path, "--draws", "16"]);
    let text = run(&["trip", &path, "--draws", "16"]).out;
    let mut told = 0;
    for night in trip["nights"].as_array().unwrap() {
        let Some(time) = night["first_failure"]["time"].as_str() else { continue };
        let time: jiff::Timestamp = time.parse().unwrap();
        // until 01:00 UTC on 25 October the clock is an hour ahead, then not
        let back: jiff::Timestamp = "2026-10-25T01:00:00Z".parse().unwrap();
        let ahead = jiff::SignedDuration::from_hours(i64::from(time < back));
        let clock = jiff::tz::TimeZone::UTC.to_datetime(time + ahead);
        assert!(text.contains(&clock.strftime("%a %H:%M").to_string()), "{time}: {text}");
        told += 1;
    }
    assert!(told >= 2, "{trip}");
    // 18:00 to 08:00 lasts 15 hours in the night the clocks go back
    let hours = |evening: &str| {
        let computer = [
            ("first_evening = \"2026-10-09\"", evening),
            ("nights = 3", "nights = 1"),
            ("when = \"sunset to sunrise\"", "when = \"18:00 to 06:00\""),
            ("power = \"9 W ± 2 W\"\npeak", "power = \"0 W\"\n# peak"),
            ("power = \"14 W ± 2 W\"", "power = \"0 W\""),
            ("resistance = \"18 ohm\"", "power = \"0 W\""),
        ];
        let trip = json(&["trip", &plan("clocks-hours", &computer), "--draws", "16"]);
        number(&trip["nights"][0]["used_wh"]) / 8.0
    };
    close("the night before", hours("first_evening = \"2026-10-23\""), 12.0, 0.3);
    close("the night of the change", hours("first_evening = \"2026-10-24\""), 13.0, 0.3);
}

#[test]
fn polar_days_and_polar_nights_have_an_answer() {
    let far_north = |name: &str, evening: &str, weather: &str| {
        let changes = [
            ("latitude = \"56.9 N\"", "latitude = \"78.2 N\""),
            ("longitude = \"4.2 W\"", "longitude = \"15.6 E\""),
            ("zone = \"Europe/London\"", "zone = \"Europe/Oslo\""),
            ("first_evening = \"2026-10-09\"", evening),
            (SUN, weather),
            ("when = \"sunset to sunrise\"", "when = \"always\""),
        ];
        let path = plan(name, &changes);
        let ran = run(&["trip", &path, "--draws", "32"]);
        assert_eq!(ran.status, 0, "{}", ran.err);
        assert!(!ran.out.contains("NaN"), "{}", ran.out);
        (json(&["trip", &path, "--draws", "32"]), days(&path))
    };
    for weather in [SUN, "clearness = \"45 %\""] {
        let summer = "first_evening = \"2026-06-20\"";
        let (day, harvest) = far_north("polar-day", summer, weather);
        assert_eq!(number(&harvest[0]["sun_hours"]), 24.0);
        assert!(number(&harvest[0]["clear_wh"]) > 300.0, "{harvest:?}");
        assert!(number(&day["ledger"]["harvest_wh"]) > 0.0, "{day}");
        assert_eq!(number(&day["nights"][0]["dark_h"]), 0.0);
        let (night, harvest) = far_north("polar-night", "first_evening = \"2026-12-20\"", weather);
        assert_eq!((number(&harvest[0]["clear_wh"]), number(&harvest[0]["sun_hours"])), (0.0, 0.0));
        assert_eq!(number(&night["ledger"]["harvest_wh"]), 0.0);
        // dark for a day and a night: 31 W for 24 h are more than the pack holds
        assert_eq!(night["nights"][1]["carried"], false);
    }
}

#[test]
fn a_trips_days_on_a_screen_and_as_a_page() {
    let page = folder("planned-page").join("days.html");
    let path = plan("page", &[(SUN, "clearness = \"40 %\""), ("nights = 3", "nights = 14")]);
    let ran = run(&["harvest", &path, "--report", page.to_str().unwrap()]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    assert!(ran.out.lines().all(|line| line.chars().count() <= 80), "{}", ran.out);
    assert!(ran.out.contains("Hollands & Huget"), "a default is not told: {}", ran.out);
    let html = std::fs::read_to_string(&page).unwrap();
    check_self_contained(&html);
    assert!(!html.contains("NaN"));
}

#[test]
fn wrong_weather_is_answered_at_its_line() {
    #[track_caller]
    fn check(line: &str, instead: &str, says: &[&str]) {
        let path = plan("wrong", &[(line, instead)]);
        let ran = run(&["trip", &path, "--draws", "16"]);
        assert_eq!(ran.status, 2, "{instead:?} was taken: {}", ran.out);
        for part in says {
            assert!(ran.err.contains(part), "{instead:?}: {part:?} is missing in\n{}", ran.err);
        }
        let text = std::fs::read_to_string(&path).unwrap();
        let from = text.lines().position(|found| found.contains(instead.lines().next().unwrap()));
        let told = ran.err.split("plan.toml, line ").nth(1).unwrap_or("");
        let told = told.split([',', '\n']).next().unwrap();
        let found: usize = told.trim().parse().unwrap_or_else(|_| panic!("no line: {}", ran.err));
        let lines = from.unwrap() + 1..=from.unwrap() + instead.lines().count();
        assert!(lines.contains(&found) || lines.contains(&(found + 1)), "{lines:?}: {}", ran.err);
    }
    check(SUN, "cloud = \"40 %\"", &["sun", "clearness", "peak_sun_hours", "file"]);
    check(SUN, "sun = \"65 %\"\nclearness = \"40 %\"", &["write one of"]);
    check(SUN, "clearness = \"95 %\"", &["mean daily clearness", "0.95", "a clear day has"]);
    check(SUN, "clearness = { nov = \"40 %\" }", &["oct", "clearness.oct"]);
    check(SUN, "clearness = { octo = \"40 %\" }", &["octo", "did you mean `oct`"]);
    check(SUN, "clearness = \"40 % ± 90 %\"", &["spread"]);
    check(SUN, "peak_sun_hours = \"9 h\"", &["peak sun hours", "clear day"]);
    check(SUN, "peak_sun_hours = \"30 h\"", &["2.4 h"]);
    check(SUN, "sun = \"65 %\"\npersistence = \"99 %\"", &["95 %"]);
    check(SUN, "file = \"no-such-file.csv\"", &["no such file"]);
    let readme = reference("README.md").with_file_name("measured").join("README.md");
    check(SUN, &format!("file = \"{}\"", readme.display()), &["no weather file"]);
    check(FACING, "tilt = \"95°\"\nazimuth = \"180°\"", &["95", "0 to 90"]);
    check(FACING, "flat = true\nturned_every = \"2 h\"", &["one way", "`flat`", "`turned_every`"]);
    check(FACING, "turned_every = \"20 s\"", &["once a minute"]);
    check(FACING, "aims = [{ from = \"25:00\", flat = true }]", &["25:00", "08:00"]);
    check(FACING, "aims = []", &["no aim"]);
    check(
        PANEL,
        "panel = \"100 W\"\ndata_sheet = { max_power_voltage = \"18 V\" }",
        &["data_sheet"],
    );
    let impossible = "data_sheet = { max_power_voltage = \"18 V\", max_power_current = \"6.5 A\", \
                      open_circuit_voltage = \"21.8 V\", short_circuit_current = \"5.9 A\" }";
    check(PANEL, impossible, &["6.5"]);
    check(PANEL, "panel = \"100 W\"\ndirt = \"140 %\"", &["140"]);
    check("[rig.devices.camera]", "[rig.devices.camera]\nonly_when_clear = \"often\"", &["true"]);
}
