//! Wall clock times turned into instants.

use jiff::civil::DateTime;
use jiff::tz::{AmbiguousOffset, Offset, TimeZone};

use crate::error::{ErrorKind, Trouble};

/// Zones change their offset at quarters of an hour.
const QUARTER_S: f64 = 900.0;

/// A zone a person named.
pub(crate) struct Zone(TimeZone);

/// The clock that a person names: "Europe/Riga", "+03:00", "UTC". None where there is none such.
#[must_use]
pub fn named_clock(name: &str) -> Option<TimeZone> {
    let name = name.trim();
    offset(name).map(TimeZone::fixed).or_else(|| TimeZone::get(name).ok())
}

impl Zone {
    /// As [`named_clock`].
    pub(crate) fn named(name: &str) -> Result<Zone, Trouble> {
        named_clock(name).map(Zone).ok_or_else(|| {
            let message = format!("{name:?} is no time zone");
            let help = "write a name such as \"Europe/Riga\" or an offset such as \"+03:00\"";
            Trouble::new(ErrorKind::Time, message, help)
        })
    }

    /// Seconds on the wall, in the order they were written, become seconds since 1970 in UTC.
    ///
    /// An hour that is told twice is taken the first time before, the second time after the
    /// clock was put back; an hour that the clock skips as if it had not skipped it.
    pub(crate) fn to_utc(&self, time_s: &mut [f64]) -> Result<(), Trouble> {
        let mut quarter = f64::NAN;
        let mut offsets = (0.0, 0.0);
        let mut before_s = f64::NEG_INFINITY;
        for time in time_s {
            let now = (*time / QUARTER_S).floor();
            if now != quarter {
                quarter = now;
                offsets = self.offsets(*time)?;
            }
            let (first_s, second_s) = (*time - offsets.0, *time - offsets.1);
            *time = if first_s < before_s && second_s >= before_s { second_s } else { first_s };
            before_s = *time;
        }
        Ok(())
    }

    /// The offset from UTC at a time on the wall, and the other one where it is told twice.
    fn offsets(&self, time_s: f64) -> Result<(f64, f64), Trouble> {
        let wall = wall(time_s).ok_or_else(|| {
            let message = "a date in the time column is beyond what calendars hold";
            Trouble::new(ErrorKind::Time, message, "check the order of day, month and year")
        })?;
        let seconds = |offset: Offset| f64::from(offset.seconds());
        Ok(match self.0.to_ambiguous_timestamp(wall).offset() {
            AmbiguousOffset::Unambiguous { offset } => (seconds(offset), seconds(offset)),
            AmbiguousOffset::Gap { before, .. } => (seconds(before), seconds(before)),
            AmbiguousOffset::Fold { before, after } => (seconds(before), seconds(after)),
        })
    }
}

fn offset(text: &str) -> Option<Offset> {
    let (sign, rest) = match text.as_bytes().first()? {
        b'+' => (1, text.get(1..)?),
        b'-' => (-1, text.get(1..)?),
        _ => return None,
    };
    let (hours, minutes) = rest.split_once(':').unwrap_or((rest, "0"));
    let (hours, minutes): (u8, u8) = (hours.parse().ok()?, minutes.parse().ok()?);
    let (hours, minutes) = (i32::from(hours), i32::from(minutes));
    Offset::from_seconds(sign * (hours * 3600 + minutes * 60)).ok()
}

/// The date and time of seconds on the wall since 1970.
pub(crate) fn wall(time_s: f64) -> Option<DateTime> {
    let instant = instant(time_s)?;
    Some(Offset::UTC.to_datetime(instant))
}

/// The instant of seconds in UTC since 1970, to the microsecond that a float of that size holds.
pub(crate) fn instant(time_s: f64) -> Option<jiff::Timestamp> {
    jiff::Timestamp::from_microsecond((time_s * 1e6).round() as i64).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hour_told_twice() {
        let zone = Zone::named("Europe/Riga").unwrap();
        let wall = |text: &str| {
            let wall: DateTime = text.parse().unwrap();
            Offset::UTC.to_timestamp(wall).unwrap().as_second() as f64
        };
        let mut times = [
            wall("2026-10-25T02:30"),
            wall("2026-10-25T03:30"),
            wall("2026-10-25T03:59"),
            wall("2026-10-25T03:00"),
            wall("2026-10-25T04:30"),
        ];
        zone.to_utc(&mut times).unwrap();
        let from_first: Vec<f64> = times.iter().map(|time| (time - times[0]) / 60.0).collect();
        assert_eq!(from_first, [0.0, 60.0, 89.0, 90.0, 180.0]);
        assert_eq!(instant(times[0]).unwrap().to_string(), "2026-10-24T23:30:00Z");
    }

    #[test]
    fn names() {
        assert!(Zone::named("+09:30").is_ok() && Zone::named("UTC").is_ok());
        assert_eq!(Zone::named("Nowhere/Land").err().unwrap().kind, ErrorKind::Time);
    }
}
