//! Which column is taken for which role.

use super::Row;
use super::heading_row::Found;
use crate::bdf;
use crate::column::{HowSure, Role};
use crate::error::{ErrorKind, Trouble};
use crate::heading::{self, Meaning};
use crate::options::{ColumnChoice, Which};
use crate::unit::Affine;
use crate::{ReadOptions, Sign};

/// A column that is read.
#[derive(Debug, Clone)]
pub(crate) struct Taken {
    /// Counted from nought.
    pub(crate) at: usize,
    pub(crate) heading: String,
    pub(crate) role: Role,
    pub(crate) unit: String,
    pub(crate) affine: Affine,
    pub(crate) how_sure: HowSure,
    pub(crate) sign: Option<Sign>,
    /// Whether it counts what goes in, beside one for what goes out.
    pub(crate) is_in: bool,
    /// Whether the unit is stated, by heading, cells or a person.
    pub(crate) unit_stated: bool,
}

/// Roles whose columns hold values; time is chosen apart.
const VALUES: [Role; 7] = [
    Role::Voltage,
    Role::Current,
    Role::Power,
    Role::Charge,
    Role::Energy,
    Role::Temperature,
    Role::State,
];

/// Chooses a column for every role but time.
pub(super) fn choose(
    headings: &[String],
    sample: &[Row],
    options: &ReadOptions,
    notices: &mut Vec<String>,
) -> Result<Vec<Taken>, Trouble> {
    let told: Vec<(usize, &ColumnChoice)> = options
        .columns
        .iter()
        .map(|choice| Ok((told_at(choice, headings)?, choice)))
        .collect::<Result<_, Trouble>>()?;
    let mut columns = Vec::new();
    for role in VALUES {
        if let Some((at, choice)) = told.iter().find(|(_, choice)| choice.role == role) {
            columns.push(taken_as_told(*at, choice, headings)?);
            continue;
        }
        let taken_elsewhere = |at: usize| told.iter().any(|(other, _)| *other == at);
        let mut candidates: Vec<(usize, Meaning)> = headings
            .iter()
            .enumerate()
            .filter(|(at, _)| !taken_elsewhere(*at))
            .filter_map(|(at, heading)| Some((at, heading::read(heading)?)))
            .filter(|(_, meaning)| meaning.role == role)
            .collect();
        let blank = |at: usize| sample.iter().all(|row| row.cell(at).is_empty());
        // stable: the first of equals is taken
        candidates.sort_by_key(|(at, meaning)| (blank(*at), -meaning.score));
        let mut candidates = candidates.into_iter();
        let Some(first) = candidates.next() else { continue };
        let counts = matches!(role, Role::Charge | Role::Energy);
        let other_way = |other: &(usize, Meaning)| {
            counts && other.1.score == first.1.score && opposite(first.1.sign, other.1.sign)
        };
        let pair = candidates.clone().find(other_way);
        let rival = candidates.next().filter(|(_, other)| other.score == first.1.score);
        if let (None, Some((rival, _))) = (&pair, rival) {
            notices.push(format!(
                "{:?} was taken for the {}; {:?} could be it as well",
                headings.get(first.0).map_or("", String::as_str),
                role.name(),
                headings.get(rival).map_or("", String::as_str),
            ));
        }
        let mut taken: Vec<Taken> = std::iter::once(first)
            .chain(pair)
            .map(|(at, meaning)| by_heading(at, meaning, headings, sample))
            .collect();
        if let [one, other] = taken.as_mut_slice() {
            one.is_in = one.sign == Some(Sign::ChargePositive);
            other.is_in = !one.is_in;
            taken.sort_by_key(|column| column.is_in);
        }
        columns.append(&mut taken);
    }
    sign_by_format(headings, &mut columns);
    Ok(columns)
}

fn opposite(one: Option<Sign>, other: Option<Sign>) -> bool {
    one.is_some() && other.is_some() && one != other
}

fn by_heading(at: usize, meaning: Meaning, headings: &[String], sample: &[Row]) -> Taken {
    let role = meaning.role;
    let unit = meaning.unit.or_else(|| unit_in_cells(role, at, sample));
    let affine = unit.as_deref().and_then(|unit| heading::affine(role, unit));
    let sure = affine.is_some() || role == Role::State;
    Taken {
        at,
        heading: headings.get(at).cloned().unwrap_or_default(),
        role,
        unit: unit.unwrap_or_default(),
        affine: affine.unwrap_or(Affine::ONE),
        how_sure: if sure { HowSure::Sure } else { HowSure::Likely },
        sign: meaning.sign,
        is_in: false,
        unit_stated: affine.is_some(),
    }
}

/// Labels of the Battery Data Format tell the sign: positive charges.
fn sign_by_format(headings: &[String], columns: &mut [Taken]) {
    let has = |label: &&str| headings.iter().any(|heading| heading == label);
    if bdf::REQUIRED.iter().all(has)
        && let Some(current) = columns.iter_mut().find(|column| column.role == Role::Current)
    {
        current.sign = current.sign.or(Some(Sign::ChargePositive));
    }
}

/// The unit behind the first number of a column: "12.77 V".
fn unit_in_cells(role: Role, at: usize, sample: &[Row]) -> Option<String> {
    let cell = sample.iter().map(|row| row.cell(at)).find(|cell| !cell.is_empty())?;
    let text = heading::text(cell);
    let unit = text.trim_start_matches(|c: char| !c.is_alphabetic() && c != '°').trim();
    heading::affine(role, unit).map(|_| unit.to_owned())
}

/// The column a person means.
pub(super) fn told_at(choice: &ColumnChoice, headings: &[String]) -> Result<usize, Trouble> {
    let role = choice.role.name();
    let list = || {
        let list: Vec<String> = headings.iter().take(20).map(|text| format!("{text:?}")).collect();
        format!("the columns are {}", list.join(", "))
    };
    match &choice.which {
        Which::Number(number) => {
            number.checked_sub(1).filter(|at| *at < headings.len()).ok_or_else(|| {
                let message = format!("there is no column {number} for the {role}");
                Trouble::new(
                    ErrorKind::Column,
                    message,
                    format!("there are {}; count from 1", headings.len()),
                )
            })
        }
        Which::Heading(text) => {
            // a second row of headings adds a unit in brackets
            let alike = |heading: &String| {
                let name = heading.rsplit_once(" [").map_or(heading.as_str(), |(name, _)| name);
                heading.eq_ignore_ascii_case(text.trim()) || name.eq_ignore_ascii_case(text.trim())
            };
            let mut found = headings.iter().enumerate().filter(|(_, heading)| alike(heading));
            match (found.next(), found.next()) {
                (Some((at, _)), None) => Ok(at),
                (None, _) => {
                    let message = format!("no column is headed {text:?} for the {role}");
                    Err(Trouble::new(ErrorKind::Column, message, list()))
                }
                (Some(_), Some(_)) => {
                    let message = format!("more than one column is headed {text:?}");
                    Err(Trouble::new(ErrorKind::Column, message, "give the number of the column"))
                }
            }
        }
    }
}

fn taken_as_told(at: usize, choice: &ColumnChoice, headings: &[String]) -> Result<Taken, Trouble> {
    let heading = headings.get(at).cloned().unwrap_or_default();
    let meaning = heading::read(&heading);
    let stated = meaning.as_ref().and_then(|meaning| meaning.unit.clone());
    let unit = choice.unit.clone().or(stated).unwrap_or_default();
    let affine = heading::affine(choice.role, &unit);
    if let (None, Some(told)) = (affine, &choice.unit)
        && let Some(kind) = heading::kind(choice.role)
    {
        let message = format!("{told:?} is no unit of {}", choice.role.name());
        let help = format!("write a unit as in {}", kind.examples());
        return Err(Trouble::new(ErrorKind::Unit, message, help));
    }
    Ok(Taken {
        at,
        heading,
        role: choice.role,
        unit,
        affine: affine.unwrap_or(Affine::ONE),
        how_sure: HowSure::Told,
        sign: meaning.and_then(|meaning| meaning.sign),
        is_in: false,
        unit_stated: affine.is_some(),
    })
}

/// Says which roles have no column.
pub(super) fn complain_of_missing(
    columns: &[Taken],
    found: &Found,
    options: &ReadOptions,
) -> Result<(), Trouble> {
    let has = |role| columns.iter().any(|column| column.role == role);
    let voltage = has(Role::Voltage) || (has(Role::Power) && has(Role::Current));
    let current = has(Role::Current)
        || has(Role::Power)
        || has(Role::Charge)
        || options.stated_current_a.is_some()
        || options.voltage_alone;
    let time = has(Role::Time) || options.interval_s.is_some();
    let mut missing = Vec::new();
    let mut kind = None;
    if !time {
        missing.push("the time (nor is the time between rows stated)");
        kind = Some(ErrorKind::Time);
    }
    if !voltage {
        missing.push("a voltage (nor power with current)");
        kind = kind.or(Some(ErrorKind::Voltage));
    }
    if !current {
        missing.push("a current, power or counted charge");
        kind = kind.or(Some(ErrorKind::Current));
    }
    let Some(kind) = kind else { return Ok(()) };
    let list: Vec<String> =
        found.headings.iter().take(12).map(|text| format!("{text:?}")).collect();
    let message =
        format!("no column holds {}; the columns are {}", missing.join(", nor "), list.join(", "));
    let help =
        "name the columns, such as \"time (s), voltage (V), current (A)\", or say which is which";
    Err(Trouble::new(kind, message, help).at(found.heading_line.max(1)))
}
