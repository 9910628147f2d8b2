//! A season at a glance: night by night, how long it is dark and what the day before gives.

use jiff::ToSpan;
use jiff::civil::Date;

use crate::light::{Cloud, Steps, Surroundings, light_on_panel};
use crate::{Aim, Error, Night};

/// Steps of a day's light, s: coarse, and good to 0.2 % of a day.
const STEP_S: f64 = 600.0;
const DAY_S: f64 = 86_400.0;

/// A night and the light of its date.
#[derive(Debug, Clone, PartialEq)]
pub struct SeasonNight {
    /// The evening's date.
    pub evening: Date,
    /// The night.
    pub night: Night,
    /// Clear-sky light on the panel's plane from the midnight before to the midnight within,
    /// local mean time; with the beam lessened by the cover.
    pub clear_wh_m2: f64,
}

/// The nights of so many evenings from the first.
///
/// # Errors
/// When the surroundings can't be or a date lies outside the years 1950 to 2100.
pub fn season(
    around: &Surroundings,
    aim: &Aim,
    first: Date,
    evenings: usize,
) -> Result<Vec<SeasonNight>, Error> {
    first
        .series(1.day())
        .take(evenings)
        .map(|evening| {
            let night = Night::behind(&around.place, &around.horizon, evening)?;
            let start = crate::time::later(night.start, -DAY_S / 2.0);
            let steps = Steps { start, step_s: STEP_S, count: (DAY_S / STEP_S) as usize };
            let lights = light_on_panel(around, aim, &Cloud::Clear, steps)?;
            let effective = lights.iter().map(|light| light.poa_effective_w_m2);
            let clear_wh_m2 = effective.sum::<f64>() * STEP_S / 3600.0;
            Ok(SeasonNight { evening, night, clear_wh_m2 })
        })
        .collect()
}
