//! What several records prove: repeats, years, packs side by side, a day on a panel.

use serde_json::Value;

use crate::support::{
    check_self_contained, close, folder, json, number, reference, reference_json, run,
};

fn log(name: &str) -> String {
    reference(&format!("bench/series/logs/{name}")).to_str().unwrap().to_owned()
}

fn logs(series: &Value) -> Vec<String> {
    series["files"].as_array().unwrap().iter().map(|name| log(name.as_str().unwrap())).collect()
}

/// "0.5 % of reading (limits, …)": "0.5 %".
fn accuracy(series: &Value) -> String {
    series["instrument"].as_str().unwrap().split(" of").next().unwrap().to_owned()
}

#[test]
fn repeats_and_what_they_say_of_the_label() {
    let all = reference_json("bench/series/series.json");
    for name in ["s1-tight", "s2-wide"] {
        let series = &all[name];
        let meter = accuracy(series);
        for label in series["labels"].as_array().unwrap() {
            let rated = format!("{} Ah", number(&label["label_ah"]));
            let mut words: Vec<String> = vec!["bench".into()];
            words.extend(logs(series));
            words.extend(["--rated".into(), rated.clone(), "--meter".into(), meter.clone()]);
            let document = json(&words);
            assert_eq!(document["runs"].as_array().unwrap().len(), 5);
            let summary = &document["summary"];
            let tolerances = &series["tolerances"];
            assert_eq!(summary["n"], 5);
            let mean_ah = number(&series["mean_ah"]);
            close(name, number(&summary["mean_ah"]), mean_ah, number(&tolerances["mean_ah"]));
            let u_ah = number(&series["U95_ah"]);
            let room_ah = number(&tolerances["U95_relative"]) * u_ah;
            close(name, number(&summary["u_ah"]), u_ah, room_ah);
            assert_eq!(summary["verdict"], label["verdict"], "{name} {rated}");
            match label["more_runs_t"].as_u64() {
                None => assert!(summary["more_runs"].is_null(), "{name} {rated}: {summary}"),
                // mean and spread as read differ a little from those the reference had
                Some(more) => close(&rated, number(&summary["more_runs"]), more as f64, 1.0),
            }
            let furthest = &summary["furthest"];
            let file = series["grubbs"]["file"].as_str().unwrap();
            assert!(furthest["file"].as_str().unwrap().ends_with(file), "{furthest}");
            assert_eq!(furthest["is_outlier"], series["grubbs"]["outlier"]);
        }
    }
}

#[test]
fn years_of_a_pack() {
    let series = &reference_json("bench/series/series.json")["s3-years"];
    let mut words: Vec<String> = vec!["ageing".into(), "--rated".into(), "40Ah".into()];
    words.extend(logs(series));
    let found = json(&words);
    check_years(&found, series);
    for (test, cycles) in
        found["tests"].as_array().unwrap().iter().zip(series["cycles"].as_array().unwrap())
    {
        close("cycles", number(&test["cycles"]), number(cycles), 0.0);
    }
    let relative = number(&series["tolerances"]["slope_relative"]);
    let per_100 = number(&series["per_100_cycles_ah"]);
    let slope_ah = 100.0 * number(&found["by_cycle"]["slope_ah"]);
    close("per 100 cycles", slope_ah, per_100, relative * per_100.abs());

    // the same from a file, in which one test was only written down
    let folder = folder("ageing");
    let file = folder.join("years.toml");
    let mut text = "format = 1\nrated = \"40 Ah\"\n".to_owned();
    for (at, path) in logs(series).iter().enumerate() {
        text.push_str(&format!("[tests.t{at}]\n"));
        if at == 2 {
            let capacity_ah = number(&series["capacities_ah"][at]);
            text.push_str(&format!("date = \"2024-04-06\"\ncapacity = \"{capacity_ah} Ah\"\n"));
        } else {
            text.push_str(&format!("record = {path:?}\n"));
        }
    }
    std::fs::write(&file, &text).unwrap();
    check_years(&json(&["ageing", file.to_str().unwrap()]), series);

    let page = folder.join("ageing.html");
    words.extend(["--report".into(), page.to_str().unwrap().into()]);
    let ran = run(&words);
    assert_eq!(ran.status, 0, "{}", ran.err);
    assert!(ran.out.contains("80 % of the label (32.0 Ah)"), "{}", ran.out);
    assert!(ran.out.lines().all(|line| line.chars().count() <= 80), "{}", ran.out);
    check_self_contained(&std::fs::read_to_string(page).unwrap());
}

fn check_years(found: &Value, series: &Value) {
    let slope_ah = number(&series["slope_ah_per_year"]);
    let room_ah = number(&series["tolerances"]["slope_relative"]) * slope_ah.abs();
    close("slope", number(&found["by_year"]["slope_ah"]), slope_ah, room_ah);
    for (expected, of) in
        series["at"].as_array().unwrap().iter().zip(["the first test", "the label"])
    {
        let reaches = found["reaches"].as_array().unwrap();
        let reach = reaches.iter().find(|reach| reach["of"] == of).unwrap();
        let dates = [
            ("date", "date", "date"),
            ("earliest", "date_low", "date_low"),
            ("latest", "date_high", "date_high"),
        ];
        for (key, date, room) in dates {
            let day = |text: &str| text.get(..10).unwrap().parse::<jiff::civil::Date>().unwrap();
            let got = day(reach[key].as_str().unwrap());
            let wanted = day(expected[date].as_str().unwrap());
            let days = got.since((jiff::Unit::Day, wanted)).unwrap().get_days();
            let room_days = number(&expected["tol_days"][room]);
            assert!(f64::from(days).abs() <= room_days, "{of} {key}: {got}, not {wanted}");
        }
    }
}

#[test]
fn too_few_tests_for_a_trend() {
    let ran = run(&["ageing", &log("s3-years-2023-04-10.csv"), "--json"]);
    assert_eq!(ran.status, 2, "{}", ran.out);
    // a record without a date
    let ran = run(&["ageing", &log("s1-tight-run-1.csv"), "--json"]);
    assert_eq!(ran.status, 2);
    let document: Value = serde_json::from_str(&ran.out).unwrap();
    assert!(document["error"]["help"].as_str().unwrap().contains("date ="), "{document}");
}

#[test]
fn packs_side_by_side() {
    let all = reference_json("bench/series/series.json");
    let [one, other] = ["s1-tight", "s2-wide"].map(|name| logs(&all[name]));
    let folder = folder("compare");
    let file = folder.join("packs.toml");
    let old = [log("s3-years-2025-11-01.csv"), log("s3-years-2026-05-02.csv")];
    let text = format!(
        "format = 1\nmeter = \"0.5 %\"\ncurrency = \"EUR\"\n\
         [packs.old]\nrecords = {old:?}\nmass = \"4.7 kg\"\n\
         [packs.heron]\nname = \"Heron 40\"\nrecords = {one:?}\nmass = \"5.1 kg\"\nprice = 289\n\
         volume = \"5.3 l\"\ncycles = 3000\nwarranty_years = 5\n\
         [packs.plover]\nname = \"Plover\"\nrecords = {other:?}\nmass = \"4.6 kg\"\nprice = 199\n"
    );
    std::fs::write(&file, &text).unwrap();
    let path = file.to_str().unwrap();
    let document = json(&["compare", path]);
    let packs = document["packs"].as_array().unwrap();
    let names: Vec<&str> = packs.iter().map(|pack| pack["name"].as_str().unwrap()).collect();
    assert_eq!(names[2], "old");
    // two series of one model of pack: not to be told apart
    assert_eq!(
        (&packs[0]["rank"], &packs[1]["rank"], &packs[2]["rank"]),
        (&1.into(), &1.into(), &3.into())
    );
    assert_eq!(packs[1]["behind"]["can_be_told_apart"], false);
    assert_eq!(packs[2]["behind"]["can_be_told_apart"], true);
    let heron = packs.iter().find(|pack| pack["name"] == "Heron 40").unwrap();
    let usable_wh = number(&heron["usable_wh"]);
    close("per kg", number(&heron["usable_wh_per_kg"]), usable_wh / 5.1, 1e-9);
    close("per litre", number(&heron["usable_wh_per_l"]), usable_wh / 5.3, 1e-9);
    close("of life", number(&heron["price_per_wh_of_life"]), 289.0 / (3000.0 * usable_wh), 1e-12);

    let page = folder.join("compare.html");
    let ran = run(&["compare", path, "--report", page.to_str().unwrap()]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let unbroken = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(unbroken.contains("can't be told apart by these tests"), "{}", ran.out);
    assert!(ran.out.lines().all(|line| line.chars().count() <= 80), "{}", ran.out);
    check_self_contained(&std::fs::read_to_string(page).unwrap());

    // an error points into the file
    std::fs::write(&file, text.replace("\"5.1 kg\"", "\"heavy\"")).unwrap();
    let ran = run(&["compare", path, "--json"]);
    assert_eq!(ran.status, 2);
    let document: Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(document["error"]["line"], 10, "{document}");
}

#[test]
fn a_day_on_a_panel() {
    let day = &reference_json("bench/series/series.json")["s4-sunny-day"];
    let path = log("s4-sunny-day.csv");
    let place =
        ["--latitude", "56.9 N", "--longitude", "4.2 W", "--tilt", "35°", "--azimuth", "180°"];
    let began = ["--began", "2026-06-06T06:30", "--clock", "Europe/London"];
    let mut words = vec!["bench", path.as_str(), "--panel", "100W"];
    words.extend(place);
    let ran = run(&[words.as_slice(), &["--json"]].concat());
    assert_eq!(ran.status, 2, "{}", ran.out);
    assert!(ran.err.contains("--began"), "{}", ran.err);
    words.extend(began);
    let document = json(&words);
    let found = &document["runs"][0];
    assert_eq!(found["kind"], "solar recharge");
    let relative = number(&day["tolerances"]["charged_relative"]);
    for (key, expected) in [("capacity_ah", "charged_ah"), ("energy_wh", "charged_wh")] {
        let expected = number(&day[expected]);
        close(key, number(&found[key]), expected, relative * expected);
    }
    let solar = &found["charge"]["solar"];
    let mean_w = number(&day["mean_power_w"]);
    let room_w = number(&day["tolerances"]["mean_power_relative"]) * mean_w;
    close("mean", number(&solar["mean_power_w"]), mean_w, room_w);
    let of_rating = number(&day["mean_power_over_panel_rating"]);
    close("of rating", number(&solar["mean_share_of_rating"]), of_rating, room_w / 100.0);
    // what the panel gives in those hours by the harvest of the same day is more than half of the day's
    let mut words = vec!["harvest", "--panel", "100W", "--date", "2026-06-06"];
    words.extend(place);
    let whole_wh = number(&json(&words)["panel_wh"]);
    let clear_wh = number(&solar["clear_sky_wh"]);
    assert!((0.5 * whole_wh..whole_wh).contains(&clear_wh), "{clear_wh} of {whole_wh}");
    let share = number(&found["energy_wh"]) / clear_wh;
    close("of a clear sky", number(&solar["share_of_clear_sky"]), share, 1e-12);
    // the plan's panel and site, by the plan's clock
    let words = ["bench", &path, "--plan", "examples/heather-ridge.toml", "--began", began[1]];
    let by_plan = json(&words);
    assert!(number(&by_plan["runs"][0]["charge"]["solar"]["clear_sky_wh"]) > 100.0);
}

#[test]
fn chargers_gear_and_warmth() {
    let path = reference("bench/logs/a14-recharge.csv").to_str().unwrap().to_owned();
    let of = |words: &[&str]| json(&[&["bench", path.as_str()], words].concat())["runs"][0].clone();
    let plain = of(&[]);
    let charge = &plain["charge"];
    let used_a = number(&charge["cc_current_a"]);
    let charged = of(&[
        "--charger",
        &format!("{} A", used_a * 1.2),
        "--other-charger",
        &format!("{} A", used_a / 2.0),
    ]);
    assert_eq!(charged["charge"]["charger"]["verdict"], "falls short");
    let half = &charged["charge"]["other_charger"];
    // half the current takes about twice as long up to the limit, and less after it
    let times = number(&half["duration_s"]) / number(&plain["duration_s"]);
    assert!((1.5..2.0).contains(&times), "{times}");

    let path = "examples/records/pack-one-discharge.csv";
    let ran = |words: &[&str]| json(&[&["bench", path], words].concat())["runs"][0].clone();
    let at_gear = ran(&["--lead", "2 m of 14 AWG", "--power", "25W"])["at_gear"].clone();
    let at_terminals = number(&ran(&[])["share_above_cutoff"]);
    assert!(number(&at_gear["share_above_cutoff"]) < at_terminals, "{at_gear}");
    // 512 Wh promised of 489.2 Wh
    let run = ran(&["--rated-wh", "512Wh"]);
    let share = number(&run["energy_wh"]) / 512.0;
    close("of the label", number(&run["share_of_label_energy"]), share, 1e-12);

    let cold = reference("bench/more/logs/c04-on-change.csv").to_str().unwrap().to_owned();
    let cold = &json(&["bench", &cold, "--chemistry", "AGM"])["runs"][0];
    if let Some(celsius) = cold["mean_temperature_c"].as_f64() {
        assert!(
            celsius < 15.0 && number(&cold["capacity_at_20_c_ah"]) > number(&cold["capacity_ah"])
        );
    }
}

#[test]
fn a_record_saved_gives_the_same() {
    let folder = folder("bench-save");
    let clean = folder.join("clean.csv");
    let log = reference("bench/logs/a02-semicolon-comma.csv").to_str().unwrap().to_owned();
    let before = json(&["bench", &log, "--save", clean.to_str().unwrap()]);
    let after = json(&["bench", clean.to_str().unwrap()]);
    for key in ["capacity_ah", "energy_wh", "duration_s"] {
        let value = number(&before["runs"][0][key]);
        close(key, number(&after["runs"][0][key]), value, 1e-4 * value);
    }
    let text = std::fs::read_to_string(&clean).unwrap();
    assert!(text.starts_with("Test Time / s,Voltage / V,Current / A"), "{text:.80}");
    let reading = std::fs::read_to_string(folder.join("clean.csv.reading.json")).unwrap();
    let reading: Value = serde_json::from_str(&reading).unwrap();
    assert_eq!(reading["columns"], before["runs"][0]["columns"]);
    let ran = run(&["bench", &log, &log, "--save", clean.to_str().unwrap()]);
    assert_eq!(ran.status, 2, "{}", ran.out);
}

#[test]
fn a_pack_file_overrules_columns() {
    let folder = folder("pack-reading");
    // two voltages: that of the pack stands second; the current is positive when it charges
    let discharge = std::fs::read_to_string(
        crate::support::root().join("examples/records/pack-one-discharge.csv"),
    )
    .unwrap();
    let rows = discharge.lines().skip(1).map(|line| {
        let cells: Vec<&str> = line.split(';').collect();
        format!("{},14.4,{},-{}\n", cells[0], cells[1], cells[2])
    });
    let heading = "time_s,panel_v,batt_v,current_a\n".to_owned();
    std::fs::write(folder.join("odd.csv"), rows.fold(heading, |text, row| text + &row)).unwrap();
    let file = folder.join("pack.toml");
    let pack = |record: &str, reading: &str| {
        std::fs::write(&file, format!("format = 1\n[pack]\nrated = \"40 Ah\"\nchemistry = \"LFP\"\nrecord = {record:?}\n{reading}")).unwrap();
        json(&["runtime", file.to_str().unwrap(), "--power", "30W"])
    };
    let plain = crate::support::root().join("examples/records/pack-one-discharge.csv");
    let expected = pack(plain.to_str().unwrap(), "");
    let got = pack("odd.csv", "[pack.reading]\nvoltage = \"batt_v\"\npositive = \"in\"\n");
    let key = "time_to_cutoff_s";
    close(key, number(&got[key]), number(&expected[key]), 1.0);
}
