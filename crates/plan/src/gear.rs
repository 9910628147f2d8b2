//! `[rig]`: devices, branches and their wires.

use std::collections::BTreeMap;

use quantity::{Given, Kind};
use rig::{
    Branch, Cable, Converter, Device, Fuse, Load, Peak, Rig, RigError, Section as WireSection, Use,
    Wire,
};

use crate::error::PlanError;
use crate::section::Section;
use crate::site::COVERAGE_95;

/// The rig and how well its loads are known.
#[derive(Debug, Clone, PartialEq)]
pub struct Gear {
    /// The devices and how they are fed.
    pub rig: Rig,
    /// Relative standard uncertainty of each device's load, in the order of [`Rig::devices`].
    pub load_spread: Vec<f64>,
    /// Whether each device works only while the sky is clear, in the same order.
    pub only_when_clear: Vec<bool>,
}

/// What a load is taken to be known to where nothing is said: ± 10 %, about what a meter of the
/// cheap kind and a device's moods leave open (common practice, no source).
const LOAD_PLUS_MINUS: f64 = 0.10;

/// The least voltage of a device where nothing is said (common practice, no source).
pub const CUTOFF_V: f64 = 12.0;

pub(crate) fn read(
    mut section: Section<'_>,
    defaults: &mut Vec<String>,
) -> Result<Gear, PlanError> {
    let least_voltage_v = section.maybe("least_voltage", Kind::Voltage)?;
    // an error of the finished rig names a device or branch; this finds its line again
    let mut places: BTreeMap<String, PlanError> = BTreeMap::new();
    let mut branches = Vec::new();
    for (name, mut entry) in section.named_sections("branches")? {
        places.insert(name.clone(), entry.error_here(""));
        branches.push(read_branch(name, &mut entry)?);
        entry.finish()?;
    }
    let mut devices = Vec::new();
    let mut load_spread = Vec::new();
    let mut only_when_clear = Vec::new();
    let entries = section.named_sections("devices")?;
    if entries.is_empty() {
        return Err(section.error_here(
            "the rig has no device; write one such as [rig.devices.mount] with power = \"9 W\"",
        ));
    }
    let (mut default_least, mut default_spread) = (Vec::new(), Vec::new());
    for (name, mut entry) in entries {
        places.insert(name.clone(), entry.error_here(""));
        let (mut device, spread) = read_device(name.clone(), &mut entry)?;
        only_when_clear.push(entry.maybe_bool("only_when_clear")?.unwrap_or(false));
        if device.least_voltage_v.is_none() {
            device.least_voltage_v = Some(least_voltage_v.unwrap_or(CUTOFF_V));
            if least_voltage_v.is_none() {
                default_least.push(name.clone());
            }
        }
        if spread.is_none() {
            default_spread.push(name);
        }
        load_spread.push(spread.unwrap_or(LOAD_PLUS_MINUS / COVERAGE_95));
        devices.push(device);
        entry.finish()?;
    }
    if !default_least.is_empty() {
        defaults.push(format!("least_voltage = \"12 V\" for {}", default_least.join(", ")));
    }
    if !default_spread.is_empty() {
        defaults.push(format!("± 10 % on the load of {}", default_spread.join(", ")));
    }
    section.finish()?;
    let rig = Rig::new(branches, devices).map_err(|error| {
        let place = named_in(&error).and_then(|name| places.get(name)).cloned();
        let mut found = place.unwrap_or_else(|| PlanError {
            file: String::new(),
            at: None,
            path: "rig".to_owned(),
            message: String::new(),
        });
        found.message = error.to_string();
        found
    })?;
    Ok(Gear { rig, load_spread, only_when_clear })
}

/// The device or branch an error speaks of.
fn named_in(error: &RigError) -> Option<&str> {
    match error {
        RigError::Twice { name }
        | RigError::UnknownFeed { name, .. }
        | RigError::Length { name, .. }
        | RigError::Section { name, .. }
        | RigError::CopperTemperature { name, .. }
        | RigError::Connectors { name, .. }
        | RigError::Fuse { name, .. }
        | RigError::Load { name, .. }
        | RigError::NoUse { name }
        | RigError::LeastVoltage { name, .. }
        | RigError::PeakShare { name, .. }
        | RigError::PeakKind { name }
        | RigError::Follows { name, .. }
        | RigError::Converter { name, .. }
        | RigError::OutputTooLow { name, .. } => Some(name),
        RigError::Loop { names } => names.first().map(String::as_str),
    }
}

fn read_branch(name: String, entry: &mut Section<'_>) -> Result<Branch, PlanError> {
    let feed = entry.maybe_text("feed")?;
    let wire = read_wire(entry)?;
    let converter = match entry.maybe_section("converter")? {
        Some(section) => Some(read_converter(section)?),
        None => None,
    };
    Ok(Branch { name, feed, wire, converter })
}

fn read_converter(mut section: Section<'_>) -> Result<Converter, PlanError> {
    let output_v = section.value("output", Kind::Voltage)?;
    let idle_w = section.value("idle", Kind::Power)?;
    let rated_w = section.value("rated", Kind::Power)?;
    let efficiency = section.value("efficiency", Kind::Fraction)?;
    let least_input_v = section.maybe("least_input", Kind::Voltage)?.unwrap_or(0.0);
    if efficiency <= 0.0 {
        return Err(section.error("efficiency", "an efficiency is above 0 %, such as \"90 %\""));
    }
    section.finish()?;
    Ok(Converter { least_input_v, ..Converter::rated(output_v, idle_w, rated_w, efficiency) })
}

pub(crate) fn read_wire(entry: &mut Section<'_>) -> Result<Wire, PlanError> {
    let cable = match entry.maybe_section("cable")? {
        Some(mut cable) => {
            let length_m = cable.value("length", Kind::Length)?;
            let section: WireSection = cable
                .maybe_parsed("section")?
                .ok_or_else(|| cable.missing("section", Kind::WireArea.examples()))?;
            let copper_c = cable.maybe("copper", Kind::Temperature)?.unwrap_or(20.0);
            if length_m <= 0.0 {
                return Err(cable.error(
                    "length",
                    "a cable has a length above zero (one way); or leave the cable out",
                ));
            }
            cable.finish()?;
            Some(Cable { section, length_m, copper_c })
        }
        None => None,
    };
    let connectors_ohm = entry.maybe("connectors", Kind::Resistance)?.unwrap_or(0.0);
    let fuse = match entry.maybe("fuse", Kind::Current)? {
        Some(rated_a) => {
            let distance_m = entry.maybe("fuse_distance", Kind::Length)?.unwrap_or(0.0);
            Some(Fuse { rated_a, distance_m })
        }
        None => None,
    };
    Ok(Wire { cable, connectors_ohm, fuse })
}

/// A device and the relative standard uncertainty of its load, where one is stated.
fn read_device(name: String, entry: &mut Section<'_>) -> Result<(Device, Option<f64>), PlanError> {
    let mut uses = Vec::new();
    let mut spread = None;
    for (state, mut below) in entry.named_sections("uses")? {
        let (used, stated) = read_use(state, &mut below)?;
        // the least known state counts for all of them
        spread = [spread, stated].into_iter().flatten().reduce(f64::max);
        uses.push(used);
        below.finish()?;
    }
    if uses.is_empty() {
        let (used, stated) = read_use(String::new(), entry)?;
        spread = stated;
        uses.push(used);
    }
    let shed = entry.maybe_count("shed", 0..=1000)?;
    let device = Device {
        name,
        uses,
        least_voltage_v: entry.maybe("least_voltage", Kind::Voltage)?,
        shed_order: shed.and_then(|order| u32::try_from(order).ok()),
        feed: entry.maybe_text("feed")?,
        wire: read_wire(entry)?,
    };
    Ok((device, spread))
}

fn read_use(name: String, entry: &mut Section<'_>) -> Result<(Use, Option<f64>), PlanError> {
    let (load, spread) = read_load(entry)?;
    let when = entry.maybe_parsed("when")?.ok_or_else(|| {
        entry.missing("when", "\"dark\", \"night\", \"21:30 to 02:00\" or \"always\"")
    })?;
    let peak = match entry.maybe_section("peak")? {
        Some(mut peak) => {
            let (load, _) = read_load(&mut peak)?;
            let share = peak.maybe("share", Kind::Fraction)?.unwrap_or(0.0);
            peak.finish()?;
            Some(Peak { load, share })
        }
        None => None,
    };
    Ok((Use { name, load, when, peak, follows: None }, spread))
}

/// The load, and its relative standard uncertainty where one is stated.
fn read_load(entry: &mut Section<'_>) -> Result<(Load, Option<f64>), PlanError> {
    let power = entry.maybe_given("power", Kind::Power)?;
    let current = entry.maybe_given("current", Kind::Current)?;
    let resistance = entry.maybe_given("resistance", Kind::Resistance)?;
    let relative = |given: Given| {
        given.plus_minus.filter(|_| given.value > 0.0).map(|half| half / COVERAGE_95 / given.value)
    };
    match (power, current, resistance) {
        (Some(given), None, None) => Ok((Load::Power(given.value), relative(given))),
        (None, Some(given), None) => Ok((Load::Current(given.value), relative(given))),
        (None, None, Some(given)) => Ok((Load::Resistance(given.value), relative(given))),
        (None, None, None) => {
            Err(entry
                .missing("power", "\"9 W\" (or current = \"0.8 A\", or resistance = \"18 ohm\")"))
        }
        _ => Err(entry.error_here("write one of `power`, `current` and `resistance`, not several")),
    }
}
