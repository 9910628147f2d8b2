//! What kind of bytes a file holds, and the way from them to lines of text.

use std::io::{self, Cursor, Read};

use encoding_rs::{Decoder, UTF_16BE, UTF_16LE};
use flate2::read::MultiGzDecoder;

use crate::error::{ErrorKind, Trouble};

/// How much of a file is looked at before it is decided what it is.
const PEEK: usize = 4096;

/// A workbook larger than this is no log; it would have to be held in memory whole.
const MOST_WORKBOOK_BYTES: u64 = 64 << 20;

/// What is not a table, by its first bytes.
const SIGNATURES: [(&[u8], &str); 17] = [
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"BM", "a picture"),
    (b"II*\0", "a picture"),
    (b"MM\0*", "a picture"),
    (b"RIFF", "a picture, sound or film"),
    (b"%PDF", "a PDF document"),
    (b"7z\xbc\xaf", "an archive"),
    (b"Rar!", "an archive"),
    (b"BZh", "a bzip2 file"),
    (b"\xfd7zXZ", "an xz file"),
    (b"\x28\xb5\x2f\xfd", "a zstd file"),
    (b"\x7fELF", "a program"),
    (b"MZ\x90", "a program"),
    (b"SQLite format", "a database"),
    (b"\xd0\xcf\x11\xe0", "an old binary office document"),
];

/// The bytes of a file, unpacked and sorted.
pub(crate) enum Content<'a> {
    /// Text in UTF-8, or in an encoding that shares ASCII with it.
    Text(Box<dyn Read + 'a>),
    /// A zip, which may be a workbook.
    Zip(Vec<u8>),
}

/// Unpacks gzip, turns UTF-16 into UTF-8, and refuses what is known not to be a table.
pub(crate) fn open<'a>(reader: impl Read + 'a) -> Result<Content<'a>, Trouble> {
    let (head, whole) = peek(reader)?;
    if !head.starts_with(b"\x1f\x8b") {
        return sort(&head, whole);
    }
    let (head, whole) = peek(MultiGzDecoder::new(whole))?;
    if head.starts_with(b"\x1f\x8b") {
        return Err(not_a_table("packed twice"));
    }
    sort(&head, whole)
}

fn sort<'a>(head: &[u8], whole: impl Read + 'a) -> Result<Content<'a>, Trouble> {
    if head.is_empty() {
        let help = "give a log with a row of headings and readings below";
        return Err(Trouble::new(ErrorKind::Empty, "the file is empty", help));
    }
    if head.starts_with(b"PK\x03\x04") {
        let mut bytes = Vec::new();
        whole.take(MOST_WORKBOOK_BYTES + 1).read_to_end(&mut bytes)?;
        if bytes.len() as u64 > MOST_WORKBOOK_BYTES {
            let help = "save the sheet with the log as CSV";
            return Err(Trouble::new(ErrorKind::TooLong, "the workbook is over 64 MB", help));
        }
        return Ok(Content::Zip(bytes));
    }
    if let Some((_, what)) = SIGNATURES.iter().find(|(mark, _)| head.starts_with(mark)) {
        return Err(not_a_table(what));
    }
    let (text, decoder): (Box<dyn Read + 'a>, _) = match head {
        [0xef, 0xbb, 0xbf, ..] => (Box::new(skip(whole, 3)?), None),
        [0xff, 0xfe, ..] => (Box::new(skip(whole, 2)?), Some(UTF_16LE.new_decoder())),
        [0xfe, 0xff, ..] => (Box::new(skip(whole, 2)?), Some(UTF_16BE.new_decoder())),
        _ => {
            let decoder = match zero_bytes(head) {
                (even, odd) if odd > 0.8 && even < 0.02 => Some(UTF_16LE.new_decoder()),
                (even, odd) if even > 0.8 && odd < 0.02 => Some(UTF_16BE.new_decoder()),
                _ => None,
            };
            (Box::new(whole), decoder)
        }
    };
    match decoder {
        None => Ok(Content::Text(text)),
        Some(decoder) => Ok(Content::Text(Box::new(Utf16::new(text, decoder)))),
    }
}

pub(crate) fn not_a_table(what: &str) -> Trouble {
    Trouble::new(
        ErrorKind::NotATable,
        format!("this is {what}, not a table"),
        "give the log itself: a text table such as CSV, gzipped or not, or a workbook (xlsx, ods)",
    )
}

/// The first bytes, and a reader that gives them again.
fn peek(mut reader: impl Read) -> Result<(Vec<u8>, impl Read), Trouble> {
    let mut head = Vec::with_capacity(PEEK);
    (&mut reader).take(PEEK as u64).read_to_end(&mut head)?;
    Ok((head.clone(), Cursor::new(head).chain(reader)))
}

fn skip(mut reader: impl Read, count: u64) -> io::Result<impl Read> {
    io::copy(&mut (&mut reader).take(count), &mut io::sink())?;
    Ok(reader)
}

/// The share of zeros among the bytes at even and at odd places.
fn zero_bytes(head: &[u8]) -> (f64, f64) {
    let share = |at: usize| {
        let count = head.iter().skip(at).step_by(2).count().max(1);
        let zeros = head.iter().skip(at).step_by(2).filter(|b| **b == 0).count();
        zeros as f64 / count as f64
    };
    (share(0), share(1))
}

/// Gives UTF-8 for UTF-16, a piece at a time.
struct Utf16<R> {
    inner: R,
    decoder: Decoder,
    raw: Vec<u8>,
    text: Vec<u8>,
    given: usize,
    finished: bool,
}

impl<R: Read> Utf16<R> {
    fn new(inner: R, decoder: Decoder) -> Utf16<R> {
        Utf16 { inner, decoder, raw: vec![0; 1 << 16], text: Vec::new(), given: 0, finished: false }
    }

    /// Decodes the next piece.
    fn refill(&mut self) -> io::Result<()> {
        let count = self.inner.read(&mut self.raw)?;
        self.finished = count == 0;
        let raw = self.raw.get(..count).unwrap_or_default();
        let most = self.decoder.max_utf8_buffer_length(count).unwrap_or(4 * count + 16);
        self.text.resize(most, 0);
        let (_, _, written, _) = self.decoder.decode_to_utf8(raw, &mut self.text, self.finished);
        self.text.truncate(written);
        self.given = 0;
        Ok(())
    }
}

impl<R: Read> Read for Utf16<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        while self.given == self.text.len() {
            if self.finished {
                return Ok(0);
            }
            self.refill()?;
        }
        let mut left = self.text.get(self.given..).unwrap_or_default();
        let count = left.read(out)?;
        self.given += count;
        Ok(count)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(bytes: &[u8]) -> Result<String, Trouble> {
        match open(bytes)? {
            Content::Text(mut reader) => {
                let mut text = String::new();
                reader.read_to_string(&mut text)?;
                Ok(text)
            }
            Content::Zip(_) => Ok("zip".to_owned()),
        }
    }

    #[test]
    fn encodings() {
        let utf16 = |big: bool| -> Vec<u8> {
            "t,V\n1,ä"
                .encode_utf16()
                .flat_map(|c| if big { c.to_be_bytes() } else { c.to_le_bytes() })
                .collect()
        };
        let marked = |mark: &[u8], rest: Vec<u8>| [mark, &rest].concat();
        for bytes in [
            "t,V\n1,ä".as_bytes().to_vec(),
            marked(b"\xef\xbb\xbf", "t,V\n1,ä".as_bytes().to_vec()),
            marked(b"\xff\xfe", utf16(false)),
            marked(b"\xfe\xff", utf16(true)),
            utf16(false),
            utf16(true),
        ] {
            assert_eq!(text(&bytes).unwrap(), "t,V\n1,ä", "{bytes:?}");
        }
    }

    #[test]
    fn no_tables() {
        for (bytes, word) in [
            (&b""[..], "empty"),
            (b"\x89PNG\r\n", "picture"),
            (b"%PDF-1.7", "PDF"),
            (b"Rar!....", "archive"),
        ] {
            assert!(text(bytes).unwrap_err().message.contains(word), "{bytes:?}");
        }
    }
}
