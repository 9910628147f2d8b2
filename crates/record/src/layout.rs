//! How a table is laid out: found from its first rows.

mod columns;
mod heading_row;
mod marks;
mod timing;

use std::ops::Range;

pub(crate) use columns::Taken;
pub(crate) use timing::Timing;

use crate::cells::{self, Delimiter};
use crate::error::Trouble;
use crate::lines::Line;
use crate::number::Marks;
use crate::{ReadOptions, Role};

/// So many rows are looked at.
const SAMPLE: usize = 300;

/// A row of the sample: where it is and what is in it.
pub(crate) struct Row<'a> {
    pub(crate) line: u64,
    pub(crate) bytes: &'a [u8],
    pub(crate) cells: Vec<Range<usize>>,
}

impl<'a> Row<'a> {
    pub(crate) fn new(line: Line<'a>, delimiter: Delimiter) -> Row<'a> {
        let mut cells = Vec::new();
        cells::split(line.bytes, delimiter, &mut cells);
        Row { line: line.number, bytes: line.bytes, cells }
    }

    pub(crate) fn cell(&self, at: usize) -> &'a [u8] {
        cells::cell(self.bytes, &self.cells, at)
    }

    pub(crate) fn iter(&self) -> impl Iterator<Item = &'a [u8]> + '_ {
        (0..self.cells.len()).map(|at| self.cell(at))
    }
}

/// How a table is laid out.
#[derive(Debug)]
pub(crate) struct Layout {
    pub(crate) delimiter: Delimiter,
    pub(crate) marks: Marks,
    /// The line of the headings; 0 where there are none.
    pub(crate) heading_line: u64,
    /// Rows stand below this line.
    pub(crate) rows_below: u64,
    pub(crate) timing: Timing,
    pub(crate) columns: Vec<Taken>,
    pub(crate) about: Vec<(String, String)>,
    pub(crate) notices: Vec<String>,
}

impl Layout {
    /// The column taken for a role.
    pub(crate) fn column(&self, role: Role) -> Option<&Taken> {
        self.columns.iter().find(|column| column.role == role)
    }
}

/// Finds the layout from the lines ahead.
pub(crate) fn find<'a>(
    lines: impl Iterator<Item = Line<'a>>,
    fixed: Option<Delimiter>,
    options: &ReadOptions,
) -> Result<Layout, Trouble> {
    let lines: Vec<Line> = lines
        .filter(|line| !line.bytes.iter().all(u8::is_ascii_whitespace))
        .take(heading_row::MOST_ABOVE + SAMPLE)
        .collect();
    let delimiter = fixed.unwrap_or_else(|| marks::delimiter(&lines));
    let mut rows: Vec<Row> = lines.into_iter().map(|line| Row::new(line, delimiter)).collect();
    let found = heading_row::find(&rows, options)?;
    // some loggers write their headings anew every so often
    if let Some(heading) = rows.iter().find(|row| row.line == found.heading_line) {
        let heading = heading.bytes;
        rows.retain(|row| row.line <= found.heading_line || row.bytes != heading);
    }
    let sample = rows.get(found.first_row..).unwrap_or_default();
    let sample = sample.get(..SAMPLE.min(sample.len())).unwrap_or_default();
    let marks = marks::numbers(sample, delimiter);
    let mut notices = Vec::new();
    let mut columns = columns::choose(&found.headings, sample, options, &mut notices)?;
    let timing =
        timing::choose(&found.headings, sample, marks, options, &mut columns, &mut notices)?;
    columns::complain_of_missing(&columns, &found, options)?;
    Ok(Layout {
        delimiter,
        marks,
        heading_line: found.heading_line,
        rows_below: found.rows_below,
        timing,
        columns,
        about: heading_row::about(rows.get(..found.first_row).unwrap_or_default(), &found),
        notices,
    })
}
