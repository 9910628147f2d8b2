//! `[air]`: what the gear stands in.

use quantity::{Given, Kind};

use crate::error::PlanError;
use crate::section::Section;

/// The air at the site through the trip.
#[derive(Debug, Clone, PartialEq)]
pub struct Air {
    /// The coldest of a night (°C), with its 95 % half-width.
    pub night_c: Given,
    /// The warmest of a day (°C).
    pub day_c: Given,
    /// Wind (m/s) at panel and gear.
    pub wind_mps: f64,
    /// Dew point (°C), the same all day: it changes far less than the temperature; with its 95 %
    /// half-width (K) in air as warm as usual.
    pub dew_point_c: Given,
}

const NIGHT_C: Given = Given { value: 8.0, plus_minus: Some(6.0) };
const DAY_C: Given = Given { value: 18.0, plus_minus: Some(6.0) };
const WIND_MPS: f64 = 1.0;
/// Relative humidity in the coldest hour where nothing is said: damp, not yet fog (common practice,
/// no source).
const HUMIDITY: Given = Given { value: 0.9, plus_minus: Some(0.1) };

/// `damp_matters`: whether any load hangs on the dew point.
pub(crate) fn read(
    section: Option<Section<'_>>,
    damp_matters: bool,
    defaults: &mut Vec<String>,
) -> Result<Air, PlanError> {
    let Some(mut section) = section else {
        defaults.push(
            "air.night = \"8 °C ± 6 K\", air.day = \"18 °C ± 6 K\", air.wind = \"1 m/s\""
                .to_owned(),
        );
        let dew_point_c = usual_dew_point_c(NIGHT_C.value, damp_matters, defaults);
        let (night_c, day_c) = (NIGHT_C, DAY_C);
        return Ok(Air { night_c, day_c, wind_mps: WIND_MPS, dew_point_c });
    };
    let night_c = section.given("night", Kind::Temperature)?;
    let day_c = section.given("day", Kind::Temperature)?;
    if day_c.value < night_c.value {
        return Err(section.error(
            "day",
            "the day is colder than the night; `night` is the coldest, `day` the warmest",
        ));
    }
    let wind_mps = section.maybe("wind", Kind::Speed)?.unwrap_or_else(|| {
        defaults.push("air.wind = \"1 m/s\"".to_owned());
        WIND_MPS
    });
    let dew_point_c = match read_dew_point_c(&mut section, night_c.value)? {
        Some(dew_point_c) => dew_point_c,
        None => usual_dew_point_c(night_c.value, damp_matters, defaults),
    };
    section.finish()?;
    Ok(Air { night_c, day_c, wind_mps, dew_point_c })
}

/// From `dew_point`, or from the relative `humidity` of the coldest hour.
fn read_dew_point_c(section: &mut Section<'_>, night_c: f64) -> Result<Option<Given>, PlanError> {
    let dew_point_c = section.maybe_given("dew_point", Kind::Temperature)?;
    let humidity = section.maybe_given("humidity", Kind::Fraction)?;
    match (dew_point_c, humidity) {
        (Some(_), Some(_)) => {
            Err(section.error("humidity", "give either `dew_point` or `humidity`, not both"))
        }
        (Some(dew_point_c), None) if dew_point_c.value > night_c => Err(section.error(
            "dew_point",
            format!(
                "the dew point is at most the coldest air of the night, {}: what is above that falls as dew",
                Kind::Temperature.show(night_c)
            ),
        )),
        (None, Some(humidity)) if humidity.value <= 0.0 => Err(section
            .error("humidity", "no air is so dry; write the humidity of the coldest hour, such as \"85 % ± 10 %\"")),
        (dew_point_c, humidity) => {
            Ok(dew_point_c.or(humidity.map(|humidity| dew_point_of(night_c, &humidity))))
        }
    }
}

fn usual_dew_point_c(night_c: f64, matters: bool, defaults: &mut Vec<String>) -> Given {
    if matters {
        defaults.push("air.humidity = \"90 % ± 10 %\" in the coldest hour".to_owned());
    }
    dew_point_of(night_c, &HUMIDITY)
}

/// The dew point of a humidity, as wide as towards damper air; that it can't lie above the air is
/// for whoever draws it.
fn dew_point_of(night_c: f64, humidity: &Given) -> Given {
    let value = sky::dew_point_c(night_c, humidity.value);
    let plus_minus =
        humidity.plus_minus.map(|half| sky::dew_point_c(night_c, humidity.value + half) - value);
    Given { value, plus_minus }
}
