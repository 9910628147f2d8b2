//! `[weather]`: what sky the days of the trip may have.

use std::path::{Path, PathBuf};

use jiff::civil::Date;
use quantity::{Given, Kind};
use sky::weather::WeatherDay;
use sky::{DailyClearness, LevelDay};

use crate::error::PlanError;
use crate::section::Section;
use crate::site::{COVERAGE_95, Dates, Site};

/// What sky the days of the trip may have. A day is that before its evening.
#[derive(Debug, Clone)]
pub enum Weather {
    /// A share of a clear day's harvest.
    Share(Sun),
    /// A mean clearness, and days spread about it; by evening.
    Clearness(Vec<ClearnessDay>),
    /// Days that were: those of the season in a file of hours.
    File(Box<FileDays>),
}

/// How much of a clear day's harvest arrives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sun {
    /// Mean share of the clear-sky harvest, over the days of the season.
    pub mean: f64,
    /// Standard deviation of that share from day to day; 0 where every day is like the mean.
    pub spread: f64,
    /// Correlation of one day with the next.
    pub persistence: f64,
}

/// One day of a trip and how clear it may be.
#[derive(Debug, Clone, PartialEq)]
pub struct ClearnessDay {
    /// Its light on the level.
    pub level: LevelDay,
    /// How often such days are how clear; none where the sun hardly rises.
    pub clearness: Option<DailyClearness>,
    /// Correlation of this day with the next, in the normal domain.
    pub persistence: f64,
}

/// Days of a weather file that the trip's days are drawn from.
#[derive(Debug, Clone)]
pub struct FileDays {
    /// The file.
    pub path: PathBuf,
    /// What it holds.
    pub weather: sky::weather::Weather,
    /// Whole days of the season, in the file's order.
    pub days: Vec<WeatherDay>,
    /// For each evening of the trip the days, by their place in `days`, that its day may be like.
    pub of_evening: Vec<Vec<usize>>,
}

/// Days of a file within so many of a date are of its season.
const SEASON_DAYS: i64 = 15;
/// Fewer days than this say nothing of weather.
const LEAST_DAYS: usize = 5;

/// What else the weather hangs on.
pub(crate) struct Around<'a> {
    pub(crate) site: &'a Site,
    pub(crate) dates: &'a Dates,
    pub(crate) folder: &'a Path,
    /// Whether anything hangs on the sky: a panel, a device that waits for a clear one.
    pub(crate) matters: bool,
}

pub(crate) fn read(
    section: Option<Section<'_>>,
    around: &Around<'_>,
    defaults: &mut Vec<String>,
) -> Result<Weather, PlanError> {
    let Some(mut section) = section else {
        if around.matters {
            defaults.push("weather.sun = \"100 %\" (every day clear)".to_owned());
        }
        let persistence = sky::DAY_TO_DAY;
        return Ok(Weather::Share(Sun { mean: 1.0, spread: 0.0, persistence }));
    };
    const KINDS: [&str; 4] = ["sun", "clearness", "peak_sun_hours", "file"];
    let written: Vec<&str> = KINDS.into_iter().filter(|kind| section.has(kind)).collect();
    let weather = match written.as_slice() {
        ["sun"] => Weather::Share(read_sun(&mut section, defaults)?),
        ["clearness"] | ["peak_sun_hours"] => {
            Weather::Clearness(read_clearness(&mut section, around, defaults)?)
        }
        ["file"] => Weather::File(Box::new(read_file(&mut section, around, defaults)?)),
        [_, second, ..] => {
            return Err(section.error(
                second,
                format!("write one of {}, not several", KINDS.map(|k| format!("`{k}`")).join(", ")),
            ));
        }
        _ => {
            return Err(section.error_here(
                "nothing here says how much sun there is; write one of sun = \"65 % ± 40 %\" (of \
                 a clear day's harvest), clearness = \"45 %\", peak_sun_hours = \"2.4 h\", or \
                 file = \"hours.csv\"",
            ));
        }
    };
    section.finish()?;
    Ok(weather)
}

fn read_persistence(
    section: &mut Section<'_>,
    defaults: &mut Vec<String>,
) -> Result<f64, PlanError> {
    match section.maybe("persistence", Kind::Fraction)? {
        Some(kept) if kept <= 0.95 => Ok(kept),
        Some(_) => Err(section.error(
            "persistence",
            "one day's weather can't be so much like the last one's; at most \"95 %\"",
        )),
        None => {
            defaults.push(format!(
                "weather.persistence = \"{}\"",
                Kind::Fraction.show(sky::DAY_TO_DAY)
            ));
            Ok(sky::DAY_TO_DAY)
        }
    }
}

fn read_sun(section: &mut Section<'_>, defaults: &mut Vec<String>) -> Result<Sun, PlanError> {
    let given = section.given("sun", Kind::Fraction)?;
    let spread = given.plus_minus.unwrap_or(0.0) / COVERAGE_95;
    // a share between 0 and 1 can't spread wider than this, and a two-sided "±" is a rough guess
    // near the ends
    let widest = (given.value * (1.0 - given.value)).sqrt();
    if spread > 0.0 && spread >= widest {
        return Err(section.error(
            "sun",
            format!(
                "a share with mean {} can't spread so wide; at most about ± {}",
                Kind::Fraction.show(given.value),
                Kind::Fraction.show(widest * COVERAGE_95 * 0.95)
            ),
        ));
    }
    let persistence = read_persistence(section, defaults)?;
    Ok(Sun { mean: given.value, spread, persistence })
}

/// What a person knows of a month.
type Months = [Option<Given>; 12];

const MONTHS: [&str; 12] =
    ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"];

fn read_clearness(
    section: &mut Section<'_>,
    around: &Around<'_>,
    defaults: &mut Vec<String>,
) -> Result<Vec<ClearnessDay>, PlanError> {
    let hours = section.has("peak_sun_hours");
    let key = if hours { "peak_sun_hours" } else { "clearness" };
    let months = read_months(section, key, if hours { hours_of } else { share_of })?;
    let persistence = read_persistence(section, defaults)?;
    let place = &around.site.place;
    let level = |date: Date| -> Result<LevelDay, sky::Error> {
        LevelDay::from(place, place.mean_midnight(date)?, around.site.turbidity)
    };
    let mut days = Vec::new();
    let mut spread_told = false;
    for evening in around.dates.evenings() {
        let month = MONTHS[usize::from(evening.month().unsigned_abs() - 1)];
        let fault = |message: String| section.error(key, format!("{month}: {message}"));
        let Some(given) = months[usize::from(evening.month().unsigned_abs() - 1)] else {
            return Err(section
                .error(key, format!("the trip has days in {month}; write {key}.{month} too")));
        };
        let today = level(evening).map_err(|error| fault(error.to_string()))?;
        // where the sun hardly rises there is nothing to be shared out
        if today.clear_day() < 0.1 {
            days.push(ClearnessDay { level: today, clearness: None, persistence });
            continue;
        }
        let per_unit = if hours {
            // a month's mean hours are those of its middle
            let middle = evening.with().day(15).build().unwrap_or(evening);
            level(middle)
                .map_err(|error| fault(error.to_string()))?
                .clearness_of_peak_sun_hours(1.0)
        } else {
            1.0
        };
        let mean = given.value * per_unit;
        let clear_day = today.clear_day();
        let found = match given.plus_minus {
            Some(half) => {
                DailyClearness::of_mean_and_spread(mean, half * per_unit / COVERAGE_95, clear_day)
            }
            None => {
                spread_told = true;
                DailyClearness::of_mean(mean, clear_day)
            }
        };
        let clearness = found
            .and_then(|clearness| clearness.with_persistence(persistence))
            .map_err(|error| {
                let sun = 1e-3 * today.clear_wh_m2;
                fault(format!(
                    "{error}; on {evening} a clear day has a clearness of {clear_day:.2}, or {sun:.1} \
                     peak sun hours on the level"
                ))
            })?;
        days.push(ClearnessDay { level: today, clearness: Some(clearness), persistence });
    }
    if spread_told {
        defaults.push(format!(
            "the spread of days about weather.{key} as days of such a mean have it (Hollands & \
             Huget 1983)"
        ));
    }
    Ok(days)
}

fn share_of(text: &str) -> Result<Given, String> {
    Kind::Fraction.read_given(text).map_err(|error| error.to_string())
}

/// Hours of full sun, which on the level are kWh/m².
fn hours_of(text: &str) -> Result<Given, String> {
    let given = match text.trim().parse::<f64>() {
        Ok(hours) => Given { value: hours * 3600.0, plus_minus: None },
        Err(_) => Kind::Duration.read_given(text).map_err(|error| error.to_string())?,
    };
    let hours = Given {
        value: given.value / 3600.0,
        plus_minus: given.plus_minus.map(|half| half / 3600.0),
    };
    if (0.0..=14.0).contains(&hours.value) {
        Ok(hours)
    } else {
        Err(format!("{text:?} is no number of peak sun hours a day; write it such as \"2.4 h\""))
    }
}

/// One value for all months, or a table of months.
fn read_months(
    section: &mut Section<'_>,
    key: &'static str,
    read: fn(&str) -> Result<Given, String>,
) -> Result<Months, PlanError> {
    if !section.is_table(key) {
        let text = section.text(key, "\"45 %\"")?;
        let given = read(&text).map_err(|message| section.error(key, message))?;
        return Ok([Some(given); 12]);
    }
    let mut months = [None; 12];
    let mut table = section.section(key)?;
    for (month, given) in MONTHS.into_iter().zip(&mut months) {
        if let Some(text) = table.maybe_text(month)? {
            *given = Some(read(&text).map_err(|message| table.error(month, message))?);
        }
    }
    table.finish()?;
    Ok(months)
}

fn read_file(
    section: &mut Section<'_>,
    around: &Around<'_>,
    defaults: &mut Vec<String>,
) -> Result<FileDays, PlanError> {
    let path = around.folder.join(section.text("file", "\"hours.csv\"")?);
    let within_days = match section.maybe("season", Kind::Duration)? {
        Some(season_s) if (86_400.0..=183.0 * 86_400.0).contains(&season_s) => {
            (season_s / 86_400.0).round() as i64
        }
        Some(_) => {
            return Err(section.error(
                "season",
                "days of a file count as of the season within so many days of a date, 1 to 183; \
                 write it such as \"15 days\"",
            ));
        }
        None => {
            defaults.push(format!("weather.season = \"{SEASON_DAYS} days\""));
            SEASON_DAYS
        }
    };
    let fault = |message: String| section.error("file", format!("{}: {message}", path.display()));
    let bytes = std::fs::read(&path).map_err(|error| {
        fault(match error.kind() {
            std::io::ErrorKind::NotFound => "there is no such file".to_owned(),
            _ => format!("can't be read: {error}"),
        })
    })?;
    let weather = match sky::weather::Weather::read(&bytes, None) {
        Err(sky::Error::WeatherPlace { .. }) => {
            defaults
                .push("weather.file as measured at the site, since it names no place".to_owned());
            sky::weather::Weather::read(&bytes, Some(around.site.place))
        }
        read => read,
    };
    let weather = weather.map_err(|error| fault(error.to_string()))?;
    let evenings: Vec<Date> = around.dates.evenings().collect();
    let (Some(middle), Some(last)) = (evenings.get(evenings.len() / 2), evenings.last()) else {
        return Err(fault("the trip has no day".to_owned()));
    };
    let reach = within_days + (evenings.len() as i64).div_euclid(2) + 1;
    let days = weather
        .season(*middle, reach.unsigned_abs() as u16, around.site.turbidity)
        .map_err(|error| fault(error.to_string()))?;
    let near = |evening: &Date| -> Vec<usize> {
        let apart = |day: &WeatherDay| {
            let apart = (day.date.day_of_year() - evening.day_of_year()).abs();
            i64::from(apart.min(365 - apart))
        };
        let of_season = days.iter().enumerate().filter(|(_, day)| apart(day) <= within_days);
        of_season.map(|(at, _)| at).collect()
    };
    let of_evening: Vec<Vec<usize>> = evenings.iter().map(near).collect();
    if let Some((evening, found)) =
        evenings.iter().zip(&of_evening).find(|(_, found)| found.len() < LEAST_DAYS)
    {
        return Err(fault(format!(
            "has {} whole days within {within_days} days of {evening} (the trip ends on {last}); \
             at least {LEAST_DAYS} are needed to draw from",
            found.len()
        )));
    }
    Ok(FileDays { path, weather, days, of_evening })
}
