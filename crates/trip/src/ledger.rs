//! Where every watt-hour of a trip went.

use pack::Circuit;
use rig::Rig;

use crate::draws::Draw;
use crate::engine::Cell;
use crate::loads::{ALL_OFF, Loads};
use crate::trace::{Trace, Unused};

/// The energy balance of the central case, in Wh:
/// stored at start + harvest = loads + cables + converters + battery losses + stored at end,
/// and offered = harvest + what was not used of it.
#[derive(Debug, Clone, Copy, PartialEq, Default, serde::Serialize)]
pub struct Ledger {
    /// Held by the pack when the trip begins: the integral of its open-circuit voltage over charge.
    pub stored_start_wh: f64,
    /// The same when it ends.
    pub stored_end_wh: f64,
    /// What the sources could have given at the voltages there were.
    pub offered_wh: f64,
    /// From the sources into pack and rig.
    pub harvest_wh: f64,
    /// Not used since the pack was full, or held at its charging voltage.
    pub unused_full_wh: f64,
    /// Not used since the pack was too cold or too hot to be charged, or a source waited for it to be
    /// warmer.
    pub unused_temperature_wh: f64,
    /// Not used since the pack takes no more current.
    pub unused_limit_wh: f64,
    /// Into devices.
    pub loads_wh: f64,
    /// Lost in cables and connectors.
    pub cables_wh: f64,
    /// Lost in converters and controllers.
    pub converters_wh: f64,
    /// Lost in the pack: in its resistances, in charging, between its wells, in its heater, and what it
    /// draws on itself.
    pub battery_losses_wh: f64,
    /// What the sum leaves over: nothing but rounding.
    pub imbalance_wh: f64,
}

/// What each step of a trace comes to, beside the pack.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Use {
    pub(crate) load_w: f64,
    pub(crate) converter_w: f64,
    pub(crate) cable_w: f64,
    /// Into the pack's own heater.
    pub(crate) heater_w: f64,
    /// The device with the least voltage to spare, and what it sees.
    pub(crate) worst: Option<(usize, f64)>,
}

/// Solves the rig exactly for each step of a trace.
pub(crate) fn uses(trace: &Trace, rig: &Rig, loads: &mut Loads<'_>, draw: &Draw) -> Vec<Use> {
    let mut found = Vec::with_capacity(trace.moments.len());
    let standing_w = loads.standing_w();
    for moment in &trace.moments {
        let out_w = (moment.current_a + moment.source_a) * moment.voltage_v;
        if moment.off == ALL_OFF {
            // the protection has opened: not even what idles is fed
            found.push(Use { cable_w: out_w, ..Use::default() });
            continue;
        }
        let means = loads.means(moment.set, moment.off, draw);
        let Ok(seen) = rig.solve(moment.voltage_v, means) else {
            // the step in which something collapses; what went out is lost on the way
            found.push(Use { cable_w: out_w, ..Use::default() });
            continue;
        };
        let (load_w, converter_w) = (seen.load_w(), seen.converter_w() + standing_w);
        let heater_w = moment.heater_w;
        let spare_v = |index: usize| {
            seen.devices[index].voltage_v - rig.devices()[index].least_voltage_v.unwrap_or(0.0)
        };
        // what a converter gives does not fall with the pack
        let worst = (0..means.len())
            .filter(|index| !means[*index].is_off() && !rig.is_behind_converter(*index))
            .min_by(|a, b| spare_v(*a).total_cmp(&spare_v(*b)))
            .map(|index| (index, seen.devices[index].voltage_v));
        // the step's own curve of the rig is within 0.1 % of this solution; the difference goes to
        // the cables, of which it is an error
        found.push(Use {
            load_w,
            converter_w,
            cable_w: out_w - load_w - converter_w - heater_w,
            heater_w,
            worst,
        });
    }
    found
}

pub(crate) fn close(trace: &Trace, uses: &[Use], cell: &Cell<'_>) -> Ledger {
    let circuit = cell.circuit;
    let start_wh = stored_wh(circuit, cell.soc_start, 0.0, 0.0);
    let mut ledger =
        Ledger { stored_start_wh: start_wh, stored_end_wh: start_wh, ..Ledger::default() };
    let (mut terminals_wh, mut resistance_wh, mut heater_wh) = (0.0, 0.0, 0.0);
    for (moment, used) in trace.moments.iter().zip(uses) {
        let hours = moment.dt_s / 3600.0;
        terminals_wh += moment.voltage_v * moment.current_a * hours;
        resistance_wh += moment.loss_w * hours;
        ledger.harvest_wh += moment.voltage_v * moment.source_a * hours;
        let wh = |current_a: f64| moment.voltage_v * current_a * hours;
        let Unused { full_a, temperature_a, limit_a, waited_a } = moment.unused;
        ledger.unused_full_wh += wh(full_a);
        ledger.unused_temperature_wh += wh(temperature_a + waited_a);
        ledger.unused_limit_wh += wh(limit_a);
        ledger.offered_wh += wh(moment.source_a + full_a + temperature_a + limit_a + waited_a);
        ledger.loads_wh += used.load_w * hours;
        ledger.cables_wh += used.cable_w * hours;
        ledger.converters_wh += used.converter_w * hours;
        heater_wh += used.heater_w * hours;
    }
    if let Some(last) = trace.moments.last() {
        ledger.stored_end_wh = stored_wh(circuit, last.soc, last.gap, last.v1_v);
    }
    // what left the store and came neither to the terminals nor into the resistances: charging
    // that does not come back, the flow between the wells, what the pack draws on itself
    let within_wh = ledger.stored_start_wh - ledger.stored_end_wh - terminals_wh - resistance_wh;
    ledger.battery_losses_wh = resistance_wh + within_wh + heater_wh;
    ledger.imbalance_wh = ledger.stored_start_wh - ledger.stored_end_wh + ledger.harvest_wh
        - ledger.loads_wh
        - ledger.cables_wh
        - ledger.converters_wh
        - ledger.battery_losses_wh;
    ledger
}

/// Energy in the pack (Wh): the integral of the open-circuit voltage over the charge in each well,
/// and what the slow capacitance holds against it.
pub(crate) fn stored_wh(circuit: &Circuit, soc: f64, gap: f64, v1_v: f64) -> f64 {
    let at_hand = circuit.wells.map_or(1.0, |wells| wells.at_hand);
    let (here, bound) = (soc - (1.0 - at_hand) * gap, soc + at_hand * gap);
    let wells_wh = at_hand * circuit.ocv.area(here) + (1.0 - at_hand) * circuit.ocv.area(bound);
    circuit.capacity_ah * wells_wh + 0.5 * circuit.c1_f * v1_v * v1_v / 3600.0
}
