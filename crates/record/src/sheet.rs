//! Sheets of workbooks, turned into tab-separated text so that they are read like any other table.

use std::io::{Cursor, Write};

use calamine::{Data, DataRef, ExcelDateTime, Ods, Reader, Xlsx};
use zip::ZipArchive;

use crate::bytes::not_a_table;
use crate::error::{ErrorKind, Trouble};

/// A sheet that fills more text than this is no log.
const MOST_TEXT: usize = 1 << 30;

/// Nor is a workbook that says it unpacks to more.
const MOST_UNPACKED: u64 = 2 << 30;

type Bytes = Cursor<Vec<u8>>;

/// A workbook.
pub(crate) enum Book {
    Xlsx(Box<Xlsx<Bytes>>),
    Ods(Box<Ods<Bytes>>),
}

impl Book {
    /// Opens a zip that may be a workbook.
    pub(crate) fn open(bytes: Vec<u8>) -> Result<Book, Trouble> {
        let mut zip = ZipArchive::new(Cursor::new(bytes.as_slice()))
            .map_err(|error| not_a_table(&format!("an archive that can't be read ({error})")))?;
        let mut unpacked = 0_u64;
        for at in 0..zip.len() {
            let size = zip.by_index_raw(at).map_or(u64::MAX, |file| file.size());
            unpacked = unpacked.saturating_add(size);
        }
        if unpacked > MOST_UNPACKED {
            let message = "unpacked, this is larger than any workbook with a log";
            return Err(Trouble::new(ErrorKind::TooLong, message, "save the sheet as CSV"));
        }
        let has = |name| zip.index_for_name(name).is_some();
        let (is_xlsx, is_ods) = (has("xl/workbook.xml"), has("content.xml"));
        if is_xlsx {
            let book = Xlsx::new(Cursor::new(bytes)).map_err(|error| unreadable(&error))?;
            Ok(Book::Xlsx(Box::new(book)))
        } else if is_ods {
            let book = Ods::new(Cursor::new(bytes)).map_err(|error| unreadable(&error))?;
            Ok(Book::Ods(Box::new(book)))
        } else {
            Err(not_a_table("an archive"))
        }
    }

    /// The names of its sheets, or the one that is asked for.
    pub(crate) fn sheets(&self, asked: Option<&str>) -> Result<Vec<String>, Trouble> {
        let names = match self {
            Book::Xlsx(book) => book.sheet_names(),
            Book::Ods(book) => book.sheet_names(),
        };
        let Some(asked) = asked else { return Ok(names) };
        let found = names.iter().find(|name| name.eq_ignore_ascii_case(asked.trim()));
        found.cloned().map(|name| vec![name]).ok_or_else(|| {
            let message = format!("the workbook has no sheet {asked:?}");
            Trouble::new(ErrorKind::Column, message, format!("its sheets are {names:?}"))
        })
    }

    /// A sheet as tab-separated text, one line a row.
    pub(crate) fn text(&mut self, sheet: &str) -> Result<Vec<u8>, Trouble> {
        let mut text = Text::default();
        match self {
            Book::Xlsx(book) => {
                let mut cells =
                    book.worksheet_cells_reader(sheet).map_err(|error| unreadable(&error))?;
                while let Some(cell) = cells.next_cell().map_err(|error| unreadable(&error))? {
                    let (row, column) = cell.get_position();
                    text.move_to(row, column)?;
                    text.cell(cell.get_value());
                }
            }
            Book::Ods(book) => {
                let range = book.worksheet_range(sheet).map_err(|error| unreadable(&error))?;
                let (top, left) = range.start().unwrap_or((0, 0));
                for (row, column, cell) in range.used_cells() {
                    let place = |at: usize, from: u32| {
                        from.saturating_add(u32::try_from(at).unwrap_or(u32::MAX))
                    };
                    text.move_to(place(row, top), place(column, left))?;
                    text.cell(&by_reference(cell));
                }
            }
        }
        Ok(text.bytes)
    }
}

fn unreadable(error: &dyn std::error::Error) -> Trouble {
    let message = format!("the workbook can't be read: {error}");
    let help = "open it in a spreadsheet program and save it anew, or save the sheet as CSV";
    Trouble::new(ErrorKind::Unreadable, message, help)
}

fn by_reference(cell: &Data) -> DataRef<'_> {
    match cell {
        Data::Int(number) => DataRef::Int(*number),
        Data::Float(number) => DataRef::Float(*number),
        Data::String(text) => DataRef::SharedString(text),
        Data::Bool(yes) => DataRef::Bool(*yes),
        Data::DateTime(at) => DataRef::DateTime(*at),
        Data::DateTimeIso(text) => DataRef::DateTimeIso(text.clone()),
        Data::DurationIso(text) => DataRef::DurationIso(text.clone()),
        Data::Error(error) => DataRef::Error(error.clone()),
        Data::Empty => DataRef::Empty,
    }
}

#[derive(Default)]
struct Text {
    bytes: Vec<u8>,
    row: u32,
    column: u32,
}

impl Text {
    fn move_to(&mut self, row: u32, column: u32) -> Result<(), Trouble> {
        if row < self.row || (row == self.row && column < self.column) {
            return Err(unreadable(&std::io::Error::other("its cells are out of order")));
        }
        for _ in self.row..row {
            self.bytes.push(b'\n');
            self.column = 0;
        }
        for _ in self.column..column {
            self.bytes.push(b'\t');
        }
        (self.row, self.column) = (row, column);
        if self.bytes.len() > MOST_TEXT {
            let message = "the sheet is larger than any log";
            return Err(Trouble::new(ErrorKind::TooLong, message, "give the log alone, as CSV"));
        }
        Ok(())
    }

    fn cell(&mut self, value: &DataRef) {
        let text = match value {
            DataRef::Empty => return,
            DataRef::Int(number) => number.to_string(),
            DataRef::Float(number) => number.to_string(),
            DataRef::String(text) => one_line(text),
            DataRef::SharedString(text) => one_line(text),
            DataRef::Bool(yes) => yes.to_string(),
            DataRef::DateTime(at) => moment(at),
            DataRef::DateTimeIso(text) => text.clone(),
            DataRef::DurationIso(text) => clock(text).unwrap_or_else(|| text.clone()),
            DataRef::Error(error) => error.to_string(),
        };
        // writing to a vector can't fail
        let _ = self.bytes.write_all(text.as_bytes());
    }
}

fn one_line(text: &str) -> String {
    text.replace(['\t', '\n', '\r'], " ")
}

/// A date as "2026-05-02 09:30:00.250", a time of day or a span as "1:30:05".
fn moment(at: &ExcelDateTime) -> String {
    let value = at.as_f64();
    if at.is_duration() || (0.0..1.0).contains(&value) {
        return hours(value * 86_400.0);
    }
    let (year, month, day, hour, minute, second, milli) = at.to_ymd_hms_milli();
    let fraction = if milli == 0 { String::new() } else { format!(".{milli:03}") };
    format!("{year:04}-{month:02}-{day:02} {hour:02}:{minute:02}:{second:02}{fraction}")
}

fn hours(s: f64) -> String {
    let millis = (s * 1e3).round().max(0.0) as u64;
    let (whole, milli) = (millis / 1000, millis % 1000);
    let fraction = if milli == 0 { String::new() } else { format!(".{milli:03}") };
    format!("{}:{:02}:{:02}{fraction}", whole / 3600, whole / 60 % 60, whole % 60)
}

/// "PT01H30M05.5S" as "1:30:05.500".
fn clock(iso: &str) -> Option<String> {
    let span: jiff::SignedDuration = iso.parse().ok()?;
    Some(hours(span.as_secs_f64()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans() {
        assert_eq!(clock("PT01H30M05.5S").unwrap(), "1:30:05.500");
        assert_eq!(clock("PT36H00M00S").unwrap(), "36:00:00");
        assert_eq!(hours(59.9996), "0:01:00");
    }

    #[test]
    fn other_archives() {
        let error = Book::open(b"PK\x03\x04 log.csv".to_vec()).err().unwrap();
        assert_eq!(error.kind, ErrorKind::NotATable);
    }
}
