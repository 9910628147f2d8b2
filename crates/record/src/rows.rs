//! Rows of a table, read one by one into columns.

use std::collections::BTreeMap;
use std::io::Read;

use crate::Role;
use crate::cells;
use crate::clock::{self, Notation};
use crate::error::{ErrorKind, Trouble};
use crate::layout::{Layout, Timing};
use crate::lines::{Line, Lines};
use crate::number::{self, Marks};
use crate::state::{self, Flow};
use crate::unit::Affine;

/// A record with more rows would not fit in memory.
const MOST_ROWS: usize = 100_000_000;

/// Why rows are set aside.
pub(crate) mod reason {
    pub(crate) const BLANK: &str = "blank";
    pub(crate) const TIME: &str = "time can't be read";
    pub(crate) const VALUE: &str = "value can't be read";
    pub(crate) const NOT_A_NUMBER: &str = "not a number";
    pub(crate) const CUT_OFF: &str = "cut off";
    pub(crate) const CELLS: &str = "cells missing";
    pub(crate) const HEADING: &str = "heading again";
    pub(crate) const REPEATED: &str = "repeated row";
    pub(crate) const OUT_OF_LINE: &str = "out of line with its neighbours";
}

/// The columns as they stand in the file, in the units of the program.
#[derive(Debug, Default)]
pub(crate) struct Raw {
    pub(crate) time_s: Vec<f64>,
    /// Voltage, or power where the voltage follows from power and current.
    pub(crate) voltage_v: Vec<f32>,
    /// Current or power, as signed in the file; nought where only a counter is there.
    pub(crate) current: Vec<f32>,
    pub(crate) temperature_c: Option<Vec<f32>>,
    /// Above the first reading.
    pub(crate) charge_ah: Option<Vec<f32>>,
    pub(crate) energy_wh: Option<Vec<f32>>,
    pub(crate) flow: Option<Vec<Flow>>,
    pub(crate) steps: Steps,
    pub(crate) lines: LineNumbers,
    /// Which row of the file each one is, where they don't stand in the order of the file.
    pub(crate) origin: Option<Vec<u32>>,
    pub(crate) read: usize,
    pub(crate) set_aside: BTreeMap<String, usize>,
    /// From a second column: the moment of the first row that tells it, and that row's time.
    pub(crate) start: Option<(f64, Notation, f64)>,
}

/// The smallest steps seen, in the units of the program.
#[derive(Debug, Default, Clone, Copy)]
pub(crate) struct Steps {
    pub(crate) time_s: f64,
    pub(crate) voltage: f64,
    pub(crate) current: f64,
    pub(crate) charge_ah: f64,
    pub(crate) energy_wh: f64,
}

/// The lines of rows, kept only where they don't simply follow each other.
#[derive(Debug, Default)]
pub(crate) struct LineNumbers {
    /// From this row on the line is the row plus so much.
    jumps: Vec<(usize, u64)>,
}

impl LineNumbers {
    fn push(&mut self, row: usize, line: u64) {
        let ahead = line.wrapping_sub(row as u64);
        if self.jumps.last().is_none_or(|(_, last)| *last != ahead) {
            self.jumps.push((row, ahead));
        }
    }

    /// The line of a row, in the order of the file.
    pub(crate) fn line(&self, row: usize) -> u64 {
        let at = self.jumps.partition_point(|(from, _)| *from <= row);
        let ahead = at.checked_sub(1).and_then(|at| self.jumps.get(at)).map_or(0, |jump| jump.1);
        ahead.wrapping_add(row as u64)
    }
}

/// What a cell of numbers holds.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Cell {
    Value(f64),
    Blank,
    NotANumber,
    Unreadable,
}

/// A column of numbers as it is read.
struct Values {
    at: usize,
    role: Role,
    affine: Affine,
    suffix: Vec<u8>,
    suffix_affine: Affine,
    finest: i32,
    coarsest: i32,
    with_power: bool,
    first: Option<f64>,
}

impl Values {
    fn new(layout: &Layout, role: Role) -> Option<Values> {
        let column = layout.column(role)?;
        Some(Values {
            at: column.at,
            role,
            affine: column.affine,
            suffix: Vec::new(),
            suffix_affine: column.affine,
            finest: i32::MAX,
            coarsest: i32::MIN,
            with_power: false,
            first: None,
        })
    }

    fn read(&mut self, cell: &[u8], marks: Marks) -> Cell {
        let Some(number) = number::read(cell, marks) else { return without_number(cell) };
        let affine = if number.end == cell.len() {
            self.affine
        } else {
            match self.by_suffix(cell.get(number.end..).unwrap_or_default()) {
                Some(affine) => affine,
                None => return Cell::Unreadable,
            }
        };
        let value = affine.of(number.value);
        if value.abs() > 1e12 {
            return Cell::Unreadable;
        }
        self.finest = self.finest.min(number.last_digit);
        self.coarsest = self.coarsest.max(number.last_digit);
        self.with_power |= number.with_power;
        Cell::Value(value)
    }

    fn by_suffix(&mut self, suffix: &[u8]) -> Option<Affine> {
        let suffix = suffix.trim_ascii();
        if suffix.is_empty() {
            return Some(self.affine);
        }
        if suffix != self.suffix {
            let text = crate::heading::text(suffix);
            self.suffix_affine = crate::heading::affine(self.role, &text)?;
            self.suffix = suffix.to_vec();
        }
        Some(self.suffix_affine)
    }

    /// Above the first value, so that a meter's life-long count keeps its last digit.
    fn above_first(&mut self, cell: &[u8], marks: Marks) -> f32 {
        match self.read(cell, marks) {
            Cell::Value(value) => (value - *self.first.get_or_insert(value)) as f32,
            _ => f32::NAN,
        }
    }

    /// The smallest step, in the units of the program.
    fn step(&self) -> f64 {
        if self.finest > self.coarsest {
            return 0.0;
        }
        // with powers of ten the larger numbers show the coarser step; without, a spreadsheet
        // leaves noughts off the end
        let last_digit = if self.with_power { self.coarsest } else { self.finest };
        // cells without a unit of their own keep the first affine
        let scale = if self.suffix.is_empty() { self.affine } else { self.suffix_affine }.scale;
        10_f64.powi(last_digit.clamp(-30, 30)) * scale.abs()
    }
}

fn without_number(cell: &[u8]) -> Cell {
    match cell.to_ascii_lowercase().as_slice() {
        b"" | b"-" | b"--" | b"---" | b"n/a" | b"na" | b"null" | b"none" | b"\xe2\x80\x93"
        | b"\xe2\x80\x94" => Cell::Blank,
        b"nan" | b"-nan" | b"nan(ind)" | b"-nan(ind)" | b"inf" | b"-inf" | b"+inf"
        | b"infinity" | b"#n/a" | b"#num!" | b"#div/0!" => Cell::NotANumber,
        _ => Cell::Unreadable,
    }
}

/// Reads every row below the headings.
pub(crate) fn read<R: Read>(lines: &mut Lines<R>, layout: &Layout) -> Result<Raw, Trouble> {
    let mut reader = RowReader::new(layout);
    while let Some(line) = lines.next()? {
        if line.number <= layout.rows_below {
            continue;
        }
        reader.row(line)?;
    }
    reader.finish()
}

struct RowReader<'a> {
    layout: &'a Layout,
    raw: Raw,
    cells: Vec<std::ops::Range<usize>>,
    voltage: Option<Values>,
    current: Option<Values>,
    temperature: Option<Values>,
    charge: Option<Values>,
    energy: Option<Values>,
    state: Option<usize>,
    /// A row with fewer cells lacks something.
    needed: usize,
    width: usize,
    step_s: f64,
}

impl<'a> RowReader<'a> {
    fn new(layout: &'a Layout) -> RowReader<'a> {
        let values = |role| Values::new(layout, role);
        let (voltage, current) = match (values(Role::Voltage), values(Role::Current)) {
            (Some(voltage), current) => (Some(voltage), current.or_else(|| values(Role::Power))),
            (None, current) => (values(Role::Power), current),
        };
        let charge = values(Role::Charge);
        let energy = values(Role::Energy);
        let temperature = values(Role::Temperature);
        let state = layout.column(Role::State).map(|column| column.at);
        let times = match layout.timing {
            Timing::Interval { .. } => 0,
            Timing::Column { at, .. } => at,
            Timing::DateAndTime { date_at, time_at, .. } => date_at.max(time_at),
        };
        let at = |values: &Option<Values>| values.as_ref().map_or(0, |values| values.at);
        let needed = times.max(at(&voltage)).max(at(&current)) + 1;
        let raw = Raw {
            temperature_c: temperature.as_ref().map(|_| Vec::new()),
            charge_ah: charge.as_ref().map(|_| Vec::new()),
            energy_wh: energy.as_ref().map(|_| Vec::new()),
            flow: state.map(|_| Vec::new()),
            ..Raw::default()
        };
        RowReader {
            layout,
            raw,
            cells: Vec::new(),
            voltage,
            current,
            temperature,
            charge,
            energy,
            state,
            needed,
            width: 0,
            step_s: f64::INFINITY,
        }
    }

    fn row(&mut self, line: Line) -> Result<(), Trouble> {
        cells::split(line.bytes, self.layout.delimiter, &mut self.cells);
        if self.cells.iter().all(std::ops::Range::is_empty) {
            return Ok(());
        }
        self.raw.read += 1;
        if self.raw.read > MOST_ROWS {
            let message = format!("the record has more than {MOST_ROWS} rows");
            return Err(Trouble::new(ErrorKind::TooLong, message, "give it in parts"));
        }
        match self.values(line) {
            Ok(()) => self.width = self.cells.len(),
            Err(reason) => {
                *self.raw.set_aside.entry(reason.to_owned()).or_default() += 1;
            }
        }
        Ok(())
    }

    /// Takes the values of a row, or says why not.
    fn values(&mut self, line: Line) -> Result<(), &'static str> {
        let bytes = line.bytes;
        let marks = self.layout.marks;
        if self.cells.len() < self.needed || (!line.ended && self.cells.len() < self.width) {
            return Err(if line.ended { reason::CELLS } else { reason::CUT_OFF });
        }
        let Some(moment) = self.moment(bytes) else { return Err(self.why_no_time(bytes)) };
        let last_cell = self.cells.len() - 1;
        let value = |values: &mut Option<Values>| -> Result<f32, &'static str> {
            let Some(values) = values else { return Ok(0.0) };
            let coarsest = values.coarsest;
            let cell = cells::cell(bytes, &self.cells, values.at);
            match values.read(cell, marks) {
                // "1.7" in a file that writes "1.700" everywhere else
                Cell::Value(_)
                    if !line.ended
                        && values.at == last_cell
                        && !values.with_power
                        && coarsest > i32::MIN
                        && values.coarsest > coarsest =>
                {
                    values.coarsest = coarsest;
                    Err(reason::CUT_OFF)
                }
                Cell::Value(value) => Ok(value as f32),
                Cell::Blank => Err(reason::BLANK),
                Cell::NotANumber => Err(reason::NOT_A_NUMBER),
                Cell::Unreadable => Err(reason::VALUE),
            }
        };
        let voltage_v = value(&mut self.voltage)?;
        let current = value(&mut self.current)?;
        if self.current.is_none() {
            // the counter is all there is of the current
            if let Some(charge) = &mut self.charge {
                match charge.read(cells::cell(bytes, &self.cells, charge.at), marks) {
                    Cell::Value(_) => {}
                    Cell::Blank => return Err(reason::BLANK),
                    Cell::NotANumber => return Err(reason::NOT_A_NUMBER),
                    Cell::Unreadable => return Err(reason::VALUE),
                }
            }
        }
        self.raw.lines.push(self.raw.time_s.len(), line.number);
        self.step_s = self.step_s.min(moment.step_s);
        self.raw.time_s.push(moment.s);
        self.raw.voltage_v.push(voltage_v);
        self.raw.current.push(current);
        self.side_values(bytes);
        if self.raw.start.is_none() {
            self.raw.start = self.start(bytes, moment.s);
        }
        Ok(())
    }

    /// What a row may lack.
    fn side_values(&mut self, bytes: &[u8]) {
        let marks = self.layout.marks;
        let cell = |at| cells::cell(bytes, &self.cells, at);
        if let (Some(values), Some(column)) = (&mut self.temperature, &mut self.raw.temperature_c) {
            column.push(match values.read(cell(values.at), marks) {
                Cell::Value(value) => value as f32,
                _ => f32::NAN,
            });
        }
        if let (Some(values), Some(column)) = (&mut self.charge, &mut self.raw.charge_ah) {
            column.push(values.above_first(cell(values.at), marks));
        }
        if let (Some(values), Some(column)) = (&mut self.energy, &mut self.raw.energy_wh) {
            column.push(values.above_first(cell(values.at), marks));
        }
        if let (Some(at), Some(column)) = (self.state, &mut self.raw.flow) {
            column.push(state::flow(cell(at)));
        }
    }

    fn moment(&self, bytes: &[u8]) -> Option<clock::Moment> {
        let cell = |at| cells::cell(bytes, &self.cells, at);
        let marks = self.layout.marks;
        let moment = match self.layout.timing {
            Timing::Interval { s } => {
                clock::Moment { s: s * (self.raw.read - 1) as f64, step_s: 0.0 }
            }
            Timing::Column { at, notation, .. } => clock::read(cell(at), notation, marks)?,
            Timing::DateAndTime { date_at, order, time_at } => {
                let (date, _) = clock::civil(cell(date_at), order)?;
                let time = clock::read(cell(time_at), Notation::HoursMinutes, marks)?;
                clock::Moment { s: date.s + time.s, step_s: time.step_s }
            }
        };
        (moment.s.abs() < 1e12).then_some(moment)
    }

    fn start(&self, bytes: &[u8], time_s: f64) -> Option<(f64, Notation, f64)> {
        let Timing::Column { start: Some((at, notation)), .. } = self.layout.timing else {
            return None;
        };
        let cell = cells::cell(bytes, &self.cells, at);
        Some((clock::read(cell, notation, self.layout.marks)?.s, notation, time_s))
    }

    fn why_no_time(&self, bytes: &[u8]) -> &'static str {
        let cell = |at| cells::cell(bytes, &self.cells, at);
        let again = |values: &Option<Values>| {
            values.as_ref().is_some_and(|values| {
                let text = crate::heading::text(cell(values.at));
                crate::heading::read(&text).is_some_and(|meaning| meaning.role == values.role)
            })
        };
        let time_at = match self.layout.timing {
            Timing::Interval { .. } => None,
            Timing::Column { at, .. } => Some(at),
            Timing::DateAndTime { time_at, .. } => Some(time_at),
        };
        if again(&self.voltage) || again(&self.current) {
            reason::HEADING
        } else if time_at.is_some_and(|at| cell(at).is_empty()) {
            reason::BLANK
        } else {
            reason::TIME
        }
    }

    fn finish(mut self) -> Result<Raw, Trouble> {
        let step = |values: &Option<Values>| values.as_ref().map_or(0.0, Values::step);
        self.raw.steps = Steps {
            time_s: if self.step_s.is_finite() { self.step_s } else { 0.0 },
            voltage: step(&self.voltage),
            current: step(&self.current),
            charge_ah: step(&self.charge),
            energy_wh: step(&self.energy),
        };
        if self.raw.time_s.is_empty() {
            return Err(self.nothing_used());
        }
        Ok(self.raw)
    }

    fn nothing_used(&self) -> Trouble {
        let raw = &self.raw;
        let line = self.layout.heading_line.max(1);
        if raw.read == 0 {
            let message = "there are headings and no rows below them";
            return Trouble::new(ErrorKind::NoReadings, message, "give the whole log").at(line);
        }
        let reasons: Vec<String> =
            raw.set_aside.iter().map(|(reason, count)| format!("{count} {reason}")).collect();
        let only_time = raw.set_aside.keys().all(|reason| reason == reason::TIME);
        let kind = if only_time { ErrorKind::Time } else { ErrorKind::NoReadings };
        let message = format!(
            "none of the {} rows below the headings has a time, a voltage and a current: {}",
            raw.read,
            reasons.join(", ")
        );
        Trouble::new(kind, message, "check that the readings are in the columns the headings say")
            .at(line)
    }
}
