//! `[sources]`: panels with their controllers, chargers.

mod panel;

pub use panel::AIM_BY_HAND;
pub(crate) use panel::read_panel;

use quantity::Kind;
use rig::schedule::When;
use sky::{Aim, AimError};
use source::{Controller, Conversion, Profile};

use crate::error::PlanError;
use crate::price;
use crate::section::Section;
use crate::site::{Dates, Site};

/// Something that puts energy in.
#[derive(Debug, Clone, PartialEq)]
pub enum Supply {
    /// A panel with its controller.
    Panel(Panel),
    /// A charger at mains, a vehicle or a generator.
    Charger(Charger),
}

/// A panel, how it stands, and its controller.
#[derive(Debug, Clone, PartialEq)]
pub struct Panel {
    /// Its name in the plan.
    pub name: String,
    /// The panel with its dirt and its cable.
    pub panel: source::Panel,
    /// How it stands.
    pub aim: Aim,
    /// How far off it may stand: standard deviations, once for the whole trip.
    pub aim_spread: AimError,
    /// What lies between it and the pack.
    pub controller: Controller,
    /// See [`Supply::charges_above_c`].
    pub charges_above_c: Option<f64>,
    /// The mass of both (kg), where it is known.
    pub mass_kg: Option<f64>,
    /// The price of both, in the plan's currency, where it is known.
    pub price: Option<f64>,
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
    /// See [`Supply::charges_above_c`].
    pub charges_above_c: Option<f64>,
}

impl Supply {
    /// Its name in the plan.
    #[must_use]
    pub fn name(&self) -> &str {
        match self {
            Supply::Panel(panel) => &panel.name,
            Supply::Charger(charger) => &charger.name,
        }
    }

    /// The voltage (V) at which it ends a charge.
    #[must_use]
    pub fn absorb_v(&self) -> f64 {
        match self {
            Supply::Panel(panel) => panel.controller.profile().absorb_v,
            Supply::Charger(charger) => charger.profile.absorb_v,
        }
    }

    /// The pack's temperature (°C) below which the people of the trip leave the source unplugged, so
    /// that a frozen pack is not charged; none if they don't wait.
    #[must_use]
    pub fn charges_above_c(&self) -> Option<f64> {
        match self {
            Supply::Panel(panel) => panel.charges_above_c,
            Supply::Charger(charger) => charger.charges_above_c,
        }
    }

    /// Has the people of the trip leave the source unplugged while the pack is colder than this (°C).
    pub fn charge_above(&mut self, least_c: Option<f64>) {
        match self {
            Supply::Panel(panel) => panel.charges_above_c = least_c,
            Supply::Charger(charger) => charger.charges_above_c = least_c,
        }
    }
}

/// What of the plan a source hangs on.
pub(crate) struct About<'a> {
    pub(crate) site: &'a Site,
    pub(crate) dates: &'a Dates,
    pub(crate) currency: Option<&'a str>,
}

pub(crate) fn read(
    name: String,
    mut section: Section<'_>,
    about: &About<'_>,
    defaults: &mut Vec<String>,
) -> Result<Supply, PlanError> {
    let is_panel = section.has("panel") || section.has("data_sheet");
    let charges_above_c = section.maybe("charges_above", Kind::Temperature)?;
    let supply = match (is_panel, section.has("charger")) {
        (true, false) => {
            let panel = read_panel(&mut section, defaults)?;
            let (aim, aim_spread) =
                panel::read_aim(&mut section, (about.site, about.dates), defaults)?;
            let controller = match section.maybe_section("controller")? {
                Some(mut entry) => {
                    let controller = read_controller(&mut entry, defaults)?;
                    entry.finish()?;
                    controller
                }
                None => {
                    return Err(
                        section.missing("controller", "{ kind = \"MPPT\", absorb = \"14.4 V\" }")
                    );
                }
            };
            let mass_kg = section.maybe("mass", Kind::Mass)?;
            let price = price::read(&mut section, about.currency)?;
            Supply::Panel(Panel {
                name,
                panel,
                aim,
                aim_spread,
                controller,
                charges_above_c,
                mass_kg,
                price,
            })
        }
        (false, true) => {
            let charger = read_charger(name, &mut section, defaults)?;
            Supply::Charger(Charger { charges_above_c, ..charger })
        }
        _ => {
            return Err(section.error_here(
                "a source is either a panel (panel = \"100 W\", or its data_sheet) or a charger (charger = \"10 A\")",
            ));
        }
    };
    section.finish()?;
    Ok(supply)
}

/// Tracking and conversion together (common practice, no source).
const USUAL_EFFICIENCY: f64 = 0.95;

pub(crate) fn read_controller(
    entry: &mut Section<'_>,
    defaults: &mut Vec<String>,
) -> Result<Controller, PlanError> {
    let kind = entry.text("kind", "\"MPPT\" or \"PWM\"")?;
    let conversion = match kind.to_ascii_uppercase().as_str() {
        "MPPT" => {
            let efficiency = entry.maybe("efficiency", Kind::Fraction)?.unwrap_or_else(|| {
                defaults.push(format!("{} = \"95 %\"", entry.path_of("efficiency")));
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
    let profile = read_profile(entry)?;
    Controller::new(conversion, most_a, own_draw_w, profile)
        .map_err(|error| entry.error_here(error.to_string()))
}

/// The voltages at which a charge is ended: the charger's own, never guessed from the pack.
pub(crate) fn read_profile(entry: &mut Section<'_>) -> Result<Profile, PlanError> {
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
        When::of(vec![rig::schedule::Span::Day], 1.0)
    });
    Ok(Charger { name, current_a, profile, when, charges_above_c: None })
}
