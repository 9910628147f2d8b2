//! Where the time of a row stands and how it is written.

use super::Row;
use super::columns::{Taken, told_at};
use crate::clock::{self, Notation};
use crate::column::{HowSure, Role};
use crate::error::{ErrorKind, Trouble};
use crate::heading;
use crate::number::{self, Marks};
use crate::unit::Affine;
use crate::{DateOrder, ReadOptions};

/// Where the time of a row stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Timing {
    /// Nowhere: a person stated the time between rows.
    Interval { s: f64 },
    /// In one column; where that tells only the time since the start, another may tell the
    /// moment.
    Column { at: usize, notation: Notation, start: Option<(usize, Notation)> },
    /// The day in one column, the time of day in another.
    DateAndTime { date_at: usize, order: DateOrder, time_at: usize },
}

impl Timing {
    /// The notation of the column that gives the time between rows.
    pub(crate) fn notation(&self) -> Option<Notation> {
        match self {
            Timing::Interval { .. } => None,
            Timing::Column { notation, .. } => Some(*notation),
            Timing::DateAndTime { order, .. } => {
                Some(Notation::Civil { order: *order, zoned: false })
            }
        }
    }

    /// The columns it is read from.
    pub(crate) fn columns(self) -> Vec<usize> {
        match self {
            Timing::Interval { .. } => Vec::new(),
            Timing::Column { at, start, .. } => {
                std::iter::once(at).chain(start.map(|(start, _)| start)).collect()
            }
            Timing::DateAndTime { date_at, time_at, .. } => vec![date_at, time_at],
        }
    }

    /// The last column a row can't do without.
    pub(crate) fn last_column(self) -> usize {
        match self {
            Timing::Interval { .. } => 0,
            Timing::Column { at, .. } => at,
            Timing::DateAndTime { date_at, time_at, .. } => date_at.max(time_at),
        }
    }

    /// The same with its columns counted in another way.
    pub(crate) fn with_columns(self, by: impl Fn(usize) -> usize) -> Timing {
        match self {
            Timing::Interval { s } => Timing::Interval { s },
            Timing::Column { at, notation, start } => Timing::Column {
                at: by(at),
                notation,
                start: start.map(|(start, notation)| (by(start), notation)),
            },
            Timing::DateAndTime { date_at, order, time_at } => {
                Timing::DateAndTime { date_at: by(date_at), order, time_at: by(time_at) }
            }
        }
    }
}

struct Candidate {
    at: usize,
    role: Role,
    score: i32,
    unit: Option<String>,
    told: bool,
    found: Option<(Notation, HowSure)>,
}

/// Chooses the columns that tell the time and adds them to the others.
pub(super) fn choose(
    headings: &[String],
    sample: &[Row],
    marks: Marks,
    options: &ReadOptions,
    columns: &mut Vec<Taken>,
    notices: &mut Vec<String>,
) -> Result<Timing, Trouble> {
    if let Some(s) = options.interval_s {
        if !(s.is_finite() && s > 0.0) {
            let message = format!("a time between rows of {s} s can't be");
            return Err(Trouble::new(ErrorKind::Time, message, "state one above nought"));
        }
        return Ok(Timing::Interval { s });
    }
    let mut candidates = candidates(headings, columns, options)?;
    for candidate in &mut candidates {
        let cells: Vec<&[u8]> = sample
            .iter()
            .map(|row| row.cell(candidate.at))
            .filter(|cell| !cell.is_empty())
            .collect();
        let heading = headings.get(candidate.at).map_or("", String::as_str);
        candidate.found = notation(&cells, candidate.unit.as_deref(), heading, marks, options);
    }
    candidates.sort_by_key(|candidate| (!candidate.told, -candidate.score));
    let day_only = |candidate: &Candidate| {
        candidate.role == Role::Date
            && sample.iter().all(|row| !row.cell(candidate.at).contains(&b':'))
            && matches!(candidate.found, Some((Notation::Civil { .. }, _)))
    };
    let is_time_of_day =
        |candidate: &&Candidate| matches!(candidate.found, Some((Notation::HoursMinutes, _)));
    let date = candidates.iter().find(|candidate| day_only(candidate));
    let times: Vec<&Candidate> =
        candidates.iter().filter(|candidate| !day_only(candidate)).collect();
    if let (Some(date), Some(time)) = (date, times.iter().copied().find(is_time_of_day))
        && let Some((Notation::Civil { order, .. }, _)) = date.found
    {
        columns.push(taken(date, headings, Role::Date));
        columns.push(taken(time, headings, Role::Time));
        return Ok(Timing::DateAndTime { date_at: date.at, order, time_at: time.at });
    }
    let relative = |candidate: &&&Candidate| {
        candidate.found.is_some_and(|(notation, _)| !notation.is_absolute())
    };
    let readable = |candidate: &&&Candidate| candidate.found.is_some();
    let first_told = times.first().filter(|candidate| candidate.told);
    let chosen = first_told
        .or_else(|| times.iter().find(relative))
        .or_else(|| times.iter().find(readable))
        .or(times.first())
        .copied()
        .or(date);
    let Some(chosen) = chosen else {
        // told as missing together with what else is
        return Ok(Timing::Interval { s: 1.0 });
    };
    columns.push(taken(chosen, headings, Role::Time));
    let Some((notation, how_sure)) = chosen.found else { return unreadable(chosen, sample) };
    if how_sure == HowSure::Likely && matches!(notation, Notation::Span { .. }) {
        notices.push(format!(
            "{:?} has no unit; the time was taken in seconds",
            headings.get(chosen.at).map_or("", String::as_str)
        ));
    }
    if how_sure == HowSure::Likely && matches!(notation, Notation::Civil { .. }) {
        notices.push(format!("the dates were read as {}", notation.name()));
    }
    let start =
        times.iter().filter(|other| other.at != chosen.at && !notation.is_absolute()).find_map(
            |other| Some((other.at, other.found?.0)).filter(|(_, found)| found.is_absolute()),
        );
    Ok(Timing::Column { at: chosen.at, notation, start })
}

fn candidates(
    headings: &[String],
    columns: &[Taken],
    options: &ReadOptions,
) -> Result<Vec<Candidate>, Trouble> {
    let is_time = |role: Role| matches!(role, Role::Time | Role::Date);
    let mut candidates = Vec::new();
    for choice in options.columns.iter().filter(|choice| is_time(choice.role)) {
        let at = told_at(choice, headings)?;
        let stated = headings.get(at).and_then(|text| heading::read(text)?.unit);
        let unit = choice.unit.clone().or(stated);
        candidates.push(Candidate {
            at,
            role: choice.role,
            score: 100,
            unit,
            told: true,
            found: None,
        });
    }
    for (at, text) in headings.iter().enumerate() {
        let taken = columns.iter().any(|column| column.at == at)
            || candidates.iter().any(|candidate: &Candidate| candidate.at == at);
        let Some(meaning) = heading::read(text).filter(|meaning| is_time(meaning.role)) else {
            continue;
        };
        if !taken {
            let (role, score, unit) = (meaning.role, meaning.score, meaning.unit);
            candidates.push(Candidate { at, role, score, unit, told: false, found: None });
        }
    }
    Ok(candidates)
}

fn taken(candidate: &Candidate, headings: &[String], role: Role) -> Taken {
    let (unit, how_sure) = match candidate.found {
        Some((notation @ (Notation::Span { .. } | Notation::Epoch { .. }), how_sure)) => {
            let unit = candidate.unit.clone().unwrap_or_else(|| "s".to_owned());
            let since = if notation.is_absolute() { " since 1970" } else { "" };
            (format!("{unit}{since}"), how_sure)
        }
        Some((notation, how_sure)) => (notation.name().to_owned(), how_sure),
        None => (String::new(), HowSure::Likely),
    };
    Taken {
        at: candidate.at,
        heading: headings.get(candidate.at).cloned().unwrap_or_default(),
        role,
        unit,
        affine: Affine::ONE,
        how_sure: if candidate.told { HowSure::Told } else { how_sure },
        sign: None,
        is_in: false,
        unit_stated: true,
    }
}

fn unreadable(chosen: &Candidate, sample: &[Row]) -> Result<Timing, Trouble> {
    let first = sample.iter().find(|row| !row.cell(chosen.at).is_empty());
    let Some(row) = first else {
        // rows without a time are set aside one by one
        return Ok(Timing::Column {
            at: chosen.at,
            notation: Notation::Span { unit_s: 1.0 },
            start: None,
        });
    };
    let read = heading::text(row.cell(chosen.at));
    let message = format!("{read:?} can't be read as a time, nor can the other rows'");
    let help =
        "write times as seconds, h:mm:ss or 2026-03-14 21:05:07, or say which column is the time";
    Err(Trouble::new(ErrorKind::Time, message, help).at(row.line))
}

/// How these cells are written; none if most can't be read in any way.
fn notation(
    cells: &[&[u8]],
    unit: Option<&str>,
    heading: &str,
    marks: Marks,
    options: &ReadOptions,
) -> Option<(Notation, HowSure)> {
    let most = |notation: Notation| {
        let count =
            cells.iter().filter(|cell| clock::read(cell, notation, marks).is_some()).count();
        !cells.is_empty() && count * 5 >= cells.len() * 3
    };
    let span = Notation::Span { unit_s: 1.0 };
    if most(span) {
        let values: Vec<f64> =
            cells.iter().filter_map(|cell| Some(number::read(cell, marks)?.value)).collect();
        return Some(of_numbers(&values, unit, heading));
    }
    if most(Notation::HoursMinutes) {
        let letters = heading.trim().to_ascii_lowercase();
        let minutes = letters.starts_with("m") && letters.contains(':') && !letters.contains('h');
        let notation = if minutes { Notation::MinutesSeconds } else { Notation::HoursMinutes };
        return Some((notation, HowSure::Sure));
    }
    civil(cells, options)
        .or_else(|| most(Notation::Words).then_some((Notation::Words, HowSure::Sure)))
}

fn of_numbers(values: &[f64], unit: Option<&str>, heading: &str) -> (Notation, HowSure) {
    let first = values.first().copied().unwrap_or(0.0);
    if let Some(affine) = unit.and_then(|unit| heading::affine(Role::Time, unit)) {
        // three years of seconds in one record are rather the time since 1970
        let notation = if first * affine.scale > 1e8 {
            Notation::Epoch { unit_s: affine.scale }
        } else {
            Notation::Span { unit_s: affine.scale }
        };
        return (notation, HowSure::Sure);
    }
    let lower = heading.to_lowercase();
    let dated =
        ["date", "datum", "when", "stamp", "fecha", "data"].iter().any(|word| lower.contains(word));
    let with_fraction = values.iter().any(|value| value.fract() != 0.0);
    match first {
        _ if first > 1e14 => (Notation::Epoch { unit_s: 1e-6 }, HowSure::Sure),
        _ if first > 1e11 => (Notation::Epoch { unit_s: 1e-3 }, HowSure::Sure),
        _ if first > 1e8 => (Notation::Epoch { unit_s: 1.0 }, HowSure::Sure),
        _ if (clock::SERIAL_EPOCH_DAYS..80_000.0).contains(&first) && with_fraction && dated => {
            (Notation::Serial, HowSure::Sure)
        }
        _ => (Notation::Span { unit_s: 1.0 }, HowSure::Likely),
    }
}

/// The order of dates that reads the most cells.
fn civil(cells: &[&[u8]], options: &ReadOptions) -> Option<(Notation, HowSure)> {
    let slashes = cells.first().is_some_and(|cell| cell.contains(&b'/'));
    let half_days = cells.first().is_some_and(|cell| cell.ends_with(b"M") || cell.ends_with(b"m"));
    use DateOrder::{DayMonthYear, MonthDayYear, YearMonthDay};
    let orders = match options.date_order {
        Some(order) => vec![order],
        // "PM" is written where the month is written first
        None if slashes && half_days => vec![MonthDayYear, DayMonthYear, YearMonthDay],
        None => vec![DayMonthYear, MonthDayYear, YearMonthDay],
    };
    let read = |order| cells.iter().filter(|cell| clock::civil(cell, order).is_some()).count();
    let counts: Vec<(DateOrder, usize)> =
        orders.iter().map(|order| (*order, read(*order))).collect();
    let most = counts.iter().map(|(_, count)| *count).max()?;
    let (order, _) = *counts.iter().find(|(_, count)| *count == most)?;
    if most == 0 || most * 5 < cells.len() * 3 {
        return None;
    }
    let rivals = counts.iter().filter(|(_, count)| *count == most).count();
    let year_first = cells.first().is_some_and(|cell| cell.iter().take(4).all(u8::is_ascii_digit));
    let order = if year_first { YearMonthDay } else { order };
    let sure = year_first || rivals == 1 || options.date_order.is_some() || !slashes;
    let zoned =
        cells.iter().filter(|cell| matches!(clock::civil(cell, order), Some((_, Some(_))))).count();
    let how_sure = if sure { HowSure::Sure } else { HowSure::Likely };
    Some((Notation::Civil { order, zoned: zoned * 2 > most }, how_sure))
}
