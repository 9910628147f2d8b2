//! Devices and wires at one instant.

use quantity::{Kind, significant};
use rig::{Rig, SegmentSeen, Solution, Wire};

use crate::table::Table;
use crate::words::{NONE, fixed};

/// What each device draws, sees and needs.
pub(super) fn devices(rig: &Rig, name: &str, solution: &Solution) -> Table {
    let mut table = Table::new(format!("{name}, {} V at the pack", fixed(solution.source_v, 2)))
        .text("Device")
        .number("Draws", "W")
        .number("Current", "A")
        .number("Sees", "V")
        .number("Needs", "V")
        .text("");
    for (device, seen) in rig.devices().iter().zip(&solution.devices) {
        table.row([
            device.name.clone(),
            fixed(seen.power_w, 1),
            fixed(seen.current_a, 2),
            fixed(seen.voltage_v, 2),
            device.least_voltage_v.map_or_else(|| NONE.to_owned(), |least_v| fixed(least_v, 2)),
            if seen.ok { String::new() } else { "too low".to_owned() },
        ]);
    }
    table.row([
        "out of the pack".to_owned(),
        fixed(solution.source_w(), 1),
        fixed(solution.source_a, 2),
        fixed(solution.source_v, 2),
        String::new(),
        String::new(),
    ]);
    table
}

/// What each wire carries, drops and loses.
pub(super) fn wires(rig: &Rig, solution: &Solution) -> Table {
    let mut table = Table::new("Wires")
        .text("Wire to")
        .text("Cable")
        .number("Resistance", "mΩ")
        .number("Current", "A")
        .number("Drop", "V")
        .number("Drop", "%")
        .number("Loss", "W")
        .number("Fuse", "A");
    let branches = rig.branches().iter().map(|branch| (&branch.name, &branch.wire));
    let devices = rig.devices().iter().map(|device| (&device.name, &device.wire));
    let seen = solution.branches.iter().chain(&solution.wires);
    for ((name, wire), seen) in branches.chain(devices).zip(seen) {
        table.row(wire_cells(name, wire, seen));
    }
    table
}

fn wire_cells(name: &str, wire: &Wire, seen: &SegmentSeen) -> Vec<String> {
    let drop_v = seen.from_v - seen.to_v;
    vec![
        name.to_owned(),
        cable(wire),
        significant(1e3 * wire.ohm(), 3),
        fixed(seen.current_a, 2),
        fixed(drop_v, 3),
        fixed(100.0 * drop_v / seen.from_v, 1),
        fixed(seen.loss_w, 2),
        wire.fuse.map_or_else(|| NONE.to_owned(), |fuse| significant(fuse.rated_a, 2)),
    ]
}

/// A wire in words: "2.5 m of 16 AWG".
pub(super) fn cable(wire: &Wire) -> String {
    wire.cable.map_or_else(
        || NONE.to_owned(),
        |cable| format!("{} of {}", Kind::Length.show(cable.length_m), cable.section),
    )
}
