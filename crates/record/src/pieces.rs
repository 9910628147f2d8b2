//! The cells of a row that are wanted.

use std::ops::Range;

use crate::cells::{self, Delimiter};
use crate::number::{self, Marks, Number};

/// Where a wanted cell stands, and the number in it where it holds nothing else.
#[derive(Debug, Clone, Copy, Default)]
struct Piece {
    from: usize,
    to: usize,
    number: Option<Number>,
}

impl Piece {
    fn at(cell: Range<usize>) -> Piece {
        Piece { from: cell.start, to: cell.end, number: None }
    }
}

/// Takes the wanted cells out of line after line.
pub(crate) struct Pieces {
    delimiter: Delimiter,
    marks: Marks,
    /// Places of the wanted columns, rising.
    wanted: Vec<usize>,
    pieces: Vec<Piece>,
    cells: Vec<Range<usize>>,
}

impl Pieces {
    pub(crate) fn new(delimiter: Delimiter, marks: Marks, mut wanted: Vec<usize>) -> Pieces {
        wanted.sort_unstable();
        wanted.dedup();
        let pieces = vec![Piece::default(); wanted.len()];
        Pieces { delimiter, marks, wanted, pieces, cells: Vec::new() }
    }

    /// Takes the wanted cells in one pass, where every one of them is there and holds something
    /// and none is quoted; false otherwise.
    ///
    /// This is how nearly every row of nearly every log goes; it is half the work of parting the
    /// line first and reading the numbers then.
    pub(crate) fn take_plain(&mut self, line: &[u8]) -> bool {
        let Delimiter::Byte(mark) = self.delimiter else { return false };
        let mut at = 0;
        let mut column = 0;
        for (piece, &wanted) in self.pieces.iter_mut().zip(&self.wanted) {
            while column < wanted {
                match end_of_cell(line, at, mark) {
                    Some(end) if end < line.len() => at = end + 1,
                    _ => return false,
                }
                column += 1;
            }
            let Some(rest) = line.get(at..) else { return false };
            if let Some(number) = number::read_plain(rest, self.marks.decimal, mark) {
                let end = at + number.end;
                *piece = Piece { from: at, to: end, number: Some(number) };
                at = end + 1;
            } else {
                let Some(end) = end_of_cell(line, at, mark) else { return false };
                let cell = cells::without_blanks(line, at..end);
                if cell.is_empty() {
                    return false;
                }
                *piece = Piece::at(cell);
                at = end + 1;
            }
            column += 1;
        }
        true
    }

    /// Parts the whole line and takes the wanted cells; says how many cells there are, or none if
    /// they are all empty.
    pub(crate) fn take(&mut self, line: &[u8]) -> Option<usize> {
        cells::split(line, self.delimiter, &mut self.cells);
        if self.cells.iter().all(Range::is_empty) {
            return None;
        }
        for (piece, &wanted) in self.pieces.iter_mut().zip(&self.wanted) {
            let cell = self.cells.get(wanted).cloned().unwrap_or_default();
            *piece = Piece::at(cell);
        }
        Some(self.cells.len())
    }

    /// The wanted cell of a column.
    pub(crate) fn cell<'a>(&self, line: &'a [u8], slot: usize) -> &'a [u8] {
        self.pieces.get(slot).and_then(|piece| line.get(piece.from..piece.to)).unwrap_or_default()
    }

    /// The number that is all a wanted cell holds, where that is already known.
    #[inline]
    pub(crate) fn number(&self, slot: usize) -> Option<Number> {
        self.pieces.get(slot)?.number
    }

    /// Under which number a wanted column is kept.
    pub(crate) fn slot(&self, column: usize) -> usize {
        self.wanted.binary_search(&column).unwrap_or(usize::MAX)
    }
}

/// Where the cell that begins here ends; none if it holds a quote.
#[inline]
fn end_of_cell(line: &[u8], from: usize, mark: u8) -> Option<usize> {
    for (at, byte) in line.iter().enumerate().skip(from) {
        if *byte == mark {
            return Some(at);
        }
        if *byte == b'"' {
            return None;
        }
    }
    Some(line.len())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn pieces(wanted: &[usize]) -> Pieces {
        Pieces::new(Delimiter::Byte(b','), Marks::POINT, wanted.to_vec())
    }

    #[test]
    fn plain_rows() {
        let mut some = pieces(&[2, 0]);
        for (line, plain) in [
            ("0,x,4.000,y", true),
            ("0,x,4.000", true),
            ("0, x , 4.000 ", true),
            ("0,x", false),
            ("0,x,", false),
            (r#"0,"x",4"#, false),
        ] {
            assert_eq!(some.take_plain(line.as_bytes()), plain, "{line}");
        }
        assert_eq!((some.slot(0), some.slot(2)), (0, 1));
    }

    proptest! {
        #[test]
        fn plain_as_parted(line in "[0-9.,; \"a-]{0,40}", first in 0_usize..4, second in 0_usize..4) {
            let (mut one, mut two) = (pieces(&[first, second]), pieces(&[first, second]));
            if one.take_plain(line.as_bytes()) {
                prop_assert!(two.take(line.as_bytes()).is_some());
                for slot in [one.slot(first), one.slot(second)] {
                    prop_assert_eq!(one.cell(line.as_bytes(), slot), two.cell(line.as_bytes(), slot));
                }
            }
        }
    }
}
