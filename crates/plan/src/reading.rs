//! `reading`: what a person knows better than the reader of records.

use bench::Instrument;
use quantity::Kind;
use record::{ColumnChoice, DateOrder, ReadOptions, Role, Sign};

use crate::error::PlanError;
use crate::section::Section;

/// The columns that can be named, by the key that names each.
const COLUMNS: [(&str, Role); 9] = [
    ("time", Role::Time),
    ("date", Role::Date),
    ("voltage", Role::Voltage),
    ("current", Role::Current),
    ("power", Role::Power),
    ("charge", Role::Charge),
    ("energy", Role::Energy),
    ("temperature", Role::Temperature),
    ("state", Role::State),
];

/// A table `reading` below a table that names a record; without one all is found out.
pub(crate) fn read(section: &mut Section<'_>) -> Result<ReadOptions, PlanError> {
    let Some(mut reading) = section.maybe_section("reading")? else {
        return Ok(ReadOptions::default());
    };
    let mut columns = Vec::new();
    for (key, role) in COLUMNS {
        let Some(text) = reading.maybe_text(key)? else { continue };
        let choice = ColumnChoice::read(role, &text).ok_or_else(|| {
            reading.error(key, "name the column by its number or heading, such as \"U batt in mV\"")
        })?;
        columns.push(choice);
    }
    let options = ReadOptions {
        columns,
        sign: one_of(
            &mut reading,
            "positive",
            &[("out", Sign::DischargePositive), ("in", Sign::ChargePositive)],
        )?,
        zone: reading.maybe_text("clock")?,
        date_order: one_of(
            &mut reading,
            "dates",
            &[
                ("day-month-year", DateOrder::DayMonthYear),
                ("month-day-year", DateOrder::MonthDayYear),
                ("year-month-day", DateOrder::YearMonthDay),
            ],
        )?,
        interval_s: reading.maybe("interval", Kind::Duration)?,
        stated_current_a: reading.maybe("stated_current", Kind::Current)?,
        sheet: reading.maybe_text("sheet")?,
        voltage_alone: false,
    };
    reading.finish()?;
    Ok(options)
}

/// A word out of a few.
fn one_of<T: Copy>(
    section: &mut Section<'_>,
    key: &'static str,
    words: &[(&str, T)],
) -> Result<Option<T>, PlanError> {
    let Some(text) = section.maybe_text(key)? else { return Ok(None) };
    let found = words.iter().find(|(word, _)| *word == text.trim()).map(|(_, value)| *value);
    found.map(Some).ok_or_else(|| {
        let known: Vec<String> = words.iter().map(|(word, _)| format!("{word:?}")).collect();
        section.error(key, format!("{text:?} is not known here; write {}", known.join(" or ")))
    })
}

/// `meter`: its accuracy as the data sheet has it.
pub(crate) fn read_meter(section: &mut Section<'_>) -> Result<Option<Instrument>, PlanError> {
    let Some(text) = section.maybe_text("meter")? else { return Ok(None) };
    Instrument::read(&text).map(Some).map_err(|error| section.error("meter", error.to_string()))
}
