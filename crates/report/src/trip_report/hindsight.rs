//! A trip looked back on: forecast against what a meter recorded.

use trip::{Assumed, Assumption, Hindsight};

use crate::table::Table;
use crate::words::fixed;

/// Below so many standard deviations nothing needs an explanation.
const NOTABLE: f64 = 2.0;

pub(super) fn nights(hindsight: &Hindsight) -> Table {
    let mut table = Table::new("Forecast (typical trip) and what the meter recorded")
        .text("Evening")
        .number("Covered", "%")
        .number("Out by night", "Wh")
        .number("Recorded", "Wh")
        .number("In by day", "Wh")
        .number("Recorded", "Wh")
        .number("Least", "V")
        .number("Recorded", "V");
    for night in &hindsight.nights {
        let [out, out_seen] = night.out_wh.map(|wh| fixed(wh, 0));
        let [put_in, in_seen] = night.in_wh.map(|wh| fixed(wh, 0));
        let [least, least_seen] = night.least_v.map(|v| fixed(v, 2));
        let evening = night.evening.strftime("%a %-d %b").to_string();
        let covered = fixed(100.0 * night.covered, 0);
        table.row([evening, covered, out, out_seen, put_in, in_seen, least, least_seen]);
    }
    table.note(explanation(hindsight));
    table
}

/// Which assumption explains where the two part.
pub(super) fn explanation(hindsight: &Hindsight) -> String {
    let all: Vec<String> = hindsight.assumptions.iter().map(told).collect();
    match hindsight.assumptions.first() {
        Some(first) if first.deviations().abs() >= NOTABLE => {
            format!(
                "What explains it best: {}. Then {}.",
                told(first),
                all.get(1..).unwrap_or_default().join("; ")
            )
        }
        Some(_) => format!("Nothing was off by more than the plan allows for: {}.", all.join("; ")),
        None => "Nothing in the record can be held against the plan.".to_owned(),
    }
}

fn told(assumption: &Assumption) -> String {
    let sigma = format!("{:.1} standard deviations of the plan", assumption.deviations().abs());
    let percent = format!("{:.0} %", 100.0 * assumption.off.abs());
    let more = if assumption.off >= 0.0 { "more" } else { "less" };
    match assumption.what {
        Assumed::Loads => format!("the gear drew {percent} {more} than planned ({sigma})"),
        Assumed::Sun => format!("the days gave {percent} {more} than planned ({sigma})"),
        Assumed::Pack => format!(
            "the pack showed {} V {more} than its model at the recorded current ({sigma})",
            fixed(assumption.off.abs(), 2)
        ),
    }
}
