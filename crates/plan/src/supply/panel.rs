//! A panel in the plan: its label or data sheet, and how it stands.

use jiff::Timestamp;
use jiff::civil::Time;
use quantity::Kind;
use sky::{Aim, AimError, Facing};
use source::{Cells, DataSheet, USUAL_MAX_POWER_V};

use crate::error::PlanError;
use crate::gear;
use crate::section::Section;
use crate::site::{COVERAGE_95, Dates, Site};

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

/// How a panel stands: one of four ways; and how far off it may stand, as standard deviations.
pub(super) fn read_aim(
    section: &mut Section<'_>,
    (site, dates): (&Site, &Dates),
    defaults: &mut Vec<String>,
) -> Result<(Aim, AimError), PlanError> {
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
            defaults.push(format!("{} {HAND}", section.path_of("turned_every")));
            Ok((Aim::Tracked { every_s }, Within::default().or_usual()))
        };
    }
    if let Some(aims) = aims {
        let (aim, within) = read_turns(section, aims, site, dates)?;
        if within.tilt_deg.or(within.azimuth_deg).is_none() {
            defaults.push(format!("{} {HAND}", section.path_of("aims")));
        }
        return Ok((aim, within.or_usual()));
    }
    if flat {
        defaults.push(format!("{} ± {USUAL_TILT_DEG}°", section.path_of("flat")));
        return Ok((Aim::Fixed(Facing::FLAT), Within::default().or_usual()));
    }
    let (facing, within) = read_facing(section)?;
    if within.tilt_deg.is_none() {
        defaults.push(format!("{} ± {USUAL_TILT_DEG}°", section.path_of("tilt")));
    }
    if within.azimuth_deg.is_none() && facing.tilt_deg() > 0.0 {
        defaults.push(format!("{} ± {USUAL_AZIMUTH_DEG}°", section.path_of("azimuth")));
    }
    Ok((Aim::Fixed(facing), within.or_usual()))
}

/// How near to its aim a panel comes that is stood up by hand, with a compass or by the sun: half
/// the width of the interval that holds it 19 times of 20 (common practice, no source).
const USUAL_TILT_DEG: f64 = 5.0;
const USUAL_AZIMUTH_DEG: f64 = 10.0;
/// The same in words.
const HAND: &str = "± 5° of tilt, ± 10° of azimuth";

/// How far off a panel may stand that is stood up by hand, as standard deviations.
pub const AIM_BY_HAND: AimError = AimError {
    tilt_deg: USUAL_TILT_DEG / COVERAGE_95,
    azimuth_deg: USUAL_AZIMUTH_DEG / COVERAGE_95,
};

/// Stated half-widths.
#[derive(Debug, Clone, Copy, Default)]
struct Within {
    tilt_deg: Option<f64>,
    azimuth_deg: Option<f64>,
}

impl Within {
    /// As standard deviations, with what is usual where nothing is stated.
    fn or_usual(self) -> AimError {
        let stated = |deg: Option<f64>| deg.map(|deg| deg / COVERAGE_95);
        AimError {
            tilt_deg: stated(self.tilt_deg).unwrap_or(AIM_BY_HAND.tilt_deg),
            azimuth_deg: stated(self.azimuth_deg).unwrap_or(AIM_BY_HAND.azimuth_deg),
        }
    }

    /// The wider of two, where one is stated.
    fn wider(self, other: Self) -> Self {
        let wider = |a: Option<f64>, b: Option<f64>| [a, b].into_iter().flatten().reduce(f64::max);
        Self {
            tilt_deg: wider(self.tilt_deg, other.tilt_deg),
            azimuth_deg: wider(self.azimuth_deg, other.azimuth_deg),
        }
    }
}

fn read_facing(section: &mut Section<'_>) -> Result<(Facing, Within), PlanError> {
    let tilt = section.given("tilt", Kind::Angle)?;
    let azimuth = section.maybe_given("azimuth", Kind::Angle)?;
    let within = Within {
        tilt_deg: tilt.plus_minus,
        azimuth_deg: azimuth.and_then(|azimuth| azimuth.plus_minus),
    };
    let tilt_deg = tilt.value;
    let azimuth_deg = match azimuth {
        Some(azimuth) => azimuth.value,
        None if tilt_deg == 0.0 => 180.0,
        None => {
            return Err(
                section.missing("azimuth", "\"180°\" (from north over east: 180° is south)")
            );
        }
    };
    let facing = Facing::new(tilt_deg, azimuth_deg.rem_euclid(360.0))
        .map_err(|error| section.error("tilt", error.to_string()))?;
    Ok((facing, within))
}

/// The same turns every day, by the clock of the site. Who stands it up errs alike each time, by
/// the widest of what is stated.
fn read_turns(
    section: &Section<'_>,
    aims: Vec<Section<'_>>,
    site: &Site,
    dates: &Dates,
) -> Result<(Aim, Within), PlanError> {
    let mut within = Within::default();
    let mut turns: Vec<(Time, Facing)> = Vec::new();
    for mut aim in aims {
        let text = aim.text("from", "\"08:00\"")?;
        let time = Time::strptime("%H:%M", text.trim()).map_err(|_| {
            aim.error("from", format!("{text:?} is no time of day; write it such as \"08:00\""))
        })?;
        let (facing, stated) = read_facing(&mut aim)?;
        within = within.wider(stated);
        turns.push((time, facing));
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
    Ok((Aim::ReAimed(instants), within))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test")]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::{Plan, Supply};

    /// How far off a panel may stand (half-widths, °), and what is said to be usual.
    fn aim_of(stands: &str) -> ([f64; 2], Vec<String>) {
        let text = format!(
            "format = 1\n[site]\nlatitude = 40\nlongitude = 0\n[trip]\nfirst_evening = \"2026-06-09\"\n[pack]\nchemistry = \"LFP\"\nrated = \"40 Ah\"\n[rig.devices.mount]\npower = \"9 W\"\nwhen = \"night\"\n[sources.sun]\npanel = \"100 W\"\n{stands}\ncontroller = {{ kind = \"MPPT\", absorb = \"14.4 V\" }}\n"
        );
        let plan = Plan::parse("plan.toml", Path::new(""), &text).unwrap();
        let Supply::Panel(panel) = &plan.supplies[0] else { panic!("{plan:?}") };
        let AimError { tilt_deg, azimuth_deg } = panel.aim_spread;
        let usual = plan.defaults.into_iter().filter(|usual| usual.contains('±'));
        let usual = usual.filter(|usual| usual.starts_with("sources")).collect();
        ([tilt_deg, azimuth_deg].map(|deg| (deg * COVERAGE_95 * 1e6).round() / 1e6), usual)
    }

    #[test]
    fn a_panel_stands_as_well_as_is_stated_or_usual() {
        let usual =
            |words: &[&str]| words.iter().map(|word| format!("sources.sun.{word}")).collect();
        let check = |stands: &str, within: [f64; 2], words: &[&str]| {
            assert_eq!(aim_of(stands), (within, usual(words)), "{stands}");
        };
        check("tilt = \"45°\"\nazimuth = 180", [5.0, 10.0], &["tilt ± 5°", "azimuth ± 10°"]);
        check("tilt = \"45° ± 2°\"\nazimuth = \"180° ± 20°\"", [2.0, 20.0], &[]);
        check("tilt = \"0° ± 1°\"", [1.0, 10.0], &[]);
        check("flat = true", [5.0, 10.0], &["flat ± 5°"]);
        let hand = "± 5° of tilt, ± 10° of azimuth";
        check("turned_every = \"2 h\"", [5.0, 10.0], &[&format!("turned_every {hand}")]);
        let aims = "aims = [{ from = \"06:00\", tilt = \"60° ± 1°\", azimuth = \"135°\" }, { from = \"13:00\", tilt = \"60° ± 3°\", azimuth = \"225°\" }]";
        check(aims, [3.0, 10.0], &[]);
        let plain = aims.replace(" ± 1°", "").replace(" ± 3°", "");
        check(&plain, [5.0, 10.0], &[&format!("aims {hand}")]);
    }
}
