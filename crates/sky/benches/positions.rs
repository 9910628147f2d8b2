//! What a position, a night and a year of days cost, beside the bare series they rest on.

#![allow(clippy::unwrap_used)]

use divan::black_box;
use jiff::Timestamp;
use jiff::civil::Date;
use sky::{Aim, DailyClearness, Facing, Night, Place, Surroundings, Track, season};

fn main() {
    divan::main();
}

fn place() -> Place {
    Place::new(56.9, -4.2, 310.0).unwrap()
}

fn evening() -> Timestamp {
    "2026-10-09T18:00Z".parse().unwrap()
}

/// The bare series, for comparison.
#[divan::bench]
fn sun_by_the_full_series() -> f64 {
    sky::sun_at(&place(), black_box(evening())).unwrap().altitude_deg
}

/// The bare series, for comparison.
#[divan::bench]
fn moon_by_the_full_series() -> f64 {
    sky::moon_at(&place(), black_box(evening())).unwrap().altitude_deg
}

#[divan::bench]
fn sun_followed(bencher: divan::Bencher) {
    let track = Track::of_sun(&place(), evening(), 86_400.0).unwrap();
    bencher.bench_local(|| track.at(black_box(12_345.0)).up);
}

#[divan::bench]
fn night() -> f64 {
    Night::of(&place(), black_box(Date::constant(2026, 10, 9))).unwrap().dark_h
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn year_of_nights() -> usize {
    let around = Surroundings::at(place());
    season(&around, &Aim::Fixed(Facing::FLAT), Date::constant(2026, 1, 1), 365).unwrap().len()
}

#[divan::bench]
fn a_months_clouds_set_up() -> f64 {
    DailyClearness::of_mean(black_box(0.45), 0.75).unwrap().spread()
}
