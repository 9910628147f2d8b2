//! BSRN station-to-archive files (Koenig-Langlo et al. 2013, *BSRN — technical plan for data
//! management*).
//!
//! Logical records begin with a line like `*U0100`. Record 0001 tells month and year in its first
//! line, record 0004 the place (counted from the south pole and from 180° west) and the skyline,
//! record 0100 the minutes, two lines each.

use super::{Draft, Layout, Reading, text};
use crate::{Error, Horizon, Place};

/// Codes for "missing" of light and of temperature, humidity and pressure.
const MISSING: [f64; 4] = [-999.0, -99.9, -99.99, -99.0];

pub(super) fn read(file: &str) -> Result<Draft, Error> {
    let numbered: Vec<(usize, &str)> = (1..).zip(file.lines()).collect();
    let record = |number: &str| {
        let begins = numbered.iter().position(|(_, line)| {
            line.starts_with('*') && line.get(2..6).is_some_and(|found| found == number)
        })?;
        let rest = numbered.get(begins + 1..)?;
        let ends = rest.iter().position(|(_, line)| line.starts_with('*')).unwrap_or(rest.len());
        rest.get(..ends)
    };
    let need = |number, column| {
        record(number).ok_or(Error::WeatherColumn { layout: Layout::Bsrn.name(), column })
    };
    let unreadable = |(line, read): &(usize, &str), expected| Error::WeatherLine {
        line: *line,
        layout: Layout::Bsrn.name(),
        read: text::short(read),
        expected,
    };

    let head = need("0001", "record 0001 (station, month, year)")?;
    let first = head.first().copied().unwrap_or((1, ""));
    let words: Vec<&str> = first.1.split_whitespace().collect();
    let (Some(month), Some(year)) =
        (text::whole(words.get(1).copied()), text::whole(words.get(2).copied()))
    else {
        return Err(unreadable(&first, "the station's number, the month and the year"));
    };
    let mut draft = Draft { interval_s: Some(60.0), ..Draft::default() };
    if let Some(station) = record("0004") {
        let at = station.get(5).copied().unwrap_or((1, ""));
        let words: Vec<&str> = at.1.split_whitespace().collect();
        let number = |at: usize| text::number(words.get(at).copied());
        let (Some(from_pole), Some(from_date_line), Some(elevation_m)) =
            (number(0), number(1), number(2))
        else {
            return Err(unreadable(&at, "degrees from the south pole and from 180° west, height"));
        };
        draft.station = station
            .get(2)
            .map_or("", |(_, line)| line.split(',').next().unwrap_or(""))
            .trim()
            .to_owned();
        draft.place = Some(Place::new(from_pole - 90.0, from_date_line - 180.0, elevation_m)?);
        draft.horizon = skyline(station.get(7..).unwrap_or(&[]))?;
    }
    let minutes = need("0100", "record 0100 (the minutes)")?;
    for pair in minutes.chunks(2) {
        draft.rows += 1;
        let lines = (pair.first().map_or("", |l| l.1), pair.get(1).map_or("", |l| l.1));
        match minute(lines, year, month) {
            Some(reading) => draft.readings.push(reading),
            None => draft.unreadable += 1,
        }
    }
    Ok(draft)
}

/// Pairs of azimuth and altitude up to the first −1.
fn skyline(lines: &[(usize, &str)]) -> Result<Horizon, Error> {
    let numbers: Vec<f64> = lines
        .iter()
        .flat_map(|(_, line)| line.split_whitespace())
        .map_while(|word| word.parse().ok())
        .collect();
    let points: Vec<(f64, f64)> = numbers
        .chunks_exact(2)
        .filter_map(|pair| Some((*pair.first()?, *pair.get(1)?)))
        .filter(|(azimuth_deg, altitude_deg)| *azimuth_deg >= 0.0 && *altitude_deg >= 0.0)
        .collect();
    Horizon::new(&points)
}

/// Mean, spread, least and most of global and beam in the first line, of diffuse and long-wave in
/// the second, which ends with temperature, humidity and pressure.
fn minute((first, second): (&str, &str), year: i64, month: i64) -> Option<Reading> {
    let first: Vec<&str> = first.split_whitespace().collect();
    let second: Vec<&str> = second.split_whitespace().collect();
    let whole = |at: usize| text::whole(first.get(at).copied());
    let start = text::instant(text::date(year, month, whole(0)?)?, whole(1)?, 0.0)?;
    let value = |word: Option<&&str>| text::value(word?, &MISSING);
    let (air_c, humidity) = (value(second.get(8))?, value(second.get(9))?);
    Some(Reading {
        start,
        ghi_w_m2: value(first.get(2))?,
        dni_w_m2: value(first.get(6))?,
        dhi_w_m2: value(second.first())?,
        air_c,
        dew_point_c: air_c.zip(humidity).map(|(air, h)| crate::dew_point_c(air, h / 100.0)),
        wind_mps: None,
    })
}
