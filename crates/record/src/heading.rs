//! What a heading says about its column.

use quantity::Kind;

use crate::unit::{self, Affine};
use crate::{Role, Sign};

/// Words that name a role, in the languages instruments speak.
const WORDS: [(Role, &[&str]); 9] = [
    (
        Role::Time,
        &[
            "time",
            "timestamp",
            "stamp",
            "elapsed",
            "clock",
            "datetime",
            "when",
            "epoch",
            "unix",
            "uptime",
            "t",
            "zeit",
            "uhrzeit",
            "dauer",
            "laufzeit",
            "zeitpunkt",
            "temps",
            "heure",
            "durée",
            "tiempo",
            "hora",
            "tempo",
            "ora",
            "tijd",
            "duration",
            "moment",
        ],
    ),
    (Role::Date, &["date", "day", "datum", "tag", "fecha", "data", "jour"]),
    (
        Role::Voltage,
        &[
            "voltage", "volt", "volts", "u", "v", "spannung", "tension", "voltaje", "tensione",
            "spanning", "vbat", "vbatt", "ubat", "ubatt",
        ],
    ),
    (
        Role::Current,
        &[
            "current",
            "amp",
            "amps",
            "ampere",
            "amperes",
            "i",
            "a",
            "strom",
            "courant",
            "intensité",
            "corriente",
            "corrente",
            "stroom",
            "ibat",
            "ibatt",
        ],
    ),
    (
        Role::Power,
        &[
            "power",
            "watt",
            "watts",
            "p",
            "w",
            "leistung",
            "puissance",
            "potencia",
            "potenza",
            "vermogen",
        ],
    ),
    (
        Role::Charge,
        &[
            "charge",
            "capacity",
            "amphours",
            "ah",
            "kapazität",
            "ladung",
            "capacité",
            "capacidad",
            "capacità",
            "q",
        ],
    ),
    (Role::Energy, &["energy", "watthours", "wh", "energie", "énergie", "energía", "energia"]),
    (
        Role::Temperature,
        &["temperature", "temp", "temperatur", "température", "temperatura", "temperatuur"],
    ),
    (Role::State, &["state", "mode", "status", "phase", "action", "zustand", "modus", "modo"]),
];

/// Words that say that a number was set, not measured, or is not the one that is meant.
const ASIDE: [&str; 24] = [
    "set", "setpoint", "target", "limit", "end", "cutoff", "cut", "soll", "max", "min", "peak",
    "nominal", "rated", "panel", "pv", "solar", "input", "usb", "step", "cell", "cycle",
    "schedule", "ambient", "air",
];

/// Words that say that it is the one that is meant.
const MEANT: [&str; 14] = [
    "battery", "batt", "bat", "pack", "terminal", "measured", "actual", "mean", "avg", "average",
    "total", "test", "net", "surface",
];

/// Words of columns that count or tell something else.
const OTHER: [&str; 14] = [
    "humidity",
    "resistance",
    "impedance",
    "cycle",
    "record",
    "sample",
    "index",
    "no",
    "nr",
    "row",
    "number",
    "pressure",
    "soc",
    "step",
];

/// What a heading says.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Meaning {
    pub(crate) role: Role,
    /// The unit as written, where there is one.
    pub(crate) unit: Option<String>,
    /// The higher the better among columns of one role.
    pub(crate) score: i32,
    /// Which way a positive current flows, where the words say so.
    pub(crate) sign: Option<Sign>,
}

/// The kind of quantity a role holds; none for dates and words.
pub(crate) fn kind(role: Role) -> Option<Kind> {
    match role {
        Role::Time => Some(Kind::Duration),
        Role::Voltage => Some(Kind::Voltage),
        Role::Current => Some(Kind::Current),
        Role::Power => Some(Kind::Power),
        Role::Charge => Some(Kind::Charge),
        Role::Energy => Some(Kind::Energy),
        Role::Temperature => Some(Kind::Temperature),
        Role::Date | Role::State => None,
    }
}

/// Bytes of a heading as text: UTF-8, or Latin-1 as its extension windows-1252.
pub(crate) fn text(bytes: &[u8]) -> String {
    match std::str::from_utf8(bytes) {
        Ok(text) => text.trim().replace("\"\"", "\""),
        Err(_) => encoding_rs::WINDOWS_1252.decode_without_bom_handling(bytes).0.trim().to_owned(),
    }
}

/// What a heading says; none if it names nothing a record needs.
pub(crate) fn read(heading: &str) -> Option<Meaning> {
    if clock_letters(heading) {
        return Some(Meaning { role: Role::Time, unit: None, score: 9, sign: None });
    }
    let (name, written_unit) = split_unit(heading);
    let words = words(name);
    let named = named_role(&words);
    let by_unit = written_unit.and_then(|unit| role_of_unit(unit, named));
    let has = |list: &[&str]| words.iter().any(|word| list.contains(&word.as_str()));
    let (role, unit, base) = match (named, by_unit) {
        (Some(named), Some(role)) if named == role => (role, written_unit, 10),
        (_, Some(role)) => (role, written_unit, 8),
        (Some(role), None) if !has(&OTHER) => (role, None, 7),
        _ => return None,
    };
    if by_unit.is_none() && words.len() > 4 {
        return None; // a sentence, not a heading
    }
    let score = base - 5 * i32::from(has(&ASIDE)) + i32::from(has(&MEANT));
    Some(Meaning { role, unit: unit.map(str::to_owned), score, sign: sign(&words) })
}

/// Whether a cell holds nothing but a unit, as in a second row of headings.
pub(crate) fn is_unit(text: &str) -> bool {
    let text = text.trim_matches(['(', ')', '[', ']', ' ']);
    clock_letters(text)
        || Role::ALL.into_iter().filter_map(kind).any(|kind| unit::affine(kind, text).is_some())
}

/// What a unit is worth for a role.
pub(crate) fn affine(role: Role, unit: &str) -> Option<Affine> {
    unit::affine(kind(role)?, unit.trim_matches(['(', ')', '[', ']', ' ']))
}

/// Which way positive flows by the words beside "current", "charge" and so on.
fn sign(words: &[String]) -> Option<Sign> {
    let any =
        |stems: &[&str]| words.iter().any(|word| stems.iter().any(|stem| word.starts_with(stem)));
    if any(&["discharg", "entlad", "décharg", "descarg", "load", "used"]) {
        Some(Sign::DischargePositive)
    } else if any(&["charg", "lade", "carga"]) {
        Some(Sign::ChargePositive)
    } else {
        None
    }
}

/// "h:min", "hh:mm:ss", "mm:ss".
fn clock_letters(text: &str) -> bool {
    text.contains(':')
        && text.split(':').all(|part| {
            matches!(
                part.trim().to_ascii_lowercase().as_str(),
                "h" | "hh" | "m" | "mm" | "min" | "s" | "ss" | "sec"
            )
        })
}

/// The unit in brackets, behind a slash or comma, or as the last word.
fn split_unit(heading: &str) -> (&str, Option<&str>) {
    let heading = heading.trim();
    let known = |unit: &&str| is_unit(unit);
    if let Some(inside) = heading.strip_suffix([')', ']'])
        && let Some((name, unit)) = inside.rsplit_once(['(', '['])
    {
        return (name, Some(unit.trim()).filter(known));
    }
    if let Some((name, unit)) = heading.rsplit_once(['/', ','])
        && let Some(unit) = Some(unit.trim()).filter(known)
    {
        return (name, Some(unit));
    }
    let at = heading
        .rfind(|c: char| !c.is_alphanumeric() && c != '°')
        .map_or(0, |at| at + heading[at..].chars().next().map_or(1, char::len_utf8));
    let (name, last) = heading.split_at(at);
    if is_unit(last) { (name, Some(last)) } else { (heading, None) }
}

fn words(name: &str) -> Vec<String> {
    name.split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect()
}

/// The role most to the right that a word names: "charge current" is a current.
fn named_role(words: &[String]) -> Option<Role> {
    words.iter().rev().find_map(|word| {
        let role = WORDS.iter().find(|(_, names)| names.contains(&word.as_str()))?.0;
        Some(role)
    })
}

/// The role a unit belongs to, the named one first: "T / K" and "Q / C".
fn role_of_unit(unit: &str, named: Option<Role>) -> Option<Role> {
    if let Some(role) = named.filter(|role| affine(*role, unit).is_some()) {
        return Some(role);
    }
    [
        Role::Voltage,
        Role::Current,
        Role::Power,
        Role::Temperature,
        Role::Charge,
        Role::Energy,
        Role::Time,
    ]
    .into_iter()
    .find(|role| affine(*role, unit).is_some())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headings() {
        for (heading, role, unit) in [
            ("Time (s)", Role::Time, "s"),
            ("Zeit", Role::Time, ""),
            ("Spannung [V]", Role::Voltage, "V"),
            ("Temperatur [°C]", Role::Temperature, "°C"),
            ("Elapsed", Role::Time, ""),
            ("U", Role::Voltage, ""),
            ("timestamp", Role::Time, ""),
            ("clock", Role::Time, ""),
            ("V", Role::Voltage, "V"),
            ("A", Role::Current, "A"),
            ("Ah", Role::Charge, "Ah"),
            ("Wh", Role::Energy, "Wh"),
            ("s", Role::Time, "s"),
            ("epoch_ms", Role::Time, "ms"),
            ("power_W", Role::Power, "W"),
            ("minutes", Role::Time, "minutes"),
            ("used_mAh", Role::Charge, "mAh"),
            ("Test Time / s", Role::Time, "s"),
            ("Current(mA)", Role::Current, "mA"),
            ("t_s", Role::Time, "s"),
            ("U_V", Role::Voltage, "V"),
            ("mean_A", Role::Current, "A"),
            ("T / K", Role::Temperature, "K"),
            ("t / h", Role::Time, "h"),
            ("h:min", Role::Time, ""),
            ("charge_A", Role::Current, "A"),
            ("Time [ms]", Role::Time, "ms"),
            ("Date", Role::Date, ""),
            ("Amp", Role::Current, "Amp"),
            ("state", Role::State, ""),
            ("Mode", Role::State, ""),
            ("Ambient Temperature / degC", Role::Temperature, "degC"),
            ("Discharging Capacity / Ah", Role::Charge, "Ah"),
            ("Voltage, V", Role::Voltage, "V"),
            ("local time", Role::Time, ""),
        ] {
            let meaning = read(heading).unwrap_or_else(|| panic!("{heading}"));
            assert_eq!(meaning.role, role, "{heading}");
            assert_eq!(meaning.unit.unwrap_or_default(), unit, "{heading}");
        }
    }

    #[test]
    fn headings_of_nothing() {
        for heading in ["", "Step", "Record", "c17", "humidity", "Sample", "Step Index / 1", "14.2"]
        {
            assert_eq!(read(heading), None, "{heading}");
        }
    }

    #[test]
    fn measured_before_set() {
        let score = |heading| read(heading).unwrap().score;
        assert!(score("I [A]") > score("I set [A]"));
        assert!(score("battery_V") > score("panel_V"));
        assert!(score("Test Time / s") > score("Step Time / s"));
    }
}
