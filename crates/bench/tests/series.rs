//! What several records prove together, against the statistics of the set.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod common;

use bench::{
    Ageing, CapacityTest, Difference, Discharge, Instrument, Repeats, RunKind, Settings, measure,
};
use common::{assert_within, json, number, path};
use quantity::uncertainty::Verdict;
use record::{ReadOptions, Record, read_file};
use serde_json::Value;

fn record(file: &str) -> Record {
    let path = path(&format!("bench/series/logs/{file}"));
    read_file(std::path::Path::new(&path), &ReadOptions::default(), |_, _| {}).unwrap()
}

fn discharge(file: &str, accuracy: &str) -> Discharge {
    let instrument = Some(Instrument::read(accuracy).unwrap());
    let settings = Settings { instrument, ..Settings::default() };
    measure(&record(file), &settings).unwrap().remove(0).discharge.unwrap()
}

/// The series' own accuracy: "0.5 % of reading (limits, …)".
fn accuracy(series: &Value) -> String {
    series["instrument"].as_str().unwrap().split(" (").next().unwrap().to_owned()
}

fn repeats(series: &Value) -> Repeats {
    let files = series["files"].as_array().unwrap();
    let runs: Vec<Discharge> =
        files.iter().map(|file| discharge(file.as_str().unwrap(), &accuracy(series))).collect();
    Repeats::of_capacity(&runs.iter().collect::<Vec<_>>()).unwrap()
}

fn verdict(name: &Value) -> Verdict {
    [Verdict::Meets, Verdict::FallsShort, Verdict::NotSettled]
        .into_iter()
        .find(|verdict| verdict.name() == name)
        .unwrap()
}

#[test]
fn repeat_runs_and_labels() {
    let all = json("bench/series/series.json");
    for name in ["s1-tight", "s2-wide"] {
        let series = &all[name];
        let got = repeats(series);
        let tolerances = &series["tolerances"];
        assert_eq!(got.n, 5);
        assert_within(name, got.mean, number(series, "mean_ah"), number(tolerances, "mean_ah"));
        assert_within(
            name,
            got.spread.unwrap(),
            number(series, "s_ah"),
            number(tolerances, "s_ah"),
        );
        let u_95 = number(series, "U95_ah");
        assert_within(name, got.u_95, u_95, number(tolerances, "U95_relative") * u_95);
        // the interval holds what the meter cannot know
        let hidden = number(&series["hidden"], "mean_of_true_capacities_ah");
        assert_within(name, got.mean, hidden, got.u_95);

        let furthest = got.furthest.unwrap();
        let grubbs = &series["grubbs"];
        assert_eq!(series["files"][furthest.at], grubbs["file"], "{name}");
        assert_eq!(furthest.is_outlier(), grubbs["outlier"].as_bool().unwrap(), "{name}");
        let critical = number(grubbs, "critical_5_percent_two_sided");
        assert_within(name, furthest.critical, critical, 1e-6);

        for label in series["labels"].as_array().unwrap() {
            let claim = got.claim(number(label, "label_ah"));
            assert_eq!(claim.verdict, verdict(&label["verdict"]), "{name} {label}");
            let expected = label["more_runs_t"].as_u64();
            match (claim.more_runs, expected) {
                (None, None) => {}
                // mean and spread as read differ a little from those the reference had
                (Some(got), Some(expected)) => {
                    assert_within(
                        name,
                        got as f64,
                        expected as f64,
                        if expected > 0 { 2.0 } else { 0.0 },
                    );
                }
                _ => panic!("{name} {label}: {claim:?}"),
            }
        }
    }
}

#[test]
fn two_series_not_to_be_told_apart() {
    let all = json("bench/series/series.json");
    let expected = &all["s1-tight or s2-wide"];
    let (tight, wide) = (repeats(&all["s1-tight"]), repeats(&all["s2-wide"]));
    for (same_meter, key) in [(true, "same_meter"), (false, "different_meters")] {
        let got = Difference::of(&tight, &wide, same_meter);
        assert_within(key, got.difference, number(expected, "difference_ah"), 0.01);
        let u_95 = number(&expected[key], "U95_ah");
        // as for the interval of one series
        assert_within(key, got.u_95, u_95, 0.12 * u_95);
        assert!(!got.told_apart());
    }
}

#[test]
fn ageing() {
    let all = json("bench/series/series.json");
    let series = &all["s3-years"];
    let tests: Vec<CapacityTest> = series["files"]
        .as_array()
        .unwrap()
        .iter()
        .map(|file| {
            let record = record(file.as_str().unwrap());
            let run = measure(&record, &Settings::default()).unwrap().remove(0);
            let cycles = record.about.iter().find(|(name, _)| name == "cycles");
            CapacityTest {
                at: run.start.unwrap(),
                cycles: Some(cycles.unwrap().1.parse().unwrap()),
                capacity_ah: run.discharge.unwrap().capacity_ah,
            }
        })
        .collect();
    let got = Ageing::of(&tests).unwrap();
    let slope = number(series, "slope_ah_per_year");
    let relative = number(&series["tolerances"], "slope_relative");
    assert_within("slope", got.by_year.slope_ah, slope, relative * slope.abs());
    assert_within(
        "slope's interval",
        got.by_year.slope_u_ah,
        number(series, "slope_u95_ah_per_year"),
        0.01,
    );
    let by_cycle = got.by_cycle.unwrap();
    let per_100 = number(series, "per_100_cycles_ah");
    assert_within("per cycle", 100.0 * by_cycle.slope_ah, per_100, relative * per_100.abs());
    for level in series["at"].as_array().unwrap() {
        let reach = got.reaches(number(level, "level_ah")).unwrap();
        for (date, key) in
            [(Some(reach.date), "date"), (reach.earliest, "date_low"), (reach.latest, "date_high")]
        {
            let expected: jiff::civil::Date = level[key].as_str().unwrap().parse().unwrap();
            let expected = expected.in_tz("UTC").unwrap().timestamp();
            let days = date.unwrap().duration_since(expected).as_secs_f64() / 86400.0;
            let tolerance = number(&level["tol_days"], key);
            assert!(days.abs() <= tolerance, "{key}: {days} days off, {tolerance} allowed");
        }
    }
}

#[test]
fn a_day_on_the_panel() {
    let all = json("bench/series/series.json");
    let expected = &all["s4-sunny-day"];
    let settings = Settings { panel_w: Some(number(expected, "panel_w")), ..Settings::default() };
    let runs = measure(&record("s4-sunny-day.csv"), &settings).unwrap();
    assert_eq!(runs.len(), 1);
    assert_eq!(runs[0].kind, RunKind::SolarRecharge);
    let got = runs[0].recharge.as_ref().unwrap();
    let solar = got.solar.unwrap();
    let tolerances = &expected["tolerances"];
    let close = |got: f64, key: &str, relative: &str| {
        let expected = number(expected, key);
        assert_within(key, got, expected, number(tolerances, relative) * expected);
    };
    close(got.charge_ah, "charged_ah", "charged_relative");
    close(got.energy_wh, "charged_wh", "charged_relative");
    close(solar.mean_power_w, "mean_power_w", "mean_power_relative");
    close(
        solar.mean_share_of_rating.unwrap(),
        "mean_power_over_panel_rating",
        "mean_power_relative",
    );
    let duration_s = number(expected, "duration_s");
    assert_within("span", solar.span_s, duration_s, number(tolerances, "duration_s"));
}
