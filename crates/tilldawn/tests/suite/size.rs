//! `tilldawn size`.

use serde_json::Value;

use crate::support::{check_self_contained, folder, json, number, root, run};

const SHOP: &str = r#"format = 1
currency = "crowns"
[packs.small]
chemistry = "LFP"
rated = "20 Ah"
mass = "2.4 kg"
price = 85
[packs.large]
chemistry = "LFP"
rated = "70 Ah"
mass = "7.7 kg"
price = 250
[panels.folding]
panel = "100 W"
mass = "2.9 kg"
price = 149
[controllers.tracking]
kind = "MPPT"
most_current = "15 A"
absorb = "14.4 V"
mass = "0.6 kg"
price = 89
"#;

/// A single night of the example and a catalogue, in a folder of their own.
fn files(name: &str, shop: &str) -> [String; 2] {
    let folder = folder(name);
    let plan = std::fs::read_to_string(root().join("examples/heather-ridge.toml"))
        .unwrap()
        .replace("records/", &format!("{}/examples/records/", root().display()))
        .replace("nights = 3", "nights = 2");
    let [plan_path, shop_path] = ["plan.toml", "shop.toml"].map(|file| folder.join(file));
    std::fs::write(&plan_path, plan).unwrap();
    std::fs::write(&shop_path, shop).unwrap();
    [plan_path, shop_path].map(|path| path.to_str().unwrap().to_owned())
}

fn sized(name: &str, shop: &str) -> Value {
    let [plan, shop] = files(name, shop);
    json(&["size", &plan, "--catalogue", &shop, "--draws", "200"])
}

#[test]
fn choices_carry_and_none_beats_another() {
    let found = sized("size-choices", SHOP);
    let choices = found["choices"].as_array().unwrap();
    assert!(!choices.is_empty(), "{found}");
    let of = |choice: &Value, key: &str| number(&choice[key]);
    for choice in choices {
        assert!(of(choice, "probability") >= number(&found["confidence"]), "{choice}");
        assert!(of(choice, "probability_low") <= of(choice, "probability"));
        assert!((0.0..=1.0).contains(&of(choice, "soc_dawn")), "{choice}");
        assert!((0.0..=1.0).contains(&of(choice, "spare_load")), "{choice}");
        let items = choice["items"].as_array().unwrap();
        let cost = |item: &Value| match item["item"].as_str().unwrap() {
            "small" => (2.4, 85.0),
            "large" => (7.7, 250.0),
            "folding" => (2.9, 149.0),
            _ => (0.6, 89.0),
        };
        let sum = items.iter().fold((0.0, 0.0), |sum, item| {
            let (count, cost) = (number(&item["count"]), cost(item));
            (sum.0 + count * cost.0, sum.1 + count * cost.1)
        });
        assert!((sum.0 - of(choice, "kg")).abs() < 1e-9 && sum.1 == of(choice, "price"));
    }
    for pair in choices.windows(2) {
        let (one, next) = (&pair[0], &pair[1]);
        assert!(of(one, "price") < of(next, "price") && of(one, "kg") > of(next, "kg"));
    }
    let count = |key: &str| found[key].as_u64().unwrap() as usize;
    // two kinds of pack, one or two of each; no panel, one or two, but two are too much for one
    // small pack
    assert_eq!(count("combinations"), 11);
    assert_eq!(choices.len() + count("rejected") + count("beaten"), 11);
    for miss in found["misses"].as_array().unwrap() {
        assert!(of(miss, "probability") < number(&found["confidence"]));
        let fails = &miss["fails_first"];
        assert!(fails["device"].is_string() && fails["cause"] == "brownout", "{miss}");
        assert!((0.0..0.9).contains(&of(fails, "soc")), "{miss}");
        assert!(of(fails, "soc") < of(fails, "soc_dusk"), "{miss}");
        assert!(
            ["copper", "voltage", "charge", "refill", "source"]
                .iter()
                .any(|lack| fails["lack"] == **lack)
        );
        let cheaper_than = miss["cheaper_than"].as_u64().map(|at| &choices[at as usize]);
        assert!(cheaper_than.is_none_or(|choice| of(miss, "price") < of(choice, "price")));
    }
}

/// The chance told is the one that the plan with these things in it gets from `trip`.
#[test]
fn the_chance_is_that_of_the_trip() {
    let pack = "format = 1\ncurrency = \"crowns\"\n[packs.only]\nchemistry = \"LFP\"\nrated = \"44 Ah\"\nmass = \"5 kg\"\nprice = 1\nmost = 1\n";
    let found = sized("size-trip", pack);
    let all = ["choices", "misses"].map(|key| found[key].as_array().unwrap().clone()).concat();
    let [only] = &all[..] else { panic!("{found}") };
    let [plan, _] = files("size-trip-plan", pack);
    let text = std::fs::read_to_string(&plan).unwrap();
    let record = text.lines().find(|line| line.starts_with("record")).unwrap();
    let text = text.replace(record, "").replace("rated = \"40 Ah\"", "rated = \"44 Ah\"");
    std::fs::write(&plan, text).unwrap();
    let trip = json(&["trip", &plan, "--draws", "200"]);
    let nights: Vec<f64> =
        trip["nights"].as_array().unwrap().iter().map(|n| number(&n["probability"])).collect();
    let told: Vec<f64> = only["nights"].as_array().unwrap().iter().map(number).collect();
    assert_eq!(told, nights);
}

#[test]
fn the_same_seed_gives_the_same_answer_on_any_number_of_threads() {
    let [plan, shop] = files("size-threads", SHOP);
    let with_threads = |threads: &str| {
        let output = std::process::Command::new(env!("CARGO_BIN_EXE_tilldawn"))
            .args(["size", &plan, "--catalogue", &shop, "--json", "--draws", "64"])
            .env("RAYON_NUM_THREADS", threads)
            .output()
            .unwrap();
        assert!(output.status.success());
        String::from_utf8(output.stdout).unwrap()
    };
    assert_eq!(with_threads("1"), with_threads("3"));
}

#[test]
fn tables_fit_a_terminal_and_the_page_stands_alone() {
    let [plan, shop] = files("size-page", SHOP);
    let page = folder("size-page-out").join("size.html");
    let report = page.to_str().unwrap();
    let ran = run(&["size", &plan, "--catalogue", &shop, "--draws", "64", "--report", report]);
    assert_eq!(ran.status, 0, "{}", ran.err);
    assert!(ran.out.lines().all(|line| line.chars().count() <= 80), "{}", ran.out);
    let text = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("Why others fail") && text.contains("crowns"), "{}", ran.out);
    assert!(
        text.contains("- Cheaper than 1: small (85 crowns, 2.4 kg): 0 % on the weakest"),
        "{text}"
    );
    assert!(text.contains("Load to spare: with all loads greater by this share"), "{text}");
    let html = std::fs::read_to_string(&page).unwrap();
    check_self_contained(&html);
    assert!(!html.contains("NaN"), "a number that is none in the page");
}

#[test]
fn where_nothing_carries_it_says_so_with_the_nearest_miss() {
    let shop = "format = 1\ncurrency = \"crowns\"\n[packs.tiny]\nchemistry = \"LFP\"\nrated = \"6 Ah\"\nmass = \"0.8 kg\"\nprice = 30\n";
    let [plan, shop] = files("size-nothing", shop);
    let words = ["size", &plan, "--catalogue", &shop, "--draws", "64"];
    let ran = run(&words);
    assert_eq!(ran.status, 0, "{}", ran.err);
    let text = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("Nothing in the catalogue carries every night with 90 %"), "{text}");
    assert!(text.contains("the nearest miss is 2 × tiny (60 crowns, 1.6 kg)"), "{text}");
    assert!(text.contains("Too small a pack for the first night. Mostly on"), "{text}");
    assert!(text.contains("The plan as it is carries its weakest night with"), "{text}");
    assert!(ran.out.lines().all(|line| line.chars().count() <= 80), "{}", ran.out);
    assert_eq!(json(&words)["choices"].as_array().unwrap().len(), 0);
}

/// Thin wires, and cables for sale: the user reads which run to lay with what.
#[test]
fn cables_are_told_run_by_run() {
    let cables = "format = 1\ncurrency = \"crowns\"\n[cables.\"twin 4\"]\nsection = \"4 mm²\"\nmass = \"0.12 kg\"\nprice = 2.6\n";
    let [plan, shop] = files("size-cables", cables);
    let text = std::fs::read_to_string(&plan).unwrap();
    let pack = "[pack]\nchemistry = \"AGM\"\nrated = \"90 Ah\"\n";
    let (before, rest) = text.split_once("[pack]").unwrap();
    let (_, rest) = rest.split_once("[rig.branches.hub]").unwrap();
    let (rest, _) = rest.split_once("[sources").unwrap();
    let thin = rest.replace("16 AWG", "24 AWG");
    std::fs::write(&plan, format!("{before}{pack}[rig.branches.hub]{thin}")).unwrap();
    let words = ["size", &plan, "--catalogue", &shop, "--draws", "200"];
    let found = json(&words);
    let choice = &found["choices"][0];
    let item = &choice["items"][0];
    assert_eq!((&item["item"], &item["to"]), (&"twin 4".into(), &"mount".into()), "{found}");
    assert_eq!((number(&item["section_mm2"]), number(&item["length_m"])), (4.0, 2.5));
    assert_eq!(number(&choice["price"]), 6.5);
    assert_eq!(found["as_it_is"]["fails_first"]["lack"], "copper");
    let ran = run(&words);
    let text = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("4 mm² to the mount (2.5 m of twin 4)"), "{text}");
    assert!(text.contains("Too thin cables, not too little charge"), "{text}");
}

/// Nobody is sent to the shop who has all that is needed.
#[test]
fn nothing_is_bought_where_nothing_is_needed() {
    let [plan, shop] = files("size-enough", SHOP);
    let text = std::fs::read_to_string(&plan).unwrap();
    let record = text.lines().find(|line| line.starts_with("record")).unwrap();
    let text = text.replace(record, "").replace("rated = \"40 Ah\"", "rated = \"140 Ah\"");
    std::fs::write(&plan, text).unwrap();
    let words = ["size", &plan, "--catalogue", &shop, "--draws", "64"];
    let ran = run(&words);
    assert!(ran.out.starts_with("Nothing need be bought: the plan as it is"), "{}", ran.out);
    let found = json(&words);
    assert_eq!(number(&found["as_it_is"]["probability"]), 1.0);
    assert_eq!(found["as_it_is"]["items"].as_array().unwrap().len(), 0);
}

#[track_caller]
fn check_wrong(line: &str, instead: &str, says: &str) {
    assert!(SHOP.contains(line));
    let text = SHOP.replacen(line, instead, 1);
    let [plan, shop] = files("size-wrong", &text);
    let ran = run(&["size", &plan, "--catalogue", &shop, "--json"]);
    assert_eq!(ran.status, 2, "{instead:?} was taken: {}", ran.out);
    assert!(ran.err.contains(says), "{instead:?}: {says:?} is missing in\n{}", ran.err);
    let document: Value = serde_json::from_str(&ran.out).unwrap();
    let found = document["error"]["line"].as_u64().unwrap();
    let wrong = instead.lines().last().unwrap();
    let expected = text.lines().position(|found| found == wrong).unwrap() as u64 + 1;
    assert_eq!(found, expected, "{}", ran.err);
    assert!(document["error"]["file"].as_str().unwrap().ends_with("shop.toml"));
}

#[test]
fn a_wrong_catalogue_is_answered_with_its_line() {
    check_wrong("mass = \"2.4 kg\"", "mass = \"2.4 km\"", "\"km\" is no unit of mass");
    check_wrong("price = 149", "price = \"dear\"", "\"dear\" is no price; write a plain number");
    check_wrong("rated = \"70 Ah\"", "rated = \"70 Ahh\"", "packs.large.rated");
    check_wrong("kind = \"MPPT\"", "kind = \"MTTP\"", "is no kind of controller");
    check_wrong("[panels.folding]", "[panel.folding]", "did you mean `panels`?");
    check_wrong("[packs.small]\n", "[packs.small]\nmosst = 2\n", "did you mean `most`?");
}
