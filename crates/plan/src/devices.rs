//! Loads found in a record, written as devices of a plan.

use bench::Field;
use quantity::Kind;
use rig::schedule::{Edge, Event, Span, When};

/// The loads of a field run as `[rig.devices]` of a plan. They are taken to be on from sunset to
/// sunrise, which a person may change; what is on less than that has a duty cycle.
#[must_use]
pub fn as_devices(field: &Field) -> String {
    let night = Span::Between(Edge::Sky(Event::Sunset, 0.0), Edge::Sky(Event::Sunrise, 0.0));
    let devices: Vec<String> = field
        .parts()
        .iter()
        .enumerate()
        .map(|(at, part)| {
            let name = format!("load-{}", at + 1);
            let power = Kind::Power.show(part.power_w);
            let duty = if part.share_of_time > 0.995 { 1.0 } else { part.share_of_time };
            let when = When::of(vec![night], duty);
            format!("[rig.devices.{name}]\npower = \"{power}\"\nwhen = \"{when}\"\n")
        })
        .collect();
    devices.join("\n")
}

#[cfg(test)]
mod tests {
    use bench::Level;

    use super::*;

    #[test]
    fn a_plan_reads_them() {
        let level = |power_w, share_of_time| Level { current_a: 0.0, power_w, share_of_time };
        let field =
            Field { nights: Vec::new(), levels: vec![level(12.4, 0.835), level(29.6, 0.165)] };
        let text = as_devices(&field);
        let plan = format!(
            "format = 1\n[site]\nlatitude = \"56.9 N\"\nlongitude = \"4.2 W\"\n\
             [air]\nnight = \"3 °C\"\nday = \"11 °C\"\n\
             [trip]\nfirst_evening = \"2026-10-09\"\nnights = 1\n\
             [pack]\nchemistry = \"LFP\"\nrated = \"40 Ah\"\n{text}"
        );
        let plan = crate::Plan::parse("plan.toml", std::path::Path::new(""), &plan).unwrap();
        let devices = plan.gear.rig.devices();
        assert_eq!(devices.len(), 2, "{text}");
        assert_eq!(devices[1].name, "load-2");
    }
}
