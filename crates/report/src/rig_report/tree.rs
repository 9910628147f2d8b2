//! The wiring as a tree on a scale of voltage.

use rig::{Inspection, Rig, SegmentSeen, Solution, Wire};

use super::tables::cable;
use crate::chart::{Ink, Row, Rows};
use crate::words::{fixed, listed};

/// The state that asks most of the wires, with the pack nearly empty; as at dusk where every state
/// collapses by then.
pub(super) fn worst(rig: &Rig, found: &Inspection) -> Option<Rows> {
    let at_end = found.states.iter().filter_map(|s| Some((s, s.greatest_at_end.as_ref().ok()?)));
    let at_dusk = found.states.iter().filter_map(|s| Some((s, s.greatest_at_dusk.as_ref().ok()?)));
    let greatest = |a: &(_, &Solution), b: &(_, &Solution)| a.1.source_a.total_cmp(&b.1.source_a);
    let (state, solution) = at_end.max_by(greatest).or_else(|| at_dusk.max_by(greatest))?;
    Some(wiring(rig, &state.name, solution))
}

/// The pack at the root, each branch and device at the voltage it sees.
fn wiring(rig: &Rig, name: &str, solution: &Solution) -> Rows {
    let mut rows = vec![Row {
        label: "pack".into(),
        depth: 0,
        detail: format!("{} W, {} A", fixed(solution.source_w(), 1), fixed(solution.source_a, 2)),
        from: None,
        at: solution.source_v,
        least: None,
        value: format!("{} V", fixed(solution.source_v, 2)),
        ink: Ink::One,
    }];
    hang(rig, solution, None, 1, &mut rows);
    let failing: Vec<String> = rig
        .devices()
        .iter()
        .zip(&solution.devices)
        .filter(|(_, seen)| !seen.ok)
        .map(|(device, _)| device.name.clone())
        .collect();
    let verdict = if failing.is_empty() {
        "Every device gets the voltage it needs.".to_owned()
    } else {
        format!("Too low a voltage: {}.", listed(&failing))
    };
    Rows {
        title: format!("Wiring: {name}"),
        description: verdict,
        axis: "Voltage (V)".into(),
        range: None,
        rows,
    }
}

/// Adds what hangs on a branch, or on the pack, and what hangs on that.
fn hang(rig: &Rig, solution: &Solution, feed: Option<&str>, depth: usize, rows: &mut Vec<Row>) {
    for (branch, seen) in rig.branches().iter().zip(&solution.branches) {
        if branch.feed.as_deref() != feed {
            continue;
        }
        let mut row = row(&branch.name, depth, &branch.wire, seen);
        if let Some(converter) = &branch.converter {
            row.detail = format!("{}, converter to {} V", row.detail, fixed(converter.output_v, 1));
        }
        rows.push(row);
        hang(rig, solution, Some(&branch.name), depth + 1, rows);
    }
    for ((device, seen), wire) in rig.devices().iter().zip(&solution.devices).zip(&solution.wires) {
        if device.feed.as_deref() != feed {
            continue;
        }
        let mut row = row(&device.name, depth, &device.wire, wire);
        row.least = device.least_voltage_v;
        if !seen.ok {
            row.ink = Ink::Alarm;
            row.value = format!("{}, too low", row.value);
        }
        rows.push(row);
    }
}

fn row(name: &str, depth: usize, wire: &Wire, seen: &SegmentSeen) -> Row {
    Row {
        label: name.to_owned(),
        depth,
        detail: match cable(wire) {
            Some(cable) => format!("{cable}, {} A", fixed(seen.current_a, 2)),
            None => format!("{} A", fixed(seen.current_a, 2)),
        },
        from: Some(seen.from_v),
        at: seen.to_v,
        least: None,
        value: format!("{} V", fixed(seen.to_v, 2)),
        ink: Ink::One,
    }
}
