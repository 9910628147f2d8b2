//! Where every watt-hour of a trip went.

use pack::{Climate, State};
use rig::Rig;

use crate::draws::Draw;
use crate::engine::Cell;
use crate::loads::{ALL_OFF, Loads};
use crate::trace::{Trace, Unused};

/// The energy balance of the central case, in Wh:
/// stored at start + harvest = loads + cables + converters + battery losses + what the cold takes +
/// stored at end, and offered = harvest + what was not used of it.
#[derive(Debug, Clone, Copy, PartialEq, Default, serde::Serialize)]
pub struct Ledger {
    /// Held by the pack when the trip begins: the integral of its open-circuit voltage over charge,
    /// at 25 °C.
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
    /// What the cold takes: charge comes out of a cold pack at a lower voltage than at 25 °C. It goes
    /// in at a lower one as well, so this is less than nought where it went in colder than it came
    /// out.
    pub cold_wh: f64,
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
    let mut state = State::rested(cell.soc_start);
    let start_wh = circuit.stored_wh(&state, &Climate::MILD);
    let mut ledger =
        Ledger { stored_start_wh: start_wh, stored_end_wh: start_wh, ..Ledger::default() };
    for (moment, used) in trace.moments.iter().zip(uses) {
        let hours = moment.dt_s / 3600.0;
        let taken_wh = |climate: &Climate| {
            circuit.stored_wh(&state, climate) - circuit.stored_wh(&moment.state, climate)
        };
        let mild_wh = taken_wh(&Climate::MILD);
        let here_wh = taken_wh(&circuit.climate(moment.pack_c));
        ledger.cold_wh += mild_wh - here_wh;
        // what leaves the store and does not come out at the terminals: into the resistances, in
        // charging, in the flow between the wells, into what the pack draws on itself
        ledger.battery_losses_wh += here_wh - moment.voltage_v * moment.current_a * hours;
        ledger.battery_losses_wh += used.heater_w * hours;
        state = moment.state;
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
    }
    ledger.stored_end_wh = circuit.stored_wh(&state, &Climate::MILD);
    ledger.imbalance_wh = ledger.stored_start_wh - ledger.stored_end_wh + ledger.harvest_wh
        - ledger.loads_wh
        - ledger.cables_wh
        - ledger.converters_wh
        - ledger.battery_losses_wh
        - ledger.cold_wh;
    ledger
}

#[cfg(test)]
mod tests {
    use plan::Plan;

    use super::*;
    use crate::draws::Doubt;
    use crate::engine::{self, Keep};
    use crate::forecast::{cell_of, loads_of};
    use crate::prepare::prepare;
    use crate::skies::Skies;

    /// Three days of a lamp and a panel.
    fn lived(pack: &str, air: &str) -> (Plan, Trace, Ledger) {
        let text = format!(
            r#"
            format = 1
            [site]
            latitude = "50 N"
            longitude = "8 E"
            [air]
            {air}
            [trip]
            first_evening = "2027-04-10"
            nights = 3
            [pack]
            {pack}
            [rig.devices.lamp]
            power = "9 W"
            when = "night"
            least_voltage = "10.5 V"
            [sources.roof]
            panel = "40 W"
            flat = true
            controller = {{ kind = "MPPT", absorb = "14.4 V" }}
            "#
        );
        let plan = Plan::parse("plan.toml", std::path::Path::new(""), &text).unwrap();
        let (_, timeline) = prepare(&plan).unwrap();
        let (cell, mut loads) = (cell_of(&plan), loads_of(&plan, &timeline));
        let skies = Skies::of_plan(&plan).unwrap();
        let central = Doubt::of(&plan, skies, &timeline, &mut loads).central();
        let mut trace = Trace::default();
        let draws = std::array::from_ref(&central);
        let [_] = engine::run(&timeline, &cell, &mut loads, draws, Keep::Steps(&mut trace));
        let uses = uses(&trace, &plan.gear.rig, &mut loads, &central);
        let ledger = close(&trace, &uses, &cell);
        (plan, trace, ledger)
    }

    const FROSTY: &str = "night = \"-6 °C\"\nday = \"9 °C\"";

    #[test]
    fn no_pack_gives_more_than_it_was_given() {
        for chemistry in ["LFP", "NMC", "flooded", "AGM", "gel"] {
            for start in ["0 %", "3 %", "50 %", "100 %"] {
                let pack =
                    format!("chemistry = \"{chemistry}\"\nrated = \"20 Ah\"\nstart = \"{start}\"");
                let (_, trace, ledger) = lived(&pack, FROSTY);
                let moved_wh = ledger.harvest_wh + ledger.loads_wh;
                assert!(
                    ledger.battery_losses_wh > 0.005 * moved_wh,
                    "{chemistry} from {start}: {ledger:?}"
                );
                assert!(ledger.imbalance_wh.abs() < 1e-9 * moved_wh, "{ledger:?}");
                assert!(trace.moments.iter().all(|moment| moment.pack_c.is_finite()));
            }
        }
    }

    /// What is lost against what the resistances take, step by step: voltage within, in the middle
    /// of the step, less that at the terminals.
    #[test]
    fn losses_are_those_of_the_resistances() {
        let circuit = r#"
            start = "60 %"
            [pack.circuit]
            capacity = "20 Ah"
            r0 = "50 mohm"
            r1 = "20 mohm"
            c1 = "3000 F"
            ocv = [[0, 11], [0.1, 12.8], [0.5, 13.1], [0.9, 13.3], [1, 13.6]]
        "#;
        let (plan, trace, ledger) = lived(circuit, "night = \"5 °C\"\nday = \"5 °C\"");
        let circuit = &plan.battery.pack.circuit;
        let climate = circuit.climate(5.0);
        assert!(circuit.wells.is_none() && circuit.charge_efficiency == 1.0);
        let slow_wh = |state: &State| 0.5 * circuit.c1_f * state.v1_v * state.v1_v / 3600.0;
        let mut before = State::rested(0.6);
        let mut lost_wh = -slow_wh(&before);
        for moment in &trace.moments {
            let middle = State { soc: 0.5 * (before.soc + moment.state.soc), ..State::rested(0.0) };
            let within_v = circuit.internal_v(&middle, &climate);
            let off_w = moment.current_a * (within_v - moment.voltage_v);
            lost_wh += off_w * moment.dt_s / 3600.0;
            before = moment.state;
        }
        lost_wh -= slow_wh(&before);
        let off_wh = ledger.battery_losses_wh - lost_wh;
        assert!(off_wh.abs() < 2e-3 * lost_wh, "{lost_wh} Wh lost, {ledger:?}");
    }
}
