//! Rows read one by one.

use std::io::Read;

use crate::Role;
use crate::clock::{self, Moment, Notation};
use crate::error::{ErrorKind, Trouble};
use crate::layout::{Layout, Taken, Timing};
use crate::lines::{Line, Lines};
use crate::number::Marks;
use crate::pieces::Pieces;
use crate::rows::{Counter, Raw, Steps, reason};
use crate::state;
use crate::values::{Cell, Values};

/// A record with more rows would not fit in memory.
const MOST_ROWS: usize = 100_000_000;

/// Reads every row below the headings.
pub(crate) fn read<R: Read>(lines: &mut Lines<R>, layout: &Layout) -> Result<Raw, Trouble> {
    let mut reader = RowReader::new(layout);
    lines.each(|line| if line.number > layout.rows_below { reader.row(line) } else { Ok(()) })?;
    reader.finish()
}

/// Times beyond (s) are none.
const LATEST_S: f64 = 1e12;

struct RowReader<'a> {
    layout: &'a Layout,
    raw: Raw,
    pieces: Pieces,
    voltage: Option<Values>,
    current: Option<Values>,
    temperature: Option<Values>,
    /// One for each counter of the rows kept.
    counters: Vec<Values>,
    state: Option<usize>,
    /// Its columns are slots of the pieces.
    timing: Timing,
    /// Slot and unit of a time that is a plain number, where nothing but time, voltage and current
    /// is wanted.
    plain_time: Option<(usize, f64)>,
    /// Whether there is more than time, voltage and current.
    has_sides: bool,
    /// A row with fewer cells lacks something.
    needed: usize,
    width: usize,
    step_s: f64,
}

impl<'a> RowReader<'a> {
    fn new(layout: &'a Layout) -> RowReader<'a> {
        let values = |role| layout.column(role).map(Values::new);
        let (voltage, current) = match (values(Role::Voltage), values(Role::Current)) {
            (Some(voltage), current) => (Some(voltage), current.or_else(|| values(Role::Power))),
            (None, current) => (values(Role::Power), current),
        };
        let mut all = [voltage, current, values(Role::Temperature)];
        let is_counter = |column: &&Taken| matches!(column.role, Role::Charge | Role::Energy);
        let mut counters: Vec<Values> =
            layout.columns.iter().filter(is_counter).map(Values::new).collect();
        let state = layout.column(Role::State).map(|column| column.at);
        let mut wanted: Vec<usize> =
            all.iter().flatten().chain(&counters).map(|values| values.at).collect();
        wanted.extend(state);
        wanted.extend(layout.timing.columns());
        let pieces = Pieces::new(layout.delimiter, layout.marks, wanted);
        for values in all.iter_mut().flatten().chain(&mut counters) {
            values.slot = pieces.slot(values.at);
        }
        let [voltage, current, temperature] = all;
        let starts = matches!(layout.timing, Timing::Column { start: Some(_), .. });
        let has_sides = starts || state.is_some() || temperature.is_some() || !counters.is_empty();
        let at = |values: &Option<Values>| values.as_ref().map_or(0, |values| values.at);
        let needed = layout.timing.last_column().max(at(&voltage)).max(at(&current)) + 1;
        let raw = Raw {
            temperature_c: temperature.as_ref().map(|_| Vec::new()),
            counters: layout.columns.iter().filter(is_counter).map(counter).collect(),
            flow: state.map(|_| Vec::new()),
            ..Raw::default()
        };
        let timing = layout.timing.with_columns(|at| pieces.slot(at));
        let plain_time = match timing {
            Timing::Column {
                at,
                notation: Notation::Span { unit_s } | Notation::Epoch { unit_s },
                start: None,
            } if !has_sides => Some((at, unit_s)),
            _ => None,
        };
        RowReader {
            layout,
            raw,
            voltage,
            current,
            temperature,
            counters,
            state: state.map(|at| pieces.slot(at)),
            timing,
            plain_time,
            pieces,
            needed,
            has_sides,
            width: 0,
            step_s: f64::INFINITY,
        }
    }

    fn row(&mut self, line: Line) -> Result<(), Trouble> {
        // the first row tells the usual width, and a line without an end is looked at closely
        let plain = line.ended && self.width > 0 && self.pieces.take_plain(line.bytes);
        if plain && self.plain_values(line.number) {
            return Ok(());
        }
        let mut width = self.width;
        if !plain {
            match self.pieces.take(line.bytes) {
                Some(cells) => width = cells,
                None => return Ok(()),
            }
        }
        self.raw.read += 1;
        if self.raw.time_s.len() >= MOST_ROWS {
            let message = format!("the record has more than {MOST_ROWS} rows");
            return Err(Trouble::new(ErrorKind::TooLong, message, "give it in parts"));
        }
        match self.values(line, width) {
            Ok(()) => self.width = width,
            Err(reason) => *self.raw.set_aside.entry(reason.to_owned()).or_default() += 1,
        }
        Ok(())
    }

    /// Takes time, voltage and current where they are all that is wanted and plain numbers.
    #[inline]
    fn plain_values(&mut self, line: u64) -> bool {
        let (Some((time, unit_s)), Some(voltage), Some(current)) =
            (self.plain_time, &mut self.voltage, &mut self.current)
        else {
            return false;
        };
        let number = |slot| self.pieces.number(slot);
        let (Some(time), Some(volts), Some(amperes)) =
            (number(time), number(voltage.slot), number(current.slot))
        else {
            return false;
        };
        let moment = Moment::of_number(time, unit_s);
        let (Cell::Value(volts), Cell::Value(amperes)) =
            (voltage.plain(volts), current.plain(amperes))
        else {
            return false;
        };
        if moment.s.abs() >= LATEST_S || self.raw.time_s.len() >= MOST_ROWS {
            return false;
        }
        self.raw.read += 1;
        self.keep(line, moment, volts as f32, amperes as f32);
        true
    }

    #[inline]
    fn keep(&mut self, line: u64, moment: Moment, voltage_v: f32, current: f32) {
        self.raw.lines.push(self.raw.time_s.len(), line);
        self.step_s = self.step_s.min(moment.step_s);
        self.raw.time_s.push(moment.s);
        self.raw.voltage_v.push(voltage_v);
        self.raw.current.push(current);
    }

    /// Takes the values of a row of so many cells, or says why not.
    fn values(&mut self, line: Line, width: usize) -> Result<(), &'static str> {
        if width < self.needed || (!line.ended && width < self.width) {
            return Err(if line.ended { reason::CELLS } else { reason::CUT_OFF });
        }
        let Some(moment) = self.moment(line.bytes) else {
            return Err(self.why_no_time(line.bytes));
        };
        let RowReader { pieces, layout: Layout { marks, .. }, .. } = self;
        let voltage_v = value(self.voltage.as_mut(), pieces, line, width, *marks)?;
        let current = value(self.current.as_mut(), pieces, line, width, *marks)?;
        if self.current.is_none() {
            // the counter is all there is of the current
            let charge = self.counters.iter_mut().find(|values| values.role == Role::Charge);
            value(charge, pieces, line, width, *marks)?;
        }
        self.keep(line.number, moment, voltage_v, current);
        if self.has_sides {
            self.side_values(line.bytes);
        }
        Ok(())
    }

    /// What a row may lack.
    fn side_values(&mut self, line: &[u8]) {
        let RowReader { pieces, layout: Layout { marks, .. }, raw, .. } = self;
        if let (Some(values), Some(column)) = (&mut self.temperature, &mut raw.temperature_c) {
            column.push(match values.read(pieces, line, *marks) {
                Cell::Value(value) => value as f32,
                _ => f32::NAN,
            });
        }
        for (values, counter) in self.counters.iter_mut().zip(&mut raw.counters) {
            counter.counts.push(values.above_first(pieces, line, *marks));
        }
        if let (Some(slot), Some(column)) = (self.state, &mut raw.flow) {
            column.push(state::flow(pieces.cell(line, slot)));
        }
        if let (None, Timing::Column { start: Some((slot, notation)), .. }) =
            (raw.start, self.timing)
            && let Some(moment) = clock::read(pieces.cell(line, slot), notation, *marks)
        {
            let time_s = raw.time_s.last().copied().unwrap_or(0.0);
            raw.start = Some((moment.s, notation, time_s));
        }
    }

    fn moment(&self, line: &[u8]) -> Option<Moment> {
        let marks = self.layout.marks;
        let moment = match self.timing {
            Timing::Interval { s } => Moment { s: s * (self.raw.read - 1) as f64, step_s: 0.0 },
            Timing::Column { at, notation, .. } => match (notation, self.pieces.number(at)) {
                (Notation::Span { unit_s } | Notation::Epoch { unit_s }, Some(number)) => {
                    Moment::of_number(number, unit_s)
                }
                _ => clock::read(self.pieces.cell(line, at), notation, marks)?,
            },
            Timing::DateAndTime { date_at, order, time_at } => {
                let (date, _) = clock::civil(self.pieces.cell(line, date_at), order)?;
                let time = self.pieces.cell(line, time_at);
                let time = clock::read(time, Notation::HoursMinutes, marks)?;
                Moment { s: date.s + time.s, step_s: time.step_s }
            }
        };
        (moment.s.abs() < LATEST_S).then_some(moment)
    }

    fn why_no_time(&self, line: &[u8]) -> &'static str {
        let heads = |values: &Option<Values>| {
            values.as_ref().is_some_and(|values| {
                let text = crate::heading::text(self.pieces.cell(line, values.slot));
                crate::heading::read(&text).is_some_and(|meaning| meaning.role == values.role)
            })
        };
        let blank = match self.timing {
            Timing::Interval { .. } => false,
            Timing::Column { at, .. } | Timing::DateAndTime { time_at: at, .. } => {
                self.pieces.cell(line, at).is_empty()
            }
        };
        if heads(&self.voltage) || heads(&self.current) {
            reason::HEADING
        } else if blank {
            reason::BLANK
        } else {
            reason::TIME
        }
    }

    fn finish(mut self) -> Result<Raw, Trouble> {
        let step = |values: Option<&Values>| values.map_or(0.0, Values::step);
        let counter = |role| self.counters.iter().find(|values| values.role == role);
        self.raw.steps = Steps {
            time_s: if self.step_s.is_finite() { self.step_s } else { 0.0 },
            voltage: step(self.voltage.as_ref()),
            current: step(self.current.as_ref()),
            charge_ah: step(counter(Role::Charge)),
            energy_wh: step(counter(Role::Energy)),
        };
        for (values, counter) in self.counters.iter().zip(&mut self.raw.counters) {
            counter.first = values.first.unwrap_or(0.0);
        }
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

fn counter(column: &Taken) -> Counter {
    Counter {
        is_charge: column.role == Role::Charge,
        is_in: column.is_in,
        counts: Vec::new(),
        first: 0.0,
    }
}

/// The value of a column that a row can't do without; nought where there is no such column.
#[inline]
fn value(
    values: Option<&mut Values>,
    pieces: &Pieces,
    line: Line,
    width: usize,
    marks: Marks,
) -> Result<f32, &'static str> {
    let Some(values) = values else { return Ok(0.0) };
    let coarsest = values.coarsest;
    match values.read(pieces, line.bytes, marks) {
        // "1.7" at the end of a file that writes "1.700" everywhere else
        Cell::Value(_)
            if !line.ended
                && values.at + 1 == width
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
}
