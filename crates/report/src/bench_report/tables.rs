//! What a run gave, in columns.

use bench::{Doubts, Field, PhaseKind, Resistance, Run, RunKind};
use quantity::uncertainty::Budget;
use quantity::{Clock, significant};
use record::Record;

use super::{Tested, runs, told};
use crate::table::Table;
use crate::words::{NONE, file_name, fixed};

/// All runs, one a row.
pub(super) fn overview(tested: &[Tested<'_>]) -> Table {
    let mut table = Table::new("All runs")
        .text("Record")
        .text("Run")
        .number("Charge", "Ah")
        .number("±", "Ah")
        .number("Energy", "Wh")
        .number("≥ cutoff", "%")
        .number("Of label", "%");
    for (test, run) in runs(tested) {
        let mut cells = vec![file_name(&test.record.file).to_owned(), run.kind.name().to_owned()];
        if let Some(discharge) = &run.discharge {
            let of_label = discharge.share_of_label.filter(|_| run.kind == RunKind::Discharge);
            let of_label = of_label.map(|share| fixed(100.0 * share, 1));
            cells.extend([
                fixed(discharge.capacity_ah, 2),
                significant(discharge.capacity_u_ah, 2),
                fixed(discharge.energy_wh, 1),
                fixed(100.0 * discharge.above_cutoff.share, 1),
                of_label.unwrap_or_else(|| NONE.to_owned()),
            ]);
        } else if let Some(recharge) = &run.recharge {
            cells.extend([
                fixed(recharge.charge_ah, 2),
                significant(recharge.charge_u_ah, 2),
                fixed(recharge.energy_wh, 1),
            ]);
        }
        cells.resize(table.columns.len(), NONE.to_owned());
        table.row(cells);
    }
    table
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
            phase_name(phase.kind).to_owned(),
            Clock(phase.from_s).to_string(),
            Clock(phase.to_s).to_string(),
            fixed(phase.ah, 3),
            fixed(phase.wh, 2),
        ]);
    }
    table
}

pub(super) fn phase_name(kind: PhaseKind) -> &'static str {
    match kind {
        PhaseKind::ConstantCurrent => "constant current",
        PhaseKind::ConstantVoltage => "constant voltage",
        other => other.name(),
    }
}

/// The nights of a field run.
pub(super) fn nights(field: &Field) -> Table {
    let mut table = Table::new("Its nights")
        .number("Night", "")
        .number("From", "h:mm:ss")
        .number("To", "h:mm:ss")
        .number("Energy", "Wh")
        .number("±", "Wh")
        .number("Mean", "W")
        .number("Least", "V");
    for (at, night) in field.nights.iter().enumerate() {
        table.row([
            (at + 1).to_string(),
            Clock(night.from_s).to_string(),
            Clock(night.to_s).to_string(),
            fixed(night.energy_wh, 1),
            significant(night.energy_u_wh, 2),
            fixed(night.mean_power_w, 1),
            fixed(night.least_voltage_v, 2),
        ]);
    }
    table
}

/// The loads found in a field run.
pub(super) fn levels(field: &Field) -> Table {
    let mut table = Table::new("Loads that keep coming back")
        .number("Current", "A")
        .number("Power", "W")
        .number("Share of the time", "%");
    for level in &field.levels {
        table.row([
            fixed(level.current_a, 2),
            fixed(level.power_w, 1),
            fixed(100.0 * level.share_of_time, 1),
        ]);
    }
    table
}

/// Resistances at the steps of the current.
pub(super) fn resistances(resistances: &[Resistance]) -> Table {
    let mut table = Table::new("Resistance at steps of the current")
        .number("At", "h:mm:ss")
        .number("SoC", "%")
        .number("Step", "A")
        .number("After", "s")
        .number("Resistance", "mΩ")
        .number("±", "mΩ");
    for found in resistances {
        table.row([
            Clock(found.at_s).to_string(),
            found.soc.map_or_else(|| NONE.to_owned(), |soc| fixed(100.0 * soc, 0)),
            fixed(found.step_a, 2),
            significant(found.delay_s, 2),
            significant(1e3 * found.ohm, 3),
            significant(1e3 * found.u_ohm, 2),
        ]);
    }
    table
}

/// Where the uncertainty comes from, the greatest part first.
pub(super) fn doubts(doubts: &Doubts, charge_u_ah: f64, energy_u_wh: f64) -> Table {
    let (charge, energy) = (doubts.capacity_ah.whole(), doubts.energy_wh.whole());
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
    row("half-width of the 95 % interval", charge_u_ah, energy_u_wh);
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
    let mut columns: Vec<_> = record.columns.iter().collect();
    columns.sort_by_key(|column| column.number);
    for column in columns {
        table.row([
            column.number.to_string(),
            column.heading.clone(),
            column.role.name().to_owned(),
            column.unit.clone(),
            told::how_sure(column.how_sure).to_owned(),
        ]);
    }
    table
}
