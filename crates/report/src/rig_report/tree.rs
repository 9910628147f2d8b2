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

/// A picture in the making: where rows go, and the scale they are on.
struct Drawing<'a> {
    rig: &'a Rig,
    solution: &'a Solution,
    /// Whether voltages are shares of what the pack or the nearest converter gives: those of
    /// 5 V and 230 V would not fit on one scale.
    in_percent: bool,
    rows: Vec<Row>,
}

/// The pack at the root, each branch and device at the voltage it sees.
fn wiring(rig: &Rig, name: &str, solution: &Solution) -> Rows {
    let in_percent = rig.branches().iter().any(|branch| branch.converter.is_some());
    let root = Row {
        label: "pack".into(),
        depth: 0,
        detail: format!("{} W, {} A", fixed(solution.source_w(), 1), fixed(solution.source_a, 2)),
        from: None,
        at: if in_percent { 100.0 } else { solution.source_v },
        least: None,
        value: format!("{} V", fixed(solution.source_v, 2)),
        ink: Ink::One,
    };
    let mut drawing = Drawing { rig, solution, in_percent, rows: vec![root] };
    drawing.hang(None, solution.source_v, 1);
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
        axis: if in_percent {
            "Voltage, as a share of the pack's or converter's (%)"
        } else {
            "Voltage (V)"
        }
        .into(),
        range: None,
        rows: drawing.rows,
    }
}

impl Drawing<'_> {
    /// Adds what hangs on a branch, or on the pack, and what hangs on that. `top_v` is what the
    /// pack or the nearest converter above gives.
    fn hang(&mut self, feed: Option<&str>, top_v: f64, depth: usize) {
        let (rig, solution) = (self.rig, self.solution);
        for (branch, seen) in rig.branches().iter().zip(&solution.branches) {
            if branch.feed.as_deref() != feed {
                continue;
            }
            let mut row = self.row(&branch.name, depth, &branch.wire, seen, top_v);
            let output_v = branch.converter.map(|converter| converter.output_v);
            if let Some(output_v) = output_v {
                row.detail = format!("{}, converter to {} V", row.detail, fixed(output_v, 1));
            }
            self.rows.push(row);
            self.hang(Some(&branch.name), output_v.unwrap_or(top_v), depth + 1);
        }
        for ((device, seen), wire) in
            rig.devices().iter().zip(&solution.devices).zip(&solution.wires)
        {
            if device.feed.as_deref() != feed {
                continue;
            }
            let mut row = self.row(&device.name, depth, &device.wire, wire, top_v);
            row.least = device.least_voltage_v.map(|least_v| self.on_scale(least_v, top_v));
            if !seen.ok {
                row.ink = Ink::Alarm;
                row.value = format!("{}, too low", row.value);
            }
            self.rows.push(row);
        }
    }

    fn on_scale(&self, voltage_v: f64, top_v: f64) -> f64 {
        if self.in_percent { 100.0 * voltage_v / top_v } else { voltage_v }
    }

    fn row(&self, name: &str, depth: usize, wire: &Wire, seen: &SegmentSeen, top_v: f64) -> Row {
        Row {
            label: name.to_owned(),
            depth,
            detail: match cable(wire) {
                Some(cable) => format!("{cable}, {} A", fixed(seen.current_a, 2)),
                None => format!("{} A", fixed(seen.current_a, 2)),
            },
            from: Some(self.on_scale(seen.from_v, top_v)),
            at: self.on_scale(seen.to_v, top_v),
            least: None,
            value: format!("{} V", fixed(seen.to_v, 2)),
            ink: Ink::One,
        }
    }
}
