//! Values on the command line, read as people write them.

use quantity::{Kind, ReadError};

macro_rules! readers {
    ($($name:ident: $kind:ident),* $(,)?) => {
        $(pub(super) fn $name(text: &str) -> Result<f64, ReadError> {
            Kind::$kind.read(text)
        })*
    };
}

readers! {
    voltage: Voltage,
    charge: Charge,
    energy: Energy,
    power: Power,
    current: Current,
    resistance: Resistance,
    latitude: Latitude,
    longitude: Longitude,
    elevation: Elevation,
    fraction: Fraction,
    duration: Duration,
    angle: Angle,
    temperature: Temperature,
    speed: Speed,
    coefficient: TemperatureCoefficient,
}

pub(super) fn date(text: &str) -> Result<jiff::civil::Date, String> {
    text.trim()
        .parse()
        .map_err(|_| format!("{text:?} is no date; write it as year-month-day, such as 2026-10-09"))
}

pub(super) fn moment(text: &str) -> Result<jiff::civil::DateTime, String> {
    text.trim()
        .parse()
        .map_err(|_| format!("{text:?} is no moment; write it such as 2026-06-06T06:30"))
}

pub(super) fn zone(text: &str) -> Result<jiff::tz::TimeZone, String> {
    record::named_clock(text).ok_or_else(|| {
        format!("{text:?} is no time zone known here; write it such as Europe/London or +02:00")
    })
}

/// Resistance of a cable there and back (Ω).
pub(super) fn cable(text: &str) -> Result<f64, String> {
    match text.split_once(" of ") {
        Some((length, section)) => {
            let length_m = Kind::Length.read(length).map_err(|error| error.to_string())?;
            let section: rig::Section =
                section.parse().map_err(|error: ReadError| error.to_string())?;
            Ok(rig::Wire::cable(section, length_m).ohm())
        }
        None => Kind::Resistance.read(text).map_err(|error| {
            format!("{error}; or as length one way and section, such as \"2.5 m of 16 AWG\"")
        }),
    }
}

/// "voltage=3", "current=I batt in mA".
pub(super) fn column(text: &str) -> Result<record::ColumnChoice, String> {
    let right = "write it such as \"current=3\" or \"voltage=U batt in mV\"";
    let (what, rest) =
        text.split_once('=').ok_or_else(|| format!("{text:?} names no column; {right}"))?;
    let role = record::Role::ALL
        .into_iter()
        .find(|role| role.name().eq_ignore_ascii_case(what.trim()))
        .ok_or_else(|| {
            let known = record::Role::ALL.map(record::Role::name).join(", ");
            format!("{what:?} is nothing a column holds; known here: {known}")
        })?;
    record::ColumnChoice::read(role, rest)
        .ok_or_else(|| format!("{text:?} names no column; {right}"))
}
