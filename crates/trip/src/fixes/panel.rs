//! More sun: another panel, and how the panels stand.

use jiff::civil::Date;
use plan::{Panel, Plan, Supply};
use quantity::Kind;
use sky::{Aim, AirTemperature, Cloud, Facing, Light, Steps, light_on_panel};

use super::{Change, with};
use crate::error::TripError;
use crate::harvest::{Stand, mean_day};

pub(super) fn changes(plan: &Plan) -> Result<Vec<Change>, TripError> {
    let mut changes = another(plan);
    changes.extend(turned(plan));
    changes.extend(stood_better(plan)?);
    Ok(changes)
}

fn panels(plan: &Plan) -> impl Iterator<Item = &Panel> {
    plan.supplies.iter().filter_map(|supply| match supply {
        Supply::Panel(panel) => Some(panel),
        Supply::Charger(_) => None,
    })
}

/// One more of each kind of panel, with a controller of its own.
fn another(plan: &Plan) -> Vec<Change> {
    let mut known: Vec<&Panel> = Vec::new();
    for panel in panels(plan) {
        let is_alike = |other: &&Panel| {
            (other.panel, &other.aim, other.controller)
                == (panel.panel, &panel.aim, panel.controller)
        };
        if !known.iter().any(is_alike) {
            known.push(panel);
        }
    }
    known
        .into_iter()
        .map(|panel| {
            let text = format!("one more panel with its controller like {}", panel.name);
            let changed = with(plan, |changed| changed.supplies.push(Supply::Panel(panel.clone())));
            Change::bought(text, changed, panel.mass_kg, panel.price)
        })
        .collect()
}

/// All panels by one name.
fn named(plan: &Plan) -> String {
    let mut found = panels(plan);
    match (found.next(), found.next()) {
        (Some(only), None) => only.name.clone(),
        _ => "all panels".to_owned(),
    }
}

fn set_up(plan: &Plan, aim: &Aim) -> Plan {
    with(plan, |changed| {
        for supply in &mut changed.supplies {
            if let Supply::Panel(panel) = supply {
                panel.aim = aim.clone();
            }
        }
    })
}

/// A panel is turned by hand so often.
const TURN_S: f64 = 7200.0;

fn turned(plan: &Plan) -> Option<Change> {
    let stand = panels(plan).any(|panel| !matches!(panel.aim, Aim::Tracked { .. }));
    stand.then(|| {
        let every = Kind::Duration.show(TURN_S);
        let text = format!("turn {} towards the sun every {every}", named(plan));
        Change::free(text, set_up(plan, &Aim::Tracked { every_s: TURN_S }))
    })
}

/// A better stand that gives less than this on top is none worth getting up for.
const LEAST_MORE: f64 = 0.03;
/// Angles are looked for in these steps (°), one after another; the last is as well as anyone sets
/// up a panel by hand.
const STEPS_DEG: [f64; 3] = [20.0, 10.0, 5.0];

/// All panels fixed where they catch most of a clear sky on the days of the trip, where that is
/// noticeably more than as they stand.
fn stood_better(plan: &Plan) -> Result<Option<Change>, TripError> {
    // before the first evening nothing is harvested
    let days: Vec<Date> = plan.dates.evenings().skip(1).collect();
    let (Some(first), Some(last)) = (days.first(), days.last()) else { return Ok(None) };
    if panels(plan).next().is_none() {
        return Ok(None);
    }
    // the sun's path changes little within a trip: its ends and its middle stand for it
    let mut shown = vec![*first, days[days.len() / 2], *last];
    shown.dedup();
    let air = AirTemperature::Constant(plan.air.day_c.value);
    let stands = Stand::of_plan(plan, &air);
    let catch_wh = |aim: Option<Facing>| -> Result<f64, TripError> {
        let mut sum_wh = 0.0;
        for stand in &stands {
            let aim = aim.map_or_else(|| stand.aim.clone(), Aim::Fixed);
            for day in &shown {
                sum_wh += stand.clear_day_wh(&aim, *day)?;
            }
        }
        Ok(sum_wh)
    };
    let now_wh = catch_wh(None)?;
    let north_of_it = plan.site.place.latitude_deg() >= 0.0;
    let towards_noon_deg = if north_of_it { 180.0 } else { 0.0 };
    let tilt_deg = plan.site.place.latitude_deg().abs();
    let start = Angles { tilt_deg: rounded(tilt_deg), azimuth_deg: towards_noon_deg };
    let (best, best_wh) = climb(start, |angles| catch_wh(Some(angles.facing()?)))?;
    if best_wh < (1.0 + LEAST_MORE) * now_wh {
        return Ok(None);
    }
    let text = format!(
        "stand {} at a tilt of {}, azimuth {}",
        named(plan),
        Kind::Angle.show(best.tilt_deg),
        Kind::Angle.show(best.azimuth_deg)
    );
    Ok(Some(Change::free(text, set_up(plan, &Aim::Fixed(best.facing()?)))))
}

fn rounded(deg: f64) -> f64 {
    let step_deg = STEPS_DEG[STEPS_DEG.len() - 1];
    (deg / step_deg).round() * step_deg
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Angles {
    tilt_deg: f64,
    azimuth_deg: f64,
}

impl Angles {
    fn facing(self) -> Result<Facing, TripError> {
        Ok(Facing::new(self.tilt_deg, self.azimuth_deg)?)
    }

    fn moved(self, tilt_deg: f64, azimuth_deg: f64) -> Angles {
        Angles {
            tilt_deg: (self.tilt_deg + tilt_deg).clamp(0.0, 90.0),
            azimuth_deg: (self.azimuth_deg + azimuth_deg).rem_euclid(360.0),
        }
    }
}

/// Goes to the best neighbour until there is no better one, in smaller and smaller steps. Gives the
/// best angles and what is caught there.
fn climb(
    start: Angles,
    catch_wh: impl Fn(Angles) -> Result<f64, TripError>,
) -> Result<(Angles, f64), TripError> {
    let mut best = (start, catch_wh(start)?);
    for step_deg in STEPS_DEG {
        loop {
            let from = best;
            for (tilt, azimuth) in [(-1.0, 0.0), (1.0, 0.0), (0.0, -1.0), (0.0, 1.0)] {
                let angles = from.0.moved(step_deg * tilt, step_deg * azimuth);
                let caught_wh = catch_wh(angles)?;
                if caught_wh > best.1 {
                    best = (angles, caught_wh);
                }
            }
            if best == from {
                break;
            }
        }
    }
    Ok(best)
}

/// Long steps do for comparing one stand with another (s).
const STEP_S: f64 = 900.0;

impl Stand<'_> {
    /// What the panel would give on a clear day standing otherwise, before any controller (Wh).
    fn clear_day_wh(&self, aim: &Aim, day: Date) -> Result<f64, TripError> {
        let whole = mean_day(day, &self.around.place)?;
        let count = (whole.step_s * whole.count as f64 / STEP_S) as usize;
        let steps = Steps { step_s: STEP_S, count, ..whole };
        let lights = light_on_panel(&self.around, aim, &Cloud::Clear, steps)?;
        let sum_w: f64 = lights.iter().map(|light: &Light| self.power_w(light)).sum();
        Ok(sum_w * STEP_S / 3600.0)
    }
}
