//! Lines of a text, one at a time, in bounded memory.

use std::io::{ErrorKind as IoKind, Read};

use memchr::{memchr, memchr_iter};

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

    /// Gives out every line.
    pub(crate) fn each(
        &mut self,
        mut take: impl FnMut(Line) -> Result<(), Trouble>,
    ) -> Result<(), Trouble> {
        loop {
            let head = self.buffer.get(self.from..self.to).unwrap_or_default();
            let mut from = 0;
            for end in memchr_iter(self.end_mark, head) {
                self.number += 1;
                let bytes = without_cr(head.get(from..end).unwrap_or_default());
                take(Line { bytes, number: self.number, ended: true })?;
                from = end + 1;
            }
            let rest = head.get(from..).unwrap_or_default();
            if self.exhausted {
                if !rest.is_empty() {
                    self.number += 1;
                    take(Line { bytes: without_cr(rest), number: self.number, ended: false })?;
                }
                self.from = self.to;
                return Ok(());
            }
            if rest.len() > LONGEST_LINE {
                return Err(too_long(self.number + 1));
            }
            self.from += from;
            self.fill()?;
        }
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
        lines
            .each(|line| {
                given.push(own(line));
                Ok(())
            })
            .unwrap();
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
        lines
            .each(|line| {
                assert_eq!(line.bytes, format!("{at},12.5").as_bytes());
                at += 1;
                Ok(())
            })
            .unwrap();
        assert_eq!(at, 100_000);
    }

    #[test]
    fn endless_line() {
        let text = vec![b'9'; 3 << 20];
        let error = Lines::new(&text[..]).unwrap().each(|_| Ok(())).unwrap_err();
        assert_eq!(error.kind, ErrorKind::TooLong);
    }
}
