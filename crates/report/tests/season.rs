//! A year of nights; the page is left in the target folder to be looked at.

#![allow(clippy::unwrap_used, reason = "a test")]

use std::path::Path;

use jiff::tz::TimeZone;
use report::page::Provenance;
use report::{Season, season_page, season_text};
use sky::{Aim, Facing, Place, Surroundings, season};
use trip::Per;

#[test]
fn a_year_of_nights() {
    let place = Place::new(56.9, -4.2, 430.0).unwrap();
    let aim = Aim::Fixed(Facing::new(45.0, 180.0).unwrap());
    let first = "2026-08-01".parse().unwrap();
    // every night costs some milliseconds unoptimised: three months are enough for the table
    let around = Surroundings::at(place);
    let nights = season(&around, &aim, first, 100).unwrap();
    let zone = TimeZone::get("Europe/London").unwrap();
    let season =
        Season { site: "Heather Ridge", around: &around, aim: &aim, nights: &nights, zone: &zone };
    for (per, rows) in [(Per::Month, 4), (Per::Week, 15)] {
        let text = season_text(&season, per);
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
        let rule = text.lines().position(|line| line.contains('─')).unwrap();
        let found = text.lines().skip(rule + 1).take_while(|line| !line.is_empty()).count();
        assert_eq!(found, rows, "{text}");
    }
    let page = season_page(&season, Provenance::default());
    assert!(page.contains("longest dark without the moon") && !page.contains("NaN"));
    std::fs::write(Path::new(env!("CARGO_TARGET_TMPDIR")).join("season.html"), page).unwrap();
}
