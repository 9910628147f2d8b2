//! Instants as days since J2000, which is what the series want.

use jiff::Timestamp;
use solar_positioning::delta_t;

use crate::Error;

pub(crate) const SECONDS_PER_DAY: f64 = 86_400.0;
const J2000_UNIX_S: f64 = 946_728_000.0;
const FIRST_YEAR: f64 = 1949.99;
// A night of the last evening reaches into the new year.
const LAST_YEAR: f64 = 2101.01;

/// Days of universal time since 2000-01-01 12:00 UTC. UTC stands for UT1 (they differ by less
/// than 0.9 s).
///
/// # Errors
/// When the instant lies outside 1950–2100 by more than the days a night or a year reaches over.
pub(crate) fn days_since_j2000(at: Timestamp) -> Result<f64, Error> {
    let days = (at.as_millisecond() as f64 / 1000.0 - J2000_UNIX_S) / SECONDS_PER_DAY;
    if (FIRST_YEAR..LAST_YEAR).contains(&decimal_year(days)) {
        Ok(days)
    } else {
        Err(Error::Date { read: at.to_string() })
    }
}

/// Terrestrial minus universal time, s; the fit of Espenak and Meeus as the sun's crate keeps it
/// up to date.
pub(crate) fn delta_t_s(days: f64) -> f64 {
    // The estimate fails only for years long before or after those let in above; 70 s is right
    // to a second or so for today's instants.
    delta_t::estimate(decimal_year(days)).unwrap_or(70.0)
}

/// Julian centuries of terrestrial time since J2000.
pub(crate) fn centuries_tt(days: f64) -> f64 {
    (days + delta_t_s(days) / SECONDS_PER_DAY) / 36_525.0
}

/// The instant some seconds after another, to the millisecond.
pub(crate) fn later(start: Timestamp, elapsed_s: f64) -> Timestamp {
    let ms = start.as_millisecond().saturating_add((elapsed_s * 1000.0).round() as i64);
    // Within the years let in above this never saturates.
    Timestamp::from_millisecond(ms).unwrap_or(Timestamp::MAX)
}

fn decimal_year(days: f64) -> f64 {
    2000.0 + (days + 0.5) / 365.242_2
}
