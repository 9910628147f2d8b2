//! A run in sentences.

use bench::Run;
use quantity::with_uncertainty;
use record::Record;

use super::Tested;
use crate::words::{listed, percent, sentence};

/// The answer a discharge gives, in one sentence.
pub(super) fn answer(test: &Tested<'_>, run: &Run) -> Option<String> {
    let discharge = run.discharge.as_ref()?;
    let delivered = with_uncertainty(discharge.capacity_ah, discharge.capacity_u_ah, "Ah");
    let label = match (discharge.share_of_label, test.settings.rated_ah) {
        (Some(share), Some(_)) => format!(", {} of its label", percent(share)),
        _ => String::new(),
    };
    let above = &discharge.above_cutoff;
    Some(format!(
        "The battery delivered {delivered}{label}; {} of that came at {:.1} V or more.",
        percent(above.share),
        above.cutoff_v
    ))
}

/// What became of the rows.
pub(super) fn rows(record: &Record) -> String {
    let rows = &record.rows;
    let aside: usize = rows.set_aside.values().sum();
    let mut text = format!("{} read, {} used", rows.read, rows.used);
    if aside > 0 {
        let reasons: Vec<_> =
            rows.set_aside.iter().map(|(reason, count)| format!("{count} {reason}")).collect();
        text.push_str(&format!(", {aside} set aside: {}", listed(&reasons)));
    }
    text
}

/// What the reader should know of the record and its runs.
pub(super) fn notices(test: &Tested<'_>) -> Vec<String> {
    let of_runs = test.runs.iter().flat_map(|run| &run.notices);
    test.record.notices.iter().chain(of_runs).map(|notice| sentence(notice)).collect()
}

pub(super) const NO_TEST: &str = "no current flows in it, so there is no test to measure.";

pub(super) const METHOD: [&str; 4] = [
    "Charge is the integral of current over the time the load was on, energy that of voltage times current, both by trapezoids between readings. Rests count for nothing.",
    "The share at the cutoff voltage or more is charge delivered while the voltage at the terminals is at or above it, over all charge delivered. Where a line between two readings crosses the cutoff, it is divided there.",
    "A gap between readings is bridged, and what it could hide is part of the uncertainty.",
    "The figure after ± is the half-width of the 95 % interval, combined after JCGM 100:2008 (GUM). A meter's gain and offset are the same through a run and do not average out.",
];

pub(super) const METER_STATED: &str = "The meter's stated accuracy is part of the uncertainty.";

pub(super) const METER_NOT_STATED: &str = "No accuracy of the meter was stated: the uncertainty holds only what the record itself shows (last digits, noise, gaps). A meter that reads 1 % high makes every figure 1 % too high.";
