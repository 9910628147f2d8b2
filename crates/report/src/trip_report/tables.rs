//! A forecast in tables.

use plan::{Plan, Supply};
use quantity::{Kind, significant};
use source::Conversion;
use trip::Forecast;

use super::told::{evening, failure};
use crate::harvest_report::stands;
use crate::table::Table;
use crate::words::{NONE, chance, day_and_clock, fixed, listed};

/// Night by night: how sure, and the energy of the typical trip.
pub(super) fn nights(forecast: &Forecast) -> Table {
    let draws = forecast.draws;
    let mut table = Table::new("Nights")
        .text("Evening")
        .number("Night", "h")
        .number("Chance", "")
        .number("95 % interval", "%")
        .number("At dusk", "% SoC")
        .number("At dawn", "% SoC")
        .number("Used", "Wh")
        .number("Harvest", "Wh");
    for night in &forecast.nights {
        let hours = night.to.duration_since(night.from).as_secs_f64() / 3600.0;
        // to whole numbers outwards: no surer than it is
        let (low, high) = (100.0 * night.chance.low, 100.0 * night.chance.high);
        let interval = format!("{:.0} to {:.0}", low.floor(), high.ceil());
        table.row([
            evening(night),
            fixed(hours, 1),
            chance(night.chance.share),
            interval,
            fixed(100.0 * night.soc_dusk, 0),
            fixed(100.0 * night.soc_dawn, 0),
            fixed(night.used_wh, 0),
            fixed(night.harvest_wh, 0),
        ]);
    }
    let mut note = format!("Chances are from {draws} drawn trips, the rest is the typical trip.");
    if forecast.nights.len() > 1 {
        let all = chance(forecast.trip.share);
        note.push_str(&format!(" All nights of the trip are carried in {all} of trips."));
    }
    table.note(note);
    table
}

/// Night by night: the device with the least to spare in the typical trip.
pub(super) fn voltages(plan: &Plan, forecast: &Forecast) -> Table {
    let mut table = Table::new("The device with the least to spare, typical trip")
        .text("Evening")
        .text("Device")
        .number("Sees at least", "V")
        .number("Needs", "V")
        .text("First failure");
    for night in &forecast.nights {
        let volts = |value: Option<f64>| value.map_or_else(|| NONE.to_owned(), |v| fixed(v, 2));
        table.row([
            evening(night),
            night.worst_device.clone().unwrap_or_else(|| NONE.to_owned()),
            volts(night.least_voltage_v),
            volts(night.needed_v),
            failure(plan, night).unwrap_or_else(|| "none".to_owned()),
        ]);
    }
    table
}

/// What fails first in the draws that fail, where any do.
pub(super) fn failures(plan: &Plan, forecast: &Forecast) -> Option<Table> {
    let mut table = Table::new("What fails first in the drawn trips")
        .text("Evening")
        .text("Device")
        .number("In", "% of trips")
        .text("Around (median)");
    for night in &forecast.nights {
        for culprit in &night.culprits {
            table.row([
                evening(night),
                culprit.device.clone().unwrap_or_else(|| "the pack's protection".to_owned()),
                few(culprit.share),
                day_and_clock(culprit.median_time, &plan.site.zone),
            ]);
        }
    }
    (!table.rows.is_empty()).then_some(table)
}

/// A share of trips (%) that may be small but is not none.
fn few(share: f64) -> String {
    if share < 5e-4 { "< 0.1".to_owned() } else { fixed(100.0 * share, 1) }
}

/// The energy balance of the typical trip.
pub(super) fn ledger(forecast: &Forecast) -> Table {
    let ledger = &forecast.ledger;
    let mut table = Table::new("The energy of the typical trip")
        .text("")
        .number("In", "Wh")
        .number("Out", "Wh");
    let wh = |value: f64| fixed(value, 1);
    let nothing = String::new;
    table.row(["stored at the start".to_owned(), wh(ledger.stored_start_wh), nothing()]);
    table.row(["harvest".to_owned(), wh(ledger.harvest_wh), nothing()]);
    for (name, value_wh) in [
        ("devices", ledger.loads_wh),
        ("lost in cables", ledger.cables_wh),
        ("lost in converters and controllers", ledger.converters_wh),
        ("lost in the pack", ledger.battery_losses_wh),
        ("stored at the end", ledger.stored_end_wh),
    ] {
        table.row([name.to_owned(), nothing(), wh(value_wh)]);
    }
    if ledger.cold_wh >= 0.05 {
        table.row(["taken by the cold".to_owned(), nothing(), wh(ledger.cold_wh)]);
    } else if ledger.cold_wh <= -0.05 {
        table.row([
            "charged in the cold, at less voltage".to_owned(),
            wh(-ledger.cold_wh),
            nothing(),
        ]);
    }
    let unused = [
        ("since the pack was full or held at its charging voltage", ledger.unused_full_wh),
        ("since the pack was too cold or too hot", ledger.unused_temperature_wh),
        ("since the pack takes no more current", ledger.unused_limit_wh),
    ];
    for (why, unused_wh) in unused.into_iter().filter(|(_, unused_wh)| *unused_wh >= 0.05) {
        table.note(format!(
            "Of {} Wh that the sources could have given {} Wh were not used, {why}.",
            wh(ledger.offered_wh),
            wh(unused_wh)
        ));
    }
    table.note(format!("Left over, by rounding: {:.1e} Wh.", ledger.imbalance_wh));
    table
}

/// The pack the forecast rests on.
pub(super) fn pack(plan: &Plan) -> Table {
    let pack = &plan.battery.pack;
    let mut table = Table::facts("The pack");
    let spread = |share: f64| match share {
        s if s > 0.0 => format!(", standard uncertainty {}", Kind::Fraction.show(s)),
        _ => String::new(),
    };
    table.row(["Name".to_owned(), pack.name.clone()]);
    if let Some(chemistry) = pack.chemistry {
        table.row(["Chemistry".to_owned(), chemistry.to_string()]);
    }
    table.row(["Label".to_owned(), Kind::Charge.show(pack.rated_ah)]);
    table.row([
        "Capacity".to_owned(),
        format!("{}{}", Kind::Charge.show(pack.circuit.capacity_ah), spread(pack.capacity_u())),
    ]);
    table.row(["Charged at the start".to_owned(), Kind::Fraction.show(plan.battery.soc_start)]);
    table
}

/// What puts energy in.
pub(super) fn sources(plan: &Plan) -> Option<Table> {
    let mut table = Table::new("The sources").text("Source").text("").text("How");
    for supply in &plan.supplies {
        let waits = supply.charges_above_c().map_or_else(String::new, |least_c| {
            format!("; waits for a pack of {}", Kind::Temperature.show(least_c))
        });
        match supply {
            Supply::Panel(panel) => {
                let controller = &panel.controller;
                let kind = match controller.conversion() {
                    Conversion::Mppt { efficiency } => {
                        format!("MPPT, {}", Kind::Fraction.show(efficiency))
                    }
                    Conversion::Pwm => "PWM".to_owned(),
                };
                let most = Kind::Current.show(controller.current_limit_a());
                let how =
                    format!("{}; controller {kind}, at most {most}{waits}", stands(&panel.aim));
                // full sun on cells of 25 °C: standard test conditions
                let gives = Kind::Power.show(panel.panel.power_w(1000.0, 25.0));
                table.row([panel.name.clone(), format!("panel, {gives} in full sun"), how]);
            }
            Supply::Charger(charger) => {
                let current = Kind::Current.show(charger.current_a);
                let how = format!("{current}, {}{waits}", charger.when);
                table.row([charger.name.clone(), "charger".to_owned(), how]);
            }
        }
    }
    (!table.rows.is_empty()).then_some(table)
}

/// The devices and what feeds them.
pub(super) fn devices(plan: &Plan) -> Table {
    let mut table = Table::new("The devices")
        .text("Device")
        .text("Draws")
        .number("±", "%")
        .text("When")
        .number("Needs", "V")
        .number("Own wire", "mΩ");
    let spreads = plan.gear.load_spread.iter().map(|spread| 100.0 * plan::COVERAGE_95 * spread);
    for (device, plus_minus) in plan.gear.rig.devices().iter().zip(spreads) {
        for used in &device.uses {
            let name = format!("{} {}", device.name, used.name);
            table.row([
                name.trim_end().to_owned(),
                load(used.load),
                significant(plus_minus, 2),
                used.when.to_string(),
                device.least_voltage_v.map_or_else(|| NONE.to_owned(), |v| significant(v, 3)),
                significant(1e3 * device.wire.ohm(), 3),
            ]);
        }
    }
    let rig = &plan.gear.rig;
    let restarting: Vec<String> = rig
        .devices()
        .iter()
        .enumerate()
        .filter(|(index, _)| rig.restart_v(*index).is_some())
        .map(|(_, device)| format!("the {} {}", device.name, device.after_brownout))
        .collect();
    if !restarting.is_empty() {
        table.note(format!("After a brownout {}.", listed(&restarting)));
    }
    table
}

fn load(load: rig::Load) -> String {
    match load {
        rig::Load::Power(power_w) => Kind::Power.show(power_w),
        rig::Load::Current(current_a) => Kind::Current.show(current_a),
        rig::Load::Resistance(ohm) => Kind::Resistance.show(ohm),
    }
}
