//! A look back in tables.

use plan::Plan;
use trip::{Explanation, Finding, Hindsight, Measure};

use super::told;
use crate::table::Table;
use crate::words::{NONE, chance, day_and_clock, fixed, sentence_case};

/// Causes less sure than this, and that take less than this away, are not worth a row.
const LEAST_CHANCE: f64 = 0.01;
const LEAST_SHARE: f64 = 0.5;
/// So many rows are enough.
const MOST_ROWS: usize = 6;
const MOST_PARTINGS: usize = 8;

pub(super) fn nights(found: &Hindsight) -> Table {
    let mut table = Table::new("Forecast (typical trip) and what the meter recorded")
        .text("Evening")
        .number("Covered", "%")
        .number("Out by night", "Wh")
        .number("Recorded", "Wh")
        .number("In by day", "Wh")
        .number("Recorded", "Wh")
        .number("Least", "V")
        .number("Recorded", "V");
    let told = |wh: Option<f64>| wh.map_or_else(|| NONE.to_owned(), |wh| fixed(wh, 0));
    for night in &found.nights {
        let [out, out_seen] = night.out_wh.map(told);
        let [put_in, in_seen] = night.in_wh.map(told);
        let [least, least_seen] = night.least_v.map(|v| fixed(v, 2));
        let evening = night.evening.strftime("%a %-d %b").to_string();
        let covered = fixed(100.0 * night.covered, 0);
        table.row([evening, covered, out, out_seen, put_in, in_seen, least, least_seen]);
    }
    table
}

/// Where the record leaves the middle of the drawn trips; none if it went as forecast.
pub(super) fn partings(plan: &Plan, found: &Hindsight) -> Option<Table> {
    found.partings.first()?;
    let mut table = Table::new("Where record and forecast part")
        .text("What")
        .text("From")
        .text("To")
        .text("Most at")
        .number("Off by", "");
    let clock = |at| day_and_clock(at, &plan.site.zone);
    for parting in found.partings.iter().take(MOST_PARTINGS) {
        let to = if parting.to_the_end { "the end".to_owned() } else { clock(parting.to) };
        let off = match parting.what {
            Measure::Voltage => format!("{:+.2} V", parting.most),
            Measure::Charge => format!("{:+.1} Ah", parting.most),
        };
        table.row([
            sentence_case(&told::parting(parting)),
            clock(parting.from),
            to,
            clock(parting.most_at),
            off,
        ]);
    }
    if let Some(more) = found.partings.len().checked_sub(MOST_PARTINGS + 1) {
        table.note(format!("And {} more.", more + 1));
    }
    table.note("Outside what the middle 80 % of drawn trips show; off by against the typical one.");
    Some(table)
}

/// What explains it, ranked; none if it went as forecast.
pub(super) fn explanations(plan: &Plan, found: &Hindsight) -> Option<Table> {
    if found.finding == Finding::AsForecast {
        return None;
    }
    let mut table = Table::new("What explains it, each cause by itself")
        .text("Cause")
        .number("Takes away", "%")
        .number("How sure", "");
    let worth =
        |cause: &&Explanation| cause.chance >= LEAST_CHANCE || cause.explains >= LEAST_SHARE;
    for explanation in found.explanations.iter().filter(worth).take(MOST_ROWS) {
        table.row([
            sentence_case(&told::cause(plan, &explanation.what, explanation)),
            fixed(100.0 * explanation.explains, 0),
            chance(explanation.chance),
        ]);
    }
    table.row([
        "Several at once, or something else".to_owned(),
        NONE.to_owned(),
        chance(found.other_chance),
    ]);
    Some(table)
}
