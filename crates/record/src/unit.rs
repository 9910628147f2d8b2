//! Units as they stand in headings and cells.

use quantity::Kind;

/// From what is written to the kind's own unit: `own = written * scale + shift`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Affine {
    pub(crate) scale: f64,
    pub(crate) shift: f64,
}

impl Affine {
    pub(crate) const ONE: Affine = Affine { scale: 1.0, shift: 0.0 };

    pub(crate) fn of(self, written: f64) -> f64 {
        written * self.scale + self.shift
    }
}

/// What a unit is worth, if it is one of this kind.
pub(crate) fn affine(kind: Kind, unit: &str) -> Option<Affine> {
    let unit = unit.trim();
    let plain = match unit.to_ascii_lowercase().as_str() {
        "" => return None,
        "k" | "kelvin" if kind == Kind::Temperature => {
            return Some(Affine { scale: 1.0, shift: -273.15 });
        }
        "us" | "µs" | "μs" if kind == Kind::Duration => {
            return Some(Affine { scale: 1e-6, shift: 0.0 });
        }
        // "DC" behind a unit says nothing about its size
        "vdc" | "v dc" | "v=" => "V",
        "adc" | "a dc" | "a=" => "A",
        "ampere" | "amperes" | "ampère" | "ampères" => "A",
        "milliamp" | "milliamps" | "milliampere" | "milliamperes" => "mA",
        "millivolt" | "millivolts" => "mV",
        "amphours" | "amp-hours" | "amp hours" | "ampere-hours" | "ampere hours" => "Ah",
        "watthours" | "watt-hours" | "watt hours" => "Wh",
        "celsius" | "deg c" | "º c" | "ºc" | "° c" => "°C",
        "fahrenheit" | "deg f" | "ºf" | "° f" => "°F",
        "sek" | "sekunden" | "secondes" | "segundos" | "secondi" | "seconden" => "s",
        "msec" | "millis" | "milliseconds" => "ms",
        "minuten" | "minutos" | "minuti" => "min",
        "std" | "stunden" | "heures" | "horas" | "ore" | "uur" => "h",
        "tage" => "d",
        _ => unit,
    };
    read(kind, plain).or_else(|| {
        // "MV" in headings all in capitals: nothing here is in millions
        let rest = plain.strip_prefix('M').filter(|rest| !rest.is_empty())?;
        read(kind, &format!("m{rest}"))
    })
}

fn read(kind: Kind, unit: &str) -> Option<Affine> {
    // no part of a number belongs to a unit: "d 00h 05s" is a whole span of time
    if !unit.starts_with(|first: char| first.is_alphabetic() || first == '°' || first == '℃')
        || unit.contains(|c: char| c.is_ascii_digit())
    {
        return None;
    }
    let at = |number: &str| kind.read(&format!("{number} {unit}")).ok();
    let (low, high) = (at("40")?, at("90")?);
    let scale = (high - low) / 50.0;
    let shift = low - 40.0 * scale;
    // "40 mV" is 0.04 and no rounding of the difference is wanted
    if kind == Kind::Temperature {
        Some(Affine { scale, shift })
    } else {
        at("1").map(|scale| Affine { scale, shift: 0.0 })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units() {
        for (kind, unit, written, own) in [
            (Kind::Voltage, "mV", 12_500.0, 12.5),
            (Kind::Voltage, "MV", 12_500.0, 12.5),
            (Kind::Voltage, "Volts", 12.5, 12.5),
            (Kind::Voltage, "V DC", 12.5, 12.5),
            (Kind::Current, "mA", 250.0, 0.25),
            (Kind::Current, "amps", 2.0, 2.0),
            (Kind::Charge, "mAh", 250.0, 0.25),
            (Kind::Charge, "MAH", 250.0, 0.25),
            (Kind::Energy, "kWh", 0.5, 500.0),
            (Kind::Duration, "ms", 1500.0, 1.5),
            (Kind::Duration, "µs", 1500.0, 0.0015),
            (Kind::Duration, "min", 2.0, 120.0),
            (Kind::Duration, "h", 2.0, 7200.0),
            (Kind::Temperature, "K", 273.15, 0.0),
            (Kind::Temperature, "°F", 32.0, 0.0),
            (Kind::Temperature, "°C", 21.5, 21.5),
        ] {
            let read = affine(kind, unit).unwrap().of(written);
            assert!((read - own).abs() < 1e-12, "{unit}: {read}");
        }
        for (kind, unit) in [
            (Kind::Voltage, "A"),
            (Kind::Voltage, ""),
            (Kind::Duration, "x"),
            (Kind::Charge, "5"),
            (Kind::Duration, "d 00h 05s"),
        ] {
            assert_eq!(affine(kind, unit), None, "{unit}");
        }
    }
}
