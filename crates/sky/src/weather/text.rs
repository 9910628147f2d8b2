//! Small readings of text that the layouts share.

use jiff::Timestamp;
use jiff::civil::{Date, DateTime};
use jiff::tz::{Offset, TimeZone};

use crate::{Error, Place};

/// A value, absent where its text is a code for "missing" (within a hair, for codes like −99.99).
///
/// `None` outside says that it is no number at all.
pub(super) fn value(text: &str, missing: &[f64]) -> Option<Option<f64>> {
    let text = text.trim();
    if text.is_empty() {
        return Some(None);
    }
    let number: f64 = text.parse().ok().filter(|number: &f64| number.is_finite())?;
    let absent = missing.iter().any(|code| (number - code).abs() < 1e-6 * code.abs().max(1.0));
    Some((!absent).then_some(number))
}

/// A number that must be there.
pub(super) fn number(text: Option<&str>) -> Option<f64> {
    text?.trim().parse().ok().filter(|number: &f64| number.is_finite())
}

/// A whole number that must be there, also written "3.0".
pub(super) fn whole(text: Option<&str>) -> Option<i64> {
    let number = number(text)?;
    (number.fract() == 0.0 && number.abs() < 1e9).then_some(number as i64)
}

/// Whether a word is a day like 20190101.
pub(super) fn is_day(word: &str) -> bool {
    word.len() == 8 && word.bytes().all(|byte| byte.is_ascii_digit())
}

/// The date of whole numbers, if there is one.
pub(super) fn date(year: i64, month: i64, day: i64) -> Option<Date> {
    Date::new(year.try_into().ok()?, month.try_into().ok()?, day.try_into().ok()?).ok()
}

/// The instant of minutes into a date (more than a day for "24:00") on a clock some hours ahead of
/// UTC.
pub(super) fn instant(date: Date, minutes: i64, clock_h: f64) -> Option<Timestamp> {
    let midnight: DateTime = date.at(0, 0, 0, 0);
    let offset = Offset::from_seconds((clock_h * 3600.0).round() as i32).ok()?;
    let zoned = midnight.to_zoned_datetime(TimeZone::fixed(offset)).ok()?;
    zoned.timestamp().checked_add(jiff::SignedDuration::from_mins(minutes)).ok()
}

/// A place from the numbers of a header.
pub(super) fn place(
    latitude: Option<&str>,
    longitude: Option<&str>,
    elevation: Option<&str>,
) -> Option<Result<Place, Error>> {
    Some(Place::new(number(latitude)?, number(longitude)?, number(elevation)?))
}

/// The beginning of a line, for a message.
pub(super) fn short(line: &str) -> String {
    const MOST: usize = 60;
    let line = line.trim();
    if line.chars().count() <= MOST {
        line.to_owned()
    } else {
        line.chars().take(MOST).chain("…".chars()).collect()
    }
}
