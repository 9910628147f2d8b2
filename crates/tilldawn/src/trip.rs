//! `tilldawn trip`.

use std::process::ExitCode;

use jiff::Timestamp;
use plan::Plan;
use serde::Serialize;
use trip::{Cause, Forecast, Ledger, NightForecast, Settings};

use crate::args;
use crate::output::{Failure, print, print_json, provenance, remark, write_file};

pub(crate) fn run(asked: &args::Trip) -> Result<ExitCode, Failure> {
    let plan = Plan::read(&asked.plan)?;
    let settings = Settings { draws: asked.draws as usize, seed: asked.seed };
    let forecast = trip::forecast(&plan, settings)?;
    if asked.json {
        print_json(&Document::of(&forecast))?;
    } else {
        print(&report::trip_text(&plan, &forecast))?;
    }
    if let Some(path) = &asked.report {
        let mut files = vec![plan.file.clone()];
        files.extend(plan.battery.record.iter().map(|record| record.display().to_string()));
        write_file(
            path,
            &report::trip_page(&plan, &forecast, provenance(files, Some(asked.seed))),
        )?;
        remark(&format!("report written to {}", path.display()));
    }
    let unsure = |wanted: f64| forecast.nights.iter().any(|night| night.chance.share < wanted);
    Ok(if asked.check.is_some_and(unsure) { ExitCode::from(1) } else { ExitCode::SUCCESS })
}

#[derive(Serialize)]
struct Document<'a> {
    nights: Vec<NightDocument<'a>>,
    ledger: Ledger,
    draws: usize,
    seed: u64,
    trip_probability: f64,
    trip_probability_low: f64,
    trip_probability_high: f64,
}

#[derive(Serialize)]
struct NightDocument<'a> {
    evening: String,
    sunset: Option<Timestamp>,
    sunrise: Option<Timestamp>,
    dark_h: f64,
    carried: bool,
    probability: f64,
    probability_low: f64,
    probability_high: f64,
    soc_dusk: f64,
    soc_dawn: f64,
    used_wh: f64,
    harvest_wh: f64,
    least_voltage_v: Option<f64>,
    worst_device: Option<&'a str>,
    first_failure: Option<FailureDocument<'a>>,
}

#[derive(Serialize)]
struct FailureDocument<'a> {
    time: Timestamp,
    device: Option<&'a str>,
    cause: Cause,
}

impl<'a> Document<'a> {
    fn of(forecast: &'a Forecast) -> Self {
        Document {
            nights: forecast.nights.iter().map(NightDocument::of).collect(),
            ledger: forecast.ledger,
            draws: forecast.settings.draws,
            seed: forecast.settings.seed,
            trip_probability: forecast.trip.share,
            trip_probability_low: forecast.trip.low,
            trip_probability_high: forecast.trip.high,
        }
    }
}

impl<'a> NightDocument<'a> {
    fn of(night: &'a NightForecast) -> Self {
        NightDocument {
            evening: night.evening.to_string(),
            sunset: night.night.sunset,
            sunrise: night.night.sunrise,
            dark_h: night.night.dark_h,
            carried: night.carried,
            probability: night.chance.share,
            probability_low: night.chance.low,
            probability_high: night.chance.high,
            soc_dusk: night.soc_dusk,
            soc_dawn: night.soc_dawn,
            used_wh: night.used_wh,
            harvest_wh: night.harvest_wh,
            least_voltage_v: night.least_voltage_v,
            worst_device: night.worst_device.as_deref(),
            first_failure: night.first_failure.as_ref().map(|failure| FailureDocument {
                time: failure.time,
                device: failure.device.as_deref(),
                cause: failure.cause,
            }),
        }
    }
}
