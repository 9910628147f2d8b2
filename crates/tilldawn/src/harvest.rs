//! `tilldawn harvest`.

use std::path::Path;
use std::process::ExitCode;

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::{Offset, TimeZone};
use plan::Plan;
use serde::Serialize;
use sky::weather::{Filled, Gaps, Weather};
use sky::{Aim, AirTemperature, Cloud, Place, Surroundings};
use trip::{DayHarvest, PlannedDay, Stand};

use crate::args;
use crate::output::{Failure, print, print_json, provenance, remark, write_file};

pub(crate) fn run(asked: &args::Harvest) -> Result<ExitCode, Failure> {
    match &asked.plan {
        Some(path) => planned(asked, &Plan::read(path)?),
        None => one_day(asked),
    }
}

/// The days of a plan.
fn planned(asked: &args::Harvest, plan: &Plan) -> Result<ExitCode, Failure> {
    let days = trip::planned_days(plan)?;
    if asked.json {
        print_json(&PlannedDocument { days: days.iter().map(DayDocument::of).collect() })?;
    } else {
        print(&report::planned_harvest_text(plan, &days))?;
    }
    if let Some(path) = &asked.report {
        let mut files = vec![plan.file.clone()];
        if let plan::Weather::File(file) = &plan.weather {
            files.push(file.path.display().to_string());
        }
        write_file(path, &report::planned_harvest_page(plan, &days, provenance(files, None)))?;
        remark(&format!("report written to {}", path.display()));
    }
    Ok(ExitCode::SUCCESS)
}

fn one_day(asked: &args::Harvest) -> Result<ExitCode, Failure> {
    let place = asked_place(asked)?;
    let weather = match &asked.weather {
        Some(path) => Some(read_weather(path, place)?),
        None => None,
    };
    let place = match (&weather, place) {
        (Some(weather), _) => weather.place,
        (None, Some(place)) => place,
        (None, None) => {
            return Err(missing("the place", "--latitude \"56.9 N\" --longitude \"4.2 W\""));
        }
    };
    let panel = source::Panel::rated(asked.panel, asked.coefficient)
        .map_err(|error| Failure::new("arguments", error.to_string()))?;
    let aim = asked.facing.aim()?.ok_or_else(|| {
        missing(
            "how the panel stands",
            "--tilt 45° --azimuth 180°, --flat or --turned-every \"2 h\"",
        )
    })?;
    let stand = Stand { around: asked.around(place), aim, panel: &panel };
    let (day, zone) = match &weather {
        Some(weather) => {
            let gaps = if asked.close_gaps { Gaps::Close } else { Gaps::Dark };
            let date = asked.date.map_or_else(|| only_date(weather), Ok)?;
            (stand.measured_day(date, weather, gaps)?, clock_of(weather))
        }
        None => {
            let date = asked.date.ok_or_else(|| missing("the date", "--date 2026-10-09"))?;
            let steps = match &asked.zone {
                Some(zone) => trip::clock_day(date, zone)?,
                None => trip::mean_day(date, &place)?,
            };
            let zone = asked.zone.clone().unwrap_or_else(|| place.hour_clock());
            (stand.day(date, steps, &Cloud::Clear)?, zone)
        }
    };
    let told =
        report::HarvestDay { stand: &stand, day: &day, zone: &zone, weather: weather.as_ref() };
    if asked.json {
        print_json(&Document::of(&day, weather.as_ref()))?;
    } else {
        print(&report::harvest_text(&told))?;
    }
    if let Some(path) = &asked.report {
        let files = asked.weather.iter().map(|file| file.display().to_string()).collect();
        write_file(path, &report::harvest_page(&told, provenance(files, None)))?;
        remark(&format!("report written to {}", path.display()));
    }
    Ok(ExitCode::SUCCESS)
}

fn missing(what: &str, right: &str) -> Failure {
    Failure::new("arguments", format!("{what} is missing; write {right}"))
}

fn asked_place(asked: &args::Harvest) -> Result<Option<Place>, Failure> {
    match (asked.latitude, asked.longitude) {
        (Some(latitude), Some(longitude)) => {
            Ok(Some(Place::new(latitude, longitude, asked.elevation.unwrap_or(0.0))?))
        }
        _ => Ok(None),
    }
}

pub(crate) fn read_weather(path: &Path, place: Option<Place>) -> Result<Weather, Failure> {
    let told = |what: String| Failure::new("weather", format!("{}: {what}", path.display()));
    let bytes = std::fs::read(path).map_err(|error| match error.kind() {
        std::io::ErrorKind::NotFound => told("there is no such file".to_owned()),
        _ => told(format!("can't be read: {error}")),
    })?;
    Weather::read(&bytes, place).map_err(|error| match error {
        sky::Error::WeatherPlace { .. } => told(format!(
            "{error}: --latitude \"56.9 N\" --longitude \"4.2 W\" --elevation \"430 m\""
        )),
        other => told(other.to_string()),
    })
}

fn only_date(weather: &Weather) -> Result<Date, Failure> {
    let dates = weather.dates();
    match dates.as_slice() {
        [one] => Ok(*one),
        [first, .., last] => Err(Failure::new(
            "arguments",
            format!(
                "the weather file has {} days, {first} to {last}; say which with --date {first}",
                dates.len()
            ),
        )),
        [] => Err(Failure::new("weather", "the weather file has no day")),
    }
}

/// The file's own clock.
fn clock_of(weather: &Weather) -> TimeZone {
    Offset::from_seconds((weather.clock_h * 3600.0).round() as i32)
        .map_or(TimeZone::UTC, Offset::to_time_zone)
}

impl args::Facing {
    /// None where nothing is said.
    pub(crate) fn aim(&self) -> Result<Option<Aim>, Failure> {
        if self.flat {
            return Ok(Some(Aim::Fixed(sky::Facing::FLAT)));
        }
        if let Some(every_s) = self.turned_every {
            if every_s < 60.0 {
                return Err(Failure::new(
                    "arguments",
                    "--turned-every is less than a minute; write it such as \"2 h\"",
                ));
            }
            return Ok(Some(Aim::Tracked { every_s }));
        }
        match (self.tilt, self.azimuth) {
            (None, None) => Ok(None),
            (Some(0.0), None) => Ok(Some(Aim::Fixed(sky::Facing::FLAT))),
            (Some(tilt_deg), Some(azimuth_deg)) => {
                Ok(Some(Aim::Fixed(sky::Facing::new(tilt_deg, azimuth_deg.rem_euclid(360.0))?)))
            }
            (Some(_), None) => Err(missing("where the panel faces", "--azimuth 180° (south)")),
            (None, Some(_)) => Err(missing("the panel's tilt", "--tilt 45°")),
        }
    }
}

impl args::Harvest {
    fn around(&self, place: Place) -> Surroundings {
        let usual = Surroundings::at(place);
        Surroundings {
            turbidity: self.light.turbidity.unwrap_or(usual.turbidity),
            albedo: self.light.albedo.unwrap_or(usual.albedo),
            air: self.air.map_or(usual.air, AirTemperature::Constant),
            wind_mps: self.wind.unwrap_or(usual.wind_mps),
            ..Surroundings::at(place)
        }
    }
}

#[derive(Serialize)]
struct PlannedDocument {
    days: Vec<DayDocument>,
}

/// One day of a plan, all panels together, before any controller.
#[derive(Serialize)]
struct DayDocument {
    date: Date,
    clear_wh: f64,
    panel_wh: f64,
    panel_low_wh: f64,
    panel_high_wh: f64,
    sun_hours: f64,
}

impl DayDocument {
    fn of(day: &PlannedDay) -> Self {
        let [panel_low_wh, panel_high_wh] = day.range_wh();
        Self {
            date: day.date,
            clear_wh: day.clear_wh.iter().sum(),
            panel_wh: day.usual_wh(),
            panel_low_wh,
            panel_high_wh,
            sun_hours: day.sun_h,
        }
    }
}

#[derive(Serialize)]
struct Document {
    date: Date,
    start: Timestamp,
    /// Light on the panel's plane, before its cover.
    poa_wh_per_m2: f64,
    /// The same behind its cover.
    poa_effective_wh_per_m2: f64,
    /// Light on the level.
    ghi_wh_per_m2: f64,
    /// Before any controller.
    panel_wh: f64,
    peak_w: f64,
    /// With the sun in sight.
    sun_hours: f64,
    /// Of full sun on the panel's plane.
    peak_sun_hours: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    weather: Option<WeatherDocument>,
}

#[derive(Serialize)]
struct WeatherDocument {
    layout: &'static str,
    station: String,
    latitude_deg: f64,
    longitude_deg: f64,
    elevation_m: f64,
    step_s: f64,
    steps: FilledDocument,
    notices: Vec<String>,
}

/// Where each sunlit step's light came from.
#[derive(Serialize)]
struct FilledDocument {
    as_read: usize,
    closed: usize,
    split: usize,
    dark: usize,
    air_held: usize,
}

impl From<Filled> for FilledDocument {
    fn from(filled: Filled) -> Self {
        let Filled { as_read, closed, split, dark, air_held } = filled;
        Self { as_read, closed, split, dark, air_held }
    }
}

impl Document {
    fn of(day: &DayHarvest, weather: Option<&Weather>) -> Self {
        Self {
            date: day.date,
            start: day.steps.start,
            poa_wh_per_m2: day.poa_wh_m2,
            poa_effective_wh_per_m2: day.poa_effective_wh_m2,
            ghi_wh_per_m2: day.level_wh_m2,
            panel_wh: day.panel_wh,
            peak_w: day.peak_w,
            sun_hours: day.sun_h,
            peak_sun_hours: day.peak_sun_h(),
            weather: weather.map(|weather| WeatherDocument {
                layout: weather.layout.name(),
                station: weather.station.clone(),
                latitude_deg: weather.place.latitude_deg(),
                longitude_deg: weather.place.longitude_deg(),
                elevation_m: weather.place.elevation_m(),
                step_s: weather.interval_s,
                steps: day.filled.unwrap_or_default().into(),
                notices: weather.findings.notices(),
            }),
        }
    }
}
