//! The 5-minute product of NOAA's Climate Reference Network: columns without a header, UTC and
//! local stamps that end their five minutes, global irradiance only.

use super::{Draft, Layout, Reading, text};
use crate::Error;

const MISSING: [f64; 4] = [-9999.0, -99999.0, -99.0, -999.0];
const INTERVAL_MIN: i64 = 5;

pub(super) fn read(file: &str) -> Result<Draft, Error> {
    let interval_s = Some(60.0 * INTERVAL_MIN as f64);
    let mut draft = Draft { interval_s, ..Draft::default() };
    for line in file.lines().filter(|line| !line.trim().is_empty()) {
        draft.rows += 1;
        let words: Vec<&str> = line.split_whitespace().collect();
        match row(&words) {
            Some((reading, doubtful)) => {
                draft.readings.push(reading);
                draft.doubtful += usize::from(doubtful);
            }
            None => draft.unreadable += 1,
        }
        if draft.place.is_none() {
            draft.station = words.first().map(|w| format!("station {w}")).unwrap_or_default();
            // The file does not tell the height; sea level until the caller knows better.
            let place = text::place(words.get(7).copied(), words.get(6).copied(), Some("0"));
            draft.place = place.and_then(Result::ok);
        }
    }
    if draft.place.is_none() {
        return Err(Error::WeatherPlace { layout: Layout::Crn.name() });
    }
    Ok(draft)
}

fn row(words: &[&str]) -> Option<(Reading, bool)> {
    let day = text::whole(words.get(1).copied())?;
    let time = text::whole(words.get(2).copied())?;
    let date = text::date(day / 10_000, day / 100 % 100, day % 100)?;
    let start = text::instant(date, 60 * (time / 100) + time % 100 - INTERVAL_MIN, 0.0)?;
    let value = |at: usize| text::value(words.get(at)?, &MISSING);
    let (air_c, ghi_w_m2, humidity) = (value(8)?, value(10)?, value(15)?);
    let doubtful = ghi_w_m2.is_some() && words.get(11).is_some_and(|flag| *flag != "0");
    let reading = Reading {
        start,
        ghi_w_m2,
        dni_w_m2: None,
        dhi_w_m2: None,
        air_c,
        dew_point_c: air_c.zip(humidity).map(|(air, h)| crate::dew_point_c(air, h / 100.0)),
        wind_mps: value(21)?,
    };
    Some((reading, doubtful))
}
