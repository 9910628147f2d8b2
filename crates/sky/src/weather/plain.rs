//! Any other table with a heading: which column is which by the words in it, units too.
//!
//! Lines above the heading are passed over. Times are ISO ("2026-06-21T12:00Z", "2026-06-21 12:00")
//! or day.month.year, in one column or two; without an offset they count as UTC. A stamp is where
//! its stretch begins. Nothing is said of the place.

use csv::StringRecord;
use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;

use super::{Draft, Layout, Reading, text};
use crate::Error;

/// How far down a heading is looked for.
const HEADING_WITHIN: usize = 100;
const MISSING: [f64; 6] = [-999.0, -9999.0, -99.9, -999.9, -9999.9, -99999.0];

/// A column of numbers: which, and how to turn what is written into the reading's unit.
#[derive(Debug, Clone, Copy)]
struct Numbers {
    at: usize,
    scale: f64,
    shift: f64,
}

#[derive(Debug, Clone, Default)]
struct Columns {
    time: Vec<usize>,
    ghi: Option<Numbers>,
    dni: Option<Numbers>,
    dhi: Option<Numbers>,
    air: Option<Numbers>,
    dew_point: Option<Numbers>,
    humidity: Option<Numbers>,
    wind: Option<Numbers>,
}

/// Where the heading is and what separates its cells.
struct Heading {
    row: usize,
    delimiter: u8,
    columns: Columns,
}

/// Whether there is a heading with a time and the global irradiance.
pub(super) fn has_heading(file: &str) -> bool {
    heading(file).is_some()
}

fn heading(file: &str) -> Option<Heading> {
    [b';', b'\t', b','].into_iter().find_map(|delimiter| {
        let rows = table(file, delimiter).into_records().take(HEADING_WITHIN).enumerate();
        rows.filter_map(|(row, cells)| Some((row, columns(&cells.ok()?))))
            .find(|(_, columns)| !columns.time.is_empty() && columns.ghi.is_some())
            .map(|(row, columns)| Heading { row, delimiter, columns })
    })
}

fn table(file: &str, delimiter: u8) -> csv::Reader<&[u8]> {
    csv::ReaderBuilder::new()
        .has_headers(false)
        .delimiter(delimiter)
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(file.as_bytes())
}

fn columns(names: &StringRecord) -> Columns {
    let mut columns = Columns::default();
    for (at, name) in names.iter().enumerate() {
        let name = name.to_lowercase();
        let has = |words: &[&str]| words.iter().any(|word| name.contains(word));
        let light =
            || Some(Numbers { at, scale: if has(&["kw"]) { 1000.0 } else { 1.0 }, shift: 0.0 });
        if has(&["flag", "source", "uncert", "quality"]) {
            continue;
        }
        // The first column that fits a role keeps it; times add up ("date" and "time").
        if has(&["dni", "direct", "beam"]) {
            columns.dni = columns.dni.or_else(light);
        } else if has(&["dhi", "diffuse"]) {
            columns.dhi = columns.dhi.or_else(light);
        } else if has(&["ghi", "global", "shortwave", "short-wave", "solar radiation"]) {
            columns.ghi = columns.ghi.or_else(light);
        } else if has(&["dew"]) {
            columns.dew_point = columns.dew_point.or_else(|| Some(warmth(at, &name)));
        } else if has(&["temp", "dry-bulb", "dry bulb"]) {
            columns.air = columns.air.or_else(|| Some(warmth(at, &name)));
        } else if has(&["humid", "rh"]) {
            columns.humidity = columns.humidity.or(Some(Numbers { at, scale: 0.01, shift: 0.0 }));
        } else if has(&["wind"]) && !has(&["dir", "gust", "peak"]) {
            columns.wind = columns.wind.or_else(|| Some(wind(at, &name)));
        } else if has(&["time", "date", "utc", "stamp"]) && columns.time.len() < 2 {
            columns.time.push(at);
        }
    }
    columns
}

fn warmth(at: usize, name: &str) -> Numbers {
    if name.contains("°f") || name.contains("(f)") || name.contains("[f]") {
        Numbers { at, scale: 5.0 / 9.0, shift: -160.0 / 9.0 }
    } else if name.contains("(k)") || name.contains("[k]") {
        Numbers { at, scale: 1.0, shift: -273.15 }
    } else {
        Numbers { at, scale: 1.0, shift: 0.0 }
    }
}

fn wind(at: usize, name: &str) -> Numbers {
    let scale = if name.contains("km/h") || name.contains("kmh") {
        1.0 / 3.6
    } else if name.contains("mph") {
        0.447_04
    } else if name.contains("knot") || name.contains("(kt)") {
        1852.0 / 3600.0
    } else {
        1.0
    };
    Numbers { at, scale, shift: 0.0 }
}

pub(super) fn read(file: &str) -> Result<Draft, Error> {
    let heading = heading(file).ok_or(Error::WeatherColumn {
        layout: Layout::Table.name(),
        column: "of time and of global irradiance",
    })?;
    let mut draft = Draft::default();
    let rows = table(file, heading.delimiter).into_records().skip(heading.row + 1);
    for cells in rows {
        draft.rows += 1;
        match cells.ok().and_then(|cells| row(&cells, &heading)) {
            Some(reading) => draft.readings.push(reading),
            None => draft.unreadable += 1,
        }
    }
    Ok(draft)
}

fn row(cells: &StringRecord, heading: &Heading) -> Option<Reading> {
    let columns = &heading.columns;
    let value = |numbers: Option<Numbers>| {
        let Some(Numbers { at, scale, shift }) = numbers else { return Some(None) };
        let written = cells.get(at).unwrap_or("");
        let value = if heading.delimiter == b',' {
            text::value(written, &MISSING)
        } else {
            text::value(&written.replace(',', "."), &MISSING)
        };
        Some(value?.map(|value| scale * value + shift))
    };
    let time: Vec<&str> = columns.time.iter().filter_map(|at| cells.get(*at)).collect();
    let air_c = value(columns.air)?;
    let from_humidity = air_c
        .zip(value(columns.humidity)?)
        .map(|(air_c, humidity)| crate::dew_point_c(air_c, humidity));
    Some(Reading {
        start: instant(&time.join(" "))?,
        ghi_w_m2: value(columns.ghi)?,
        dni_w_m2: value(columns.dni)?,
        dhi_w_m2: value(columns.dhi)?,
        air_c,
        dew_point_c: value(columns.dew_point)?.or(from_humidity),
        wind_mps: value(columns.wind)?,
    })
}

fn instant(written: &str) -> Option<Timestamp> {
    let written = written.trim();
    if let Ok(at) = written.parse::<Timestamp>() {
        return Some(at);
    }
    let without_zone = written.parse::<DateTime>().ok().or_else(|| {
        ["%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H:%M", "%Y-%m-%d %H:%M"]
            .iter()
            .find_map(|format| DateTime::strptime(format, written).ok())
    })?;
    Some(without_zone.to_zoned_datetime(TimeZone::UTC).ok()?.timestamp())
}
