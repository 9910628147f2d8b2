//! A file's bytes become a record.

use std::io::Read;

use crate::bytes::{self, Content, not_a_table};
use crate::cells::Delimiter;
use crate::clock::Notation;
use crate::column::{Column, HowSure};
use crate::error::{ErrorKind, Trouble};
use crate::layout::{self, Layout, Timing};
use crate::lines::Lines;
use crate::row_reader;
use crate::rows::{Raw, largest};
use crate::sheet::Book;
use crate::zone::{self, Zone};
use crate::{CurrentFrom, ReadOptions, Record, RecordError, Resolution, Role, RowCount, Samples};
use crate::{counters, current, order, plain, slips, witness};

/// No pack this program is for has more (V); beyond it the unit is wrong.
const MOST_V: f64 = 1000.0;

/// A pack that never shows more than this (V) is none, or the unit is wrong.
const LEAST_V: f64 = 0.5;

/// Reads a record from the bytes of a file.
///
/// `name` is what the file is called in the record and in errors; nothing is opened by it. Takes
/// text in any common encoding with any delimiter, gzipped or not, and workbooks.
///
/// ```
/// let log = "time_s,voltage_v,current_a\n0,12.9,3.4\n10,12.8,3.4\n20,12.7,3.4\n";
/// let record = record::read_bytes("log.csv", log.as_bytes(), &Default::default()).unwrap();
/// assert_eq!(record.samples.elapsed_s, [0.0, 10.0, 20.0]);
/// assert_eq!(record.rows.used, 3);
/// ```
///
/// # Errors
/// If it is no record, or a column that is needed can't be found or read.
pub fn read_bytes(
    name: &str,
    bytes: impl Read,
    options: &ReadOptions,
) -> Result<Record, RecordError> {
    read(name, bytes, options).map_err(|trouble| trouble.in_file(name))
}

fn read(name: &str, bytes: impl Read, options: &ReadOptions) -> Result<Record, Trouble> {
    match bytes::open(bytes)? {
        Content::Text(text) => {
            let mut lines = Lines::new(text)?;
            plain::complain_of_no_text(lines.head())?;
            read_table(name, &mut lines, None, options)
        }
        Content::Zip(bytes) => {
            let mut book = Book::open(bytes)?;
            let mut first_trouble = None;
            for sheet in book.sheets(options.sheet.as_deref())? {
                let text = book.text(&sheet)?;
                let mut lines = Lines::new(text.as_slice())?;
                match read_table(name, &mut lines, Some(Delimiter::Byte(b'\t')), options) {
                    Ok(record) => return Ok(record),
                    // sheets of charts and notes stand beside the one with the log
                    Err(trouble) => {
                        first_trouble.get_or_insert(Trouble {
                            message: format!("sheet {sheet:?}: {}", trouble.message),
                            ..trouble
                        });
                    }
                }
            }
            Err(first_trouble.unwrap_or_else(|| not_a_table("a workbook without sheets")))
        }
    }
}

fn read_table<R: Read>(
    name: &str,
    lines: &mut Lines<R>,
    delimiter: Option<Delimiter>,
    options: &ReadOptions,
) -> Result<Record, Trouble> {
    let layout = layout::find(lines.ahead(), delimiter, options)?;
    let mut raw = row_reader::read(lines, &layout)?;
    // a workbook doesn't keep the noughts at the end, so whole amperes show no step
    let hidden = delimiter.is_some() && raw.steps.current >= 1.0;
    if hidden {
        raw.steps.current = 0.0;
    }
    let mut record = finish(name, raw, layout, options)?;
    if hidden {
        record.notices.push(
            "the workbook doesn't show the last digit of the current; its step is not known"
                .to_owned(),
        );
    }
    if let Some(broken) = &lines.broken {
        record
            .notices
            .push(format!("the file breaks off ({broken}); what was there before is used"));
    }
    Ok(record)
}

fn finish(
    name: &str,
    mut raw: Raw,
    mut layout: Layout,
    options: &ReadOptions,
) -> Result<Record, Trouble> {
    let zone = options.zone.as_deref().map(Zone::named).transpose()?;
    let notation = layout.timing.notation();
    let mut notices = std::mem::take(&mut layout.notices);
    order::arrange(&mut raw, notation, zone.as_ref(), &mut notices)?;
    counters::join(&mut raw, &mut notices);
    let current_from = current::derive(&mut raw, &layout, options, &mut notices)?;
    settle_units(&mut raw, &mut layout, &mut notices)?;
    slips::set_aside(&mut raw, &mut notices);
    current::orient(&mut raw, &mut layout, current_from, options.sign, &mut notices);
    counters::orient(&mut raw);
    witness::ask(&mut raw, &mut layout, current_from, &mut notices);
    if current_from == CurrentFrom::Nothing {
        raw.current.fill(f32::NAN);
    }
    let (start, local_start) = start(&raw, notation, zone.as_ref());
    let first_s = raw.time_s.first().copied().unwrap_or(0.0);
    if first_s != 0.0 {
        raw.time_s.iter_mut().for_each(|time| *time -= first_s);
    }
    for counts in [&mut raw.charge_ah, &mut raw.energy_wh].into_iter().flatten() {
        let first = counts.iter().copied().find(|count| count.is_finite()).unwrap_or(0.0);
        counts.iter_mut().for_each(|count| *count -= first);
    }
    let resolution = Resolution {
        time_s: match layout.timing {
            Timing::Interval { .. } => 0.0,
            _ => raw.steps.time_s,
        },
        voltage_v: raw.steps.voltage,
        current_a: raw.steps.current,
        counted_ah: raw.charge_ah.as_ref().map(|_| raw.steps.charge_ah),
        counted_wh: raw.energy_wh.as_ref().map(|_| raw.steps.energy_wh),
    };
    Ok(Record {
        file: name.to_owned(),
        start,
        local_start,
        rows: RowCount { read: raw.read, used: raw.time_s.len(), set_aside: raw.set_aside },
        samples: Samples {
            elapsed_s: raw.time_s,
            voltage_v: raw.voltage_v,
            current_a: raw.current,
            temperature_c: raw.temperature_c,
            counted_ah: raw.charge_ah,
            counted_wh: raw.energy_wh,
        },
        current_from,
        resolution,
        columns: layout.columns.iter().map(shown).collect(),
        about: layout.about,
        notices,
    })
}

fn shown(column: &layout::Taken) -> Column {
    let unit = match layout_unit(column.role) {
        Some(own) if column.unit.is_empty() => own.to_owned(),
        _ => column.unit.clone(),
    };
    Column {
        number: column.at + 1,
        heading: column.heading.clone(),
        role: column.role,
        unit,
        how_sure: column.how_sure,
    }
}

fn layout_unit(role: Role) -> Option<&'static str> {
    crate::heading::kind(role).map(quantity::Kind::unit)
}

/// The instant of the first sample, or what the clock on the wall showed.
fn start(
    raw: &Raw,
    notation: Option<Notation>,
    zone: Option<&Zone>,
) -> (Option<jiff::Timestamp>, Option<jiff::civil::DateTime>) {
    let Some(&first_s) = raw.time_s.first() else { return (None, None) };
    let (mut at_s, notation) = match (notation, raw.start) {
        (Some(notation), _) if notation.is_absolute() => (first_s, notation),
        (_, Some((at_s, notation, row_s))) => {
            let mut at_s = at_s + first_s - row_s;
            if let (true, Some(zone)) = (notation.is_wall_clock(), zone) {
                let mut one = [at_s];
                if zone.to_utc(&mut one).is_err() {
                    return (None, None);
                }
                [at_s] = one;
            }
            (at_s, notation)
        }
        _ => return (None, None),
    };
    at_s = (at_s * 1e6).round() / 1e6;
    if notation.is_wall_clock() && zone.is_none() {
        (None, zone::wall(at_s))
    } else {
        (zone::instant(at_s), None)
    }
}

/// Checks that the voltages can be ones, and takes thousandths where no unit is stated.
fn settle_units(
    raw: &mut Raw,
    layout: &mut Layout,
    notices: &mut Vec<String>,
) -> Result<(), Trouble> {
    let median = median(&raw.voltage_v);
    let most = largest(&raw.voltage_v);
    let column = layout.columns.iter_mut().find(|column| column.role == Role::Voltage);
    let heading = column.as_ref().map_or(String::new(), |column| column.heading.clone());
    let line = layout.heading_line.max(1);
    let wrong_unit = |hint: &str| {
        Err(Trouble::new(
            ErrorKind::Unit,
            format!("half of the voltages under {heading:?} are beyond {median:.0} V, which no pack shows"),
            format!("state the unit of that column ({hint}?)"),
        )
        .at(line))
    };
    if median < 0.0 {
        let message =
            format!("the voltage is negative throughout (half of it below {median:.2} V)");
        let help =
            "were the leads of the meter reversed? give the voltage at the terminals as positive";
        return Err(Trouble::new(ErrorKind::Voltage, message, help).at(line));
    }
    if median.abs() > MOST_V {
        match column {
            Some(column) if !column.unit_stated => {
                column.unit = "mV".to_owned();
                raw.voltage_v.iter_mut().for_each(|voltage| *voltage /= 1000.0);
                raw.steps.voltage /= 1000.0;
                notices
                    .push(format!("{heading:?} has no unit; its numbers can only be millivolts"));
            }
            _ => return wrong_unit("mV"),
        }
    } else if f64::from(most) < LEAST_V {
        let message = format!("the voltage never exceeds {most:.3} V, which no pack shows");
        let help = "state the unit of that column, or say which column is the voltage";
        return Err(Trouble::new(ErrorKind::Unit, message, help).at(line));
    }
    let most_a = largest(&raw.current);
    let column = layout.columns.iter_mut().find(|column| column.role == Role::Current);
    if let Some(column) =
        column.filter(|column| !column.unit_stated && column.how_sure != HowSure::Told)
        && f64::from(most_a) >= MOST_V
    {
        column.unit = "mA".to_owned();
        raw.current.iter_mut().for_each(|current| *current /= 1000.0);
        raw.steps.current /= 1000.0;
        notices.push(format!(
            "{:?} has no unit; its numbers can only be milliamperes",
            column.heading
        ));
    }
    Ok(())
}

fn median(values: &[f32]) -> f64 {
    // every so manieth value is enough to tell volts from millivolts
    let stride = values.len() / 10_000 + 1;
    let mut some: Vec<f32> = values.iter().step_by(stride).copied().collect();
    let middle = some.len() / 2;
    if some.is_empty() {
        return 0.0;
    }
    f64::from(*some.select_nth_unstable_by(middle, f32::total_cmp).1)
}
