//! Whether bytes are the text of a table at all.

use crate::bytes::not_a_table;
use crate::error::{ErrorKind, Trouble};

/// Refuses noise, mixed encodings, and text that is something else than a table.
pub(crate) fn complain_of_no_text(head: &[u8]) -> Result<(), Trouble> {
    // a logger that lost its power leaves the rest of its last block empty
    let end = head.iter().rposition(|byte| *byte != 0).map_or(0, |at| at + 1);
    let text = head.get(..end).unwrap_or_default();
    let blank = |byte: &u8| byte.is_ascii_whitespace();
    let Some(first) = text.iter().find(|byte| !blank(byte)) else {
        let help = "give a log with a row of headings and readings below";
        return Err(Trouble::new(ErrorKind::Empty, "the file holds nothing but blanks", help));
    };
    let control = |byte: &u8| {
        (1..0x20).contains(byte)
            && !matches!(byte, b'\t' | b'\n' | b'\r' | 0x0b | 0x0c | 0x1a | 0x1b)
    };
    if text.iter().filter(|byte| control(byte)).count() * 200 > text.len() {
        return Err(not_a_table("no text"));
    }
    if let Some(zero) = text.iter().position(|byte| *byte == 0) {
        let marked = text.windows(2).any(|pair| pair == b"\xff\xfe" || pair == b"\xfe\xff");
        if !marked || zero < 16 {
            return Err(not_a_table("no text"));
        }
        let line = 1 + text.iter().take(zero).filter(|byte| **byte == b'\n').count();
        let message = "the text changes its encoding (UTF-8 and UTF-16 in one file)";
        let help = "save the log in one encoding, UTF-8 if you can choose";
        return Err(Trouble::new(ErrorKind::Encoding, message, help).at(line as u64));
    }
    match first {
        b'{' | b'[' => Err(not_a_table("a document in JSON, perhaps an error reply")),
        b'<' => Err(not_a_table("a page in HTML or XML")),
        _ => Ok(()),
    }
}
