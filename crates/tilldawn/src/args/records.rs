//! The commands that read records: what they may be told of a test and of how it is read.

use std::path::PathBuf;

use clap::Args as ClapArgs;

use super::Facing;
use super::values::{
    cable, charge, column, current, duration, elevation, energy, latitude, longitude, moment,
    power, voltage,
};

/// Several discharges are taken as repeats of one test: their mean, spread and verdict on the
/// label. Outliers are named and kept.
#[derive(Debug, ClapArgs)]
pub(crate) struct Bench {
    /// Logs of meters, loads or chargers, or readings typed by hand
    #[arg(required = true, value_name = "RECORD")]
    pub(crate) records: Vec<PathBuf>,
    #[command(flatten)]
    pub(crate) measuring: Measuring,
    /// What the label promises as energy, such as 512Wh
    #[arg(long, value_parser = energy, value_name = "ENERGY")]
    pub(crate) rated_wh: Option<f64>,
    /// How long after a step of the current a resistance is taken
    #[arg(long, value_parser = duration, default_value = "10 s", value_name = "TIME")]
    pub(crate) delay: f64,
    /// What the label of the charger promises, such as 5A
    #[arg(long, value_parser = current, value_name = "CURRENT")]
    pub(crate) charger: Option<f64>,
    /// Tell how long a charger of this current would take instead
    #[arg(long, value_parser = current, value_name = "CURRENT")]
    pub(crate) other_charger: Option<f64>,
    #[command(flatten)]
    pub(crate) gear: AtGear,
    #[command(flatten)]
    pub(crate) sun: OnAPanel,
    #[command(flatten)]
    pub(crate) reading: Reading,
    /// Write the record as it was read in the open Battery Data Format, and beside it, with the
    /// ending .reading.json, which columns were taken for what and how sure that is
    #[arg(long, value_name = "FILE")]
    pub(crate) save: Option<PathBuf>,
    /// Write a report, a page for any browser
    #[arg(long, value_name = "FILE")]
    pub(crate) report: Option<PathBuf>,
    /// Print one JSON document instead of tables. Every "u" is the half-width of a 95 % interval
    #[arg(long)]
    pub(crate) json: bool,
}

/// What a test is measured against, and with what.
#[derive(Debug, ClapArgs)]
pub(crate) struct Measuring {
    /// Least voltage the gear accepts
    #[arg(long, value_parser = voltage, default_value = "12.0 V", value_name = "VOLTAGE")]
    pub(crate) cutoff: f64,
    /// What the label promises, such as 40Ah
    #[arg(long, value_parser = charge, value_name = "CHARGE")]
    pub(crate) rated: Option<f64>,
    /// What the pack is made of: LFP, NMC, flooded, AGM, gel. Where the record has a temperature,
    /// a lead-acid capacity is also given at 20 °C
    #[arg(long)]
    pub(crate) chemistry: Option<pack::Chemistry>,
    /// Accuracy of the meter, such as "0.5 % + 2 digits", or by reading: "current 0.5 % + 10 mA,
    /// voltage 0.1 % + 1 digit, clock 50 ppm"
    #[arg(long, value_name = "ACCURACY", value_parser = bench::Instrument::read)]
    pub(crate) meter: Option<bench::Instrument>,
}

impl Measuring {
    pub(crate) fn settings(&self) -> bench::Settings {
        bench::Settings {
            cutoff_v: self.cutoff,
            rated_ah: self.rated,
            family: self.chemistry.map(|chemistry| match chemistry.is_lithium() {
                true => bench::Family::Lithium,
                false => bench::Family::LeadAcid,
            }),
            instrument: self.meter,
            ..bench::Settings::default()
        }
    }
}

/// The lead to the gear, for what is left at its end.
#[derive(Debug, ClapArgs)]
#[command(next_help_heading = "At the gear, at the end of its lead")]
pub(crate) struct AtGear {
    /// The lead: its resistance there and back ("0.35 ohm"), or its length one way and section
    /// ("2 m of 14 AWG")
    #[arg(long, value_parser = cable, value_name = "LEAD")]
    pub(crate) lead: Option<f64>,
    /// What the gear draws, as power [default: the current of the record]
    #[arg(long, value_parser = power, requires = "lead")]
    pub(crate) power: Option<f64>,
    /// What the gear draws, as current
    #[arg(long, value_parser = current, requires = "lead", conflicts_with = "power")]
    pub(crate) current: Option<f64>,
}

impl AtGear {
    pub(crate) fn gear(&self) -> Option<bench::Gear> {
        let load = match (self.power, self.current) {
            (Some(power_w), _) => bench::Load::Power(power_w),
            (None, Some(current_a)) => bench::Load::Current(current_a),
            (None, None) => bench::Load::Recorded,
        };
        Some(bench::Gear { lead_ohm: self.lead?, load })
    }
}

/// The panel of a day's record, and where it stood.
#[derive(Debug, ClapArgs)]
#[command(next_help_heading = "A day on a panel, against its label and a clear sky")]
pub(crate) struct OnAPanel {
    /// What the panel's label says, such as 100W
    #[arg(long, value_parser = power)]
    pub(crate) panel: Option<f64>,
    /// A plan that has the site and the panels
    #[arg(long, value_name = "PLAN", conflicts_with_all = ["latitude", "longitude", "tilt", "azimuth", "flat", "turned_every"])]
    pub(crate) plan: Option<PathBuf>,
    /// Of the place, such as "56.9 N"
    #[arg(long, value_parser = latitude, allow_hyphen_values = true, requires_all = ["longitude", "panel"])]
    pub(crate) latitude: Option<f64>,
    /// Of the place, such as "4.2 W"
    #[arg(long, value_parser = longitude, allow_hyphen_values = true, requires = "latitude")]
    pub(crate) longitude: Option<f64>,
    /// Of the place, above the sea [default: 0 m]
    #[arg(long, value_parser = elevation, allow_hyphen_values = true, requires = "latitude")]
    pub(crate) elevation: Option<f64>,
    #[command(flatten)]
    pub(crate) facing: Facing,
    /// When its first row was, by the clock of --clock or of the plan, where the record does not
    /// tell: 2026-06-06T06:30
    #[arg(long, value_parser = moment, value_name = "MOMENT")]
    pub(crate) began: Option<jiff::civil::DateTime>,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct Ageing {
    /// Records of a pack's capacity tests, or one TOML file that lists them
    #[arg(required = true, value_name = "RECORD")]
    pub(crate) records: Vec<PathBuf>,
    #[command(flatten)]
    pub(crate) measuring: Measuring,
    #[command(flatten)]
    pub(crate) reading: Reading,
    /// Write a report, a page for any browser
    #[arg(long, value_name = "FILE")]
    pub(crate) report: Option<PathBuf>,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub(crate) json: bool,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct Compare {
    /// A TOML file that lists packs, their records, weight and price
    #[arg(value_name = "FILE")]
    pub(crate) file: PathBuf,
    /// Write a report, a page for any browser
    #[arg(long, value_name = "FILE")]
    pub(crate) report: Option<PathBuf>,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub(crate) json: bool,
}

/// What a person knows better than the reader of records.
#[derive(Debug, ClapArgs)]
#[command(next_help_heading = "Overruling how a record is read")]
pub(crate) struct Reading {
    /// What a column holds, by its heading or number, with its unit if need be: "current=3",
    /// "voltage=U batt in mV" (time, date, voltage, current, power, charge, energy, temperature,
    /// state)
    #[arg(long, value_parser = column, value_name = "WHAT=COLUMN")]
    pub(crate) column: Vec<record::ColumnChoice>,
    /// Which way a positive current flows
    #[arg(long, value_enum, value_name = "WAY")]
    pub(crate) positive: Option<Way>,
    /// The clock that times without a zone are of, such as Europe/Riga or +03:00
    #[arg(long, value_name = "ZONE")]
    pub(crate) clock: Option<String>,
    /// The order of dates written in numbers
    #[arg(long, value_enum, value_name = "ORDER")]
    pub(crate) dates: Option<Dates>,
    /// The time between two rows, for records without a clock
    #[arg(long, value_parser = duration, value_name = "TIME")]
    pub(crate) interval: Option<f64>,
    /// The constant current out of the pack, for records without one
    #[arg(long, value_parser = current, value_name = "CURRENT")]
    pub(crate) stated_current: Option<f64>,
    /// The sheet of a workbook
    #[arg(long, value_name = "NAME")]
    pub(crate) sheet: Option<String>,
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
pub(crate) enum Way {
    /// Out of the pack
    Out,
    /// Into the pack
    In,
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
pub(crate) enum Dates {
    /// Such as 31.12.2026
    DayMonthYear,
    /// Such as 12/31/2026
    MonthDayYear,
    /// Such as 2026-12-31
    YearMonthDay,
}

impl Reading {
    pub(crate) fn options(&self) -> record::ReadOptions {
        record::ReadOptions {
            columns: self.column.clone(),
            sign: self.positive.map(|way| match way {
                Way::Out => record::Sign::DischargePositive,
                Way::In => record::Sign::ChargePositive,
            }),
            zone: self.clock.clone(),
            date_order: self.dates.map(|dates| match dates {
                Dates::DayMonthYear => record::DateOrder::DayMonthYear,
                Dates::MonthDayYear => record::DateOrder::MonthDayYear,
                Dates::YearMonthDay => record::DateOrder::YearMonthDay,
            }),
            interval_s: self.interval,
            stated_current_a: self.stated_current,
            sheet: self.sheet.clone(),
            voltage_alone: false,
        }
    }
}
