//! SURFRAD and SOLRAD daily files (NOAA Global Monitoring Laboratory).
//!
//! Line 1 the station, line 2 latitude, longitude and height; then a row a minute: year, day of
//! year, month, day, hour, minute, decimal hour, zenith, and each value followed by its flag
//! (0 good). SURFRAD files give a longitude without sign that counts west.

use super::{Draft, Layout, Reading, text};
use crate::Error;

const MISSING: [f64; 1] = [-9999.9];
/// Rows of a SURFRAD file have the upwelling light after the global; those of SOLRAD do not, and
/// are shorter.
const SURFRAD_WORDS: usize = 48;

pub(super) fn read(file: &str) -> Result<Draft, Error> {
    let mut lines = file.lines();
    let station = lines.next().unwrap_or("").trim().to_owned();
    let header = lines.next().unwrap_or("");
    let words: Vec<&str> = header.split_whitespace().collect();
    let unreadable = || Error::WeatherLine {
        line: 2,
        layout: Layout::Surfrad.name(),
        read: text::short(header),
        expected: "latitude, longitude, height, then \"version\"",
    };
    // An unsigned longitude is a SURFRAD one, all of whose stations lie west of Greenwich; with a
    // sign comes the offset from UTC behind the height (SOLRAD), with none the word "m".
    let signed = words.get(3).is_none_or(|word| *word != "m");
    let west: String;
    let longitude = match words.get(1) {
        Some(word) if !signed && !word.starts_with(['-', '+']) => {
            west = format!("-{word}");
            Some(west.as_str())
        }
        other => other.copied(),
    };
    let place = text::place(words.first().copied(), longitude, words.get(2).copied())
        .ok_or_else(unreadable)??;
    let mut draft = Draft { station, place: Some(place), ..Draft::default() };
    for line in lines.filter(|line| !line.trim().is_empty()) {
        draft.rows += 1;
        match row(line) {
            Some((reading, doubtful)) => {
                draft.readings.push(reading);
                draft.doubtful += usize::from(doubtful);
            }
            None => draft.unreadable += 1,
        }
    }
    Ok(draft)
}

fn row(line: &str) -> Option<(Reading, bool)> {
    let words: Vec<&str> = line.split_whitespace().collect();
    let whole = |at: usize| text::whole(words.get(at).copied());
    let date = text::date(whole(0)?, whole(2)?, whole(3)?)?;
    let start = text::instant(date, 60 * whole(4)? + whole(5)?, 0.0)?;
    let mut doubtful = false;
    // A value and its flag. A value that is missing is flagged as well; that is no doubt.
    let mut flagged = |at: usize| {
        let value = text::value(words.get(at)?, &MISSING)?;
        doubtful |= value.is_some() && words.get(at + 1).is_some_and(|flag| *flag != "0");
        Some(value)
    };
    let full = words.len() >= SURFRAD_WORDS;
    let ghi_w_m2 = flagged(8)?;
    let (dni_w_m2, dhi_w_m2) =
        if full { (flagged(12)?, flagged(14)?) } else { (flagged(10)?, flagged(12)?) };
    let (air_c, humidity, wind_mps) =
        if full { (flagged(38)?, flagged(40)?, flagged(42)?) } else { (None, None, None) };
    let dew_point_c = air_c.zip(humidity).map(|(air, h)| crate::dew_point_c(air, h / 100.0));
    Some((Reading { start, ghi_w_m2, dni_w_m2, dhi_w_m2, air_c, dew_point_c, wind_mps }, doubtful))
}
