//! Dates and times of day.

use super::{DAY_S, Moment};
use crate::DateOrder;
use crate::number;

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

/// What is left of a cell.
pub(super) struct Text<'a> {
    pub(super) rest: &'a [u8],
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
    pub(super) fn time_of_day(&mut self, minutes_first: bool) -> Option<Moment> {
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
    let leap = year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400));
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

    proptest::proptest! {
        #[test]
        fn days_as_jiff_counts_them(day in 0_i32..370_000) {
            let date = jiff::civil::date(1970, 1, 1).checked_add(jiff::Span::new().days(day)).unwrap();
            let counted = days(date.year() as u32, date.month() as u32, date.day() as u32);
            proptest::prop_assert_eq!(counted, Some(f64::from(day)));
        }
    }
}
