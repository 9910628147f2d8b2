//! What can hurt someone on the trip, where the plan's numbers call for it (common practice, no
//! source, unless one is named).

use plan::Plan;
use quantity::Kind;
use trip::Forecast;

pub(super) const FIRST: &str =
    "The makers' instructions, local codes and licensed practice come before anything said here.";

/// Energies (Wh) at which a lithium battery needs an airline's approval, and above which
/// passengers can't take it (ICAO Technical Instructions, Doc 9284; IATA Dangerous Goods
/// Regulations, table 2.3.A; from memory).
const BY_AIR_WH: [f64; 2] = [100.0, 160.0];

/// A device that restarts so often in a night hunts.
const HUNTS: usize = 3;

/// Devices that come on and brown out again and again.
fn hunting(forecast: &Forecast) -> Vec<String> {
    let restarts = || forecast.nights.iter().flat_map(|night| &night.restarts);
    let mut worst: Vec<&trip::Restarts> = Vec::new();
    for found in restarts().filter(|restarts| restarts.times >= HUNTS) {
        match worst.iter_mut().find(|known| known.device == found.device) {
            Some(known) if known.times >= found.times => {}
            Some(known) => *known = found,
            None => worst.push(found),
        }
    }
    let told = |found: &trip::Restarts| {
        let (device, times) = (&found.device, super::told::times(found));
        format!(
            "The {device} hunts: in the typical trip it restarts {times} in one night, for its voltage is enough without its load and too little with it. Power that comes and goes can spoil what is being written and strain drives and motors: let it stay off, or restart at a higher voltage."
        )
    };
    worst.into_iter().map(told).collect()
}

pub(super) fn of(plan: &Plan, forecast: &Forecast) -> Vec<String> {
    let mut cautions = Vec::new();
    let pack = &plan.battery.pack;
    let is_lithium = pack.chemistry.is_some_and(pack::Chemistry::is_lithium);
    let is_lead = pack.chemistry.is_some_and(|chemistry| !chemistry.is_lithium());
    let is_charged = !plan.supplies.is_empty();
    if let Some(survey) = &forecast.survey {
        cautions.extend(crate::rig_report::cautions(&survey.found));
    }
    let coldest_c = plan.air.night_c.value - plan.air.night_c.plus_minus.unwrap_or(0.0);
    let least_c = pack.limits.charge_least_c.unwrap_or(0.0);
    if is_lithium && is_charged && coldest_c < least_c {
        let waits = |supply: &plan::Supply| supply.charges_above_c().is_some_and(|c| c >= least_c);
        let itself = if plan.supplies.iter().all(waits) {
            "The plan leaves the sources unplugged until the pack is warmer: someone has to see to that every cold morning, by a thermometer at the pack."
        } else if pack.limits.refuses_frost {
            "The plan takes it that this pack refuses such a charge by itself; make sure that it does."
        } else {
            "NOTHING IN THIS PLAN STOPS IT: this pack does not refuse such a charge by itself."
        };
        cautions.push(format!(
            "The air may fall to {coldest_c:.0} °C. Charging a lithium battery below {least_c:.0} °C harms it for good and can make it unsafe: keep it warm, or wait until it is. {itself}",
        ));
    }
    cautions.extend(hunting(forecast));
    if is_lead && is_charged {
        cautions.push("A lead-acid battery gives off explosive gas while it is charged: air its box, no flame, no sparks.".into());
    }
    let bears_v = pack.limits.bears_v().unwrap_or(f64::INFINITY);
    for supply in plan.supplies.iter().filter(|supply| supply.absorb_v() > bears_v) {
        cautions.push(format!(
            "{:?} charges up to {}, but this battery is to be charged to {} at most: it can be ruined, vent or catch fire. The trip takes it that the charge ends when the battery is full.",
            supply.name(),
            Kind::Voltage.show(supply.absorb_v()),
            Kind::Voltage.show(bears_v)
        ));
    }
    if is_charged {
        cautions.push("Charge only with a charger or controller set for this battery's chemistry and voltage, within the limits its maker gives.".into());
    }
    let held_wh = forecast.ledger.stored_start_wh / plan.battery.soc_start.max(0.01);
    if is_lithium && held_wh > BY_AIR_WH[0] {
        cautions.push(format!(
            "The battery holds about {held_wh:.0} Wh. {} Ask the carrier before you fly or ship.",
            if held_wh > BY_AIR_WH[1] {
                "Passengers can't take lithium batteries above 160 Wh on board an aircraft."
            } else {
                "Above 100 Wh an airline must approve a lithium battery."
            }
        ));
    }
    cautions
}
