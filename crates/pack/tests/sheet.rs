//! Packs from a data sheet's capacities by rate.
#![allow(clippy::unwrap_used)] // a test may

mod common;
use common::{close, json};
use pack::fit::{Rated, from_sheet};
use pack::{Chemistry, Load, PackError, Provenance, runtime};

fn table(rows: &[(f64, f64)]) -> Vec<Rated> {
    rows.iter().map(|&(hours, capacity_ah)| Rated { hours, capacity_ah }).collect()
}

// two wells have two numbers, a table four: what is left over is the sheet's own shape
const SHEET: f64 = 0.03;

#[test]
fn gives_the_sheets_capacities() {
    // of the usual shape, from memory of data sheets
    for (chemistry, rows) in [
        (Chemistry::Agm, [(20.0, 100.0), (10.0, 93.0), (5.0, 85.0), (1.0, 62.0)]),
        (Chemistry::Flooded, [(20.0, 225.0), (10.0, 200.0), (5.0, 180.0), (1.0, 120.0)]),
        (Chemistry::Gel, [(20.0, 60.0), (10.0, 54.0), (5.0, 48.0), (1.0, 33.0)]),
    ] {
        let pack = from_sheet("sheet", chemistry, &table(&rows)).unwrap();
        assert!((pack.rated_ah - rows[0].1).abs() < 1e-9);
        for (hours, capacity_ah) in rows {
            let run = runtime(&pack, Load::Current(capacity_ah / hours), 0.0, 10.5).unwrap();
            close(&format!("{chemistry} {hours} h"), run.delivered_ah, capacity_ah, SHEET);
        }
        let Provenance::Sheet { note } = &pack.provenance else { panic!() };
        assert!(note.contains("nothing of this battery was measured"));
    }
}

#[test]
fn lies_where_peukert_says_between_the_rows() {
    // Peukert's law `t = H (C/(I H))^n` makes the table; between its lines two wells and the law
    // differ little
    let cases = json("circuit/wells.json");
    for case in cases["peukert"]["cases"].as_array().unwrap() {
        let number = |key: &str| case[key].as_f64().unwrap();
        let (rated_ah, rated_h, n) = (number("rated_ah"), number("rated_h"), number("peukert"));
        // what is emptied in `hours` gives `C (hours/H)^(1 - 1/n)`
        let capacity_ah = |hours: f64| rated_ah * (hours / rated_h).powf(1.0 - 1.0 / n);
        let rows: Vec<(f64, f64)> =
            [20.0, 10.0, 5.0, 2.5].into_iter().map(|h| (h, capacity_ah(h))).collect();
        let pack = from_sheet("peukert", Chemistry::Agm, &table(&rows)).unwrap();
        let run = runtime(&pack, Load::Current(number("current_a")), 0.0, 10.5).unwrap();
        close(&case.to_string(), run.time_to_cutoff_s / 3600.0, number("hours"), 0.05);
    }
}

#[test]
fn refuses_what_is_no_sheet() {
    for (rows, word) in [
        (vec![], "two times"),
        (vec![(20.0, 100.0)], "two times"),
        (vec![(20.0, 100.0), (5.0, 110.0)], "gives less"),
        (vec![(20.0, 100.0), (20.0, 90.0)], "gives less"),
        (vec![(20.0, 100.0), (5.0, -3.0)], "-3"),
        (vec![(f64::NAN, 100.0), (5.0, 80.0)], "NaN"),
    ] {
        let error = from_sheet("sheet", Chemistry::Agm, &table(&rows)).unwrap_err();
        assert!(matches!(error, PackError::Record(_) | PackError::Value { .. }));
        assert!(error.to_string().contains(word), "{error}");
    }
}
