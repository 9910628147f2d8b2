//! EPW (*EnergyPlus Auxiliary Programs*, "Weather data format"): eight header lines, the first with
//! the place, then an hour a row, stamped with its end in standard time, hours 1 to 24. Each field
//! has its own code for "missing".

use super::{Draft, Layout, Reading, text};
use crate::Error;

const HEADER_LINES: usize = 8;
/// Columns by number, with the code from which on a value is missing.
const AIR: (usize, f64) = (6, 99.9);
const DEW_POINT: (usize, f64) = (7, 99.9);
const GHI: (usize, f64) = (13, 9999.0);
const DNI: (usize, f64) = (14, 9999.0);
const DHI: (usize, f64) = (15, 9999.0);
const WIND: (usize, f64) = (21, 999.0);

pub(super) fn read(file: &str) -> Result<Draft, Error> {
    let first = file.lines().next().unwrap_or("");
    let cells: Vec<&str> = first.split(',').collect();
    let cell = |at: usize| cells.get(at).copied();
    let unreadable = || Error::WeatherLine {
        line: 1,
        layout: Layout::Epw.name(),
        read: text::short(first),
        expected: "LOCATION, city, state, country, source, number, latitude, longitude, hours \
                   ahead of UTC, height",
    };
    let place = text::place(cell(6), cell(7), cell(9)).ok_or_else(unreadable)??;
    let clock_h = text::number(cell(8)).ok_or_else(unreadable)?;
    let mut draft = Draft {
        station: cell(1).unwrap_or("").trim().to_owned(),
        place: Some(place),
        clock_h,
        interval_s: Some(3600.0),
        typical: true,
        ..Draft::default()
    };
    for line in file.lines().skip(HEADER_LINES).filter(|line| !line.trim().is_empty()) {
        draft.rows += 1;
        match row(line, clock_h) {
            Some(reading) => draft.readings.push(reading),
            None => draft.unreadable += 1,
        }
    }
    Ok(draft)
}

fn row(line: &str, clock_h: f64) -> Option<Reading> {
    let cells: Vec<&str> = line.split(',').collect();
    let whole = |at: usize| text::whole(cells.get(at).copied());
    let value = |(at, missing): (usize, f64)| {
        let value = text::value(cells.get(at)?, &[])?;
        Some(value.filter(|value| *value < missing))
    };
    let date = text::date(whole(0)?, whole(1)?, whole(2)?)?;
    Some(Reading {
        start: text::instant(date, 60 * (whole(3)? - 1), clock_h)?,
        ghi_w_m2: value(GHI)?,
        dni_w_m2: value(DNI)?,
        dhi_w_m2: value(DHI)?,
        air_c: value(AIR)?,
        dew_point_c: value(DEW_POINT)?,
        wind_mps: value(WIND)?,
    })
}
