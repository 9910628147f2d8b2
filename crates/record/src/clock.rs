//! Times as instruments and people write them.

mod civil;

use quantity::Kind;

use crate::DateOrder;
use crate::number::{self, Marks, Number};

use civil::Text;
pub(crate) use civil::civil;

const DAY_S: f64 = 86_400.0;

/// Days from the spreadsheets' day 0 (1899-12-30) to 1970-01-01.
pub(crate) const SERIAL_EPOCH_DAYS: f64 = 25_569.0;

/// How the cells of a time column are written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Notation {
    /// A number of this many seconds each.
    Span { unit_s: f64 },
    /// The same since 1970-01-01 in UTC.
    Epoch { unit_s: f64 },
    /// Days since 1899-12-30, as spreadsheets count them.
    Serial,
    /// "h:mm" or "h:mm:ss".
    HoursMinutes,
    /// "m:ss".
    MinutesSeconds,
    /// "0d 00h 00m 05s", "2h30", "1.02:03:04", "3 days 01:30".
    Words,
    /// A date and a time of day.
    Civil { order: DateOrder, zoned: bool },
}

impl Notation {
    /// What it is called beside a column.
    pub(crate) fn name(self) -> &'static str {
        match self {
            Notation::Span { .. } => "number",
            Notation::Epoch { .. } => "since 1970",
            Notation::Serial => "spreadsheet days",
            Notation::HoursMinutes => "h:mm:ss",
            Notation::MinutesSeconds => "m:ss",
            Notation::Words => "days, hours, minutes, seconds",
            Notation::Civil { zoned: true, .. } => "date and time with zone",
            Notation::Civil { order: DateOrder::YearMonthDay, .. } => "year-month-day and time",
            Notation::Civil { order: DateOrder::DayMonthYear, .. } => "day.month.year and time",
            Notation::Civil { order: DateOrder::MonthDayYear, .. } => "month/day/year and time",
        }
    }

    /// Whether it tells the moment and not only the time since the start.
    pub(crate) fn is_absolute(self) -> bool {
        matches!(self, Notation::Epoch { .. } | Notation::Serial | Notation::Civil { .. })
    }

    /// Whether it shows a wall clock whose zone isn't told.
    pub(crate) fn is_wall_clock(self) -> bool {
        matches!(self, Notation::Serial | Notation::Civil { zoned: false, .. })
    }
}

/// A time read from a cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Moment {
    /// Seconds since the start, since midnight, or since 1970 (in UTC or on the wall).
    pub(crate) s: f64,
    /// The smallest step the way it is written can show (s).
    pub(crate) step_s: f64,
}

impl Moment {
    /// Of a number of this many seconds each.
    #[inline]
    pub(crate) fn of_number(number: Number, unit_s: f64) -> Moment {
        Moment { s: number.value * unit_s, step_s: unit_s * number::step(number.last_digit) }
    }
}

/// Reads a cell.
pub(crate) fn read(cell: &[u8], notation: Notation, marks: Marks) -> Option<Moment> {
    match notation {
        Notation::Span { unit_s } | Notation::Epoch { unit_s } => {
            let number = number::read(cell, marks)?;
            let unit_s = match cell.get(number.end..)?.trim_ascii_start() {
                [] => unit_s,
                unit => crate::unit::affine(Kind::Duration, std::str::from_utf8(unit).ok()?)?.scale,
            };
            Some(Moment {
                s: number.value * unit_s,
                step_s: unit_s * number::step(number.last_digit),
            })
        }
        Notation::Serial => {
            let number = number::read(cell, marks).filter(|number| number.end == cell.len())?;
            // dates are kept to about a millisecond; rounding takes the binary fraction off
            let s = (number.value - SERIAL_EPOCH_DAYS) * DAY_S;
            Some(Moment { s: (s * 1e3).round() / 1e3, step_s: 1e-3 })
        }
        Notation::HoursMinutes => colons(cell, false),
        Notation::MinutesSeconds => colons(cell, true),
        Notation::Words => words(cell),
        Notation::Civil { order, zoned } => {
            let (moment, offset_s) = civil(cell, order)?;
            match (zoned, offset_s) {
                (false, _) => Some(moment),
                (true, Some(offset_s)) => Some(Moment { s: moment.s - offset_s, ..moment }),
                (true, None) => None,
            }
        }
    }
}

/// "h:mm[:ss]" or "m:ss", perhaps with AM or PM.
fn colons(cell: &[u8], minutes_first: bool) -> Option<Moment> {
    let mut text = Text { rest: cell };
    let moment = text.time_of_day(minutes_first)?;
    text.rest.trim_ascii().is_empty().then_some(moment)
}

fn words(cell: &[u8]) -> Option<Moment> {
    let text = std::str::from_utf8(cell).ok()?.trim();
    // "3 days 01:30:00", "1d 02:03:04", "1.02:03:04"
    if let Some(colon) = text.find(':') {
        let hours_from = text[..colon].rfind(|c: char| !c.is_ascii_digit()).map_or(0, |at| at + 1);
        let (days, time) = (text.get(..hours_from)?, text.get(hours_from..)?);
        let moment = colons(time.as_bytes(), false)?;
        let days = days.trim().trim_end_matches(['.', ',', '+']).trim_end();
        let days = days.trim_end_matches(|c: char| c.is_alphabetic()).trim_end();
        let days: f64 = if days.is_empty() { 0.0 } else { days.parse::<u32>().ok()?.into() };
        return Some(Moment { s: days * DAY_S + moment.s, ..moment });
    }
    let s = Kind::Duration.read(text).ok()?;
    let lower = text.to_ascii_lowercase();
    let step_s = if lower.contains("ms") {
        1e-3
    } else if lower.contains('s') {
        1.0
    } else {
        60.0
    };
    Some(Moment { s, step_s })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn s(cell: &str, notation: Notation) -> Option<f64> {
        read(cell.as_bytes(), notation, Marks::POINT).map(|moment| moment.s)
    }

    #[test]
    fn spans() {
        for (cell, notation, expect) in [
            ("12.5", Notation::Span { unit_s: 60.0 }, 750.0),
            ("12.5 s", Notation::Span { unit_s: 60.0 }, 12.5),
            ("0:10", Notation::HoursMinutes, 600.0),
            ("25:00:05", Notation::HoursMinutes, 90_005.0),
            ("1:00:05.250", Notation::HoursMinutes, 3605.25),
            ("11:59:00 PM", Notation::HoursMinutes, 86_340.0),
            ("12:01 am", Notation::HoursMinutes, 60.0),
            ("90:05", Notation::MinutesSeconds, 5405.0),
            ("0d 00h 01m 05s", Notation::Words, 65.0),
            ("1.02:03:04", Notation::Words, 93_784.0),
            ("3 days 01:30:00", Notation::Words, 264_600.0),
            ("2h30", Notation::Words, 9000.0),
        ] {
            assert_eq!(s(cell, notation), Some(expect), "{cell}");
        }
    }

    #[test]
    fn moments() {
        let civil = |order, zoned| Notation::Civil { order, zoned };
        for (cell, notation, expect) in [
            (
                "2026-03-14T21:05:07+01:00",
                civil(DateOrder::YearMonthDay, true),
                "2026-03-14T20:05:07Z",
            ),
            (
                "2026-09-05T18:12:30.250+09:30",
                civil(DateOrder::YearMonthDay, true),
                "2026-09-05T08:42:30.25Z",
            ),
            ("2026-01-18 06:16:45", civil(DateOrder::YearMonthDay, false), "2026-01-18T06:16:45Z"),
            ("24.10.2026 19:30", civil(DateOrder::DayMonthYear, false), "2026-10-24T19:30:00Z"),
            ("10/24/26 7:30:00 PM", civil(DateOrder::MonthDayYear, false), "2026-10-24T19:30:00Z"),
            ("24 Oct 2026, 19:30", civil(DateOrder::DayMonthYear, false), "2026-10-24T19:30:00Z"),
            ("20261024T193000Z", civil(DateOrder::YearMonthDay, true), ""),
            ("20261024 19:30", civil(DateOrder::YearMonthDay, false), "2026-10-24T19:30:00Z"),
            ("2000-02-29", civil(DateOrder::YearMonthDay, false), "2000-02-29T00:00:00Z"),
            ("2100-02-29 00:00", civil(DateOrder::YearMonthDay, false), ""),
            ("1773512400000", Notation::Epoch { unit_s: 1e-3 }, "2026-03-14T18:20:00Z"),
            ("46144.39583333334", Notation::Serial, "2026-05-02T09:30:00Z"),
        ] {
            let expect: Option<jiff::Timestamp> = expect.parse().ok();
            assert_eq!(
                s(cell, notation),
                expect.map(|at| at.as_millisecond() as f64 / 1e3),
                "{cell}"
            );
        }
    }

    #[test]
    fn no_times() {
        for cell in ["later", "", "1:75", "1:30:61", "1:5", "12:", "13:00 PM", "99999999999:00"] {
            assert_eq!(s(cell, Notation::HoursMinutes), None, "{cell}");
            assert_eq!(s(cell, Notation::Words), None, "{cell}");
        }
    }

    proptest::proptest! {
        #[test]
        fn any_bytes(cell in proptest::collection::vec(proptest::num::u8::ANY, 0..30)) {
            for notation in [
                Notation::Words,
                Notation::HoursMinutes,
                Notation::Serial,
                Notation::Civil { order: DateOrder::DayMonthYear, zoned: false },
            ] {
                let _ = read(&cell, notation, Marks::COMMA);
            }
        }

    }
}
