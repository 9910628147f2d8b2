//! Lines of a text, one at a time, in bounded memory.

use std::io::{ErrorKind as IoKind, Read};

use memchr::memchr;

use crate::error::{ErrorKind, Trouble};

/// A buffer holds at least the part of the file from which its layout is found.
const BUFFER: usize = 256 << 10;

/// No log has a longer line.
const LONGEST_LINE: usize = 1 << 20;

/// One line, without its end.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Line<'a> {
    pub(crate) bytes: &'a [u8],
    /// Counted from one.
    pub(crate) number: u64,
    /// Whether a line end stands behind it; the last line of a cut-off file has none.
    pub(crate) ended: bool,
}

/// Reads lines that end in LF, CR LF or, where there is no LF, CR.
pub(crate) struct Lines<R> {
    reader: R,
    buffer: Vec<u8>,
    from: usize,
    to: usize,
    exhausted: bool,
    end_mark: u8,
    number: u64,
    /// What stopped the reading before the end.
    pub(crate) broken: Option<String>,
}

impl<R: Read> Lines<R> {
    /// Fills the buffer once.
    pub(crate) fn new(reader: R) -> Result<Lines<R>, Trouble> {
        let mut lines = Lines {
            reader,
            buffer: vec![0; BUFFER],
            from: 0,
            to: 0,
            exhausted: false,
            end_mark: b'\n',
            number: 0,
            broken: None,
        };
        lines.fill()?;
        if memchr(b'\n', lines.head()).is_none() && memchr(b'\r', lines.head()).is_some() {
            lines.end_mark = b'\r';
        }
        Ok(lines)
    }

    /// What is in the buffer, not yet given out.
    pub(crate) fn head(&self) -> &[u8] {
        self.buffer.get(self.from..self.to).unwrap_or_default()
    }

    /// The lines that are wholly in the buffer, without giving them out.
    pub(crate) fn ahead(&self) -> impl Iterator<Item = Line<'_>> {
        let mut rest = self.head();
        let mut number = self.number;
        std::iter::from_fn(move || {
            let (bytes, after, ended) = match memchr(self.end_mark, rest) {
                Some(at) => (rest.get(..at)?, rest.get(at + 1..)?, true),
                None if self.exhausted && !rest.is_empty() => (rest, &[][..], false),
                None => return None,
            };
            rest = after;
            number += 1;
            Some(Line { bytes: without_cr(bytes), number, ended })
        })
    }

    /// The next line; none at the end.
    pub(crate) fn next(&mut self) -> Result<Option<Line<'_>>, Trouble> {
        let mut looked_at = 0;
        let length = loop {
            let unseen = self.buffer.get(self.from + looked_at..self.to).unwrap_or_default();
            if let Some(at) = memchr(self.end_mark, unseen) {
                break Some(looked_at + at);
            }
            if self.exhausted {
                break None;
            }
            looked_at = self.to - self.from;
            if looked_at > LONGEST_LINE {
                return Err(too_long(self.number + 1));
            }
            self.fill()?;
        };
        let from = self.from;
        let to = length.map_or(self.to, |length| from + length);
        if length.is_none() && from == to {
            return Ok(None);
        }
        self.from = length.map_or(to, |_| to + 1);
        self.number += 1;
        let bytes = without_cr(self.buffer.get(from..to).unwrap_or_default());
        Ok(Some(Line { bytes, number: self.number, ended: length.is_some() }))
    }

    /// Moves what is left to the front and reads until the buffer is full or the file at its end.
    fn fill(&mut self) -> Result<(), Trouble> {
        self.buffer.copy_within(self.from..self.to, 0);
        self.to -= self.from;
        self.from = 0;
        if self.to == self.buffer.len() {
            self.buffer.resize(self.buffer.len() * 2, 0);
        }
        while let Some(room) = self.buffer.get_mut(self.to..).filter(|room| !room.is_empty()) {
            match self.reader.read(room) {
                Ok(0) => {
                    self.exhausted = true;
                    break;
                }
                Ok(count) => self.to += count,
                Err(error) if error.kind() == IoKind::Interrupted => {}
                // a gzip that was cut off still holds good lines
                Err(error) if self.number > 0 || self.to > 0 => {
                    self.broken = Some(error.to_string());
                    self.exhausted = true;
                    break;
                }
                Err(error) => return Err(error.into()),
            }
        }
        Ok(())
    }
}

/// For a line that is longer than any row of a log.
pub(crate) fn too_long(line: u64) -> Trouble {
    let message = "this line is longer than any row of a log";
    Trouble::new(ErrorKind::TooLong, message, "give a table with one row a reading").at(line)
}

fn without_cr(bytes: &[u8]) -> &[u8] {
    bytes.strip_suffix(b"\r").unwrap_or(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all(text: &[u8]) -> Vec<(String, u64, bool)> {
        let mut lines = Lines::new(text).unwrap();
        let ahead: Vec<_> = lines.ahead().map(own).collect();
        let mut given = Vec::new();
        while let Some(line) = lines.next().unwrap() {
            given.push(own(line));
        }
        assert_eq!(ahead, given);
        given
    }

    fn own(line: Line) -> (String, u64, bool) {
        (String::from_utf8(line.bytes.to_vec()).unwrap(), line.number, line.ended)
    }

    #[test]
    fn line_ends() {
        for (text, expect) in [
            ("a\nb\n", vec![("a", true), ("b", true)]),
            ("a\r\n\r\nb", vec![("a", true), ("", true), ("b", false)]),
            ("a\rb\r", vec![("a", true), ("b", true)]),
            ("", vec![]),
        ] {
            let lines = all(text.as_bytes());
            let plain: Vec<_> =
                lines.iter().map(|(text, _, ended)| (text.as_str(), *ended)).collect();
            assert_eq!(plain, expect, "{text:?}");
            assert!(lines.iter().zip(1..).all(|((_, number, _), at)| *number == at));
        }
    }

    #[test]
    fn lines_across_buffers() {
        let text: String = (0..100_000).map(|n| format!("{n},12.5\n")).collect();
        let mut lines = Lines::new(text.as_bytes()).unwrap();
        let mut at = 0;
        while let Some(line) = lines.next().unwrap() {
            assert_eq!(line.bytes, format!("{at},12.5").as_bytes());
            at += 1;
        }
        assert_eq!(at, 100_000);
    }

    #[test]
    fn endless_line() {
        let text = vec![b'9'; 3 << 20];
        assert_eq!(Lines::new(&text[..]).unwrap().next().unwrap_err().kind, ErrorKind::TooLong);
    }
}
