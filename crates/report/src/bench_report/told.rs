//! A run in sentences.

use bench::{Discharge, Field, Recharge, Run, RunKind};
use quantity::{Kind, significant, with_uncertainty};
use record::{HowSure, Record};

use super::Tested;
use crate::words::{listed, percent, sentence, short};

/// The answer a run gives, in one sentence.
pub(super) fn answer(test: &Tested<'_>, run: &Run) -> Option<String> {
    match run.kind {
        RunKind::Discharge => of_discharge(test, run.discharge.as_ref()?),
        RunKind::Recharge | RunKind::SolarRecharge => Some(of_recharge(run.recharge.as_ref()?)),
        RunKind::Pulses => of_pulses(run),
        RunKind::Field => of_nights(run.field.as_ref()?),
    }
}

fn of_discharge(test: &Tested<'_>, discharge: &Discharge) -> Option<String> {
    let delivered = with_uncertainty(discharge.capacity_ah, discharge.capacity_u_ah, "Ah");
    let label = match (discharge.share_of_label, test.settings.rated_ah) {
        (Some(share), Some(_)) => format!(", {} of its label", percent(share)),
        _ => String::new(),
    };
    let above = &discharge.above_cutoff;
    Some(format!(
        "The battery delivered {delivered}{label}; {} of that came at {} V or more.",
        percent(above.share),
        short(above.cutoff_v)
    ))
}

fn of_recharge(recharge: &Recharge) -> String {
    let charge = with_uncertainty(recharge.charge_ah, recharge.charge_u_ah, "Ah");
    let time = Kind::Duration.show(recharge.duration_s);
    if let Some(solar) = &recharge.solar {
        let energy = with_uncertainty(recharge.energy_wh, recharge.energy_u_wh, "Wh");
        let time = Kind::Duration.show(solar.span_s);
        let clear = solar.share_of_clear_sky.map_or_else(String::new, |share| {
            format!(", {} of what a clear sky would have given", percent(share))
        });
        return format!("The panel put {energy} ({charge}) into the battery in {time}{clear}.");
    }
    let most = recharge.time_to.iter().find(|reached| reached.share < 1.0);
    let most = most.map_or_else(String::new, |reached| {
        let share = Kind::Fraction.show(reached.share);
        format!("; {share} of that was in after {}", Kind::Duration.show(reached.duration_s))
    });
    format!("The battery took {charge} in {time}{most}.")
}

fn of_pulses(run: &Run) -> Option<String> {
    let ohms = || run.resistances.iter().map(|found| 1e3 * found.ohm);
    let low = ohms().min_by(f64::total_cmp)?;
    let high = ohms().max_by(f64::total_cmp)?;
    Some(format!(
        "{} steps of the current show a resistance from {} to {} mΩ.",
        run.resistances.len(),
        significant(low, 3),
        significant(high, 3)
    ))
}

fn of_nights(field: &Field) -> Option<String> {
    let taken: Vec<String> =
        field.nights.iter().map(|night| format!("{:.0}", night.energy_wh)).collect();
    match taken.as_slice() {
        [] => None,
        [one] => Some(format!("The night took {one} Wh.")),
        _ => Some(format!("The {} nights took {} Wh.", taken.len(), listed(&taken))),
    }
}

pub(super) const DEVICES: &str =
    "As devices of a plan, each with what a level draws more than the one below it:";

/// Which column was taken for what, and how sure that is.
pub(super) fn columns(record: &Record) -> String {
    let mut columns: Vec<_> = record.columns.iter().collect();
    columns.sort_by_key(|column| column.number);
    let of_column = |column: &&record::Column| {
        let heading = match column.heading.as_str() {
            "" => format!("column {}", column.number),
            heading => format!("\"{heading}\""),
        };
        let unit = match column.unit.as_str() {
            "" => String::new(),
            unit => format!(" in {unit}"),
        };
        format!("{} from {heading}{unit} ({})", column.role.name(), how_sure(column.how_sure))
    };
    listed(&columns.iter().map(of_column).collect::<Vec<_>>())
}

/// How sure a guess is, in words.
pub(super) fn how_sure(how_sure: HowSure) -> &'static str {
    match how_sure {
        HowSure::Likely => "likely: please check",
        HowSure::Sure => "sure",
        HowSure::Told => "as told",
    }
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
    let mut notices: Vec<String> = Vec::new();
    for notice in test.record.notices.iter().chain(of_runs).map(|notice| sentence(notice)) {
        // what holds for the whole record is said of each of its runs
        if !notices.contains(&notice) {
            notices.push(notice);
        }
    }
    notices
}

/// What kind of test a run is, as people say it.
pub(super) fn kind(run: &Run) -> &'static str {
    match run.kind {
        RunKind::Pulses => "pulse test",
        RunKind::Field => "field run",
        other => other.name(),
    }
}

pub(super) const CURVE: &str =
    "Green is what was delivered at the cutoff voltage or more, red what was delivered below it.";

pub(super) const NO_TEST: &str = "no current flows in it, so there is no test to measure.";

pub(super) const METHOD: [&str; 4] = [
    "Charge is the integral of current over the time the load was on, energy that of voltage times current, both by trapezoids between readings. Rests count for nothing.",
    "The share at the cutoff voltage or more is charge delivered while the voltage at the terminals is at or above it, over all charge delivered. Where a line between two readings crosses the cutoff, it is divided there.",
    "A gap between readings is bridged, and what it could hide is part of the uncertainty.",
    "The figure after ± is the half-width of the 95 % interval, combined after JCGM 100:2008 (GUM). A meter's gain and offset are the same through a run and do not average out.",
];

pub(super) const METER_STATED: &str = "The meter's stated accuracy is part of the uncertainty.";

pub(super) const METER_NOT_STATED: &str = "No accuracy of the meter was stated: the uncertainty holds only what the record itself shows (last digits, noise, gaps). A meter that reads 1 % high makes every figure 1 % too high.";
