//! Site, pack, rig and sources together: simulated, drawn at random, judged.
//!
//! [`forecast`] answers whether a plan lasts till dawn. The way through it: `calendar` finds the
//! nights, `prepare` lays out the steps and what is the same for all draws, `draws` says what
//! differs, `engine` takes them through, `tally` counts and `ledger` accounts for every
//! watt-hour; `fixes` asks what would mend it.

#[cfg(test)]
mod agreement;
mod aim;
mod answer;
mod calendar;
#[cfg(test)]
mod calibration;
mod carries;
mod draws;
mod engine;
mod error;
mod fixes;
mod forecast;
mod gauge;
mod harvest;
mod hindsight;
mod ledger;
mod loads;
mod prepare;
mod remarks;
mod season;
mod sizing;
mod skies;
mod span;
mod statistics;
mod suns;
mod survey;
mod tally;
mod timeline;
mod trace;
#[cfg(test)]
mod truth;

pub use answer::{
    Band, Carried, Chance, Culprit, Failure, Forecast, MOST_DRAWS, MOST_RESTARTS, NightForecast,
    Point, Restarts, Settings,
};
pub use engine::Cause;
pub use error::TripError;
pub use fixes::{Fix, Shed, Shedding, fixes, shedding};
pub use forecast::forecast;
pub use gauge::steps_of_draws;
pub use harvest::{DayHarvest, PlannedDay, Stand, clock_day, mean_day, planned_days};
pub use hindsight::{
    Compared, Explanation, Finding, Hindsight, Measure, NightHindsight, Parting, Suspect, Together,
    hindsight,
};
pub use ledger::Ledger;
pub use season::{Per, Stretch, gathered, night_h};
pub use sizing::{Amount, Choice, Ending, Lack, Miss, Piece, Sizing, Stage, size};
pub use span::clear_wh_of_plan;
pub use survey::{NEARLY_EMPTY, Survey, SurveyedNight, survey};
