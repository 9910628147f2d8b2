//! A panel in the plan: its label or data sheet, and how it stands.

use jiff::Timestamp;
use jiff::civil::Time;
use quantity::Kind;
use sky::{Aim, Facing};
use source::{Cells, DataSheet, USUAL_MAX_POWER_V};

use crate::error::PlanError;
use crate::gear;
use crate::section::Section;
use crate::site::{Dates, Site};

/// The panel itself: what its label or data sheet says, its dirt, its cable.
pub(crate) fn read_panel(
    section: &mut Section<'_>,
    defaults: &mut Vec<String>,
) -> Result<source::Panel, PlanError> {
    let (key, cells) = match section.maybe_section("data_sheet")? {
        Some(sheet) => {
            if let Some(other) = ["panel", "coefficient", "max_power_voltage"]
                .into_iter()
                .find(|key| section.has(key))
            {
                return Err(section.error(
                    other,
                    format!("write either `{other}` or the `data_sheet`, which says it too"),
                ));
            }
            ("data_sheet", read_data_sheet(sheet, defaults)?)
        }
        None => ("panel", read_rated(section, defaults)?),
    };
    let dirt = section.maybe("dirt", Kind::Fraction)?.unwrap_or_else(|| {
        defaults.push(format!("{} = \"0 %\"", section.path_of("dirt")));
        0.0
    });
    let stated_ohm = section.maybe("cable_resistance", Kind::Resistance)?;
    let wire = gear::read_wire(section)?;
    if stated_ohm.is_some() && wire.ohm() > 0.0 {
        return Err(section.error(
            "cable_resistance",
            "write either the `cable` or its `cable_resistance`, not both",
        ));
    }
    if stated_ohm.is_none() && wire.ohm() <= 0.0 {
        defaults.push(format!("{} = \"0 ohm\"", section.path_of("cable_resistance")));
    }
    source::Panel::new(cells, dirt, stated_ohm.unwrap_or_else(|| wire.ohm()))
        .map_err(|error| section.error(key, error.to_string()))
}

fn read_rated(section: &mut Section<'_>, defaults: &mut Vec<String>) -> Result<Cells, PlanError> {
    let rating_w = section.value("panel", Kind::Power)?;
    let coefficient_per_k =
        section.maybe("coefficient", Kind::TemperatureCoefficient)?.unwrap_or_else(|| {
            defaults.push(format!("{} = \"-0.4 %/K\"", section.path_of("coefficient")));
            -0.004
        });
    let max_power_v = section.maybe("max_power_voltage", Kind::Voltage)?.unwrap_or_else(|| {
        defaults
            .push(format!("{} = \"{USUAL_MAX_POWER_V} V\"", section.path_of("max_power_voltage")));
        USUAL_MAX_POWER_V
    });
    Ok(Cells::Rated { rating_w, coefficient_per_k, max_power_v })
}

/// Change of the short-circuit current with temperature, 1/K, where a data sheet leaves it out
/// (common practice, no source).
const USUAL_CURRENT_PER_K: f64 = 0.0005;
/// Change of the open-circuit voltage (common practice, no source).
const USUAL_VOLTAGE_PER_K: f64 = -0.003;

fn read_data_sheet(mut sheet: Section<'_>, defaults: &mut Vec<String>) -> Result<Cells, PlanError> {
    let short_circuit_a = sheet.value("short_circuit_current", Kind::Current)?;
    let open_circuit_v = sheet.value("open_circuit_voltage", Kind::Voltage)?;
    let mut per_k = |key: &'static str, usual: f64| -> Result<f64, PlanError> {
        let kind = Kind::TemperatureCoefficient;
        Ok(sheet.maybe(key, kind)?.unwrap_or_else(|| {
            defaults.push(format!("{} = \"{}\"", sheet.path_of(key), kind.show(usual)));
            usual
        }))
    };
    let current_per_k = per_k("current_coefficient", USUAL_CURRENT_PER_K)?;
    let voltage_per_k = per_k("voltage_coefficient", USUAL_VOLTAGE_PER_K)?;
    let figures = DataSheet {
        max_power_v: sheet.value("max_power_voltage", Kind::Voltage)?,
        max_power_a: sheet.value("max_power_current", Kind::Current)?,
        open_circuit_v,
        short_circuit_a,
        alpha_a_per_k: current_per_k * short_circuit_a,
        beta_v_per_k: voltage_per_k * open_circuit_v,
    };
    let module = figures.fit().map_err(|error| sheet.error_here(error.to_string()))?;
    sheet.finish()?;
    Ok(Cells::Diode(module))
}

/// How a panel stands: one of four ways.
pub(super) fn read_aim(
    section: &mut Section<'_>,
    site: &Site,
    dates: &Dates,
) -> Result<Aim, PlanError> {
    let flat = section.maybe_bool("flat")?.unwrap_or(false);
    let turned_every_s = section.maybe("turned_every", Kind::Duration)?;
    let aims = section.maybe_sections("aims")?;
    let mut ways = ["tilt", "flat", "turned_every", "aims"]
        .into_iter()
        .filter(|way| section.has(way) && (*way != "flat" || flat));
    let (first, second) = (ways.next(), ways.next());
    if let (Some(first), Some(second)) = (first, second) {
        return Err(section.error(
            second,
            format!("a panel stands in one way; here are both `{first}` and `{second}`"),
        ));
    }
    if let Some(every_s) = turned_every_s {
        return if every_s < 60.0 {
            Err(section.error(
                "turned_every",
                "a panel is turned by hand at most once a minute, such as \"2 h\"",
            ))
        } else {
            Ok(Aim::Tracked { every_s })
        };
    }
    if let Some(aims) = aims {
        return read_turns(section, aims, site, dates);
    }
    if flat { Ok(Aim::Fixed(Facing::FLAT)) } else { read_facing(section).map(Aim::Fixed) }
}

fn read_facing(section: &mut Section<'_>) -> Result<Facing, PlanError> {
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
    Facing::new(tilt_deg, azimuth_deg.rem_euclid(360.0))
        .map_err(|error| section.error("tilt", error.to_string()))
}

/// The same turns every day, by the clock of the site.
fn read_turns(
    section: &Section<'_>,
    aims: Vec<Section<'_>>,
    site: &Site,
    dates: &Dates,
) -> Result<Aim, PlanError> {
    let mut turns: Vec<(Time, Facing)> = Vec::new();
    for mut aim in aims {
        let text = aim.text("from", "\"08:00\"")?;
        let time = Time::strptime("%H:%M", text.trim()).map_err(|_| {
            aim.error("from", format!("{text:?} is no time of day; write it such as \"08:00\""))
        })?;
        turns.push((time, read_facing(&mut aim)?));
        aim.finish()?;
    }
    turns.sort_by_key(|(time, _)| *time);
    if turns.is_empty() {
        return Err(section.error(
            "aims",
            "here is no aim; write such as [{ from = \"08:00\", tilt = \"60°\", azimuth = \"120°\" }]",
        ));
    }
    // from the day before the first evening to the day after the last
    let days = jiff::Span::new().days(dates.nights as i64 + 1);
    let first = dates.first_evening.saturating_sub(jiff::Span::new().days(1));
    let last = dates.first_evening.saturating_add(days);
    let mut instants: Vec<(Timestamp, Facing)> = Vec::new();
    for date in first.series(jiff::Span::new().days(1)).take_while(|date| *date <= last) {
        for (time, facing) in &turns {
            let local = date.to_datetime(*time);
            // where clocks are put back the first of two equal times counts
            if let Ok(at) = site.zone.to_ambiguous_timestamp(local).compatible() {
                instants.push((at, *facing));
            }
        }
    }
    instants.sort_by_key(|(at, _)| *at);
    Ok(Aim::ReAimed(instants))
}
