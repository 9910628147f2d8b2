//! The answer to a plan, as values.

use jiff::Timestamp;
use jiff::civil::Date;
use quantity::uncertainty::wilson_95;
use serde::Serialize;
use sky::Night;

use crate::carries::Carries;
use crate::engine::Cause;
use crate::ledger::Ledger;
use crate::survey::Survey;

/// How a forecast is made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// How many random trips, at least.
    pub draws: usize,
    /// Where their randomness comes from; the same seed gives the same forecast.
    pub seed: u64,
    /// More are drawn until no night's interval is wider than ± this, or [`MOST_DRAWS`].
    pub within: Option<f64>,
}

impl Default for Settings {
    fn default() -> Self {
        Settings { draws: 1000, seed: 1, within: None }
    }
}

/// A device that comes back more often than this between two sunrises is left off until the next
/// one. Its night is lost long before; this bounds what a hopeless one costs to simulate.
pub const MOST_RESTARTS: usize = 500;

/// The most draws that are made in search of a narrow interval.
pub const MOST_DRAWS: usize = 1_000_000;

/// A probability with its 95 % interval, as far as the number of draws tells it (Wilson 1927).
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Chance {
    /// Share of the draws.
    pub share: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Chance {
    pub(crate) fn of(hits: usize, draws: usize) -> Self {
        let (low, high) = wilson_95(hits, draws);
        Chance { share: hits as f64 / draws as f64, low, high }
    }
}

/// Something stopped that should have run.
#[derive(Debug, Clone, PartialEq)]
pub struct Failure {
    /// When.
    pub time: Timestamp,
    /// Which device; all of them where the pack's protection opened.
    pub device: Option<String>,
    /// Why.
    pub cause: Cause,
}

/// A device that came back by itself after brownouts.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Restarts {
    /// Which.
    pub device: String,
    /// How often in a night or on the day before it; no more than [`MOST_RESTARTS`] are simulated.
    pub times: usize,
}

/// How often a device failed first, among the draws.
#[derive(Debug, Clone, PartialEq)]
pub struct Culprit {
    /// Which device; all of them where the pack's protection opened.
    pub device: Option<String>,
    /// In which share of the draws it was the first to fail that night.
    pub share: f64,
    /// The median of the times at which it did.
    pub median_time: Timestamp,
}

/// One night of a trip, with the day before it.
#[derive(Debug, Clone)]
pub struct NightForecast {
    /// The date of its evening at the site.
    pub evening: Date,
    /// What the sky does.
    pub night: Night,
    /// Its beginning, usually sunset.
    pub from: Timestamp,
    /// Its end, usually sunrise.
    pub to: Timestamp,
    /// Whether everything ran in the central case.
    pub carried: bool,
    /// How probable that is.
    pub chance: Chance,
    /// SoC at its beginning, in the central case.
    pub soc_dusk: f64,
    /// SoC at its end.
    pub soc_dawn: f64,
    /// Into devices since the last sunrise (Wh).
    pub used_wh: f64,
    /// Out of the sources since the last sunrise (Wh).
    pub harvest_wh: f64,
    /// The device that came nearest to its least voltage, in the central case.
    pub worst_device: Option<String>,
    /// The least voltage it saw.
    pub least_voltage_v: Option<f64>,
    /// The voltage it needs.
    pub needed_v: Option<f64>,
    /// The first failure of the central case.
    pub first_failure: Option<Failure>,
    /// What came back by itself after a brownout, in the central case. The night is lost for all that.
    pub restarts: Vec<Restarts>,
    /// What fails first in the draws that fail, most frequent first.
    pub culprits: Vec<Culprit>,
}

/// One step of the central case, for pictures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// The end of the step.
    pub time: Timestamp,
    /// State of charge.
    pub soc: f64,
    /// At the pack's terminals (V).
    pub terminal_v: f64,
    /// At the device with the least to spare (V); none while nothing is on.
    pub worst_v: Option<f64>,
    /// That device's least voltage (V).
    pub needed_v: Option<f64>,
    /// Out of the pack (W), into it negative.
    pub pack_w: f64,
    /// Into devices (W).
    pub load_w: f64,
    /// Out of the sources (W).
    pub harvest_w: f64,
}

/// Where the middle 80 % of the draws lie at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// When.
    pub time: Timestamp,
    /// 10 % and 90 % quantiles of the state of charge.
    pub soc: [f64; 2],
    /// 10 % and 90 % quantiles of the voltage at the terminals (V).
    pub terminal_v: [f64; 2],
    /// What 95 % of the draws that carry the night (or the one that comes) have at least; `None`
    /// where too few carry it to tell.
    pub carried: Option<Carried>,
}

/// What the draws that carry a night have at least at one time: who has less will hardly reach
/// dawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Carried {
    /// 5 % quantile of the state of charge.
    pub soc: f64,
    /// 5 % quantile of the voltage at the terminals (V).
    pub terminal_v: f64,
}

/// The answer to a plan.
#[derive(Debug, Clone)]
pub struct Forecast {
    /// Night by night.
    pub nights: Vec<NightForecast>,
    /// How probable it is that every night is carried.
    pub trip: Chance,
    /// The energy balance of the central case.
    pub ledger: Ledger,
    /// The central case, step by step.
    pub points: Vec<Point>,
    /// What the draws make of it.
    pub bands: Vec<Band>,
    /// Devices that never run on some night, since the sky does not do what their schedule hangs
    /// on; a sentence each.
    pub remarks: Vec<String>,
    /// The rig looked over for these nights; `None` where it can't stand even at dusk, of which the
    /// nights tell.
    pub survey: Option<Survey>,
    /// How it was made.
    pub settings: Settings,
    /// How many random trips were drawn.
    pub draws: usize,
    /// Which of them carries which night.
    pub(crate) carries: Carries,
}
