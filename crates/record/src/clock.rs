//! Times as instruments and people write them.

use quantity::Kind;

use crate::DateOrder;
use crate::number::{self, Marks, Number};

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

/// A date and time of day, and the offset of its zone from UTC where it is written.
pub(crate) fn civil(cell: &[u8], order: DateOrder) -> Option<(Moment, Option<f64>)> {
    if let Some((s, rest)) = iso(cell) {
        return Some((Moment { s, step_s: 1.0 }, Text { rest }.offset()?));
    }
    let mut text = Text { rest: cell };
    let days = text.date(order)?;
    text.skip(b" T,t");
    if text.rest.is_empty() {
        return Some((Moment { s: days * DAY_S, step_s: DAY_S }, None));
    }
    let time = text.time_of_day(false)?;
    let offset_s = text.offset()?;
    Some((Moment { s: days * DAY_S + time.s, ..time }, offset_s))
}

/// The way most instruments write it, "2026-03-14 21:05:07", in one look; what follows is at most
/// a zone.
#[inline]
fn iso(cell: &[u8]) -> Option<(f64, &[u8])> {
    let &[
        y0,
        y1,
        y2,
        y3,
        b'-',
        m0,
        m1,
        b'-',
        d0,
        d1,
        b'T' | b' ',
        h0,
        h1,
        b':',
        n0,
        n1,
        b':',
        s0,
        s1,
        ref rest @ ..,
    ] = cell
    else {
        return None;
    };
    let two = |tens: u8, ones: u8| {
        let (tens, ones) = (tens.wrapping_sub(b'0'), ones.wrapping_sub(b'0'));
        (tens < 10 && ones < 10).then(|| 10 * u32::from(tens) + u32::from(ones))
    };
    let day = days(100 * two(y0, y1)? + two(y2, y3)?, two(m0, m1)?, two(d0, d1)?)?;
    let (hour, minute, second) = (two(h0, h1)?, two(n0, n1)?, two(s0, s1)?);
    let whole = hour < 24 && minute < 60 && second < 60;
    let fraction_or_half =
        matches!(rest.trim_ascii_start(), [b'.' | b',' | b'A' | b'a' | b'P' | b'p', ..]);
    (whole && !fraction_or_half)
        .then(|| (day * DAY_S + f64::from(hour * 3600 + minute * 60 + second), rest))
}

struct Text<'a> {
    rest: &'a [u8],
}

impl Text<'_> {
    fn skip(&mut self, any_of: &[u8]) {
        while let [first, after @ ..] = self.rest
            && any_of.contains(first)
        {
            self.rest = after;
        }
    }

    fn take(&mut self, byte: u8) -> bool {
        let taken = self.rest.first() == Some(&byte);
        if taken {
            self.rest = self.rest.get(1..).unwrap_or_default();
        }
        taken
    }

    /// A whole number of at most nine digits, and how many there are.
    fn digits(&mut self) -> Option<(u32, usize)> {
        let count = self.rest.iter().take_while(|byte| byte.is_ascii_digit()).count();
        if count == 0 || count > 9 {
            return None;
        }
        let (digits, after) = self.rest.split_at(count);
        self.rest = after;
        Some((digits.iter().fold(0, |sum, digit| sum * 10 + u32::from(digit - b'0')), count))
    }

    /// Days since 1970-01-01.
    fn date(&mut self, order: DateOrder) -> Option<f64> {
        let first = self.part()?;
        if let (Part::Digits(packed), 8) = first {
            return days(packed / 10_000, packed / 100 % 100, packed % 100);
        }
        self.skip(b"-./ ");
        let second = self.part()?;
        self.skip(b"-./, ");
        let (third, third_len) = self.digits()?;
        let (a, a_len) = first;
        let (b, _) = second;
        let full = |year: u32, len: usize| if len <= 2 { 2000 + year } else { year };
        match (a, b) {
            (Part::Digits(day), Part::Month(month)) if a_len <= 2 => {
                days(full(third, third_len), month, day)
            }
            (Part::Digits(year), Part::Month(month)) => days(year, month, third),
            (Part::Month(month), Part::Digits(day)) => days(full(third, third_len), month, day),
            // four digits in front are a year whatever was said
            (Part::Digits(year), Part::Digits(month)) if a_len == 4 => days(year, month, third),
            (Part::Digits(a), Part::Digits(b)) => match order {
                DateOrder::YearMonthDay => days(full(a, a_len), b, third),
                DateOrder::DayMonthYear => days(full(third, third_len), b, a),
                DateOrder::MonthDayYear => days(full(third, third_len), a, b),
            },
            (Part::Month(_), Part::Month(_)) => None,
        }
    }

    fn part(&mut self) -> Option<(Part, usize)> {
        if let Some((number, count)) = self.digits() {
            return Some((Part::Digits(number), count));
        }
        let count = self.rest.iter().take_while(|byte| byte.is_ascii_alphabetic()).count();
        let (name, after) = self.rest.split_at(count);
        let month = month(name)?;
        self.rest = after;
        Some((Part::Month(month), count))
    }

    /// "h:mm[:ss[.fff]]", or "m:ss[.fff]", with AM or PM behind.
    fn time_of_day(&mut self, minutes_first: bool) -> Option<Moment> {
        let (first, _) = self.digits()?;
        if !self.take(b':') {
            return None;
        }
        let (second, second_len) = self.digits()?;
        if second >= 60 || second_len != 2 {
            return None;
        }
        let (mut s, mut step_s) = (f64::from(first) * 3600.0 + f64::from(second) * 60.0, 60.0);
        if minutes_first {
            (s, step_s) = (f64::from(first) * 60.0 + f64::from(second), 1.0);
        } else if self.take(b':') {
            let (third, third_len) = self.digits()?;
            if third >= 60 || third_len != 2 {
                return None;
            }
            s += f64::from(third);
            step_s = 1.0;
        }
        if step_s == 1.0 && (self.take(b'.') || self.take(b',')) {
            let (fraction, count) = self.digits()?;
            step_s = number::step(-i32::try_from(count).ok()?);
            s += f64::from(fraction) * step_s;
        }
        self.skip(b" ");
        let half = match self.rest {
            [b'A' | b'a', b'M' | b'm', ..] => Some(0.0),
            [b'P' | b'p', b'M' | b'm', ..] => Some(0.5 * DAY_S),
            _ => None,
        };
        if let Some(half_s) = half {
            if !(1..=12).contains(&first) {
                return None;
            }
            self.rest = self.rest.get(2..).unwrap_or_default();
            s += half_s - if first == 12 { 0.5 * DAY_S } else { 0.0 };
        }
        Some(Moment { s, step_s })
    }

    /// The offset of a zone at the end; none inside if nothing is written.
    fn offset(&mut self) -> Option<Option<f64>> {
        self.skip(b" ");
        let sign = match self.rest {
            [] => return Some(None),
            b"Z" | b"z" | b"UTC" | b"GMT" => return Some(Some(0.0)),
            [b'+', ..] => 1.0,
            [b'-', ..] => -1.0,
            _ => return None,
        };
        self.rest = self.rest.get(1..)?;
        let (hours, minutes) = match self.digits()? {
            (packed, 4) => (packed / 100, packed % 100),
            (hours, 1 | 2) if self.take(b':') => (hours, self.digits()?.0),
            (hours, 1 | 2) => (hours, 0),
            _ => return None,
        };
        let right = hours <= 18 && minutes < 60 && self.rest.is_empty();
        right.then_some(Some(sign * (f64::from(hours) * 3600.0 + f64::from(minutes) * 60.0)))
    }
}

#[derive(Clone, Copy)]
enum Part {
    Digits(u32),
    Month(u32),
}

fn month(name: &[u8]) -> Option<u32> {
    let first: Vec<u8> = name.get(..3)?.to_ascii_lowercase();
    let at = b"janfebmaraprmayjunjulaugsepoctnovdec".chunks(3).position(|month| month == first)?;
    u32::try_from(at + 1).ok()
}

/// Days since 1970-01-01 in the Gregorian calendar, by months counted from March.
#[inline]
fn days(year: u32, month: u32, day: u32) -> Option<f64> {
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let length = match month {
        2 => 28 + u32::from(leap),
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    };
    if !(1970..3000).contains(&year) || !(1..=12).contains(&month) || !(1..=length).contains(&day) {
        return None;
    }
    let y = year - u32::from(month <= 2);
    let day_of_year = (153 * ((month + 9) % 12) + 2) / 5 + day - 1;
    Some(f64::from(365 * y + y / 4 - y / 100 + y / 400 + day_of_year) - 719_468.0)
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

        #[test]
        fn days_as_jiff_counts_them(day in 0_i32..370_000) {
            let date = jiff::civil::date(1970, 1, 1).checked_add(jiff::Span::new().days(day)).unwrap();
            let counted = days(date.year() as u32, date.month() as u32, date.day() as u32);
            proptest::prop_assert_eq!(counted, Some(f64::from(day)));
        }
    }
}
