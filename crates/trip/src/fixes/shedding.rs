//! What to switch off, and when, to reach dawn with the wanted confidence.

use jiff::civil::Time;
use plan::Plan;
use rig::Device;

use super::device::{Way, ease};
use super::{Before, weakest};
use crate::answer::{Chance, Forecast, Settings};
use crate::calendar::FullHour;
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
    // latest first, and at the end not at all that night
    let evening = before.weakest_evening();
    let hours = evening.map(|evening| before.calendar.full_hours(evening)).unwrap_or_default();
    let hours: Vec<Option<FullHour>> = hours.into_iter().rev().map(Some).chain([None]).collect();
    let mut so_far = plan.clone();
    let mut found = Shedding { steps: Vec::new(), nights: Vec::new(), enough: false };
    for device in order {
        let try_from = |hour: Option<FullHour>| -> Result<Option<(Plan, Vec<Chance>)>, TripError> {
            let from_s = hour.map(|hour| hour.clock_s);
            let Some(changed) = ease(&so_far, &device.name, Way::Off, from_s) else {
                return Ok(None);
            };
            let nights = trial(&changed, settings)?.nights;
            Ok(Some((changed, nights)))
        };
        // the latest hour that is enough, if any is: later is never surer
        let (mut enough, mut too_late) = (hours.len(), 0);
        while too_late < enough {
            let middle = (too_late + enough) / 2;
            let sure = try_from(hours[middle])?
                .is_some_and(|(_, nights)| weakest(&nights) >= before.wanted());
            if sure { enough = middle } else { too_late = middle + 1 }
        }
        let hour = hours.get(enough).copied().flatten();
        let Some((changed, nights)) = try_from(hour)? else { continue };
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
