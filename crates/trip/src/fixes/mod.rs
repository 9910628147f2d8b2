//! What would mend it: single changes, each simulated with the same random draws, ranked by what
//! they do for the weakest night; and what to switch off to reach dawn.
//!
//! One idea a file: the judging itself, the pack, the panels, the wires and converters that feed the devices, the
//! devices themselves, and the order in which to switch them off.

mod before;
mod device;
mod feed;
mod pack;
mod panel;
mod shedding;
#[cfg(test)]
mod tests;

use std::cmp::Ordering;

use plan::Plan;

use crate::answer::{Chance, Forecast, Settings};
use crate::error::TripError;
use before::{Before, Late};

pub use shedding::{Shed, Shedding, shedding};

/// One change and what it does.
#[derive(Debug, Clone, PartialEq)]
pub struct Fix {
    /// What is changed, in words: "a second pack like pack one".
    pub change: String,
    /// The chance of each night with it.
    pub nights: Vec<Chance>,
    /// How much surer the weakest night becomes; below nought it becomes less sure.
    pub gain: f64,
    /// The 95 % interval of the gain, as far as the number of draws tells it.
    pub gain_95: [f64; 2],
    /// What it adds to the load (kg), where it is known.
    pub kg: Option<f64>,
    /// What it costs, in the plan's currency, where it is known; nought where nothing is bought.
    pub price: Option<f64>,
    /// Whether it belongs in a short list: it makes a difference, and among the changes to one
    /// device it is the one to choose.
    pub is_listed: bool,
    /// What to heed before doing it.
    pub caution: Option<&'static str>,
}

impl Fix {
    /// The chance of the weakest night with it.
    #[must_use]
    pub fn weakest(&self) -> f64 {
        weakest(&self.nights)
    }

    /// Whether the weakest night becomes noticeably more or less sure with it.
    #[must_use]
    pub fn makes_difference(&self) -> bool {
        self.gain.abs() >= LEAST_GAIN
    }
}

/// A change that gains or loses less than this shows as nothing in whole points of a percentage.
const LEAST_GAIN: f64 = 0.005;

/// Single changes to a plan, best first; of those that gain the same first what costs nothing, then
/// what is lighter. `progress` is told how many of how many are done and may say to stop; what is
/// done by then is returned.
///
/// # Errors
/// As [`crate::forecast()`].
pub fn fixes(
    plan: &Plan,
    forecast: &Forecast,
    settings: Settings,
    mut progress: impl FnMut(usize, usize) -> bool,
) -> Result<Vec<Fix>, TripError> {
    let before = Before::new(plan, forecast, settings)?;
    let mut changes = pack::changes(plan);
    changes.extend(panel::changes(plan)?);
    changes.extend(feed::changes(plan, forecast));
    changes.extend(device::cutoffs(plan));
    let devices = plan.gear.rig.devices();
    let count = changes.len() + devices.len();

    let mut fixes = Vec::with_capacity(count);
    for (done, change) in changes.into_iter().enumerate() {
        if !progress(done, count) {
            return Ok(ranked(fixes));
        }
        fixes.push(before.judge(change)?);
    }
    for (done, device) in (count - devices.len()..).zip(devices) {
        if !progress(done, count) {
            break;
        }
        fixes.extend(device::eased(&before, device)?);
    }
    Ok(ranked(fixes))
}

fn ranked(mut fixes: Vec<Fix>) -> Vec<Fix> {
    fixes.sort_by(|a, b| {
        b.gain
            .total_cmp(&a.gain)
            .then_with(|| burden(a).cmp(&burden(b)))
            .then_with(|| lighter(a, b))
    });
    fixes
}

/// Whether anything has to be bought.
fn burden(fix: &Fix) -> bool {
    fix.price != Some(0.0)
}

fn lighter(a: &Fix, b: &Fix) -> Ordering {
    a.kg.unwrap_or(f64::INFINITY).total_cmp(&b.kg.unwrap_or(f64::INFINITY))
}

/// A change that may be tried.
struct Change {
    text: String,
    plan: Plan,
    kg: Option<f64>,
    price: Option<f64>,
    /// Whether it is told whatever it does for the night: it spares the pack.
    spares_pack: bool,
    caution: Option<&'static str>,
}

impl Change {
    /// A change for which nothing is bought.
    fn free(text: String, plan: Plan) -> Change {
        Change { text, plan, kg: Some(0.0), price: Some(0.0), spares_pack: false, caution: None }
    }

    /// One for which something is bought, as heavy and dear as is known.
    fn bought(text: String, plan: Plan, kg: Option<f64>, price: Option<f64>) -> Change {
        Change { kg, price, ..Change::free(text, plan) }
    }
}

fn with(plan: &Plan, change: impl FnOnce(&mut Plan)) -> Plan {
    let mut changed = plan.clone();
    change(&mut changed);
    changed
}

fn weakest(nights: &[Chance]) -> f64 {
    nights.iter().map(|chance| chance.share).fold(1.0, f64::min)
}
