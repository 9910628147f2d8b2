//! A run in tables.

use bench::{AboveCutoff, Discharge, Run};
use quantity::uncertainty::Budget;
use quantity::{Clock, significant, with_uncertainty};
use record::{HowSure, Record};

use super::Tested;
use crate::table::Table;
use crate::words::{NONE, fixed, in_utc, percent};

/// What a run gave, as names and values.
pub(super) fn facts(test: &Tested<'_>, run: &Run) -> Table {
    let mut table = Table::facts(format!("{}: {}", test.record.file, run.kind.name())).text("");
    let mut row =
        |name: &str, value: String, remark: String| table.row([name.to_owned(), value, remark]);
    if let Some(start) = started(test.record, run) {
        row("Began", start, String::new());
    }
    match &run.discharge {
        Some(discharge) => discharge_rows(test, discharge, &mut row),
        None => row("Lasted", format!("{} h", Clock(run.to_s - run.from_s)), String::new()),
    }
    table
}

/// All runs, one a row.
pub(super) fn overview(tested: &[Tested<'_>]) -> Table {
    let mut table = Table::new("All runs")
        .text("Record")
        .text("Run")
        .number("Charge", "Ah")
        .number("±", "Ah")
        .number("Energy", "Wh")
        .number("Mean", "V")
        .number("At cutoff or more", "%")
        .number("Of label", "%");
    for test in tested {
        for run in test.runs {
            let mut cells = vec![test.record.file.clone(), run.kind.name().to_owned()];
            if let Some(discharge) = &run.discharge {
                let above = &discharge.above_cutoff;
                cells.extend([
                    fixed(discharge.capacity_ah, 2),
                    significant(discharge.capacity_u_ah, 2),
                    fixed(discharge.energy_wh, 1),
                    fixed(discharge.mean_voltage_v, 2),
                    fixed(100.0 * above.share, 1),
                    discharge.share_of_label.map_or(NONE.to_owned(), |s| fixed(100.0 * s, 1)),
                ]);
            }
            cells.resize(table.columns.len(), NONE.to_owned());
            table.row(cells);
        }
    }
    table
}

fn discharge_rows(
    test: &Tested<'_>,
    discharge: &Discharge,
    row: &mut impl FnMut(&str, String, String),
) {
    let of_label = |share: Option<f64>, label: Option<f64>, unit: &str| match (share, label) {
        (Some(share), Some(label)) => {
            format!("{} of the {} {unit} label", percent(share), significant_short(label))
        }
        _ => String::new(),
    };
    let settings = test.settings;
    row("Load on for", format!("{} h", Clock(discharge.duration_s)), String::new());
    row(
        "Charge delivered",
        with_uncertainty(discharge.capacity_ah, discharge.capacity_u_ah, "Ah"),
        of_label(discharge.share_of_label, settings.rated_ah, "Ah"),
    );
    row(
        "Energy delivered",
        with_uncertainty(discharge.energy_wh, discharge.energy_u_wh, "Wh"),
        of_label(discharge.share_of_label_energy, settings.rated_wh, "Wh"),
    );
    above_row(&discharge.above_cutoff, "", row);
    if let Some(at_gear) = &discharge.at_gear {
        above_row(at_gear, " at the gear", row);
    }
    row(
        "Mean",
        format!("{} V", significant(discharge.mean_voltage_v, 4)),
        format!("{} W", significant(discharge.mean_power_w, 3)),
    );
    let [first_v, last_v] = discharge.first_last_v;
    row(
        "Under load from",
        format!("{} V", fixed(first_v, 2)),
        format!("to {} V", fixed(last_v, 2)),
    );
    if let Some(before_v) = discharge.rest_before_v {
        row("At rest before", format!("{before_v:.2} V"), String::new());
    }
    if let Some(after_v) = discharge.rest_after_v {
        row("At rest after", format!("{after_v:.2} V"), String::new());
    }
}

fn above_row(above: &AboveCutoff, place: &str, row: &mut impl FnMut(&str, String, String)) {
    let share = if above.share_u.is_finite() && above.share_u >= 5e-5 {
        format!("{} ± {}", fixed(100.0 * above.share, 1), percent(above.share_u))
    } else {
        percent(above.share)
    };
    row(
        &format!("At {} V or more{place}", significant_short(above.cutoff_v)),
        format!("{share} of the charge"),
        format!("{} Ah, {} Wh", significant(above.capacity_ah, 4), significant(above.energy_wh, 4)),
    );
}

/// To four digits, without zeros that say nothing, but "12.0" for a voltage of 12.
fn significant_short(value: f64) -> String {
    let text = significant(value, 4);
    match text.split_once('.') {
        Some((whole, decimals)) => {
            let decimals = decimals.trim_end_matches('0');
            let shown = if decimals.is_empty() && value < 25.0 { "0" } else { decimals };
            if shown.is_empty() { whole.to_owned() } else { format!("{whole}.{shown}") }
        }
        None => text,
    }
}

fn started(record: &Record, run: &Run) -> Option<String> {
    let on_the_wall = || {
        let since = jiff::SignedDuration::try_from_secs_f64(run.from_s).ok()?;
        let at = record.local_start?.checked_add(since).ok()?;
        Some(format!("{} (zone not told)", at.strftime("%Y-%m-%d %H:%M")))
    };
    run.start.map(in_utc).or_else(on_the_wall)
}

/// What happened in a run, in order.
pub(super) fn phases(run: &Run) -> Table {
    let mut table = Table::new("What happened in it")
        .text("Phase")
        .number("From", "h:mm:ss")
        .number("To", "h:mm:ss")
        .number("Charge out", "Ah")
        .number("Energy out", "Wh");
    for phase in &run.phases {
        table.row([
            phase.kind.name().to_owned(),
            Clock(phase.from_s).to_string(),
            Clock(phase.to_s).to_string(),
            fixed(phase.ah, 3),
            fixed(phase.wh, 2),
        ]);
    }
    table
}

/// Where the uncertainty comes from, the greatest part first.
pub(super) fn doubts(discharge: &Discharge) -> Table {
    let charge = discharge.doubts.capacity_ah.whole();
    let energy = discharge.doubts.energy_wh.whole();
    // parts of one name, such as both ends of a run, are shown as one
    let mut parts: Vec<(&str, Budget, Budget)> = Vec::new();
    for (budget, is_energy) in [(&charge, false), (&energy, true)] {
        for part in &budget.parts {
            let at = parts.iter().position(|(name, ..)| *name == part.name).unwrap_or(parts.len());
            if at == parts.len() {
                parts.push((part.name, Budget::default(), Budget::default()));
            }
            let of_name = &mut parts[at];
            let sum = if is_energy { &mut of_name.2 } else { &mut of_name.1 };
            sum.parts.push(*part);
        }
    }
    parts.sort_by(|a, b| b.2.standard().total_cmp(&a.2.standard()));
    let mut table = Table::new("Where the uncertainty comes from")
        .text("Standard uncertainty from")
        .number("Charge", "Ah")
        .number("Energy", "Wh");
    // all to the place that matters in the whole
    let shown = |u: f64, whole: f64| match significant(whole, 2).split_once('.') {
        Some((_, decimals)) => fixed(u, decimals.len()),
        None => fixed(u, 0),
    };
    let mut row = |name: &str, ah: f64, wh: f64| {
        table.row([name.to_owned(), shown(ah, charge.standard()), shown(wh, energy.standard())]);
    };
    for (name, charge, energy) in &parts {
        row(name, charge.standard(), energy.standard());
    }
    row("all together", charge.standard(), energy.standard());
    row("half-width of the 95 % interval", discharge.capacity_u_ah, discharge.energy_u_wh);
    table
}

/// Which column was taken for what.
pub(super) fn columns(record: &Record) -> Table {
    let mut table = Table::new(format!("Columns of {}", record.file))
        .number("Column", "")
        .text("Heading")
        .text("Taken for")
        .text("Unit or notation")
        .text("How sure");
    for column in &record.columns {
        let how_sure = match column.how_sure {
            HowSure::Likely => "likely: please check",
            HowSure::Sure => "sure",
            HowSure::Told => "as told",
        };
        table.row([
            column.number.to_string(),
            column.heading.clone(),
            column.role.name().to_owned(),
            column.unit.clone(),
            how_sure.to_owned(),
        ]);
    }
    table
}
