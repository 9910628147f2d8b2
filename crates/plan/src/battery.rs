//! `[pack]`: in a plan, or in a file of its own.

use std::path::{Path, PathBuf};

use pack::{
    Chemistry, Circuit, Heater, Housing, Ocv, Pack, Provenance, Rise, Spread, Warmth, Wells,
};
use quantity::Kind;

use crate::error::PlanError;
use crate::section::Section;
use crate::strings::{Strings, Used};
use crate::{measured, price, site::COVERAGE_95};

/// The pack of a plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Battery {
    /// Its model: all packs as one.
    pub pack: Pack,
    /// One of the equal packs (or strings of them) that stand side by side; all of them where they
    /// are unlike.
    pub one: Pack,
    /// So many of `one` stand side by side.
    pub strings: u32,
    /// Charge held when the trip begins, as a share.
    pub soc_start: f64,
    /// The record it was measured from.
    pub record: Option<PathBuf>,
    /// The mass of all packs together (kg), where it is known.
    pub mass_kg: Option<f64>,
    /// The price of all packs together, in the plan's currency, where it is known.
    pub price: Option<f64>,
    /// Thickness of the foam of its box (m); 0 in the open.
    pub foam_m: f64,
    /// How it keeps its warmth, where its mass is known; else it is as warm as the air.
    pub housing: Option<Housing>,
    /// The current (A) that flows between unlike packs the moment they are joined; 0 for one pack.
    pub inrush_a: f64,
}

/// A `[pack]` table. `folder` is where relative paths begin.
pub(crate) fn read(
    mut section: Section<'_>,
    (folder, currency): (&Path, Option<&str>),
    defaults: &mut Vec<String>,
) -> Result<Battery, PlanError> {
    let soc_start = section.maybe("start", Kind::Fraction)?.unwrap_or_else(|| {
        defaults.push("pack.start = \"100 %\"".to_owned());
        1.0
    });
    let mass_kg = section.maybe("mass", Kind::Mass)?;
    let price = price::read(&mut section, currency)?;
    let (housing, foam_m) = read_housing(&mut section, mass_kg)?;
    let beside = read_beside(&mut section, folder, defaults)?;
    let here = section.error_here("");
    let (strings, record) = read_described(section, folder, defaults)?;
    let (Strings { one, count, all: pack }, inrush_a) = beside.join(strings, soc_start, here)?;
    Ok(Battery {
        pack,
        one,
        strings: count,
        soc_start,
        record,
        mass_kg,
        price,
        foam_m,
        housing,
        inrush_a,
    })
}

/// A pack described in a file of its own, or here.
pub(crate) fn read_described(
    mut section: Section<'_>,
    folder: &Path,
    defaults: &mut Vec<String>,
) -> Result<(Strings, Option<PathBuf>), PlanError> {
    let Some(file) = section.maybe_text("file")? else {
        return read_model(section, folder, defaults);
    };
    let used = Used::read(&mut section)?;
    let (pack, record) = crate::read_pack_file(&folder.join(&file), defaults).map_err(|error| {
        // an error inside that file points there; one that it can't be read points here
        if error.at.is_some() { error } else { section.error("file", error.message) }
    })?;
    let strings = used.apply(&section, pack)?;
    section.finish()?;
    Ok((strings, record))
}

/// Other packs joined to the first in parallel, each behind wires of its own.
struct Beside {
    /// Of the first pack's wires (Ω).
    lead_ohm: f64,
    others: Vec<(Pack, f64)>,
}

fn read_beside(
    section: &mut Section<'_>,
    folder: &Path,
    defaults: &mut Vec<String>,
) -> Result<Beside, PlanError> {
    let lead_ohm = section.maybe("lead", Kind::Resistance)?.unwrap_or(0.0);
    let mut others = Vec::new();
    for (name, mut entry) in section.named_sections("beside")? {
        let lead_ohm = entry.maybe("lead", Kind::Resistance)?.unwrap_or(0.0);
        let is_named = entry.has("name");
        let mut pack = read_model(entry, folder, defaults)?.0.all;
        if !is_named {
            pack.name = name;
        }
        others.push((pack, lead_ohm));
    }
    Ok(Beside { lead_ohm, others })
}

impl Beside {
    /// All packs as one, and the current between them when they are joined.
    fn join(self, first: Strings, soc: f64, place: PlanError) -> Result<(Strings, f64), PlanError> {
        if self.others.is_empty() && self.lead_ohm == 0.0 {
            return Ok((first, 0.0));
        }
        let mut packs = vec![(first.all, self.lead_ohm)];
        packs.extend(self.others);
        let joined = Pack::joined(&packs)
            .map_err(|error| PlanError { message: error.to_string(), ..place })?;
        Ok((Strings::single(joined), pack::inrush_a(&packs, soc)))
    }
}

/// How a pack of this mass keeps its warmth, in the open or in a box of foam; and how thick that
/// is (m).
fn read_housing(
    section: &mut Section<'_>,
    mass_kg: Option<f64>,
) -> Result<(Option<Housing>, f64), PlanError> {
    let foam_m = section.maybe("foam", Kind::Length)?;
    let heater = match section.maybe_section("heater")? {
        Some(heater) => Some(read_heater(heater)?),
        None => None,
    };
    let in_place =
        |housing: Housing| Ok((Some(Housing { heater, ..housing }), foam_m.unwrap_or(0.0)));
    match (mass_kg, foam_m) {
        (Some(mass_kg), _) if mass_kg <= 0.0 => {
            Err(section.error("mass", "a pack has a mass above zero, such as \"5.2 kg\""))
        }
        (Some(mass_kg), Some(foam_m)) => in_place(Housing::insulated(mass_kg, foam_m)),
        (Some(mass_kg), None) => in_place(Housing::open(mass_kg)),
        (None, None) if heater.is_none() => Ok((None, 0.0)),
        (None, _) => {
            Err(section.missing("mass", "\"5.2 kg\" (how warm a box keeps a pack hangs on it)"))
        }
    }
}

/// The pack's own heater, which draws on the pack itself.
fn read_heater(mut section: Section<'_>) -> Result<Heater, PlanError> {
    let heater = Heater {
        power_w: section.value("power", Kind::Power)?,
        on_below_c: section.value("on_below", Kind::Temperature)?,
        off_above_c: section.value("off_above", Kind::Temperature)?,
    };
    if heater.off_above_c <= heater.on_below_c {
        return Err(
            section.error("off_above", "it goes off above the temperature at which it goes on")
        );
    }
    section.finish()?;
    Ok(heater)
}

/// The model of a pack: stated, measured from a record, or a chemistry's typical one.
pub(crate) fn read_model(
    mut section: Section<'_>,
    folder: &Path,
    defaults: &mut Vec<String>,
) -> Result<(Strings, Option<PathBuf>), PlanError> {
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
    let strings = Used::read(&mut section)?.apply(&section, pack)?;
    section.finish()?;
    Ok((strings, record.map(|record| folder.join(record))))
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
    ours.most_c = limits.maybe("opens_above", Kind::Temperature)?.or(ours.most_c);
    ours.advised_soc = limits.maybe("advised_least", Kind::Fraction)?.or(ours.advised_soc);
    limits.finish()
}

/// What a circuit does at other rates, nearly empty, and in the cold; nothing where left out.
fn read_behaviour(section: &mut Section<'_>, circuit: &mut Circuit) -> Result<(), PlanError> {
    if let Some(mut wells) = section.maybe_section("wells")? {
        let at_hand = wells.maybe("at_hand", Kind::Fraction)?;
        let at_hand = at_hand.ok_or_else(|| wells.missing("at_hand", "\"32 %\""))?;
        if !(0.01..=1.0).contains(&at_hand) {
            return Err(wells.error("at_hand", "a share from 1 to 100 % is wanted"));
        }
        let rate_per_s = wells.maybe_number("rate_per_s", 1e-9..=1e3)?;
        let rate_per_s = rate_per_s.ok_or_else(|| wells.missing("rate_per_s", "0.0039"))?;
        wells.finish()?;
        circuit.wells = Some(Wells { at_hand, rate_per_s });
    }
    if let Some(mut rise) = section.maybe_section("rise")? {
        let share = rise.maybe_number("share", 0.0..=100.0)?.unwrap_or(0.0);
        let below_soc = rise.maybe("below", Kind::Fraction)?;
        let below_soc = below_soc.ok_or_else(|| rise.missing("below", "\"15 %\""))?;
        if below_soc <= 0.0 {
            return Err(rise.error("below", "a share above 0 % is wanted, such as \"15 %\""));
        }
        rise.finish()?;
        circuit.rise = Rise { share, below_soc };
    }
    if let Some(mut cold) = section.maybe_section("warmth")? {
        circuit.warmth = Warmth {
            resistance_k: cold.maybe_number("resistance_k", 0.0..=1e5)?.unwrap_or(0.0),
            capacity_per_k: cold.maybe_number("capacity_per_k", 0.0..=1.0)?.unwrap_or(0.0),
        };
        cold.finish()?;
    }
    Ok(())
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
    circuit.charge_ohm = section.maybe("charge_resistance", Kind::Resistance)?.unwrap_or(0.0);
    read_behaviour(&mut section, &mut circuit)?;
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

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test")]
mod tests {
    use super::*;
    use crate::section::Source;

    fn read(circuit: &str) -> Result<Pack, PlanError> {
        let text = format!(
            "format = 1\n[pack.circuit]\ncapacity = \"36 Ah\"\nr0 = \"24 mohm\"\nocv = [[0, 10.6], [1, 13.6]]\n{circuit}"
        );
        let source = Source { file: "pack.toml", text: &text };
        crate::with_root(&source, |mut root| {
            let (strings, _) = read_model(root.section("pack")?, Path::new(""), &mut Vec::new())?;
            root.finish()?;
            Ok(strings.all)
        })
    }

    #[test]
    fn a_circuit_may_state_all_that_it_does() {
        let plain = read("").unwrap().circuit;
        assert_eq!((plain.wells, plain.charge_ohm), (None, 0.0));
        let circuit = read(
            "charge_resistance = \"2 mohm\"\nwells = { at_hand = \"32 %\", rate_per_s = 0.0039 }\nrise = { share = 1.2, below = \"15 %\" }\nwarmth = { resistance_k = 2400, capacity_per_k = 0.005 }",
        )
        .unwrap()
        .circuit;
        assert_eq!(circuit.wells, Some(Wells { at_hand: 0.32, rate_per_s: 0.0039 }));
        assert_eq!(circuit.rise, Rise { share: 1.2, below_soc: 0.15 });
        assert_eq!(circuit.warmth, Warmth { resistance_k: 2400.0, capacity_per_k: 0.005 });
        assert_eq!(circuit.charge_ohm, 0.002);
        for (wrong, right) in [
            ("wells = { at_hand = \"32 %\" }", "rate_per_s"),
            ("wells = { at_hand = \"0 %\", rate_per_s = 0.1 }", "1 to 100 %"),
            ("rise = { share = 1.2 }", "below"),
            ("rise = { share = -1, below = \"15 %\" }", "from 0 to 100"),
            ("warmth = { capacity_per_k = 2 }", "from 0 to 1"),
            ("warmth = { resistance = 2 }", "resistance_k"),
        ] {
            let error = read(wrong).unwrap_err();
            assert!(error.message.contains(right) && error.at.is_some(), "{error}");
        }
    }
}
