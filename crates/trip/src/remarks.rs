//! What is worth a word about a plan beside its numbers.

use plan::{Plan, Supply};
use quantity::Kind;
use source::Conversion;

use crate::calendar::Calendar;
use crate::ledger::Use;
use crate::trace::{Trace, Unused};

/// More than this between packs that are joined is told (common practice, no source).
const JOINING_A: f64 = 1.0;

/// The highest voltage there ever is at the pack: full, or held by a source.
fn highest_v(plan: &Plan) -> f64 {
    let full_v = plan.battery.pack.circuit.ocv.at(1.0);
    plan.supplies.iter().map(Supply::absorb_v).fold(full_v, f64::max)
}

/// Less than this, and less than so much of what is offered on a day, is not worth a word.
const KEPT_OUT_WH: f64 = 5.0;
const KEPT_OUT: f64 = 0.05;

/// The days on which much is kept out of the pack by its temperature.
fn kept_out(calendar: &Calendar, trace: &Trace) -> Option<String> {
    let mut days = vec![(0.0, 0.0); calendar.evenings.len()];
    for moment in &trace.moments {
        let Unused { full_a, temperature_a, limit_a, waited_a } = moment.unused;
        let wh = |current_a: f64| current_a * moment.voltage_v * moment.dt_s / 3600.0;
        let Some((kept_wh, offered_wh)) = days.get_mut(moment.night) else { continue };
        *kept_wh += wh(temperature_a + waited_a);
        *offered_wh += wh(moment.source_a + full_a + temperature_a + limit_a + waited_a);
    }
    let much = |(kept_wh, offered_wh): (f64, f64)| kept_wh > KEPT_OUT_WH.max(KEPT_OUT * offered_wh);
    let told: Vec<String> = days
        .iter()
        .zip(&calendar.evenings)
        .filter(|(day, _)| much(**day))
        .map(|((kept_wh, offered_wh), evening)| {
            let date = evening.date.strftime("%-d %B");
            format!("{kept_wh:.0} of {offered_wh:.0} Wh on {date}")
        })
        .collect();
    (!told.is_empty()).then(|| {
        format!(
            "Too cold, or too hot, a pack takes no charge. In the typical trip that keeps out what the sources could have given: {}.",
            told.join(", ")
        )
    })
}

/// A source that ends its charge with the pack less full than this is told of (common practice, no
/// source).
const NEARLY_FULL: f64 = 0.9;

const FULL_SUN_W_M2: f64 = 1000.0;
const WARM_C: f64 = 25.0;

/// Why a source can't charge the pack, or not fill it, whatever the weather.
fn gives_little(plan: &Plan, supply: &Supply) -> Option<String> {
    let circuit = &plan.battery.pack.circuit;
    let rests_v = |soc: f64| circuit.ocv.at(soc) + circuit.offset_v;
    let (name, ends_v) = (supply.name(), supply.absorb_v());
    let volt = |v: f64| Kind::Voltage.show((10.0 * v).round() / 10.0);
    if ends_v <= rests_v(0.0) {
        return Some(format!(
            "{name:?} never charges this pack: it gives no more than {}, and the pack stands at {} when it is empty, at {} when it is full.",
            volt(ends_v),
            volt(rests_v(0.0)),
            volt(rests_v(1.0))
        ));
    }
    if ends_v < rests_v(NEARLY_FULL) {
        let reached = |percent: &u32| rests_v(f64::from(*percent) / 100.0) < ends_v;
        let percent = (0..100).rev().find(reached).unwrap_or(0);
        return Some(format!(
            "{name:?} does not fill this pack: it gives no more than {}, which is where the pack rests with {percent} % in it.",
            volt(ends_v)
        ));
    }
    let Supply::Panel(panel) = supply else { return None };
    let best_v = panel.panel.max_power(FULL_SUN_W_M2, WARM_C).voltage_v;
    match panel.controller.conversion() {
        Conversion::Pwm => {
            let half_v = rests_v(0.5);
            (panel.panel.current_a(FULL_SUN_W_M2, WARM_C, half_v) <= 0.0).then(|| {
                format!(
                    "{name:?} never charges this pack: through a PWM controller the panel must reach the pack's {}, and it gives nothing there.",
                    volt(half_v)
                )
            })
        }
        // common practice, no source
        Conversion::Mppt { .. } => (best_v < rests_v(0.5)).then(|| {
            format!(
                "The panel of {name:?} works at {}, below the pack's {}. Most MPPT controllers only step a voltage down: such a one charges nothing here. The trip takes it that this one steps up.",
                volt(best_v),
                volt(rests_v(0.5))
            )
        }),
    }
}

/// 12 V gear is made for no more than about this (common practice, no source).
const MOST_12_V: f64 = 16.0;

/// What hangs on a pack of more than 12 V without a converter before it.
fn more_than_12_v(plan: &Plan, highest_v: f64) -> Option<String> {
    let rig = &plan.gear.rig;
    let bare = |index: &usize| !rig.is_behind_converter(*index);
    let names: Vec<String> = (0..rig.devices().len())
        .filter(bare)
        .map(|index| format!("{:?}", rig.devices()[index].name))
        .collect();
    (highest_v > MOST_12_V && !names.is_empty()).then(|| {
        format!(
            "There are up to {} at this pack. That destroys 12 V gear and can set it on fire: what has no converter before it must be made for so much ({}).",
            Kind::Voltage.show((10.0 * highest_v).round() / 10.0),
            names.join(", ")
        )
    })
}

/// What asks for more than the full pack gives at the voltage that it needs.
fn beyond_the_pack(plan: &Plan) -> Vec<String> {
    let circuit = &plan.battery.pack.circuit;
    let full_v = circuit.ocv.at(1.0) + circuit.offset_v;
    let rig = &plan.gear.rig;
    let told = |(index, device): (usize, &rig::Device)| {
        let least_v = device.least_voltage_v.filter(|v| (0.0..full_v).contains(v))?;
        let asks_w =
            device.uses.iter().map(|used| used.greatest().power_w(least_v)).fold(0.0, f64::max);
        let gives_w = least_v * (full_v - least_v) / circuit.r0_ohm;
        (asks_w > gives_w && !rig.is_behind_converter(index)).then(|| {
            format!(
                "The {} asks for up to {}, and the pack alone, full and warm, gives no more than about {} at the {} that it needs: it can't run from it.",
                device.name,
                Kind::Power.show(asks_w.round()),
                Kind::Power.show(gives_w.round()),
                Kind::Voltage.show(least_v)
            )
        })
    };
    rig.devices().iter().enumerate().filter_map(told).collect()
}

/// What can't work or can't fail in the plan, devices whose schedule hangs on something the sky does
/// not do, a pack emptied further than is good for it, charge that is kept out of it.
pub(crate) fn remarks(
    plan: &Plan,
    calendar: &Calendar,
    trace: &Trace,
    uses: &[Use],
) -> Vec<String> {
    let mut remarks = Vec::new();
    let is_idle =
        trace.moments.iter().zip(uses).all(|(moment, used)| moment.off == 0 && used.load_w == 0.0);
    if is_idle {
        remarks.push("No device draws anything in any of these nights, so nothing can fail: look at the hours and the loads of the plan.".to_owned());
    }
    remarks.extend(plan.supplies.iter().filter_map(|supply| gives_little(plan, supply)));
    let least_soc = trace.moments.iter().map(|moment| moment.state.soc).fold(1.0, f64::min);
    if let Some(advised_soc) = plan.battery.pack.limits.advised_soc.filter(|soc| least_soc < *soc) {
        remarks.push(format!(
            "The pack is emptied to {}; below {} such a battery ages fast.",
            Kind::Fraction.show((100.0 * least_soc).round() / 100.0),
            Kind::Fraction.show(advised_soc)
        ));
    }
    remarks.extend(kept_out(calendar, trace));
    let inrush_a = plan.battery.inrush_a;
    if inrush_a > JOINING_A {
        remarks.push(format!(
            "Unlike packs are joined: about {} flow between them at that moment. Join packs only when their voltages are alike, each with its own fuse, as their makers allow; otherwise cables burn.",
            Kind::Current.show(inrush_a.round())
        ));
    }
    let highest_v = highest_v(plan);
    remarks.extend(more_than_12_v(plan, highest_v));
    remarks.extend(beyond_the_pack(plan));
    for (index, device) in plan.gear.rig.devices().iter().enumerate() {
        let never = device.least_voltage_v.filter(|least_v| *least_v > highest_v);
        if let Some(least_v) = never.filter(|_| !plan.gear.rig.is_behind_converter(index)) {
            remarks.push(format!(
                "The {} needs at least {}, and there is never more than {} at the pack: it can't run from it.",
                device.name,
                Kind::Voltage.show(least_v),
                Kind::Voltage.show(highest_v)
            ));
        }
        for used in &device.uses {
            let missing: Vec<String> = calendar
                .evenings
                .iter()
                .filter(|evening| {
                    !calendar.moments(evening, |moments| used.when.missing(moments)).is_empty()
                })
                .map(|evening| evening.date.to_string())
                .collect();
            if !missing.is_empty() {
                let (name, when) = (&device.name, &used.when);
                remarks.push(format!(
                    "{name} (\"{when}\") does not run on the evenings of {}: the sky does not do what its schedule hangs on",
                    missing.join(", ")
                ));
            }
        }
    }
    remarks
}
