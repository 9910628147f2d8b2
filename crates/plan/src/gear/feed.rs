//! How things are fed: branches, wires, converters.

use quantity::Kind;
use rig::{Branch, Cable, Converter, Fuse, Section as WireSection, Wire};

use crate::error::PlanError;
use crate::section::Section;

pub(super) fn read_branch(
    name: String,
    entry: &mut Section<'_>,
    defaults: &mut Vec<String>,
) -> Result<Branch, PlanError> {
    let feed = read_feed(entry)?;
    let wire = read_wire(entry)?;
    let converter = match (entry.maybe_section("converter")?, entry.maybe_section("inverter")?) {
        (Some(_), Some(_)) => {
            return Err(
                entry.error("inverter", "a branch ends in one converter or inverter, not both")
            );
        }
        (Some(section), None) | (None, Some(section)) => Some(read_converter(section, defaults)?),
        (None, None) => None,
    };
    Ok(Branch { name, feed, wire, converter })
}

/// The branch that something hangs on; none for the pack.
pub(super) fn read_feed(entry: &mut Section<'_>) -> Result<Option<String>, PlanError> {
    if entry.is_list("feed") {
        return Err(entry.error("feed", "a device or branch has one feed; here are several"));
    }
    entry.maybe_text("feed")
}

fn read_converter(
    mut section: Section<'_>,
    defaults: &mut Vec<String>,
) -> Result<Converter, PlanError> {
    let output_v = section.value("output", Kind::Voltage)?;
    let idle_w = section.value("idle", Kind::Power)?;
    let rated_w = section.maybe("rated", Kind::Power)?;
    let least_input_v = section.maybe("least_input", Kind::Voltage)?.unwrap_or_else(|| {
        defaults.push(format!("{} = \"0 V\" (any input will do)", section.path_of("least_input")));
        0.0
    });
    let efficiency = section.maybe("efficiency", Kind::Fraction)?;
    let loss_share = section.maybe("loss_share", Kind::Fraction)?;
    let loss_per_w = section.maybe_number("loss_per_w", 0.0..=1.0)?;
    let converter = match (efficiency, loss_share, loss_per_w) {
        (Some(efficiency), None, None) => {
            let rated_w =
                rated_w.ok_or_else(|| section.missing("rated", Kind::Power.examples()))?;
            if efficiency <= 0.0 || rated_w <= 0.0 {
                return Err(section.error(
                    "efficiency",
                    "an efficiency is above 0 %, such as \"90 %\", at a rated power above 0 W",
                ));
            }
            Converter::rated(output_v, idle_w, rated_w, efficiency)
        }
        (None, share, per_w) if share.is_some() || per_w.is_some() => Converter {
            output_v,
            least_input_v,
            idle_w,
            loss_share: share.unwrap_or(0.0),
            loss_per_w: per_w.unwrap_or(0.0),
            rated_w,
        },
        (None, ..) => {
            return Err(
                section.missing("efficiency", "\"90 %\" (or `loss_share` and `loss_per_w`)")
            );
        }
        (Some(_), ..) => {
            return Err(section.error(
                "efficiency",
                "write either the `efficiency` at rated power or `loss_share` and `loss_per_w`, not both",
            ));
        }
    };
    section.finish()?;
    Ok(Converter { least_input_v, ..converter })
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
