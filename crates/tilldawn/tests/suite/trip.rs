//! `tilldawn trip`.

use crate::support::{check_self_contained, close, folder, json, number, root, run};

const EXAMPLE: &str = "examples/heather-ridge.toml";

#[test]
fn the_example_night_by_night() {
    let trip = json(&["trip", EXAMPLE]);
    let nights = trip["nights"].as_array().unwrap();
    assert_eq!(nights.len(), 3);
    assert_eq!((&trip["draws"], &trip["seed"]), (&1000.into(), &1.into()));
    for night in nights {
        let [low, chance, high] =
            ["probability_low", "probability", "probability_high"].map(|key| number(&night[key]));
        assert!(0.0 <= low && low <= chance && chance <= high && high <= 1.0, "{night}");
        assert!(number(&night["soc_dawn"]) < number(&night["soc_dusk"]));
        assert_eq!(night["carried"] == true, night["first_failure"].is_null());
        let sunset: jiff::Timestamp = night["sunset"].as_str().unwrap().parse().unwrap();
        assert!(sunset < night["sunrise"].as_str().unwrap().parse().unwrap());
    }
    let first = &nights[0];
    assert!(first["carried"] == true && number(&first["probability"]) > 0.97, "{first}");
    assert_eq!(number(&first["harvest_wh"]), 0.0);

    let ledger = &trip["ledger"];
    let of = |key: &str| number(&ledger[key]);
    let moved = of("stored_start_wh") + of("harvest_wh");
    let out =
        ["stored_end_wh", "loads_wh", "cables_wh", "converters_wh", "battery_losses_wh", "cold_wh"]
            .map(of);
    close("ledger", out.iter().sum(), moved, 1e-9 * moved);
    close("imbalance", of("imbalance_wh"), 0.0, 1e-9 * moved);
    let used: f64 = nights.iter().map(|night| number(&night["used_wh"])).sum();
    close("used over the nights", used, of("loads_wh"), 1e-6 * moved);
}

#[test]
fn the_same_seed_gives_the_same_answer_on_any_number_of_threads() {
    let with_threads = |threads: &str| {
        let output = std::process::Command::new(env!("CARGO_BIN_EXE_tilldawn"))
            .args(["trip", EXAMPLE, "--json", "--draws", "100", "--seed", "7"])
            .env("RAYON_NUM_THREADS", threads)
            .current_dir(root())
            .output()
            .unwrap();
        String::from_utf8(output.stdout).unwrap()
    };
    let one = with_threads("1");
    assert_eq!(one, with_threads("3"));
    assert_ne!(
        one,
        serde_json::to_string_pretty(&json(&["trip", EXAMPLE, "--draws", "100"])).unwrap()
    );
}

#[test]
fn a_check_answers_with_the_exit_status() {
    let status = |wanted: &str| run(&["trip", EXAMPLE, "--draws", "200", "--check", wanted]).status;
    assert_eq!((status("0.95"), status("0.01")), (1, 0));
}

#[test]
fn tables_fit_a_terminal_and_the_page_stands_alone() {
    let page = folder("trip-page").join("trip.html");
    let ran = run(&["trip", EXAMPLE, "--report", page.to_str().unwrap()]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    assert!(ran.out.lines().all(|line| line.chars().count() <= 80), "{}", ran.out);
    let html = std::fs::read_to_string(&page).unwrap();
    check_self_contained(&html);
    assert!(!html.contains("NaN"), "a number that is none in the page");
    let left: Vec<_> = std::fs::read_dir(page.parent().unwrap()).unwrap().collect();
    assert_eq!(left.len(), 1, "half-written files are left: {left:?}");
}

#[test]
fn more_battery_is_never_worse() {
    let text = std::fs::read_to_string(root().join(EXAMPLE)).unwrap();
    let folder = folder("trip-size");
    let chances = [20.0, 40.0, 80.0].map(|ah| {
        let plan = text
            .replace("record = \"records/pack-one-discharge.csv\"\n", "")
            .replace("rated = \"40 Ah\"", &format!("rated = \"{ah} Ah\""));
        let path = folder.join(format!("{ah}.toml"));
        std::fs::write(&path, plan).unwrap();
        let trip = json(&["trip", path.to_str().unwrap(), "--draws", "300"]);
        trip["nights"]
            .as_array()
            .unwrap()
            .iter()
            .map(|night| number(&night["probability"]))
            .collect::<Vec<_>>()
    });
    for night in 0..3 {
        assert!(
            chances[0][night] <= chances[1][night] && chances[1][night] <= chances[2][night],
            "{chances:?}"
        );
    }
}

#[test]
fn fixes_are_ranked_by_what_they_do_for_the_weakest_night() {
    let trip = json(&["trip", EXAMPLE, "--draws", "100", "--fixes"]);
    let before =
        trip["nights"].as_array().unwrap().iter().map(|night| number(&night["probability"]));
    let before = before.fold(1.0, f64::min);
    let fixes = trip["fixes"].as_array().unwrap();
    assert!(fixes.len() >= 10, "{fixes:?}");
    for fix in fixes {
        let gain = number(&fix["weakest_night_probability"]) - before;
        close("gain", number(&fix["gain"]), gain, 1e-12);
        let (low, high) = (number(&fix["gain_low"]), number(&fix["gain_high"]));
        assert!(low <= gain + 1e-12 && gain - 1e-12 <= high, "{fix}");
    }
    assert_eq!(trip["currency"], "crowns");
    let of = |change: &str| {
        let found = fixes.iter().find(|fix| fix["change"].as_str().unwrap().contains(change));
        found.unwrap_or_else(|| panic!("no {change:?} in {fixes:#?}"))
    };
    for (change, kg, price) in [
        ("a second pack like pack one", 5.1, 240.0),
        ("one more panel", 7.6, 160.0),
        ("turn panel", 0.0, 0.0),
        ("stand panel at a tilt of", 0.0, 0.0),
        ("cutoff to 10.8 V instead of 11.5 V", 0.0, 0.0),
        ("run the camera half of the time", 0.0, 0.0),
    ] {
        let fix = of(change);
        assert_eq!((number(&fix["kg"]), number(&fix["price"])), (kg, price), "{fix}");
    }
    let converter = of("a converter to a steady 13.8 V for the");
    assert!(converter["kg"].is_null() && converter["price"].is_null(), "{converter}");
    // what people see of it
    let ran = run(&["trip", EXAMPLE, "--draws", "100", "--fixes"]);
    assert!(ran.out.lines().all(|line| line.chars().count() <= 80), "{}", ran.out);
    let text = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    let listed = fixes.iter().filter(|fix| fix["listed"] == true).count();
    assert!(listed >= 5 && listed < fixes.len(), "{listed} of {}", fixes.len());
    assert!(text.contains("240") && text.contains("crowns"), "{text}");
    assert!(text.contains(&format!("{} changes were tried", fixes.len())), "{text}");
    let gains: Vec<f64> = fixes.iter().map(|fix| number(&fix["gain"])).collect();
    assert!(gains.windows(2).all(|pair| pair[0] >= pair[1]), "{gains:?}");
    assert!(gains[0] > 0.2, "{gains:?}");
}

#[test]
fn draws_go_on_until_the_interval_is_narrow() {
    let trip = json(&["trip", EXAMPLE, "--draws", "100", "--within", "2.5 %"]);
    assert!(number(&trip["draws"]) > 1000.0);
    for night in trip["nights"].as_array().unwrap() {
        let width = number(&night["probability_high"]) - number(&night["probability_low"]);
        assert!(width <= 0.05, "{night}");
    }
}

#[test]
fn a_device_that_can_never_run_is_told_plainly() {
    let text = std::fs::read_to_string(root().join(EXAMPLE)).unwrap();
    let records = format!("{}/examples/records/", root().display());
    let path = folder("trip-never").join("plan.toml");
    let cases = [
        ("least_voltage = \"11.4 V\"", "least_voltage = \"24 V\"", "The mount needs at least 24 V"),
        ("power = \"9 W ± 2 W\"", "power = \"20 kW\"", "The mount asks for up to 20000 W"),
    ];
    for (usual, changed, why) in cases {
        let plan = text.replacen(usual, changed, 1).replace("records/", &records);
        assert_ne!(plan, text.replace("records/", &records));
        std::fs::write(&path, plan).unwrap();
        let ran = run(&["trip", path.to_str().unwrap(), "--draws", "32"]);
        assert_eq!(ran.status, 0, "{}", ran.err);
        let told = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
        for part in [why, "it can't run from it", "It does not last till dawn: no night"] {
            assert!(told.contains(part), "{part}: {}", ran.out);
        }
    }
}

/// Another pack beside the first carries further; packs of unequal voltage are warned of.
#[test]
fn unlike_packs_side_by_side() {
    let text = std::fs::read_to_string(root().join(EXAMPLE)).unwrap();
    let records = format!("{}/examples/records/", root().display());
    let folder = folder("trip-beside");
    let with = |beside: &str| {
        let plan = text.replace("[rig.branches.hub]", &format!("{beside}\n[rig.branches.hub]"));
        let path = folder.join("plan.toml");
        std::fs::write(&path, plan.replace("records/", &records)).unwrap();
        run(&["trip", path.to_str().unwrap(), "--draws", "100"])
    };
    let weakest = |out: &str| {
        let share = out.lines().find(|line| line.starts_with("Sun 11 Oct")).unwrap();
        share.split_whitespace().nth(4).unwrap().parse::<f64>().unwrap()
    };
    let alone = with("");
    let alike =
        with("[pack.beside.small]\nchemistry = \"LFP\"\nrated = \"12 Ah\"\nlead = \"3 mohm\"");
    assert!(weakest(&alike.out) > weakest(&alone.out) + 5.0, "{}\n{}", alone.out, alike.out);
    let unlike =
        with("[pack.beside.old]\nchemistry = \"AGM\"\nrated = \"40 Ah\"\nlead = \"3 mohm\"");
    assert!(!alike.out.contains("Unlike packs are joined: about 1"), "{}", alike.out);
    assert!(unlike.out.contains("Unlike packs are joined"), "{}", unlike.out);
    let wrong = with("[pack.beside.old]\nchemistry = \"AGM\"");
    assert_eq!(wrong.status, 2);
    assert!(wrong.err.contains("pack.beside.old") && wrong.err.contains("rated"), "{}", wrong.err);
}

/// A pack that lets itself be charged in frost is shouted about.
#[test]
fn a_charge_in_frost_is_shouted_about() {
    let text = std::fs::read_to_string(root().join(EXAMPLE)).unwrap();
    let records = format!("{}/examples/records/", root().display());
    let cold =
        text.replace("records/", &records).replace("night = \"3 °C ± 3 K\"", "night = \"-9 °C\"");
    let path = folder("trip-frost").join("plan.toml");
    let told = |plan: &str| {
        std::fs::write(&path, plan).unwrap();
        let ran = run(&["trip", path.to_str().unwrap(), "--draws", "16"]);
        ran.out.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    assert!(told(&cold).contains("refuses such a charge by itself; make sure"), "{}", told(&cold));
    let never = "[pack.protection]\nrefuses_frost = false\n[rig.branches.hub]";
    let shouted = told(&cold.replace("[rig.branches.hub]", never));
    assert!(shouted.contains("NOTHING IN THIS PLAN STOPS IT"), "{shouted}");
}

/// Who waits with the panel until the pack is warm is not shouted at, and harvests less.
#[test]
fn a_source_that_waits_for_a_warm_pack() {
    let text = std::fs::read_to_string(root().join(EXAMPLE)).unwrap();
    let records = format!("{}/examples/records/", root().display());
    let never = "[pack.protection]\nrefuses_frost = false\n[rig.branches.hub]";
    let cold = text
        .replace("records/", &records)
        .replace("night = \"3 °C ± 3 K\"", "night = \"-9 °C\"")
        .replace("day = \"11 °C ± 3 K\"", "day = \"3 °C\"")
        .replace("[rig.branches.hub]", never);
    let path = folder("trip-waits").join("plan.toml");
    let with = |more: &str| {
        let plan = cold.replace("[sources.panel]", &format!("[sources.panel]\n{more}"));
        std::fs::write(&path, plan).unwrap();
        run(&["trip", path.to_str().unwrap(), "--draws", "16"])
    };
    let harvest_wh = |charges_above: &str| {
        let plan = cold.replace("[sources.panel]", &format!("[sources.panel]\n{charges_above}"));
        std::fs::write(&path, plan).unwrap();
        let trip = json(&["trip", path.to_str().unwrap(), "--draws", "16"]);
        assert!(number(&trip["ledger"]["imbalance_wh"]).abs() < 1e-6);
        number(&trip["ledger"]["harvest_wh"])
    };
    let told = |out: &str| out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(told(&with("").out).contains("NOTHING IN THIS PLAN STOPS IT"));
    let waits = with("charges_above = \"0 °C\"");
    assert!(told(&waits.out).contains("leaves the sources unplugged"), "{}", waits.out);
    // waiting for less than the pack can bear does not help it
    let too_cold = with("charges_above = \"-5 °C\"");
    assert!(told(&too_cold.out).contains("NOTHING IN THIS PLAN STOPS IT"), "{}", too_cold.out);
    let harvests = ["", "charges_above = \"-5 °C\"", "charges_above = \"0 °C\""].map(harvest_wh);
    assert!(harvests.windows(2).all(|pair| pair[1] < pair[0] - 5.0), "{harvests:?}");
    assert!(harvests[2] > 5.0, "{harvests:?}");
    assert_eq!(harvest_wh("charges_above = \"30 °C\""), 0.0);
    let wrong = with("charges_above = \"2 V\"");
    assert_eq!(wrong.status, 2);
    assert!(wrong.err.contains("charges_above"), "{}", wrong.err);
}

/// A small pack and a camera on a thin wire, which browns out in the night.
fn camera_on_a_thin_wire(after: &str) -> String {
    format!(
        r#"format = 1
[site]
latitude = "56.9 N"
longitude = "4.2 W"
[trip]
first_evening = "2026-10-09"
[pack]
chemistry = "LFP"
rated = "30 Ah"
[rig.devices.camera]
power = "36 W"
connectors = "200 mohm"
least_voltage = "11.8 V"
when = "night"
{after}
"#
    )
}

/// A device that restarts hunts where its wire is thin: told in the table, as a caution and in
/// numbers; the night is lost all the same.
#[test]
fn a_device_that_restarts_after_a_brownout() {
    let folder = folder("trip-restarts");
    let write = |after: &str| {
        let path = folder.join("plan.toml");
        std::fs::write(&path, camera_on_a_thin_wire(after)).unwrap();
        path.to_str().unwrap().to_owned()
    };
    let trip = |after: &str| json(&["trip", &write(after), "--draws", "100"]);
    let night = |trip: &serde_json::Value| trip["nights"][0].clone();
    let stays = trip("");
    assert_eq!(night(&stays)["restarts"], serde_json::json!([]));
    assert_eq!(stays, trip("after_brownout = \"stays off\""));
    let hunts = trip("after_brownout = \"restarts\"");
    let restarts = &night(&hunts)["restarts"][0];
    assert_eq!(restarts["device"], "camera");
    let times = number(&restarts["times"]);
    assert!((3.0..=500.0).contains(&times), "{restarts}");
    // the first failure and the chance are the same, the charge that is left is less
    for key in ["first_failure", "probability", "soc_dusk"] {
        assert_eq!(night(&stays)[key], night(&hunts)[key], "{key}");
    }
    assert!(number(&night(&stays)["soc_dawn"]) > number(&night(&hunts)["soc_dawn"]) + 0.001);
    for trip in [&stays, &hunts] {
        close("imbalance", number(&trip["ledger"]["imbalance_wh"]), 0.0, 1e-9 * 400.0);
    }

    let ran = run(&["trip", &write("after_brownout = \"restarts\""), "--draws", "100"]);
    let told = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(told.contains("camera: voltage too low, restarts"), "{}", ran.out);
    assert!(told.contains("The camera hunts: in the typical trip it restarts"), "{}", ran.out);
    assert!(told.contains("a restart 0.5 V above its least voltage"), "{}", ran.out);
    assert!(ran.out.lines().all(|line| line.chars().count() <= 80), "{}", ran.out);
    let calm = run(&["trip", &write("after_brownout = \"restarts at 13.5 V\""), "--draws", "16"]);
    assert!(!calm.out.contains("hunts"), "{}", calm.out);

    for (after, about) in [
        ("after_brownout = \"reboots\"", "\"stays off\""),
        ("after_brownout = \"restarts at 11 V\"", "11.8 V"),
    ] {
        let wrong = run(&["trip", &write(after)]);
        assert_eq!(wrong.status, 2, "{}", wrong.out);
        assert!(wrong.err.contains("after_brownout") && wrong.err.contains(about), "{}", wrong.err);
        assert!(wrong.err.contains("line 15"), "{}", wrong.err);
    }
}

/// A lamp and a pack of 40 Ah, with what stands between them in the plan and after it.
fn lamp(folder: &str, pack: &str, rig: &str, sources: &str) -> String {
    let path = self::folder(folder).join("plan.toml");
    let plan = format!(
        r#"format = 1
[site]
latitude = "45 N"
longitude = "7 E"
[trip]
first_evening = "2026-10-09"
nights = 2
[pack]
rated = "40 Ah"
{pack}
{rig}
{sources}
"#
    );
    std::fs::write(&path, plan).unwrap();
    path.to_str().unwrap().to_owned()
}

/// Words of a trip without their line breaks.
fn told(plan: &str) -> String {
    let ran = run(&["trip", plan, "--draws", "16"]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    assert!(ran.out.lines().all(|line| line.chars().count() <= 80), "{}", ran.out);
    ran.out.split_whitespace().collect::<Vec<_>>().join(" ")
}

const LAMP: &str = "[rig.devices.lamp]\npower = \"10 W\"\nwhen = \"night\"";

/// A source whose voltage does not go with the pack's, on either side.
#[test]
fn a_source_that_does_not_fit_the_pack_is_told_plainly() {
    let with = |pack: &str, panel: &str, controller: &str| {
        let sources = format!(
            "[sources.roof]\npanel = \"50 W\"\nflat = true\n{panel}\ncontroller = {controller}"
        );
        told(&lamp("trip-misfit", pack, LAMP, &sources))
    };
    let (lfp, mppt) = ("chemistry = \"LFP\"", "{ kind = \"MPPT\", absorb = \"14.4 V\" }");
    let fits = with(lfp, "", mppt);
    for words in ["charges this pack", "fill this pack", "at most: it can", "step a voltage down"] {
        assert!(!fits.contains(words), "{words}: {fits}");
    }
    let eight = "chemistry = \"LFP\"\nin_series = 2";
    let never = with(eight, "", mppt);
    assert!(
        never.contains("\"roof\" never charges this pack: it gives no more than 14.4 V"),
        "{never}"
    );
    let down = with(eight, "", "{ kind = \"MPPT\", absorb = \"28.8 V\" }");
    assert!(
        down.contains("There are up to 28.8 V at this pack") && down.contains("(\"lamp\")"),
        "{down}"
    );
    assert!(!fits.contains("There are up to"), "{fits}");
    assert!(down.contains("The panel of \"roof\" works at 18 V, below the pack's 26"), "{down}");
    let half = with(lfp, "", "{ kind = \"MPPT\", absorb = \"13.15 V\" }");
    assert!(
        half.contains("\"roof\" does not fill this pack: it gives no more than 13.2 V"),
        "{half}"
    );
    let low = "max_power_voltage = \"9 V\"";
    let pwm = with(lfp, low, "{ kind = \"PWM\", absorb = \"14.4 V\" }");
    assert!(pwm.contains("through a PWM controller the panel must reach"), "{pwm}");
    let high = with("chemistry = \"NMC\"", "", mppt);
    assert!(
        high.contains("\"roof\" charges up to 14.4 V, but this battery is to be charged to"),
        "{high}"
    );
}

#[test]
fn a_plan_that_cannot_fail_is_told_plainly() {
    let (pack, nothing) =
        ("chemistry = \"LFP\"", "No device draws anything in any of these nights");
    for rig in [LAMP.replace("night", "never"), LAMP.replace("10 W", "0 W")] {
        let told = told(&lamp("trip-idle", pack, &rig, ""));
        assert!(told.contains(nothing), "{told}");
    }
    assert!(!told(&lamp("trip-idle", pack, LAMP, "")).contains(nothing));
    // what could not start is another matter
    let dead = told(&lamp("trip-idle", pack, &LAMP.replace("10 W", "20000 W"), ""));
    assert!(!dead.contains(nothing), "{dead}");
}

/// An inverter that has emptied the pack draws nothing more; the ledger once went on counting it,
/// at the expense of the cables.
#[test]
fn the_ledger_after_the_protection_has_opened() {
    let rig = r#"[rig.branches.mains]
cable = { length = "1 m", section = "10 mm²" }
inverter = { output = "230 V", idle = "8 W", rated = "300 W", efficiency = "88 %", least_input = "9 V" }
[rig.devices.lamp]
feed = "mains"
power = "60 W"
when = "night"
"#;
    let plan = lamp("trip-inverter", "chemistry = \"LFP\"", rig, "");
    let trip = json(&["trip", &plan, "--draws", "16"]);
    let cables_wh = number(&trip["ledger"]["cables_wh"]);
    // 2 × 1 m × 1.91 mΩ/m, some 6 A for 5 h: about 0.7 Wh
    assert!((0.1..2.0).contains(&cables_wh), "{}", trip["ledger"]);
}
