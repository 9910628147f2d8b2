//! Why a file can't be used.

/// The kind of trouble, for programs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ErrorKind {
    /// The file can't be opened or read.
    Unreadable,
    /// There is nothing in it.
    Empty,
    /// Not a table: a picture, an archive, a program, noise.
    NotATable,
    /// Text in more than one encoding, or in none.
    Encoding,
    /// A line, a sheet or the whole is longer than any log.
    TooLong,
    /// No row names the columns.
    NoHeading,
    /// A column that was asked for isn't there, or two answer to it.
    Column,
    /// No column tells the time, or none of its cells can be read.
    Time,
    /// There is no voltage, or it can't be one.
    Voltage,
    /// There is no current, nor anything it follows from.
    Current,
    /// The numbers can't be in the unit that is stated.
    Unit,
    /// The columns are there, but no readings.
    NoReadings,
    /// The clock doesn't run.
    Clock,
}

/// Why a file can't be used: what was read, where, and what would be right.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error, serde::Serialize)]
#[error("{file}{}: {message}; {help}", .line.map(|line| format!(":{line}")).unwrap_or_default())]
pub struct RecordError {
    /// The kind of trouble.
    pub kind: ErrorKind,
    /// The name of the file, as given.
    pub file: String,
    /// The line it is about, counted from one.
    pub line: Option<u64>,
    /// What is wrong.
    pub message: String,
    /// What would be right.
    pub help: String,
}

/// An error that doesn't know its file yet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Trouble {
    pub(crate) kind: ErrorKind,
    pub(crate) line: Option<u64>,
    pub(crate) message: String,
    pub(crate) help: String,
}

impl Trouble {
    pub(crate) fn new(
        kind: ErrorKind,
        message: impl Into<String>,
        help: impl Into<String>,
    ) -> Trouble {
        Trouble { kind, line: None, message: message.into(), help: help.into() }
    }

    pub(crate) fn at(self, line: u64) -> Trouble {
        Trouble { line: Some(line), ..self }
    }

    pub(crate) fn in_file(self, file: &str) -> RecordError {
        RecordError {
            kind: self.kind,
            file: file.to_owned(),
            line: self.line,
            message: self.message,
            help: self.help,
        }
    }
}

impl From<std::io::Error> for Trouble {
    fn from(error: std::io::Error) -> Trouble {
        let help = "check that the file is whole and may be read";
        Trouble::new(ErrorKind::Unreadable, format!("it can't be read: {error}"), help)
    }
}
