//! Moments that a person tells by some clock.

use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;

use crate::output::Failure;

/// A moment by the clock of a zone ("Europe/London") or of an offset ("+03:00"); where none is
/// named, by that of the site.
pub(crate) fn moment(
    on_the_wall: DateTime,
    clock: Option<&str>,
    site: &TimeZone,
) -> Result<Timestamp, Failure> {
    let Some(clock) = clock else {
        return site
            .to_timestamp(on_the_wall)
            .map_err(|error| Failure::new("arguments", error.to_string()));
    };
    let zoned: jiff::ZonedDateTime = format!("{on_the_wall}[{clock}]").parse().map_err(|_| {
        Failure::new(
            "arguments",
            format!("{clock:?} is no clock known here; write it such as Europe/London or +03:00"),
        )
    })?;
    Ok(zoned.timestamp())
}
