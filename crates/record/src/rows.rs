//! Rows of a table, kept as columns.

use std::collections::BTreeMap;

use crate::clock::Notation;
use crate::state::Flow;

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
    /// The counters as they stand in the file, until they are joined.
    pub(crate) counters: Vec<Counter>,
    /// Net out, above the first reading.
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

/// A counter of charge or energy.
#[derive(Debug)]
pub(crate) struct Counter {
    pub(crate) is_charge: bool,
    /// Whether it counts what goes in, beside one for what goes out.
    pub(crate) is_in: bool,
    /// Above the first reading, so that a meter's life-long count keeps its last digit.
    pub(crate) counts: Vec<f32>,
    /// The first reading.
    pub(crate) first: f64,
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
    pub(crate) fn push(&mut self, row: usize, line: u64) {
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

/// The largest value without its sign; nought for none.
///
/// Compares bits, which for numbers without a sign are in the order of the numbers: the compiler
/// does that for many at once, as it can't for floats that may be NaN.
pub(crate) fn largest(values: &[f32]) -> f32 {
    let bits = values.iter().map(|value| value.abs().to_bits());
    f32::from_bits(bits.fold(0, u32::max))
}
