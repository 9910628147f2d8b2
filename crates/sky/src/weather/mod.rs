//! Weather files: typical years and measured days.
//!
//! Each layout has a file of its own that turns text into a draft; what all have in common —
//! order, gaps, what can't be — is done once, in `check`.

mod bsrn;
mod check;
mod crn;
mod epw;
mod fill;
mod midc;
mod plain;
mod season;
mod surfrad;
mod text;
mod tmy3;

use jiff::Timestamp;

pub use fill::{Filled, Gaps};
pub use season::WeatherDay;

use crate::{Error, Horizon, Place};

/// How a weather file is laid out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Layout {
    /// NREL's typical meteorological year, third edition: hours that end at their stamp.
    Tmy3,
    /// EnergyPlus weather: hours that end at their stamp.
    Epw,
    /// NOAA SURFRAD, and SOLRAD with fewer columns: minutes in UTC.
    Surfrad,
    /// Baseline Surface Radiation Network, station-to-archive: minutes in UTC.
    Bsrn,
    /// NREL Measurement and Instrumentation Data Center: minutes of standard time.
    Midc,
    /// NOAA Climate Reference Network, 5-minute product: stretches that end at their stamp.
    Crn,
    /// Any other table: with a heading that names the columns, or [`Weather::from_readings`].
    Table,
}

impl Layout {
    /// What it is called.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Tmy3 => "TMY3",
            Self::Epw => "EPW",
            Self::Surfrad => "SURFRAD/SOLRAD",
            Self::Bsrn => "BSRN",
            Self::Midc => "MIDC",
            Self::Crn => "CRN",
            Self::Table => "table",
        }
    }
}

/// The mean of a stretch of time. What was not measured is absent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Where the stretch begins.
    pub start: Timestamp,
    /// Global irradiance on the level.
    pub ghi_w_m2: Option<f64>,
    /// Beam.
    pub dni_w_m2: Option<f64>,
    /// Diffuse on the level.
    pub dhi_w_m2: Option<f64>,
    /// Air temperature.
    pub air_c: Option<f64>,
    /// Dew point.
    pub dew_point_c: Option<f64>,
    /// Wind.
    pub wind_mps: Option<f64>,
}

/// What was found amiss in a weather file. Every row is used or counted here.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Findings {
    /// Rows below the header.
    pub rows: usize,
    /// Rows that could not be read.
    pub unreadable: usize,
    /// Rows with a stamp that another has; the first was kept.
    pub repeated: usize,
    /// Readings without global irradiance.
    pub missing_ghi: usize,
    /// Readings without beam.
    pub missing_dni: usize,
    /// Readings without diffuse.
    pub missing_dhi: usize,
    /// Readings without air temperature.
    pub missing_air: usize,
    /// Readings that the station itself marked as doubtful; they are used.
    pub doubtful: usize,
    /// Values of light or temperature that can't be; they were set aside.
    pub impossible: usize,
    /// Readings with light while the sun was down; that light is not used.
    pub bright_night: usize,
    /// Global over beam and diffuse together, where all three were measured and the sun was well
    /// up: 1 when the instruments agree.
    pub closure: Option<f64>,
    /// Stretches without a reading, from one instant to another.
    pub gaps: Vec<(Timestamp, Timestamp)>,
}

/// How far global may lie from beam and diffuse together before it is told.
const CLOSURE: f64 = 0.02;

impl Findings {
    /// What there is to tell, a line each.
    #[must_use]
    pub fn notices(&self) -> Vec<String> {
        let mut lines: Vec<String> = [
            (self.unreadable, "rows could not be read"),
            (self.repeated, "rows repeat the time of another; the first was kept"),
            (self.missing_ghi, "readings have no global irradiance"),
            (self.missing_dni, "readings have no beam"),
            (self.missing_dhi, "readings have no diffuse irradiance"),
            (self.missing_air, "readings have no air temperature"),
            (self.doubtful, "readings are marked as doubtful by the station; they were used"),
            (self.impossible, "values can't be and were set aside"),
            (self.bright_night, "readings have light while the sun was down; it was not used"),
        ]
        .iter()
        .filter(|(count, _)| *count > 0)
        .map(|(count, what)| format!("{count} of {} {what}", self.rows))
        .collect();
        if let Some(closure) = self.closure
            && (closure - 1.0).abs() > CLOSURE
        {
            lines.push(format!(
                "the global irradiance is {:.1} % {} what beam and diffuse make together",
                100.0 * (closure - 1.0).abs(),
                if closure > 1.0 { "above" } else { "below" }
            ));
        }
        lines.extend(self.gaps.iter().map(|(from, to)| format!("no reading from {from} to {to}")));
        lines
    }
}

/// A weather file, read.
#[derive(Debug, Clone, PartialEq)]
pub struct Weather {
    /// How it was laid out.
    pub layout: Layout,
    /// The station's name, where the file tells it.
    pub station: String,
    /// Where it stands.
    pub place: Place,
    /// The station's skyline, where the file tells it.
    pub horizon: Horizon,
    /// The file's clock: hours ahead of UTC.
    pub clock_h: f64,
    /// Length of each reading's stretch.
    pub interval_s: f64,
    /// Whether the months come from different years. The readings are then dated 2001 and stand
    /// for any year.
    pub typical: bool,
    /// The readings by time.
    pub readings: Vec<Reading>,
    /// What was found amiss.
    pub findings: Findings,
}

impl Weather {
    /// Reads a weather file. The place overrides what the file says of it; MIDC files and other
    /// tables say nothing.
    ///
    /// # Errors
    /// When the layout is unknown, its header can't be read, no row can be, the place is wanting,
    /// or the light can't be in W/m² at the hours told.
    pub fn read(bytes: &[u8], place: Option<Place>) -> Result<Self, Error> {
        let text = String::from_utf8_lossy(bytes);
        let text = text.trim_start_matches('\u{feff}');
        let layout = layout_of(text).ok_or_else(|| Error::WeatherLayout {
            begins: text::short(text.lines().find(|line| !line.trim().is_empty()).unwrap_or("")),
        })?;
        let draft = match layout {
            Layout::Tmy3 => tmy3::read(text),
            Layout::Epw => epw::read(text),
            Layout::Surfrad => surfrad::read(text),
            Layout::Bsrn => bsrn::read(text),
            Layout::Midc => midc::read(text),
            Layout::Crn => crn::read(text),
            Layout::Table => plain::read(text),
        }?;
        check::checked(layout, draft, place)
    }

    /// Weather from readings taken from any other table; checked like a file.
    ///
    /// # Errors
    /// When there is no reading, or the light can't be in W/m² at the hours told.
    pub fn from_readings(table: Table) -> Result<Self, Error> {
        let draft = Draft {
            station: table.station,
            place: Some(table.place),
            clock_h: table.clock_h,
            rows: table.readings.len(),
            readings: table.readings,
            ..Draft::default()
        };
        check::checked(Layout::Table, draft, None)
    }
}

/// A table of readings that somebody else took apart, for [`Weather::from_readings`].
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// What to call it.
    pub station: String,
    /// Where it was measured.
    pub place: Place,
    /// Its clock: hours ahead of UTC. Days begin at this clock's midnight.
    pub clock_h: f64,
    /// The readings in any order, stamped with where their stretch begins.
    pub readings: Vec<Reading>,
}

/// What a layout's reader hands over.
#[derive(Debug, Default)]
struct Draft {
    station: String,
    place: Option<Place>,
    horizon: Horizon,
    clock_h: f64,
    /// Length of a stretch where the layout fixes it.
    interval_s: Option<f64>,
    typical: bool,
    readings: Vec<Reading>,
    rows: usize,
    unreadable: usize,
    doubtful: usize,
}

fn layout_of(text: &str) -> Option<Layout> {
    let mut lines = text.lines();
    let (first, second) = (lines.next()?, lines.next().unwrap_or(""));
    let words: Vec<&str> = first.split_whitespace().collect();
    if first.starts_with("LOCATION,") {
        Some(Layout::Epw)
    } else if first.starts_with("*U0001") || first.starts_with("*C0001") {
        Some(Layout::Bsrn)
    } else if second.starts_with("Date (MM/DD/YYYY),Time (HH:MM)") {
        Some(Layout::Tmy3)
    } else if first.contains(',') && midc::is_header(first) {
        Some(Layout::Midc)
    } else if second.contains("version") && second.split_whitespace().count() >= 5 {
        Some(Layout::Surfrad)
    } else if words.len() >= 23 && words.get(1).is_some_and(|date| text::is_day(date)) {
        Some(Layout::Crn)
    } else {
        plain::has_heading(text).then_some(Layout::Table)
    }
}
