//! Files that name several records: packs side by side, and one pack over the years.

use std::path::{Path, PathBuf};

use bench::Instrument;
use jiff::civil::Date;
use quantity::Kind;
use record::ReadOptions;

use crate::error::PlanError;
use crate::gear::CUTOFF_V;
use crate::reading::{read as read_reading, read_meter};
use crate::section::{Section, Source};
use crate::{folder_of, text_of, with_root};

/// Several packs to be compared.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// The least voltage the gear accepts (V).
    pub cutoff_v: f64,
    /// What prices are in; empty where nothing is said.
    pub currency: String,
    /// Whether one meter recorded all of them: none has a meter of its own.
    pub same_meter: bool,
    /// The packs, in the order written.
    pub candidates: Vec<Candidate>,
}

/// One of them.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// What to call it.
    pub name: String,
    /// Records of its discharges.
    pub records: Vec<PathBuf>,
    /// The record of a full recharge, where it is not in one of those.
    pub recharge: Option<PathBuf>,
    /// How to read them.
    pub reading: ReadOptions,
    /// The meter that recorded them.
    pub meter: Option<Instrument>,
    /// Its label (Ah).
    pub rated_ah: Option<f64>,
    /// Its mass (kg).
    pub mass_kg: Option<f64>,
    /// Its price.
    pub price: Option<f64>,
    /// Its volume (l).
    pub volume_l: Option<f64>,
    /// The cycles its maker promises.
    pub promised_cycles: Option<f64>,
    /// The years its maker answers for it.
    pub warranty_years: Option<f64>,
}

/// Capacity tests of one pack over the years.
#[derive(Debug, Clone, PartialEq)]
pub struct History {
    /// The least voltage the gear accepts (V).
    pub cutoff_v: f64,
    /// The pack's label (Ah).
    pub rated_ah: Option<f64>,
    /// The meter of all tests.
    pub meter: Option<Instrument>,
    /// The tests, in the order written.
    pub tests: Vec<PastTest>,
}

/// One of them.
#[derive(Debug, Clone, PartialEq)]
pub struct PastTest {
    /// Where its capacity comes from.
    pub capacity: Capacity,
    /// Its date, where the record does not tell it.
    pub date: Option<Date>,
    /// The cycles behind the pack.
    pub cycles: Option<f64>,
}

/// Where the capacity of a past test comes from.
#[derive(Debug, Clone, PartialEq)]
pub enum Capacity {
    /// The record of a discharge, and how to read it.
    Record(PathBuf, ReadOptions),
    /// It was written down (Ah).
    Stated(f64),
}

impl Comparison {
    /// Reads a file of packs to be compared.
    ///
    /// # Errors
    /// If the file can't be read or holds a value that can't be.
    pub fn read(path: &Path) -> Result<Comparison, PlanError> {
        Comparison::parse(&path.display().to_string(), folder_of(path), &text_of(path)?)
    }

    fn parse(file: &str, folder: &Path, text: &str) -> Result<Comparison, PlanError> {
        with_root(&Source { file, text }, |mut root| {
            let cutoff_v = root.maybe("cutoff", Kind::Voltage)?.unwrap_or(CUTOFF_V);
            let currency = root.maybe_text("currency")?.unwrap_or_default();
            let meter = read_meter(&mut root)?;
            let mut same_meter = true;
            let mut candidates = Vec::new();
            for (key, mut section) in root.named_sections("packs")? {
                let own_meter = read_meter(&mut section)?;
                same_meter &= own_meter.is_none();
                let candidate = read_candidate(key, &mut section, folder, own_meter.or(meter))?;
                section.finish()?;
                candidates.push(candidate);
            }
            if candidates.len() < 2 {
                return Err(root.error_here(
                    "a comparison needs two packs or more, each as [packs.a] with records = [\"run-1.csv\"]",
                ));
            }
            root.finish()?;
            Ok(Comparison { cutoff_v, currency, same_meter, candidates })
        })
    }
}

fn read_candidate(
    key: String,
    section: &mut Section<'_>,
    folder: &Path,
    meter: Option<Instrument>,
) -> Result<Candidate, PlanError> {
    let records = section.maybe_texts("records")?;
    if records.is_empty() {
        return Err(section.missing("records", "[\"run-1.csv\", \"run-2.csv\"]"));
    }
    Ok(Candidate {
        name: section.maybe_text("name")?.unwrap_or(key),
        records: records.iter().map(|record| folder.join(record)).collect(),
        recharge: section.maybe_text("recharge")?.map(|record| folder.join(record)),
        reading: read_reading(section)?,
        meter,
        rated_ah: section.maybe("rated", Kind::Charge)?,
        mass_kg: above_nought(section, "mass", Kind::Mass)?,
        price: section.maybe_number("price", 0.01..=1e9)?,
        volume_l: above_nought(section, "volume", Kind::Volume)?,
        promised_cycles: section.maybe_number("cycles", 1.0..=1e6)?,
        warranty_years: section.maybe_number("warranty_years", 0.0..=100.0)?,
    })
}

/// What something is divided by.
fn above_nought(
    section: &mut Section<'_>,
    key: &'static str,
    kind: Kind,
) -> Result<Option<f64>, PlanError> {
    let value = section.maybe(key, kind)?;
    if value.is_some_and(|value| value <= 0.0) {
        return Err(section.error(key, format!("it is above nought, such as {}", kind.examples())));
    }
    Ok(value)
}

impl History {
    /// Reads a file of one pack's capacity tests.
    ///
    /// # Errors
    /// If the file can't be read or holds a value that can't be.
    pub fn read(path: &Path) -> Result<History, PlanError> {
        History::parse(&path.display().to_string(), folder_of(path), &text_of(path)?)
    }

    fn parse(file: &str, folder: &Path, text: &str) -> Result<History, PlanError> {
        with_root(&Source { file, text }, |mut root| {
            let cutoff_v = root.maybe("cutoff", Kind::Voltage)?.unwrap_or(CUTOFF_V);
            let rated_ah = root.maybe("rated", Kind::Charge)?;
            let meter = read_meter(&mut root)?;
            let mut tests = Vec::new();
            for (_, mut section) in root.named_sections("tests")? {
                tests.push(read_test(&mut section, folder)?);
                section.finish()?;
            }
            if tests.len() < 3 {
                return Err(root.error_here(
                    "a trend needs three tests or more, each as [tests.a] with record = \"2024.csv\", or with date = \"2024-04-06\" and capacity = \"37.2 Ah\"",
                ));
            }
            root.finish()?;
            Ok(History { cutoff_v, rated_ah, meter, tests })
        })
    }
}

fn read_test(section: &mut Section<'_>, folder: &Path) -> Result<PastTest, PlanError> {
    let record = section.maybe_text("record")?;
    let capacity_ah = above_nought(section, "capacity", Kind::Charge)?;
    let date = match section.maybe_text("date")? {
        Some(text) => Some(text.trim().parse::<Date>().map_err(|_| {
            section.error(
                "date",
                format!("{text:?} is no date; write it as year-month-day, such as \"2024-04-06\""),
            )
        })?),
        None => None,
    };
    let capacity = match (record, capacity_ah) {
        (Some(record), None) => Capacity::Record(folder.join(record), read_reading(section)?),
        (None, Some(capacity_ah)) if date.is_some() => Capacity::Stated(capacity_ah),
        (None, Some(_)) => return Err(section.missing("date", "\"2024-04-06\"")),
        (Some(_), Some(_)) => {
            return Err(
                section.error("capacity", "give either a `record` or a `capacity`, not both")
            );
        }
        (None, None) => return Err(section.missing("record", "\"2024.csv\"")),
    };
    Ok(PastTest { capacity, date, cycles: section.maybe_number("cycles", 0.0..=1e6)? })
}

#[cfg(test)]
mod tests {
    use super::*;

    const PACKS: &str = r#"format = 1
meter = "0.5 % + 2 digits"
currency = "EUR"
[packs.heron]
name = "Heron 40"
records = ["h1.csv", "h2.csv"]
reading = { current = "3 in mA", positive = "in" }
mass = "4.9 kg"
price = 289
volume = "5.3 l"
cycles = 3000
warranty_years = 5
[packs.plover]
records = "p.csv"
"#;

    #[test]
    fn packs_side_by_side() {
        let read = Comparison::parse("packs.toml", Path::new("there"), PACKS).unwrap();
        assert!(read.same_meter && read.cutoff_v == 12.0 && read.currency == "EUR");
        let [heron, plover] = &read.candidates[..] else { panic!("{read:?}") };
        assert_eq!(heron.records, [Path::new("there/h1.csv"), Path::new("there/h2.csv")]);
        assert_eq!((heron.price, heron.volume_l), (Some(289.0), Some(5.3)));
        assert_eq!(heron.reading.sign, Some(record::Sign::ChargePositive));
        assert_eq!(heron.reading.columns.len(), 1);
        assert_eq!((plover.name.as_str(), plover.price), ("plover", None));
        assert!(plover.meter.is_some());
    }

    #[test]
    fn errors_point() {
        for (from, to, line, said) in [
            ("price = 289", "price = 0", 9, "no number from"),
            ("mass = \"4.9 kg\"", "mass = \"0 kg\"", 8, "above nought"),
            ("records = \"p.csv\"", "record = \"p.csv\"", 13, "`records` is missing"),
            ("positive = \"in\"", "positive = \"up\"", 7, "write \"out\" or \"in\""),
            ("0.5 % + 2 digits", "good", 2, "good"),
        ] {
            let text = PACKS.replace(from, to);
            let error = Comparison::parse("packs.toml", Path::new(""), &text).unwrap_err();
            assert_eq!(error.at.as_ref().map(|at| at.line), Some(line), "{error}");
            assert!(error.message.contains(said), "{error}");
        }
        let one = &PACKS[..PACKS.find("[packs.plover]").unwrap()];
        let error = Comparison::parse("packs.toml", Path::new(""), one).unwrap_err();
        assert!(error.message.contains("two packs or more"), "{error}");
    }

    #[test]
    fn tests_over_the_years() {
        let text = "format = 1\nrated = \"40 Ah\"\n\
            [tests.a]\nrecord = \"a.csv\"\ncycles = 4\n\
            [tests.b]\ndate = \"2024-04-06\"\ncapacity = \"37.2 Ah\"\n\
            [tests.c]\nrecord = \"c.csv\"\ndate = 2025-04-19\n";
        let read = History::parse("years.toml", Path::new(""), text).unwrap();
        assert_eq!(read.tests.len(), 3);
        assert_eq!(read.tests[1].capacity, Capacity::Stated(37.2));
        assert_eq!(read.tests[2].date, Some(jiff::civil::date(2025, 4, 19)));
        let error = History::parse(
            "years.toml",
            Path::new(""),
            &text.replace("date = \"2024-04-06\"\n", ""),
        );
        assert!(error.unwrap_err().message.contains("`date` is missing"));
    }
}
