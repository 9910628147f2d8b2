//! What to switch off, and when, to reach dawn with the wanted confidence.

use jiff::civil::Time;
use plan::Plan;
use rig::Device;

use super::device::{Way, ease};
use super::{Before, weakest};
use crate::answer::{Chance, Forecast, Settings};
use crate::error::TripError;
use crate::forecast::trial;

/// Switching off, to reach dawn with the wanted confidence.
#[derive(Debug, Clone, PartialEq)]
pub struct Shedding {
    /// Each device to switch off and from what time on, in the order to do it.
    pub steps: Vec<Shed>,
    /// The chance of each night with all of it.
    pub nights: Vec<Chance>,
    /// Whether that is enough.
    pub enough: bool,
}

/// One device to switch off.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shed {
    /// Its name.
    pub device: String,
    /// From this time of each night on, by the site's clock; none for the whole night.
    pub from: Option<Time>,
}

/// What to switch off, and when, to reach every dawn with the wanted confidence: the devices the
/// plan gives a place in its shedding order, each as late as is enough. None if the plan gives no
/// such order, or nothing need be switched off.
///
/// # Errors
/// As [`crate::forecast()`].
pub fn shedding(
    plan: &Plan,
    forecast: &Forecast,
    settings: Settings,
) -> Result<Option<Shedding>, TripError> {
    let before = Before::new(plan, forecast, settings)?;
    let mut order: Vec<&Device> =
        plan.gear.rig.devices().iter().filter(|device| device.shed_order.is_some()).collect();
    order.sort_by_key(|device| device.shed_order);
    if order.is_empty() || !before.falls_short() {
        return Ok(None);
    }
    let evening = before.weakest_evening();
    let hours = evening.map(|evening| before.calendar.full_hours(evening)).unwrap_or_default();
    let mut so_far = plan.clone();
    let mut found = Shedding { steps: Vec::new(), nights: Vec::new(), enough: false };
    for device in order {
        let off = |from_s: Option<f64>| ease(&so_far, &device.name, Way::Off, from_s);
        let late = before.latest_enough(&hours, |hour| off(Some(hour.clock_s)))?;
        let (hour, changed, nights) = match late {
            Some(late) => (Some(late.hour), late.plan, late.trial.nights),
            None => {
                let Some(changed) = off(None) else { continue };
                let nights = trial(&changed, settings)?.nights;
                (None, changed, nights)
            }
        };
        found.steps.push(Shed { device: device.name.clone(), from: hour.map(|hour| hour.time()) });
        found.enough = weakest(&nights) >= before.wanted();
        found.nights = nights;
        so_far = changed;
        if found.enough {
            break;
        }
    }
    Ok(Some(found))
}
