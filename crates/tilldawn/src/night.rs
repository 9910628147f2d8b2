//! `tilldawn night`.

use std::process::ExitCode;

use jiff::{Timestamp, tz::TimeZone};
use plan::Plan;
use serde::Serialize;
use sky::{Night, Place};

use crate::args;
use crate::night_season;
use crate::output::{Failure, print, print_json};

pub(crate) fn run(asked: &args::Night) -> Result<ExitCode, Failure> {
    let plan = asked.plan.as_deref().map(Plan::read).transpose()?;
    let place = match &plan {
        Some(plan) => plan.site.place,
        None => {
            let (latitude, longitude) =
                (asked.latitude.unwrap_or_default(), asked.longitude.unwrap_or_default());
            Place::new(latitude, longitude, asked.elevation)?
        }
    };
    let zone = asked.zone.clone().or_else(|| plan.as_ref().map(|plan| plan.site.zone.clone()));
    let planned = plan.as_ref().map(|plan| plan.dates.first_evening);
    let date = asked.date.or(planned).unwrap_or_else(|| today(zone.as_ref()));
    if asked.season {
        return night_season::run(asked, plan.as_ref(), place, date);
    }
    let skyline = plan.as_ref().map(|plan| plan.site.horizon.clone()).unwrap_or_default();
    let night = Night::behind(&place, &skyline, date)?;
    if asked.json {
        print_json(&Document::of(&night))?;
    } else {
        let site = plan.as_ref().map_or("", |plan| plan.site.name.as_str());
        print(&report::night_text(
            site,
            &place,
            &night,
            &zone.unwrap_or_else(|| place.hour_clock()),
        ))?;
    }
    Ok(ExitCode::SUCCESS)
}

/// Today's date by the clock that is asked for, or the machine's.
fn today(zone: Option<&TimeZone>) -> jiff::civil::Date {
    let zone = zone.cloned().unwrap_or_else(TimeZone::system);
    zone.to_datetime(Timestamp::now()).date()
}

/// Times are UTC; null where the event does not happen.
#[derive(Serialize)]
struct Document {
    sunset: Option<Timestamp>,
    civil_dusk: Option<Timestamp>,
    nautical_dusk: Option<Timestamp>,
    astronomical_dusk: Option<Timestamp>,
    astronomical_dawn: Option<Timestamp>,
    nautical_dawn: Option<Timestamp>,
    civil_dawn: Option<Timestamp>,
    sunrise: Option<Timestamp>,
    dark_h: f64,
    moonless_dark_h: f64,
    moon: Moon,
}

#[derive(Serialize)]
struct Moon {
    lit_fraction: f64,
    rise: Option<Timestamp>,
    set: Option<Timestamp>,
}

impl Document {
    fn of(night: &Night) -> Self {
        Document {
            sunset: night.sunset,
            civil_dusk: night.civil_dusk,
            nautical_dusk: night.nautical_dusk,
            astronomical_dusk: night.astronomical_dusk,
            astronomical_dawn: night.astronomical_dawn,
            nautical_dawn: night.nautical_dawn,
            civil_dawn: night.civil_dawn,
            sunrise: night.sunrise,
            dark_h: night.dark_h,
            moonless_dark_h: night.moon.moonless_dark_h,
            moon: Moon {
                lit_fraction: night.moon.lit_fraction,
                rise: night.moon.rise,
                set: night.moon.set,
            },
        }
    }
}
