//! Cells of a line.

use std::ops::Range;

/// What stands between two cells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Delimiter {
    /// One character: comma, semicolon, tab, bar.
    Byte(u8),
    /// Any number of blanks, at least this many.
    Blanks(usize),
}

/// Splits a line; the ranges leave out quotes and blanks around a cell.
///
/// A cell that begins with a quote ends at the next one; a quote inside a quoted cell is written
/// twice and stays so. A cell never reaches past its line.
pub(crate) fn split(line: &[u8], delimiter: Delimiter, cells: &mut Vec<Range<usize>>) {
    cells.clear();
    match delimiter {
        Delimiter::Byte(mark) => split_at(line, mark, cells),
        Delimiter::Blanks(least) => split_at_blanks(line, least, cells),
    }
}

/// The cell at a place; empty where the line is too short.
pub(crate) fn cell<'a>(line: &'a [u8], cells: &[Range<usize>], at: usize) -> &'a [u8] {
    cells.get(at).and_then(|range| line.get(range.clone())).unwrap_or_default()
}

fn split_at(line: &[u8], mark: u8, cells: &mut Vec<Range<usize>>) {
    let mut from = 0;
    let mut began_with_quote = false;
    let mut quoted = false;
    let mut empty = true;
    for (at, &byte) in line.iter().enumerate() {
        if byte == mark && !quoted {
            cells.push(trimmed(line, from..at));
            from = at + 1;
            empty = true;
            began_with_quote = false;
        } else if byte == b'"' && (empty || began_with_quote) {
            quoted = empty || !quoted;
            began_with_quote = true;
            empty = false;
        } else if byte != b' ' {
            empty = false;
        }
    }
    cells.push(trimmed(line, from..line.len()));
}

fn split_at_blanks(line: &[u8], least: usize, cells: &mut Vec<Range<usize>>) {
    let mut from = None;
    let mut blanks = 0;
    for (at, &byte) in line.iter().enumerate() {
        if byte == b' ' || byte == b'\t' {
            blanks += if byte == b'\t' { least } else { 1 };
            continue;
        }
        match from {
            None => from = Some(at),
            Some(start) if blanks >= least => {
                cells.push(trimmed(line, start..at));
                from = Some(at);
            }
            Some(_) => {}
        }
        blanks = 0;
    }
    if let Some(start) = from {
        cells.push(trimmed(line, start..line.len()));
    }
}

#[inline]
fn trimmed(line: &[u8], range: Range<usize>) -> Range<usize> {
    let range = without_blanks(line, range);
    let quote = |at: usize| line.get(at) == Some(&b'"');
    if range.len() >= 2 && quote(range.start) && quote(range.end - 1) {
        return without_blanks(line, range.start + 1..range.end - 1);
    }
    range
}

/// A range without the blanks at its ends.
#[inline]
pub(crate) fn without_blanks(line: &[u8], range: Range<usize>) -> Range<usize> {
    let Range { mut start, mut end } = range;
    let blank = |at: usize| line.get(at).is_some_and(u8::is_ascii_whitespace);
    while start < end && blank(start) {
        start += 1;
    }
    while start < end && blank(end - 1) {
        end -= 1;
    }
    start..end
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(line: &str, delimiter: Delimiter) -> Vec<String> {
        let mut cells = Vec::new();
        split(line.as_bytes(), delimiter, &mut cells);
        cells.iter().map(|range| line[range.clone()].to_owned()).collect()
    }

    #[test]
    fn cells_of_lines() {
        for (line, delimiter, expect) in [
            ("0,14.355, 4.000", Delimiter::Byte(b','), &["0", "14.355", "4.000"][..]),
            (r#""10,000","13,849",x"#, Delimiter::Byte(b','), &["10,000", "13,849", "x"]),
            (r#"1, "a ""b"", c" ,2"#, Delimiter::Byte(b','), &["1", r#"a ""b"", c"#, "2"]),
            (r#"5" cable,2"#, Delimiter::Byte(b','), &[r#"5" cable"#, "2"]),
            (r#"1,"not closed,2"#, Delimiter::Byte(b','), &["1", r#""not closed,2"#]),
            ("a;;b;", Delimiter::Byte(b';'), &["a", "", "b", ""]),
            ("", Delimiter::Byte(b';'), &[""]),
            ("0:10  13.3 \t fan on", Delimiter::Blanks(1), &["0:10", "13.3", "fan", "on"]),
            (
                "2026-01-18 06:16  13.3\tfan on",
                Delimiter::Blanks(2),
                &["2026-01-18 06:16", "13.3", "fan on"],
            ),
            ("  ", Delimiter::Blanks(1), &[]),
        ] {
            assert_eq!(texts(line, delimiter), expect, "{line:?}");
        }
    }
}
