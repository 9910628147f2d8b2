//! A year of nights; the page is left in the target folder to be looked at.

#![allow(clippy::unwrap_used, reason = "a test")]

use std::path::Path;

use jiff::tz::TimeZone;
use report::page::Provenance;
use report::{Season, season_page, season_text};
use sky::{Aim, Facing, Place, Surroundings, season};

#[test]
fn a_year_of_nights() {
    let place = Place::new(56.9, -4.2, 430.0).unwrap();
    let aim = Aim::Fixed(Facing::new(45.0, 180.0).unwrap());
    let first = "2026-08-01".parse().unwrap();
    // every night costs some milliseconds unoptimised: three months are enough for the table
    let nights = season(&Surroundings::at(place), &aim, first, 100).unwrap();
    let zone = TimeZone::get("Europe/London").unwrap();
    let season = Season { site: "Heather Ridge", place: &place, zone: &zone, nights: &nights };
    let text = season_text(&season);
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    assert!(text.contains("One night a week"), "{text}");
    let rows = text.lines().filter(|line| line.contains(" 2026 ")).count();
    assert_eq!(rows, 1 + 15, "the caption and a row a week: {text}");
    let page = season_page(&season, Provenance::default());
    assert!(page.contains("longest moonless dark") && !page.contains("NaN"));
    std::fs::write(Path::new(env!("CARGO_TARGET_TMPDIR")).join("season.html"), page).unwrap();
}
