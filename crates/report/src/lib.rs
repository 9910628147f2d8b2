//! Charts, self-contained HTML reports, tables for the terminal.
//!
//! This room shows; it works nothing out. Every number it prints was found in the rooms below.

mod bench_report;
pub mod chart;
mod fit_report;
mod harvest_report;
mod night_report;
pub mod page;
mod planned_harvest;
mod rig_report;
mod runtime_report;
mod season_report;
mod series_report;
mod size_report;
pub mod table;
mod trip_report;
mod words;

pub use bench_report::{Tested, bench_page, bench_text};
pub use fit_report::{Fitted, FromRecord, fit_page, fit_text, sheet_text};
pub use harvest_report::{HarvestDay, harvest_page, harvest_text};
pub use night_report::night_text;
pub use planned_harvest::{planned_harvest_page, planned_harvest_text};
pub use rig_report::{Inspected, rig_blocks, rig_page, rig_text};
pub use runtime_report::{RuntimeAsked, runtime_text};
pub use season_report::{Season, season_page, season_text};
pub use series_report::{
    Compared, Past, ageing_page, ageing_text, comparison_page, comparison_text,
};
pub use size_report::{SizeAsked, size_page, size_text};
pub use trip_report::{Mends, field_card, hindsight_text, trip_page, trip_text};
