//! Uses that set their own power or hours: heaters against dew, cooled sensors, batteries that are
//! charged from the rig.

use quantity::Kind;
use rig::schedule::{Edge, Event};
use rig::{CooledSensor, DewHeater, Follows, Load, Use};

use super::device::{Stated, relative};
use crate::error::PlanError;
use crate::section::Section;

/// Width of a strip where nothing is said (m; common practice, no source).
const BAND_M: f64 = 0.05;
/// How far above the dew point a surface is held where nothing is said (K; common practice, no
/// source).
const MARGIN_K: f64 = 2.0;

/// `dew = { aperture = "80 mm", … }`: the load beside it is the strip's rating.
pub(super) fn read_dew(entry: &mut Section<'_>) -> Result<Option<Follows>, PlanError> {
    let Some(mut dew) = entry.maybe_section("dew")? else { return Ok(None) };
    let follows = Follows::Dew(DewHeater {
        aperture_m: dew.value("aperture", Kind::Length)?,
        band_m: dew.maybe("band", Kind::Length)?.unwrap_or(BAND_M),
        margin_k: dew.maybe("margin", Kind::TemperatureDifference)?.unwrap_or(MARGIN_K),
        sky_view: dew.maybe("sky_view", Kind::Fraction)?.unwrap_or(1.0),
        controlled: dew.maybe_bool("controller")?.unwrap_or(true),
    });
    checked(follows, &dew)
}

/// `cooling = { set = "-10 °C", … }`: the rating is the cooler's greatest power and its fan's.
pub(super) fn read_cooling(
    entry: &mut Section<'_>,
) -> Result<Option<Stated<(Load, Follows)>>, PlanError> {
    let Some(mut cooling) = entry.maybe_section("cooling")? else { return Ok(None) };
    let greatest = cooling.given("greatest_power", Kind::Power)?;
    let sensor = CooledSensor {
        set_c: cooling.value("set", Kind::Temperature)?,
        greatest_difference_k: cooling.value("greatest_difference", Kind::TemperatureDifference)?,
        greatest_w: greatest.value,
        steady_w: cooling.maybe("steady", Kind::Power)?.unwrap_or(0.0),
    };
    let load = Load::Power(sensor.greatest_w + sensor.steady_w);
    let follows = checked(Follows::Cooling(sensor), &cooling)?;
    Ok(follows.map(|follows| ((load, follows), relative(greatest))))
}

fn checked(follows: Follows, section: &Section<'_>) -> Result<Option<Follows>, PlanError> {
    section.finish()?;
    match follows.problem() {
        Some(problem) => Err(section.error_here(problem)),
        None => Ok(Some(follows)),
    }
}

/// `charging = { energy = "50 Wh", power = "45 W", from = "sunset" }`.
pub(super) fn read_charging(mut charging: Section<'_>) -> Result<Stated<Use>, PlanError> {
    let energy_wh = charging.value("energy", Kind::Energy)?;
    let power = charging.given("power", Kind::Power)?;
    for (key, value) in [("energy", energy_wh), ("power", power.value)] {
        if value <= 0.0 {
            return Err(
                charging.error(key, "to charge a battery takes more than nothing; or leave it out")
            );
        }
    }
    let from = charging.maybe_parsed("from")?.unwrap_or(Edge::Sky(Event::Sunset, 0.0));
    charging.finish()?;
    Ok((Use::charging(energy_wh, power.value, from), relative(power)))
}
