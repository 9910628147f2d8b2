//! Minutes from NREL's Measurement and Instrumentation Data Center: a table with named columns,
//! the time of day in standard time as hhmm without leading zeros, the day as year and day of the
//! year or as month/day/year. The file does not say where it was measured.

use jiff::ToSpan;
use jiff::civil::Date;

use super::{Draft, Layout, Reading, text};
use crate::Error;

const MISSING: [f64; 3] = [-7999.0, -99999.0, -9999.0];

/// Standard times that such tables name, and their hours ahead of UTC.
const CLOCKS: [(&str, f64); 6] =
    [("MST", -7.0), ("PST", -8.0), ("CST", -6.0), ("EST", -5.0), ("HST", -10.0), ("UTC", 0.0)];

struct Columns {
    year: Option<usize>,
    day_of_year: Option<usize>,
    date: Option<usize>,
    clock: usize,
    clock_h: f64,
    ghi: Option<usize>,
    dni: Option<usize>,
    dhi: Option<usize>,
    air: Option<usize>,
    humidity: Option<usize>,
    wind: Option<usize>,
}

/// Whether a header names a day, a standard time and light.
pub(super) fn is_header(line: &str) -> bool {
    columns(line).is_some_and(|c| c.date.or(c.day_of_year).is_some())
        && line.to_ascii_lowercase().contains("w/m^2")
}

fn columns(header: &str) -> Option<Columns> {
    let names: Vec<String> = header.split(',').map(|name| name.trim().to_lowercase()).collect();
    let exact = |wanted: &str| names.iter().position(|name| name == wanted);
    let starting = |begins: &[&str]| {
        begins.iter().find_map(|begin| names.iter().position(|name| name.starts_with(begin)))
    };
    let (clock, clock_h) =
        CLOCKS.iter().find_map(|(name, ahead)| Some((exact(&name.to_lowercase())?, *ahead)))?;
    Some(Columns {
        year: exact("year"),
        day_of_year: exact("doy"),
        date: starting(&["date (mm/dd/yyyy)"]),
        clock,
        clock_h,
        // Where there are several, the fixed instrument's, in its usual place.
        ghi: exact("global horiz (platform) [w/m^2]").or_else(|| starting(&["global horiz"])),
        dni: starting(&["direct normal", "direct n"]),
        dhi: starting(&["diffuse horiz", "diffuse"]),
        air: starting(&["air temperature", "dry bulb"]),
        humidity: starting(&["rel humidity", "relative humidity"]),
        wind: starting(&["avg wind speed"]),
    })
}

pub(super) fn read(file: &str) -> Result<Draft, Error> {
    let layout = Layout::Midc.name();
    let mut lines = file.lines();
    let columns = lines
        .next()
        .and_then(columns)
        .ok_or(Error::WeatherColumn { layout, column: "of standard time" })?;
    if columns.ghi.is_none() {
        return Err(Error::WeatherColumn { layout, column: "Global Horiz" });
    }
    let mut draft = Draft { clock_h: columns.clock_h, ..Draft::default() };
    for line in lines.filter(|line| !line.trim().is_empty()) {
        draft.rows += 1;
        match row(line, &columns) {
            Some(reading) => draft.readings.push(reading),
            None => draft.unreadable += 1,
        }
    }
    Ok(draft)
}

fn row(line: &str, columns: &Columns) -> Option<Reading> {
    let cells: Vec<&str> = line.split(',').collect();
    let cell = |column: Option<usize>| column.and_then(|at| cells.get(at).copied());
    let value = |column: Option<usize>| match cell(column) {
        Some(text) => text::value(text, &MISSING),
        None => Some(None),
    };
    let date = match cell(columns.date) {
        Some(date) => american_date(date)?,
        None => {
            let new_year = text::date(text::whole(cell(columns.year))?, 1, 1)?;
            new_year.checked_add((text::whole(cell(columns.day_of_year))? - 1).days()).ok()?
        }
    };
    let minutes = match cell(Some(columns.clock))?.split_once(':') {
        Some((hour, minute)) => 60 * text::whole(Some(hour))? + text::whole(Some(minute))?,
        None => {
            let hhmm = text::whole(cell(Some(columns.clock)))?;
            60 * (hhmm / 100) + hhmm % 100
        }
    };
    let (air_c, humidity) = (value(columns.air)?, value(columns.humidity)?);
    Some(Reading {
        start: text::instant(date, minutes, columns.clock_h)?,
        ghi_w_m2: value(columns.ghi)?,
        dni_w_m2: value(columns.dni)?,
        dhi_w_m2: value(columns.dhi)?,
        air_c,
        dew_point_c: air_c.zip(humidity).map(|(air, h)| crate::dew_point_c(air, h / 100.0)),
        wind_mps: value(columns.wind)?,
    })
}

/// A date like 10/18/2018.
pub(super) fn american_date(text: &str) -> Option<Date> {
    let mut parts = text.trim().split('/');
    let mut next = || text::whole(parts.next());
    let (month, day, year) = (next()?, next()?, next()?);
    text::date(year, month, day)
}
