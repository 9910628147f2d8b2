//! What goes to the terminal, and how the program ends.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::Path;
use std::process::ExitCode;

/// Why a command could not do its work.
#[derive(Debug)]
pub(crate) struct Failure {
    /// What is wrong, where, and what would be right.
    pub(crate) message: String,
    /// The same as a JSON document, where it has more to say.
    pub(crate) document: serde_json::Value,
}

impl Failure {
    /// A failure of a kind ("plan", "record", "arguments", …), known by its message alone.
    pub(crate) fn new(kind: &str, message: impl Into<String>) -> Self {
        let message = message.into();
        Failure {
            document: serde_json::json!({ "error": { "kind": kind, "message": message } }),
            message,
        }
    }
}

impl From<plan::PlanError> for Failure {
    fn from(error: plan::PlanError) -> Self {
        let line = error.at.as_ref().map(|spot| spot.line);
        Failure {
            document: serde_json::json!({ "error": {
                "kind": "plan", "file": error.file, "line": line, "path": error.path, "message": error.message,
            } }),
            message: error.to_string(),
        }
    }
}

impl From<record::RecordError> for Failure {
    fn from(error: record::RecordError) -> Self {
        Failure { document: serde_json::json!({ "error": error }), message: error.to_string() }
    }
}

impl From<bench::BenchError> for Failure {
    fn from(error: bench::BenchError) -> Self {
        let trouble = error.trouble;
        Failure {
            document: serde_json::json!({ "error": {
                "kind": trouble.kind(), "file": error.file, "line": null,
                "message": trouble.to_string(), "help": trouble.help(),
            } }),
            message: error.to_string(),
        }
    }
}

impl From<sky::Error> for Failure {
    fn from(error: sky::Error) -> Self {
        Failure::new("arguments", error.to_string())
    }
}

impl From<trip::TripError> for Failure {
    fn from(error: trip::TripError) -> Self {
        Failure::new("plan", error.to_string())
    }
}

/// Writes a text to standard output, ended by a line's end. A reader that has gone away (`tilldawn … | head`) is no error.
pub(crate) fn print(text: &str) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    let end = if text.ends_with('\n') { "" } else { "\n" };
    match write!(out, "{text}{end}").and_then(|()| out.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            Err(Failure::new("output", format!("can't write to standard output: {error}")))
        }
        _ => Ok(()),
    }
}

/// Writes one JSON document to standard output.
pub(crate) fn print_json(document: &impl serde::Serialize) -> Result<(), Failure> {
    let text = serde_json::to_string_pretty(document)
        .map_err(|error| Failure::new("output", format!("can't write JSON: {error}")))?;
    print(&text)
}

/// Says something beside the result, on standard error.
pub(crate) fn remark(text: &str) {
    // nobody can be told if standard error is gone too
    let _ = writeln!(io::stderr().lock(), "{text}");
}

/// Writes a text as a file, whole or not at all.
pub(crate) fn write_file(path: &Path, text: &str) -> Result<(), Failure> {
    write_with(path, |file| file.write_all(text.as_bytes()))
}

/// Writes a file whole or not at all: beside its place first, then moved there.
pub(crate) fn write_with(
    path: &Path,
    write: impl FnOnce(&mut BufWriter<File>) -> io::Result<()>,
) -> Result<(), Failure> {
    let failed = |error: io::Error| {
        Failure::new("output", format!("can't write {}: {error}", path.display()))
    };
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    if !folder.is_dir() {
        return Err(Failure::new(
            "output",
            format!("can't write {}: there is no folder {}", path.display(), folder.display()),
        ));
    }
    let mut name = path.file_name().unwrap_or_default().to_owned();
    name.push(format!(".{}.part", std::process::id()));
    let beside = folder.join(name);
    let written = File::create(&beside).and_then(|file| {
        let mut file = BufWriter::new(file);
        write(&mut file)?;
        file.flush()?;
        std::fs::rename(&beside, path)
    });
    written.map_err(|error| {
        let _ = std::fs::remove_file(&beside);
        failed(error)
    })
}

/// Ends the program: the message on standard error, the document on standard output if asked for.
pub(crate) fn fail(failure: &Failure, json: bool) -> ExitCode {
    if json {
        let _ = print_json(&failure.document);
    }
    remark(&format!("tilldawn: {}", failure.message));
    ExitCode::from(2)
}

/// What a report says of its own making.
pub(crate) fn provenance(files: Vec<String>, seed: Option<u64>) -> report::page::Provenance {
    let words: Vec<String> = std::env::args().skip(1).map(|word| quoted(&word)).collect();
    report::page::Provenance {
        program: concat!("tilldawn ", env!("CARGO_PKG_VERSION")).to_owned(),
        command: format!("tilldawn {}", words.join(" ")),
        seed,
        files,
        made: jiff::ZonedDateTime::now().strftime("%Y-%m-%d %H:%M %Z").to_string(),
    }
}

/// A word of a command as a shell takes it.
fn quoted(word: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || "-_./=+:,%@".contains(c);
    if !word.is_empty() && word.chars().all(plain) {
        word.to_owned()
    } else {
        format!("'{}'", word.replace('\'', "'\\''"))
    }
}
