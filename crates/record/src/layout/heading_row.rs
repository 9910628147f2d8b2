//! Where the headings stand.

use super::Row;
use crate::error::{ErrorKind, Trouble};
use crate::heading;
use crate::lines::too_long;
use crate::options::Which;
use crate::{ReadOptions, Role};

/// Headings are looked for in so many rows.
pub(super) const MOST_ABOVE: usize = 200;

/// The headings and where the readings begin.
pub(super) struct Found {
    /// One for each column, with the unit of a second row in brackets.
    pub(super) headings: Vec<String>,
    /// The line of the headings; 0 where there are none.
    pub(super) heading_line: u64,
    pub(super) rows_below: u64,
    /// Which of the rows is the first below the headings.
    pub(super) first_row: usize,
}

/// Finds the row that names the most roles.
pub(super) fn find(rows: &[Row], options: &ReadOptions) -> Result<Found, Trouble> {
    if all_by_number(options) {
        return Ok(without(rows, options));
    }
    let asked: Vec<&str> = options
        .columns
        .iter()
        .filter_map(|choice| match &choice.which {
            Which::Heading(text) => Some(text.trim()),
            Which::Number(_) => None,
        })
        .collect();
    let mut best: Option<(usize, (usize, usize))> = None;
    for (at, row) in rows.iter().enumerate().take(MOST_ABOVE) {
        let score = score(row, &asked);
        if score.1 >= 2 && best.is_none_or(|(_, most)| score > most) {
            best = Some((at, score));
        }
    }
    let Some((at, _)) = best else { return Err(nothing_named(rows)) };
    let Some(row) = rows.get(at) else { return Err(nothing_named(rows)) };
    let mut headings: Vec<String> = row.iter().map(heading::text).collect();
    let mut last = at;
    if let Some(units) = rows.get(at + 1).filter(|row| is_units(row)) {
        last = at + 1;
        for (heading, unit) in headings.iter_mut().zip(units.iter().map(heading::text)) {
            if !unit.is_empty() {
                let unit = unit.trim_matches(['(', ')', '[', ']']);
                *heading = format!("{heading} [{unit}]");
            }
        }
    }
    Ok(Found {
        headings,
        heading_line: row.line,
        rows_below: rows.get(last).map_or(row.line, |row| row.line),
        first_row: last + 1,
    })
}

/// How many roles a row names, and how many of its cells name any.
fn score(row: &Row, asked: &[&str]) -> (usize, usize) {
    let mut roles: Vec<Role> = Vec::new();
    let mut named = 0;
    for cell in row.iter() {
        let text = heading::text(cell);
        if asked.iter().any(|asked| asked.eq_ignore_ascii_case(&text)) {
            return (usize::MAX, usize::MAX);
        }
        if let Some(meaning) = heading::read(&text) {
            named += 1;
            if !roles.contains(&meaning.role) {
                roles.push(meaning.role);
            }
        }
    }
    (roles.len(), named)
}

fn is_units(row: &Row) -> bool {
    let mut units = row.iter().map(heading::text).filter(|text| !text.is_empty()).peekable();
    units.peek().is_some()
        && units.all(|text| heading::is_unit(&text) || text == "-" || text == "1")
}

/// Whether a person named every column that is needed by its number.
fn all_by_number(options: &ReadOptions) -> bool {
    let by_number = |role| {
        options
            .columns
            .iter()
            .any(|choice| choice.role == role && matches!(choice.which, Which::Number(_)))
    };
    by_number(Role::Voltage) && (by_number(Role::Time) || options.interval_s.is_some())
}

/// With every column told by number: the readings begin where the voltage is a number.
fn without(rows: &[Row], options: &ReadOptions) -> Found {
    let voltage = options.columns.iter().find_map(|choice| match choice.which {
        Which::Number(number) if choice.role == Role::Voltage => number.checked_sub(1),
        _ => None,
    });
    let starts_with_digit = |row: &Row| {
        let cell = row.cell(voltage.unwrap_or(0));
        cell.iter().find(|byte| !matches!(byte, b'+' | b'-')).is_some_and(u8::is_ascii_digit)
    };
    let first = rows.iter().position(starts_with_digit).unwrap_or(0);
    let above = first.checked_sub(1).and_then(|at| rows.get(at));
    let width = rows.get(first).map_or(0, |row| row.cells.len());
    Found {
        headings: (0..width)
            .map(|at| above.map_or(String::new(), |row| heading::text(row.cell(at))))
            .collect(),
        heading_line: above.map_or(0, |row| row.line),
        rows_below: above.map_or(0, |row| row.line),
        first_row: first,
    }
}

fn nothing_named(rows: &[Row]) -> Trouble {
    let width = rows.iter().map(|row| row.cells.len()).max().unwrap_or(0);
    let read = match rows.first() {
        // there is something, but no end of a line in the first quarter of a megabyte
        None => return too_long(1),
        Some(row) => row.iter().map(heading::text).take(4).collect::<Vec<_>>().join(", "),
    };
    let read: String = read.chars().take(80).collect();
    Trouble::new(
        ErrorKind::NoHeading,
        format!("none of its columns ({width}) is named as time, voltage or current; the first row is {read:?}"),
        HELP,
    )
    .at(rows.first().map_or(1, |row| row.line))
}

const HELP: &str = "give a row of headings such as \"time (s), voltage (V), current (A)\", or say which column is which by number";

/// What stands above the table as names and values.
pub(super) fn about(rows: &[Row], found: &Found) -> Vec<(String, String)> {
    rows.iter()
        .filter(|row| row.line < found.heading_line || found.heading_line == 0)
        .filter_map(|row| {
            let mut cells = row.iter().map(heading::text).filter(|text| !text.is_empty());
            let first = cells.next()?;
            let rest: Vec<String> = cells.collect();
            let first = first.trim_start_matches(['#', ';', '%', '/', ' ']).to_owned();
            if rest.is_empty() {
                let (name, value) = first.split_once(':').or(first.split_once('='))?;
                Some((name.trim().to_owned(), value.trim().to_owned()))
            } else {
                let name = first.trim_end_matches([':', '=', ' ']).to_owned();
                Some((name, rest.join(", ")))
            }
        })
        .filter(|(name, value)| !name.is_empty() && !value.is_empty())
        .collect()
}
