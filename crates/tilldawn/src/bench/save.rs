//! `--save`: the record as it was read.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use record::{Column, CurrentFrom, Record};
use serde::Serialize;

use crate::output::{Failure, remark, write_file, write_with};

/// How the record was read, beside it.
#[derive(Serialize)]
struct Reading<'a> {
    file: &'a str,
    columns: &'a [Column],
    current_from: CurrentFrom,
    rows_read: usize,
    rows_used: usize,
    rows_set_aside: &'a BTreeMap<String, usize>,
    about: BTreeMap<&'a str, &'a str>,
    notices: &'a [String],
}

pub(super) fn save(record: &Record, path: &Path) -> Result<(), Failure> {
    write_with(path, |file| record::write_bdf(record, file))?;
    let reading = Reading {
        file: &record.file,
        columns: &record.columns,
        current_from: record.current_from,
        rows_read: record.rows.read,
        rows_used: record.rows.used,
        rows_set_aside: &record.rows.set_aside,
        about: record.about.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect(),
        notices: &record.notices,
    };
    let text = serde_json::to_string_pretty(&reading)
        .map_err(|error| Failure::new("output", format!("can't write JSON: {error}")))?;
    let beside = beside(path);
    write_file(&beside, &(text + "\n"))?;
    remark(&format!(
        "record written to {}, how it was read to {}",
        path.display(),
        beside.display()
    ));
    Ok(())
}

/// "clean.csv": "clean.csv.reading.json".
fn beside(path: &Path) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(".reading.json");
    PathBuf::from(name)
}
