//! Errors that point into the file a person wrote.

use std::fmt;

/// What is wrong in a file, where, and what would be right.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlanError {
    /// The file, as it was named.
    pub file: String,
    /// Where in it; none if the file as a whole is meant.
    pub at: Option<Spot>,
    /// The value's path in the file: "rig.devices.mount.power".
    pub path: String,
    /// What was read and what would be right, one or two sentences.
    pub message: String,
}

/// A stretch of one line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Spot {
    /// Counted from 1.
    pub line: usize,
    /// Counted from 1, in characters.
    pub column: usize,
    /// How many characters.
    pub width: usize,
    /// The whole line.
    pub text: String,
}

impl Spot {
    /// The stretch `span` (bytes) of `text`, cut at the end of its first line.
    pub(crate) fn find(text: &str, span: std::ops::Range<usize>) -> Self {
        let floor = |mut at: usize| {
            at = at.min(text.len());
            while !text.is_char_boundary(at) {
                at -= 1;
            }
            at
        };
        let (start, end) = (floor(span.start), floor(span.end));
        let line_start = text[..start].rfind('\n').map_or(0, |at| at + 1);
        let line_end = text[start..].find('\n').map_or(text.len(), |at| start + at);
        Spot {
            line: text[..start].matches('\n').count() + 1,
            column: text[line_start..start].chars().count() + 1,
            width: text[start..end.clamp(start, line_end)].chars().count().max(1),
            text: text[line_start..line_end].trim_end_matches('\r').to_owned(),
        }
    }
}

impl fmt::Display for PlanError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.file)?;
        if let Some(spot) = &self.at {
            write!(f, ", line {}", spot.line)?;
        }
        if !self.path.is_empty() {
            write!(f, ", {}", self.path)?;
        }
        if let Some(spot) = &self.at {
            let number = spot.line.to_string();
            write!(f, "\n  {number} | {}", spot.text)?;
            write!(f, "\n  {:1$} | ", "", number.len())?;
            // keep tabs, so that the marks stand under what they mark
            for c in spot.text.chars().take(spot.column - 1) {
                write!(f, "{}", if c == '\t' { '\t' } else { ' ' })?;
            }
            write!(f, "{}\n  {}", "^".repeat(spot.width), self.message)
        } else {
            write!(f, ": {}", self.message)
        }
    }
}

impl std::error::Error for PlanError {}
