//! A year of one-minute steps of sun, plane, cell and panel, beside the bare series of the sun.

#![allow(clippy::unwrap_used)]

use jiff::Timestamp;
use sky::{Aim, AirTemperature, Cloud, Facing, Place, Steps, Surroundings, Track, light_on_panel};
use source::Panel;

const MINUTES: usize = 525_600;

fn main() {
    divan::main();
}

fn place() -> Place {
    Place::new(56.9, -4.2, 310.0).unwrap()
}

fn new_year() -> Timestamp {
    "2026-01-01T00:00Z".parse().unwrap()
}

#[divan::bench(sample_count = 10, sample_size = 1)]
fn year_of_panel_minutes() -> f64 {
    let around = Surroundings { air: AirTemperature::Constant(8.0), ..Surroundings::at(place()) };
    let aim = Aim::Fixed(Facing::new(40.0, 180.0).unwrap());
    let steps = Steps { start: new_year(), step_s: 60.0, count: MINUTES };
    let panel = Panel::rated(100.0, -0.004).unwrap();
    light_on_panel(&around, &aim, &Cloud::Clear, steps)
        .unwrap()
        .iter()
        .map(|light| panel.power_w(light.poa_effective_w_m2, light.cell_temp_c))
        .sum()
}

/// What the positions alone take.
#[divan::bench(sample_count = 10, sample_size = 1)]
fn year_of_sun_minutes() -> f64 {
    let sun = Track::of_sun(&place(), new_year(), 60.0 * MINUTES as f64).unwrap();
    (0..MINUTES).map(|minute| sun.at(60.0 * minute as f64).up).sum()
}
