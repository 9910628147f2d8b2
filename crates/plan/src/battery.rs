//! `[pack]`: in a plan, or in a file of its own.

use std::path::{Path, PathBuf};

use pack::{Chemistry, Circuit, Housing, Ocv, Pack, Provenance, Spread};
use quantity::Kind;

use crate::error::PlanError;
use crate::section::Section;
use crate::{measured, site::COVERAGE_95};

/// The pack of a plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Battery {
    /// Its model.
    pub pack: Pack,
    /// Charge held when the trip begins, as a share.
    pub soc_start: f64,
    /// The record it was measured from.
    pub record: Option<PathBuf>,
    /// Its mass (kg), where it is known.
    pub mass_kg: Option<f64>,
    /// How it keeps its warmth, where its mass is known; else it is as warm as the air.
    pub housing: Option<Housing>,
}

/// A `[pack]` table. `folder` is where relative paths begin.
pub(crate) fn read(
    mut section: Section<'_>,
    folder: &Path,
    defaults: &mut Vec<String>,
) -> Result<Battery, PlanError> {
    let soc_start = section.maybe("start", Kind::Fraction)?.unwrap_or_else(|| {
        defaults.push("pack.start = \"100 %\"".to_owned());
        1.0
    });
    let mass_kg = section.maybe("mass", Kind::Mass)?;
    let housing = read_housing(&mut section, mass_kg)?;
    if let Some(file) = section.maybe_text("file")? {
        let path = folder.join(&file);
        let (pack, record) = crate::read_pack_file(&path, defaults).map_err(|error| {
            // an error inside that file points there; one that it can't be read points here
            if error.at.is_some() { error } else { section.error("file", error.message) }
        })?;
        section.finish()?;
        return Ok(Battery { pack, soc_start, record, mass_kg, housing });
    }
    let (pack, record) = read_model(section, folder, defaults)?;
    Ok(Battery { pack, soc_start, record, mass_kg, housing })
}

/// How a pack of this mass keeps its warmth: in the open, or in a box of foam.
fn read_housing(
    section: &mut Section<'_>,
    mass_kg: Option<f64>,
) -> Result<Option<Housing>, PlanError> {
    let foam_m = section.maybe("foam", Kind::Length)?;
    match (mass_kg, foam_m) {
        (Some(mass_kg), _) if mass_kg <= 0.0 => {
            Err(section.error("mass", "a pack has a mass above zero, such as \"5.2 kg\""))
        }
        (Some(mass_kg), Some(foam_m)) => Ok(Some(Housing::insulated(mass_kg, foam_m))),
        (Some(mass_kg), None) => Ok(Some(Housing::open(mass_kg))),
        (None, Some(_)) => {
            Err(section.missing("mass", "\"5.2 kg\" (how warm a box keeps a pack hangs on it)"))
        }
        (None, None) => Ok(None),
    }
}

/// The model of a pack: stated, measured from a record, or a chemistry's typical one.
pub(crate) fn read_model(
    mut section: Section<'_>,
    folder: &Path,
    defaults: &mut Vec<String>,
) -> Result<(Pack, Option<PathBuf>), PlanError> {
    let name = section.maybe_text("name")?;
    let chemistry: Option<Chemistry> = section.maybe_parsed("chemistry")?;
    let rated_ah = section.maybe("rated", Kind::Charge)?;
    let record = section.maybe_text("record")?;
    let reading = crate::reading::read(&mut section)?;
    if record.is_none() && section.has("reading") {
        return Err(section.error("reading", "this says how a `record` is read, and there is none"));
    }
    let mut pack = match (section.maybe_section("circuit")?, &record) {
        (Some(_), Some(_)) => {
            return Err(section.error("record", "give either a `record` or a `circuit`, not both"));
        }
        (Some(circuit), None) => stated(circuit, chemistry, rated_ah)?,
        (None, Some(record)) => {
            let path = folder.join(record);
            measured::pack(&path, &reading, chemistry, rated_ah)
                .map_err(|problem| section.error("record", problem))?
        }
        (None, None) => {
            let chemistry = chemistry.ok_or_else(|| {
                section.missing("chemistry", "\"LFP\" (or a record, or a circuit)")
            })?;
            let rated_ah =
                rated_ah.ok_or_else(|| section.missing("rated", Kind::Charge.examples()))?;
            defaults.push(format!("a typical {chemistry} pack: nothing of this one was measured"));
            Pack::typical(chemistry, rated_ah)
                .map_err(|error| section.error("rated", error.to_string()))?
        }
    };
    if let Some(name) = name {
        pack.name = name;
    }
    read_limits(&mut section, &mut pack)?;
    section.finish()?;
    Ok((pack, record.map(|record| folder.join(record))))
}

fn read_limits(section: &mut Section<'_>, pack: &mut Pack) -> Result<(), PlanError> {
    let Some(mut limits) = section.maybe_section("protection")? else { return Ok(()) };
    let ours = &mut pack.limits;
    ours.undervoltage_v = limits.maybe("cuts_below", Kind::Voltage)?.or(ours.undervoltage_v);
    ours.release_v = limits.maybe("back_at", Kind::Voltage)?.or(ours.release_v);
    ours.discharge_a = limits.maybe("most_discharge", Kind::Current)?.or(ours.discharge_a);
    ours.charge_a = limits.maybe("most_charge", Kind::Current)?.or(ours.charge_a);
    ours.charge_least_c =
        limits.maybe("no_charge_below", Kind::Temperature)?.or(ours.charge_least_c);
    ours.refuses_frost = limits.maybe_bool("refuses_frost")?.unwrap_or(ours.refuses_frost);
    limits.finish()
}

/// A circuit stated outright.
fn stated(
    mut section: Section<'_>,
    chemistry: Option<Chemistry>,
    rated_ah: Option<f64>,
) -> Result<Pack, PlanError> {
    let capacity = section.given("capacity", Kind::Charge)?;
    let r0 = section.given("r0", Kind::Resistance)?;
    let r1_ohm = section.maybe("r1", Kind::Resistance)?.unwrap_or(0.0);
    let c1_f = section.maybe("c1", Kind::Capacitance)?.unwrap_or(0.0);
    let charge_efficiency = section.maybe("charge_efficiency", Kind::Fraction)?.unwrap_or(1.0);
    if capacity.value <= 0.0 {
        return Err(section.error("capacity", "a capacity is above zero, such as \"36 Ah\""));
    }
    if charge_efficiency <= 0.0 {
        return Err(section
            .error("charge_efficiency", "a charge efficiency is above 0 %, such as \"99.5 %\""));
    }
    if (r1_ohm > 0.0) != (c1_f > 0.0) {
        return Err(section.error("r1", "`r1` and `c1` belong together; give both or neither"));
    }
    let rows: Vec<[f64; 2]> = section
        .maybe_rows("ocv")?
        .ok_or_else(|| section.missing("ocv", "[[0, 10.6], [0.5, 13.1], [1, 13.6]] (SoC, V)"))?;
    let points: Vec<(f64, f64)> = rows.iter().map(|[soc, voltage_v]| (*soc, *voltage_v)).collect();
    let ocv = Ocv::new(points).map_err(|error| section.error("ocv", error.to_string()))?;
    let mut circuit = Circuit::plain(capacity.value, ocv, r0.value, r1_ohm, c1_f);
    circuit.charge_efficiency = charge_efficiency;
    section.finish()?;
    let relative = |given: quantity::Given| {
        given
            .plus_minus
            .filter(|_| given.value > 0.0)
            .map_or(0.0, |half| half / COVERAGE_95 / given.value)
    };
    Ok(Pack {
        name: "the pack".to_owned(),
        chemistry,
        rated_ah: rated_ah.unwrap_or(capacity.value),
        circuit,
        idle_a: 0.0,
        limits: pack::Limits::default(),
        spread: Spread {
            capacity: relative(capacity),
            resistance: relative(r0),
            ..Spread::default()
        },
        variants: Vec::new(),
        provenance: Provenance::Stated,
    })
}
