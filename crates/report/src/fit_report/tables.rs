//! The numbers of a fit.

use pack::Pack;
use pack::fit::{Fit, Met, Parameter};
use quantity::{Kind, significant};

use super::Fitted;
use crate::table::{NO_BREAK, Table};
use crate::words::{NONE, file_name, fixed};

pub(super) fn parameters(fit: &Fit) -> Table {
    let mut table = Table::new("Parameters at 25 °C")
        .text("")
        .number("Value", "")
        .number("95 %", "")
        .text("How it is known");
    let pack = &fit.pack;
    let capacity = show("Ah", pack.circuit.capacity_ah);
    let known = match fit.not_below_v {
        None => "measured",
        Some(_) => "as far as the records go",
    };
    table.row(["capacity".to_owned(), capacity, within(pack.capacity_u()), known.into()]);
    for parameter in &fit.parameters {
        let Parameter { name, unit, value, relative_u, held } = parameter;
        let known = match held {
            None => "measured".to_owned(),
            Some(why) => format!("not measured: {why}"),
        };
        table.row([(*name).to_owned(), show(unit, *value), within(*relative_u), known]);
    }
    table
}

/// Half the width of a 95 % interval; a factor where that says more.
fn within(relative_u: f64) -> String {
    /// No battery is this far from what is typical.
    const NOT_KNOWN: f64 = 1.6;
    if !relative_u.is_finite() || relative_u > NOT_KNOWN {
        NONE.to_owned()
    } else if relative_u < 0.25 {
        format!("±{NO_BREAK}{}{NO_BREAK}%", significant(200.0 * relative_u, 2))
    } else {
        format!("×÷{NO_BREAK}{}", significant((2.0 * relative_u).exp(), 2))
    }
}

fn show(unit: &str, value: f64) -> String {
    let number = |unit: &str| format!("{}{NO_BREAK}{unit}", significant(value, 3));
    match unit {
        "1" => format!("{}{NO_BREAK}%", significant(100.0 * value, 2)),
        "Ω" => Kind::Resistance.show(value),
        unit => number(unit),
    }
}

pub(super) fn records(fitted: &Fitted<'_>) -> Table {
    let mut table = met_table("The records, by the model fitted to all of them");
    for (met, record) in fitted.fit.runs.iter().zip(&fitted.records) {
        let name = file_name(record.name);
        let name =
            if record.from_full { name.to_owned() } else { format!("{name} (began not full)") };
        table.row(met_row(name, met));
    }
    table
}

pub(super) fn left_out(fit: &Fit) -> Option<Table> {
    let mut table = met_table("Each record, by a model fitted to the others");
    for met in &fit.left_out {
        table.row(met_row(file_name(&met.name).to_owned(), met));
    }
    (!fit.left_out.is_empty()).then_some(table)
}

fn met_table(caption: &str) -> Table {
    Table::new(caption)
        .text("Record")
        .number("Measured", "h")
        .number("Model", "h")
        .number("Off", "%")
        .number("RMS", "mV")
}

fn met_row(name: String, met: &Met) -> [String; 5] {
    let modelled = met.modelled_s.map_or_else(|| "not reached".to_owned(), hours);
    let off = met.time_off().map_or_else(|| NONE.to_owned(), |off| signed(100.0 * off));
    [name, hours(met.measured_s), modelled, off, fixed(1e3 * met.rms_v, 1)]
}

fn hours(time_s: f64) -> String {
    fixed(time_s / 3600.0, 3)
}

fn signed(value: f64) -> String {
    let text = fixed(value, 2);
    if value > 0.0 && text != "0.00" { format!("+{text}") } else { text.replace('-', "−") }
}

pub(super) fn sheet(pack: &Pack) -> Table {
    let mut table = Table::facts("");
    table.row(["Pack", &super::told::subtitle(pack)]);
    table.row(["Capacity, emptied slowly", &show("Ah", pack.circuit.capacity_ah)]);
    if let Some(wells) = pack.circuit.wells {
        table.row(["At hand at once", &show("1", wells.at_hand)]);
        table.row(["Rate of the wells", &show("1/s", wells.rate_per_s)]);
    }
    table.row(["R0, typical", &show("Ω", pack.circuit.r0_ohm)]);
    table
}
