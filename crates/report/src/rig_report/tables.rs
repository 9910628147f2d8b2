//! The power budget, the devices and the wires.

use quantity::{Kind, significant};
use rig::{Advice, DeviceCheck, Inspection, Rig, SegmentCheck, Wire};
use trip::Survey;

use crate::table::Table;
use crate::words::{NONE, fixed, sentence};

/// How many nights there are, to divide by.
pub(super) fn nights(survey: &Survey) -> f64 {
    survey.nights.len().max(1) as f64
}

/// What the rig takes, night by night.
pub(super) fn energy(survey: &Survey) -> Table {
    let mut table = Table::new("Energy, from noon to noon")
        .text("Evening")
        .number("Devices", "Wh")
        .number("Wires", "Wh")
        .number("Converters", "Wh")
        .number("Pack", "Wh");
    for night in &survey.nights {
        let budget = &night.budget;
        table.row([
            night.evening.strftime("%a %-d %b").to_string(),
            fixed(budget.devices_wh.iter().sum(), 1),
            fixed(budget.cable_wh, 1),
            fixed(budget.converter_wh, 1),
            fixed(budget.used_wh, 1),
        ]);
    }
    table
}

/// What the rig takes, state by state.
pub(super) fn budget(found: &Inspection) -> Table {
    let mut table = Table::new("What is on")
        .text("On")
        .number("In all", "h")
        .number("Mean", "W")
        .number("Mean", "A")
        .number("Greatest", "A");
    for state in &found.states {
        let greatest = state.greatest_at_end.as_ref().or(state.greatest_at_dusk.as_ref());
        let greatest_a = greatest
            .map_or_else(|_| "collapses".to_owned(), |solution| fixed(solution.source_a, 2));
        table.row([
            state.name.clone(),
            fixed(state.lasting_s / 3600.0, 1),
            fixed(state.mean.source_w(), 1),
            fixed(state.mean.source_a, 2),
            greatest_a,
        ]);
    }
    table
}

/// What each device needs and sees.
pub(super) fn devices(survey: &Survey) -> Table {
    let terms = &survey.terms;
    let mut table = Table::new("What each device takes, and sees at its worst")
        .text("Device")
        .number("A night", "Wh")
        .number("Needs", "V")
        .number(format!("Pack at {} V", fixed(terms.dusk_v, 1)), "V")
        .number(format!("Pack at {} V", fixed(terms.end_v, 1)), "V")
        .text("");
    let volts = |value: Option<f64>| value.map_or_else(|| NONE.to_owned(), |v| fixed(v, 2));
    for (index, device) in survey.found.devices.iter().enumerate() {
        let taken = survey.nights.iter().filter_map(|night| night.budget.devices_wh.get(index));
        table.row([
            device.name.clone(),
            fixed(taken.sum::<f64>() / nights(survey), 1),
            volts(device.least_v),
            volts(device.dusk_v),
            volts(device.end_v),
            if device.ok { "enough" } else { "too low" }.to_owned(),
        ]);
    }
    table
}

/// What would mend the devices that see too little, a sentence each.
pub(super) fn advice(rig: &Rig, found: &Inspection) -> Vec<String> {
    let short = found.devices.iter().filter(|device| !device.ok);
    short.map(|device| advice_for(rig, device)).collect()
}

fn advice_for(rig: &Rig, device: &DeviceCheck) -> String {
    let ways: Vec<String> = device.advice.iter().filter_map(|advice| way(rig, advice)).collect();
    if ways.is_empty() {
        format!("No other wire alone would give {} enough.", device.name)
    } else {
        sentence(&format!("{} gets enough with {}", device.name, ways.join("; or with ")))
    }
}

fn way(rig: &Rig, advice: &Advice) -> Option<String> {
    let name = rig.name_at(advice.place)?;
    let section = advice.section.map(|section| format!("{section} on the way to {name}"));
    let length = advice
        .length_m
        .map(|length_m| format!("at most {} of the present cable", Kind::Length.show(length_m)));
    match (section, length) {
        (Some(section), Some(length)) => Some(format!("{section} (or {length})")),
        (section, length) => section.or(length),
    }
}

/// What each wire carries, drops and loses.
pub(super) fn wires(survey: &Survey) -> Table {
    let mut table = Table::new("Wires, at their worst")
        .text("Wire to")
        .text("Cable")
        .number("Takes", "A")
        .number("Carries", "A")
        .number("Fuse", "A")
        .number("Drop", "V")
        .number("Drop", "%")
        .number("A night", "Wh")
        .text("");
    for segment in &survey.found.segments {
        table.row(wire_cells(segment, nights(survey)));
    }
    table
}

fn wire_cells(segment: &SegmentCheck, nights: f64) -> [String; 9] {
    let amperes = |value: Option<f64>| value.map_or_else(|| NONE.to_owned(), |a| significant(a, 2));
    [
        segment.to.clone(),
        cable(&segment.wire).unwrap_or_else(|| NONE.to_owned()),
        fixed(segment.peak_a, 2),
        amperes(segment.ampacity_a),
        amperes(segment.fuse.map(|fuse| fuse.rated_a)),
        fixed(segment.drop_v, 2),
        fixed(100.0 * segment.drop_share, 1),
        fixed(segment.loss_wh / nights, 1),
        if segment.ok() { "" } else { "check" }.to_owned(),
    ]
}

/// A cable in words: "2.5 m of 16 AWG".
pub(super) fn cable(wire: &Wire) -> Option<String> {
    let cable = wire.cable?;
    Some(format!("{} of {}", Kind::Length.show(cable.length_m), cable.section))
}
