//! What to do about a cause that is sure: which figure of the plan to change, or what to look at.

use jiff::SignedDuration;
use plan::{Plan, Weather};
use quantity::Kind;
use trip::{Explanation, Hindsight, Suspect};

use crate::words::fixed;

pub(super) fn next(plan: &Plan, found: &Hindsight, cause: &Explanation) -> String {
    let amount = cause.amount;
    let percent = |share: f64| format!("{} %", fixed(100.0 * share, 0));
    let told = match &cause.what {
        Suspect::Capacity => {
            let planned_ah = plan.battery.pack.circuit.capacity_ah;
            format!(
                "plan with a capacity of about {} Ah in [pack], not {} Ah; a bench test of the pack tells it best",
                fixed(planned_ah * amount, 1),
                fixed(planned_ah, 1)
            )
        }
        Suspect::Charge => format!(
            "charge it fully before the next trip, or write start = \"{}\" in [pack]",
            percent(amount)
        ),
        Suspect::Resistance if amount < 0.0 => {
            "measure the pack's resistance: a record with steps of current tells it".to_owned()
        }
        Suspect::Resistance => format!(
            "under load measure the voltage across each connector, fuse and cable between pack and meter for the {} more; one that gets warm is a fire hazard, and is replaced, not used on. If they are all sound it is the pack: measure it anew",
            Kind::Resistance.show(amount)
        ),
        Suspect::Voltage => "hold the meter against a second one. If it is right, the pack's curve in the plan is not: use a record of this pack ([pack] record)".to_owned(),
        Suspect::Device(name) if amount < super::told::OFF => format!(
            "find out why the {name} did not run; if it is not needed take [rig.devices.{}] out of the plan",
            quoted(name)
        ),
        Suspect::Device(name) => format!(
            "measure what the {name} draws; until then multiply the load in [rig.devices.{}] by {}",
            quoted(name),
            fixed(amount, 2)
        ),
        Suspect::Extra => format!(
            "find what draws {} W (a converter, a USB hub, a standby) and write it into the plan as a device of its own",
            fixed(amount, 1)
        ),
        Suspect::Sun(Some(_)) => "one day's sky says nothing of the next trip's: leave the plan as it is, unless something shaded the panel".to_owned(),
        Suspect::Sun(None) => match &plan.weather {
            Weather::Share(sun) => format!(
                "look for shade, dirt and a wrong aim. If there was none and such days are usual there, write sun = \"{}\" in [weather], not \"{}\"",
                percent(sun.mean * amount),
                percent(sun.mean)
            ),
            _ => "look for shade, dirt and a wrong aim; if there was none, leave the plan as it is: a few days say little of the next".to_owned(),
        },
        Suspect::Chargers => format!(
            "measure what the chargers give; until then multiply their current in [sources] by {}",
            fixed(amount, 2)
        ),
        Suspect::Air => format!(
            "write night = \"{} °C\" and day = \"{} °C\" in [air] if the coming nights are like these",
            fixed(plan.air.night_c.value + amount, 0),
            fixed(plan.air.day_c.value + amount, 0)
        ),
        Suspect::Clock => {
            let ahead = SignedDuration::from_secs(amount.round() as i64);
            let began = found.began.checked_sub(ahead).map(|began| {
                plan.site.zone.to_datetime(began).strftime("%Y-%m-%dT%H:%M").to_string()
            });
            format!(
                "set the meter's clock. To compare with the times put right, run this again with --began {}",
                began.unwrap_or_else(|_| "and the time of its first row".to_owned())
            )
        }
        Suspect::MeterZero => {
            "set the meter's zero with nothing connected; the plan need not change".to_owned()
        }
        Suspect::MeterGain => format!(
            "check which shunt the meter is set to: it read {} times the current. The plan need not change",
            fixed(amount, 2)
        ),
    };
    format!("Next: {told}.")
}

/// A name as it stands in a plan's heading.
fn quoted(name: &str) -> String {
    let is_bare = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    if name.chars().all(is_bare) { name.to_owned() } else { format!("\"{name}\"") }
}
