//! Moments that a person tells by some clock.

use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;

use crate::output::Failure;

/// The clock of a zone ("Europe/London") or of an offset ("+03:00").
pub(crate) fn named(clock: &str) -> Result<TimeZone, Failure> {
    record::named_clock(clock).ok_or_else(|| {
        Failure::new(
            "arguments",
            format!("{clock:?} is no clock known here; write it such as Europe/London or +03:00"),
        )
    })
}

/// What [`named`] calls a clock; none if it has no name and its offset changes.
pub(crate) fn name(clock: &TimeZone) -> Option<String> {
    let of_zone = clock.iana_name().map(str::to_owned);
    of_zone.or_else(|| clock.to_fixed_offset().ok().map(|offset| offset.to_string()))
}

/// A moment by a clock.
pub(crate) fn moment(on_the_wall: DateTime, clock: &TimeZone) -> Result<Timestamp, Failure> {
    clock.to_timestamp(on_the_wall).map_err(|error| Failure::new("arguments", error.to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_names_the_same_clock() {
        for clock in ["Europe/London", "UTC", "+11:00", "-03:30"] {
            let there = named(clock).unwrap();
            assert_eq!(named(&name(&there).unwrap()).unwrap(), there, "{clock}");
        }
        assert!(named("Heather/Ridge").is_err());
    }
}
