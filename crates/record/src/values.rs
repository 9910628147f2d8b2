//! A column of numbers as it is read.

use crate::Role;
use crate::layout::Taken;
use crate::number::{self, Marks, Number};
use crate::pieces::Pieces;
use crate::unit::Affine;

/// What a cell of numbers holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Cell {
    Value(f64),
    Blank,
    NotANumber,
    Unreadable,
}

/// A column of numbers as it is read.
pub(crate) struct Values {
    /// The column.
    pub(crate) at: usize,
    /// Under which number its cells are among the pieces of a row.
    pub(crate) slot: usize,
    pub(crate) role: Role,
    affine: Affine,
    /// The unit behind the numbers, and what it is worth.
    suffix: Vec<u8>,
    suffix_affine: Affine,
    /// Powers of ten of the last digits seen.
    last_digit: i32,
    finest: i32,
    pub(crate) coarsest: i32,
    pub(crate) with_power: bool,
    /// The first value of a counter.
    pub(crate) first: Option<f64>,
}

impl Values {
    pub(crate) fn new(column: &Taken) -> Values {
        Values {
            at: column.at,
            slot: usize::MAX,
            role: column.role,
            affine: column.affine,
            suffix: Vec::new(),
            suffix_affine: column.affine,
            last_digit: i32::MAX,
            finest: i32::MAX,
            coarsest: i32::MIN,
            with_power: false,
            first: None,
        }
    }

    #[inline]
    pub(crate) fn read(&mut self, pieces: &Pieces, line: &[u8], marks: Marks) -> Cell {
        if let Some(number) = pieces.number(self.slot) {
            return self.plain(number);
        }
        let cell = pieces.cell(line, self.slot);
        let Some(number) = number::read(cell, marks) else { return without_number(cell) };
        let affine = if number.end == cell.len() {
            self.affine
        } else {
            match self.by_suffix(cell.get(number.end..).unwrap_or_default()) {
                Some(affine) => affine,
                None => return Cell::Unreadable,
            }
        };
        self.value(number, affine)
    }

    /// The value of a number without a unit of its own.
    #[inline]
    pub(crate) fn plain(&mut self, number: Number) -> Cell {
        self.value(number, self.affine)
    }

    #[inline]
    fn value(&mut self, number: Number, affine: Affine) -> Cell {
        let value = affine.of(number.value);
        if value.abs() > 1e12 {
            return Cell::Unreadable;
        }
        // nearly always the same as in the row before
        if number.last_digit != self.last_digit || number.with_power {
            self.last_digit = number.last_digit;
            self.finest = self.finest.min(number.last_digit);
            self.coarsest = self.coarsest.max(number.last_digit);
            self.with_power |= number.with_power;
        }
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
    pub(crate) fn above_first(&mut self, pieces: &Pieces, line: &[u8], marks: Marks) -> f32 {
        match self.read(pieces, line, marks) {
            Cell::Value(value) => (value - *self.first.get_or_insert(value)) as f32,
            _ => f32::NAN,
        }
    }

    /// The smallest step, in the units of the program.
    pub(crate) fn step(&self) -> f64 {
        if self.finest > self.coarsest {
            return 0.0;
        }
        // with powers of ten the larger numbers show the coarser step; without, a spreadsheet
        // leaves noughts off the end
        let last_digit = if self.with_power { self.coarsest } else { self.finest };
        // cells without a unit of their own keep the first affine
        let scale = if self.suffix.is_empty() { self.affine } else { self.suffix_affine }.scale;
        number::step(last_digit) * scale.abs()
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
