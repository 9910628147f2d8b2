//! What may stand after `tilldawn fit`.

use std::path::PathBuf;

use clap::Args;
use quantity::Kind;

use super::{Reading, charge};

/// Records may be discharges at any rates, pulses, cycles with a recharge between, nights in the
/// field: the more they differ, the more they tell. Each is taken to begin with the battery full.
#[derive(Debug, Args)]
pub(crate) struct Fit {
    /// Records of one battery
    #[arg(value_name = "RECORD", required_unless_present = "data_sheet")]
    pub(crate) records: Vec<PathBuf>,
    /// What it is made of: LFP, NMC, flooded, AGM, gel
    #[arg(long)]
    pub(crate) chemistry: pack::Chemistry,
    /// What its label says, such as 40Ah
    #[arg(long, value_parser = charge, value_name = "CHARGE", required_unless_present = "data_sheet")]
    pub(crate) rated: Option<f64>,
    /// What to call it
    #[arg(long, default_value = "the pack")]
    pub(crate) name: String,
    /// A record that does not begin with the battery full; may be given again
    #[arg(long, value_name = "RECORD")]
    pub(crate) not_full: Vec<PathBuf>,
    /// Take the capacities of a data sheet instead of records: "20 h: 40 Ah, 10 h: 37 Ah, 1 h: 25 Ah"
    #[arg(long, value_parser = sheet, value_name = "TABLE", conflicts_with_all = ["records", "rated", "not_full", "report"])]
    pub(crate) data_sheet: Option<Sheet>,
    /// Accuracy of the meter, as with `bench`: "0.5 % + 2 digits"
    #[arg(long, value_name = "ACCURACY", value_parser = bench::Instrument::read)]
    pub(crate) meter: Option<bench::Instrument>,
    #[command(flatten)]
    pub(crate) reading: Reading,
    /// Keep the pack in this file, which `runtime` and a plan's `[pack] file = …` take
    #[arg(short, long, value_name = "FILE")]
    pub(crate) output: Option<PathBuf>,
    /// Write a report, a page for any browser
    #[arg(long, value_name = "FILE")]
    pub(crate) report: Option<PathBuf>,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub(crate) json: bool,
}

/// The capacities of a data sheet.
#[derive(Debug, Clone)]
pub(crate) struct Sheet(pub(crate) Vec<pack::fit::Rated>);

/// "20 h: 40 Ah, 10 h: 37 Ah".
fn sheet(text: &str) -> Result<Sheet, String> {
    let line = |line: &str| {
        let (time, capacity) = line.split_once(':').ok_or_else(|| {
            format!("{line:?} is no line of a data sheet; write it such as \"20 h: 40 Ah\"")
        })?;
        let read = |kind: Kind, text: &str| kind.read(text).map_err(|error| error.to_string());
        Ok(pack::fit::Rated {
            hours: read(Kind::Duration, time)? / 3600.0,
            capacity_ah: read(Kind::Charge, capacity)?,
        })
    };
    text.split(',').map(line).collect::<Result<_, String>>().map(Sheet)
}
