//! Running the program.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;

/// What a run gave.
pub(crate) struct Ran {
    pub(crate) status: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

/// Runs `tilldawn` from the workspace's root.
pub(crate) fn run<Word: AsRef<std::ffi::OsStr>>(words: &[Word]) -> Ran {
    let Output { status, stdout, stderr } = Command::new(env!("CARGO_BIN_EXE_tilldawn"))
        .args(words)
        .current_dir(root())
        .output()
        .unwrap();
    Ran {
        status: status.code().unwrap_or(-1),
        out: String::from_utf8(stdout).unwrap(),
        err: String::from_utf8(stderr).unwrap(),
    }
}

/// Runs `tilldawn` with `--json` and reads its document; it must have ended well.
#[track_caller]
pub(crate) fn json<Word: AsRef<str>>(words: &[Word]) -> Value {
    let mut words: Vec<&str> = words.iter().map(AsRef::as_ref).collect();
    words.push("--json");
    let ran = run(&words);
    assert_eq!(ran.status, 0, "{words:?}\n{}{}", ran.out, ran.err);
    serde_json::from_str(&ran.out).unwrap_or_else(|error| panic!("{error}: {}", ran.out))
}

pub(crate) fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").canonicalize().unwrap()
}

pub(crate) fn reference(path: &str) -> PathBuf {
    root().join("tests/reference").join(path)
}

pub(crate) fn reference_json(path: &str) -> Value {
    serde_json::from_str(&std::fs::read_to_string(reference(path)).unwrap()).unwrap()
}

/// A folder of this test's own, emptied first.
pub(crate) fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

#[track_caller]
pub(crate) fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

#[track_caller]
pub(crate) fn close(what: &str, found: f64, expected: f64, room: f64) {
    assert!((found - expected).abs() <= room, "{what}: {found}, not {expected} ± {room}");
}

/// A page needs nothing from anywhere: no address in it but that of the SVG namespace.
#[track_caller]
pub(crate) fn check_self_contained(html: &str) {
    let rest = html.replace("http://www.w3.org/2000/svg", "");
    for outside in ["http://", "https://", "<script", "<link", "@import", "url("] {
        assert!(!rest.contains(outside), "{outside:?} in a page that should stand alone");
    }
    assert!(html.contains("<svg"), "no picture");
}
