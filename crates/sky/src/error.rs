//! What can be wrong with a place, a date or a panel.

/// Why the sky could not be worked out.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Error {
    /// A number outside what is possible.
    #[error(transparent)]
    OutOfBounds(#[from] quantity::OutOfBounds),
    /// A date the series are not made for.
    #[error(
        "the date {read} lies outside the years 1950 to 2100, for which sun and moon are worked out"
    )]
    Date {
        /// What was given.
        read: String,
    },
    /// A weather file of no known layout.
    #[error(
        "this is no weather file of a known layout: it begins with \"{begins}\"; expected TMY3, EPW, \
         SURFRAD or SOLRAD, BSRN (station-to-archive), MIDC, CRN 5-minute, or a table whose \
         heading names a time and the global irradiance"
    )]
    WeatherLayout {
        /// Its first line, cut short.
        begins: String,
    },
    /// A line without which the rest of a weather file means nothing.
    #[error("line {line} of the {layout} weather file reads \"{read}\"; expected {expected}")]
    WeatherLine {
        /// Counted from 1.
        line: usize,
        /// Which layout it was taken for.
        layout: &'static str,
        /// What it says, cut short.
        read: String,
        /// What would be right.
        expected: &'static str,
    },
    /// A weather file without a column it needs.
    #[error("the {layout} weather file has no column {column}")]
    WeatherColumn {
        /// Which layout it was taken for.
        layout: &'static str,
        /// What is missing.
        column: &'static str,
    },
    /// A weather file in which no row could be read.
    #[error("none of the {rows} rows of the {layout} weather file could be read")]
    WeatherEmpty {
        /// Which layout it was taken for.
        layout: &'static str,
        /// Rows it has.
        rows: usize,
    },
    /// A weather file that does not say where it was measured.
    #[error("a {layout} weather file does not say where it was measured; give the station's place")]
    WeatherPlace {
        /// Which layout it was taken for.
        layout: &'static str,
    },
    /// Light that can't be in W/m², or at the hours told.
    #[error("the weather file's light can't be right: {reason}")]
    WeatherLight {
        /// What is wrong, and the likely cause.
        reason: String,
    },
}
