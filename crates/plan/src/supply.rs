//! `[sources]`: panels with their controllers, chargers.

use quantity::Kind;
use rig::schedule::When;
use sky::{Aim, Facing};
use source::{Cells, Controller, Conversion, Profile, USUAL_MAX_POWER_V};

use crate::error::PlanError;
use crate::section::Section;

/// Something that puts energy in.
#[derive(Debug, Clone)]
pub enum Supply {
    /// A panel with its controller.
    Panel(Panel),
    /// A charger at mains, a vehicle or a generator.
    Charger(Charger),
}

/// A panel, how it stands, and its controller.
#[derive(Debug, Clone)]
pub struct Panel {
    /// Its name in the plan.
    pub name: String,
    /// The panel with its dirt and its cable.
    pub panel: source::Panel,
    /// How it stands.
    pub aim: Aim,
    /// What lies between it and the pack.
    pub controller: Controller,
}

/// A charger and its hours.
#[derive(Debug, Clone, PartialEq)]
pub struct Charger {
    /// Its name in the plan.
    pub name: String,
    /// The most it gives (A).
    pub current_a: f64,
    /// How it ends a charge.
    pub profile: Profile,
    /// When mains or engine are there.
    pub when: When,
}

pub(crate) fn read(
    name: String,
    mut section: Section<'_>,
    defaults: &mut Vec<String>,
) -> Result<Supply, PlanError> {
    let supply = match (section.has("panel"), section.has("charger")) {
        (true, false) => Supply::Panel(read_panel(name, &mut section, defaults)?),
        (false, true) => Supply::Charger(read_charger(name, &mut section, defaults)?),
        _ => {
            return Err(section.error_here(
                "a source is either a panel (panel = \"100 W\") or a charger (charger = \"10 A\")",
            ));
        }
    };
    section.finish()?;
    Ok(supply)
}

fn read_panel(
    name: String,
    section: &mut Section<'_>,
    defaults: &mut Vec<String>,
) -> Result<Panel, PlanError> {
    let rating_w = section.value("panel", Kind::Power)?;
    let coefficient_per_k =
        section.maybe("coefficient", Kind::TemperatureCoefficient)?.unwrap_or_else(|| {
            defaults.push(format!("sources.{name}.coefficient = \"-0.4 %/K\""));
            -0.004
        });
    let max_power_v =
        section.maybe("max_power_voltage", Kind::Voltage)?.unwrap_or(USUAL_MAX_POWER_V);
    let dirt = section.maybe("dirt", Kind::Fraction)?.unwrap_or(0.0);
    let cable_ohm = section.maybe("cable_resistance", Kind::Resistance)?.unwrap_or(0.0);
    let panel = source::Panel::new(
        Cells::Rated { rating_w, coefficient_per_k, max_power_v },
        dirt,
        cable_ohm,
    )
    .map_err(|error| section.error("panel", error.to_string()))?;
    let aim = read_aim(section)?;
    let controller = read_controller(&name, section, defaults)?;
    Ok(Panel { name, panel, aim, controller })
}

fn read_aim(section: &mut Section<'_>) -> Result<Aim, PlanError> {
    if let Some(every_s) = section.maybe("turned_every", Kind::Duration)? {
        if every_s < 60.0 {
            return Err(section.error(
                "turned_every",
                "a panel is turned by hand at most once a minute, such as \"2 h\"",
            ));
        }
        return Ok(Aim::Tracked { every_s });
    }
    let tilt_deg = section.value("tilt", Kind::Angle)?;
    let azimuth_deg = match section.maybe("azimuth", Kind::Angle)? {
        Some(azimuth_deg) => azimuth_deg,
        None if tilt_deg == 0.0 => 180.0,
        None => {
            return Err(
                section.missing("azimuth", "\"180°\" (from north over east: 180° is south)")
            );
        }
    };
    let facing = Facing::new(tilt_deg, azimuth_deg.rem_euclid(360.0))
        .map_err(|error| section.error("tilt", error.to_string()))?;
    Ok(Aim::Fixed(facing))
}

/// Tracking and conversion together (common practice, no source).
const USUAL_EFFICIENCY: f64 = 0.95;

fn read_controller(
    name: &str,
    section: &mut Section<'_>,
    defaults: &mut Vec<String>,
) -> Result<Controller, PlanError> {
    let Some(mut entry) = section.maybe_section("controller")? else {
        return Err(section.missing("controller", "{ kind = \"MPPT\", absorb = \"14.4 V\" }"));
    };
    let kind = entry.text("kind", "\"MPPT\" or \"PWM\"")?;
    let conversion = match kind.to_ascii_uppercase().as_str() {
        "MPPT" => {
            let efficiency = entry.maybe("efficiency", Kind::Fraction)?.unwrap_or_else(|| {
                defaults.push(format!("sources.{name}.controller.efficiency = \"95 %\""));
                USUAL_EFFICIENCY
            });
            Conversion::Mppt { efficiency }
        }
        "PWM" => Conversion::Pwm,
        _ => {
            return Err(entry.error(
                "kind",
                format!("{kind:?} is no kind of controller; write \"MPPT\" or \"PWM\""),
            ));
        }
    };
    let most_a = entry.maybe("most_current", Kind::Current)?.unwrap_or(1000.0);
    let own_draw_w = entry.maybe("own_draw", Kind::Power)?.unwrap_or(0.0);
    let profile = read_profile(&mut entry)?;
    let controller = Controller::new(conversion, most_a, own_draw_w, profile)
        .map_err(|error| entry.error_here(error.to_string()))?;
    entry.finish()?;
    Ok(controller)
}

/// The voltages at which a charge is ended: the charger's own, never guessed from the pack.
fn read_profile(entry: &mut Section<'_>) -> Result<Profile, PlanError> {
    let absorb_v = entry.value("absorb", Kind::Voltage)?;
    let float_v = entry.maybe("float", Kind::Voltage)?.unwrap_or(absorb_v);
    if float_v > absorb_v {
        return Err(entry.error("float", "the float voltage is not above the absorption voltage"));
    }
    Ok(Profile { absorb_v, float_v, ..Profile::LFP })
}

fn read_charger(
    name: String,
    section: &mut Section<'_>,
    defaults: &mut Vec<String>,
) -> Result<Charger, PlanError> {
    let current_a = section.value("charger", Kind::Current)?;
    let profile = read_profile(section)?;
    let when = section.maybe_parsed("when")?.unwrap_or_else(|| {
        defaults.push(format!("sources.{name}.when = \"day\""));
        When { spans: vec![rig::schedule::Span::Day], duty: 1.0 }
    });
    Ok(Charger { name, current_a, profile, when })
}
