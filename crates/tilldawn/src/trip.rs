//! `tilldawn trip`.

use std::process::ExitCode;

use jiff::Timestamp;
use plan::Plan;
use report::Mends;
use serde::Serialize;
use trip::{Cause, Fix, Forecast, Ledger, NightForecast, Settings, Shedding};

use crate::args;
use crate::output::{Failure, print, print_json, provenance, remark, write_file};
use crate::patience::{self, Patience};

pub(crate) fn run(asked: &args::Trip) -> Result<ExitCode, Failure> {
    let plan = Plan::read(&asked.plan)?;
    let settings = Settings { draws: asked.draws as usize, seed: asked.seed, within: asked.within };
    patience::listen();
    let forecast = {
        let mut patience = Patience::new("drawing {bar:40} {pos} trips, Ctrl-C to stop here");
        let most = asked.within.map_or(asked.draws, |_| trip::MOST_DRAWS as u64);
        trip::forecast(&plan, settings, |made| {
            patience.at(made as u64, Some(most));
            !patience::stopped()
        })?
    };
    let mended = if asked.fixes { Some(mend(&plan, &forecast, settings)?) } else { None };
    let mends =
        mended.as_ref().map(|(fixes, shedding)| Mends { fixes, shedding: shedding.as_ref() });
    if asked.json {
        print_json(&Document::of(&forecast, mends))?;
    } else {
        print(&report::trip_text(&plan, &forecast, mends))?;
    }
    let mut files = vec![plan.file.clone()];
    files.extend(plan.battery.record.iter().map(|record| record.display().to_string()));
    let provenance = provenance(files, Some(asked.seed));
    if let Some(path) = &asked.report {
        write_file(path, &report::trip_page(&plan, &forecast, mends, provenance.clone()))?;
        remark(&format!("report written to {}", path.display()));
    }
    if let Some(path) = &asked.card {
        write_file(path, &report::field_card(&plan, &forecast, mends, provenance))?;
        remark(&format!("card written to {}", path.display()));
    }
    let unsure = |wanted: f64| forecast.nights.iter().any(|night| night.chance.share < wanted);
    Ok(if asked.check.is_some_and(unsure) { ExitCode::from(1) } else { ExitCode::SUCCESS })
}

fn mend(
    plan: &Plan,
    forecast: &Forecast,
    settings: Settings,
) -> Result<(Vec<Fix>, Option<Shedding>), Failure> {
    // the changes are compared by the very same draws
    let settings = Settings { draws: forecast.draws, within: None, ..settings };
    let mut patience = Patience::new("trying {bar:40} {pos} of {len} changes, Ctrl-C to stop here");
    let fixes = trip::fixes(plan, forecast, settings, |done, of| {
        patience.at(done as u64, Some(of as u64));
        !patience::stopped()
    })?;
    Ok((fixes, trip::shedding(plan, forecast, settings)?))
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
    #[serde(skip_serializing_if = "Option::is_none")]
    fixes: Option<Vec<FixDocument<'a>>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    shedding: Option<SheddingDocument<'a>>,
}

#[derive(Serialize)]
struct FixDocument<'a> {
    change: &'a str,
    weakest_night_probability: f64,
    gain: f64,
}

#[derive(Serialize)]
struct SheddingDocument<'a> {
    steps: Vec<ShedDocument<'a>>,
    probabilities: Vec<f64>,
    enough: bool,
}

#[derive(Serialize)]
struct ShedDocument<'a> {
    device: &'a str,
    from: Option<String>,
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
    fn of(forecast: &'a Forecast, mends: Option<Mends<'a>>) -> Self {
        let fixes = mends.map(|mends| mends.fixes.iter().map(FixDocument::of).collect());
        let shedding = mends.and_then(|mends| mends.shedding).map(SheddingDocument::of);
        Document {
            fixes,
            shedding,
            nights: forecast.nights.iter().map(NightDocument::of).collect(),
            ledger: forecast.ledger,
            draws: forecast.draws,
            seed: forecast.settings.seed,
            trip_probability: forecast.trip.share,
            trip_probability_low: forecast.trip.low,
            trip_probability_high: forecast.trip.high,
        }
    }
}

impl<'a> FixDocument<'a> {
    fn of(fix: &'a Fix) -> Self {
        FixDocument {
            change: &fix.change,
            weakest_night_probability: fix.weakest(),
            gain: fix.gain,
        }
    }
}

impl<'a> SheddingDocument<'a> {
    fn of(shedding: &'a Shedding) -> Self {
        let step = |shed: &'a trip::Shed| ShedDocument {
            device: &shed.device,
            from: shed.from.map(|from| from.strftime("%H:%M").to_string()),
        };
        SheddingDocument {
            steps: shedding.steps.iter().map(step).collect(),
            probabilities: shedding.nights.iter().map(|chance| chance.share).collect(),
            enough: shedding.enough,
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
