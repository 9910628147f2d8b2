//! What the rig takes over a night.

use rig::Solution;

use super::Inspected;
use crate::chart::{Chart, Ink, Layer, Panel, XAxis};
use crate::words::fixed;

/// The mean power of each device and of all losses, on top of each other over the night.
pub(super) fn power(inspected: &Inspected<'_>) -> Chart {
    let Inspected { rig, night, found, .. } = inspected;
    let start_s = inspected.clock_start.as_millisecond() as f64 / 1e3;
    let solution = |state: usize| found.states.get(state).map(|state| &state.mean);
    let takes = |state: usize| solution(state).is_some_and(|solution| solution.load_w() > 0.0);
    // the hours before and after, in which nothing is on, are left out
    let first = night.stretches.iter().position(|stretch| takes(stretch.state)).unwrap_or(0);
    let last =
        night.stretches.iter().rposition(|stretch| takes(stretch.state)).map_or(0, |at| at + 1);
    let stretches = night.stretches.get(first..last).unwrap_or_default();
    let x: Vec<f64> =
        stretches.iter().flat_map(|s| [start_s + s.from_s, start_s + s.to_s]).collect();
    let series = |watts: &dyn Fn(&Solution) -> f64| -> Vec<f64> {
        let of_stretch = |stretch: &rig::Stretch| [solution(stretch.state).map_or(0.0, watts); 2];
        stretches.iter().flat_map(of_stretch).collect()
    };
    let inks = Ink::SERIES.into_iter().cycle();
    let mut parts: Vec<(String, Ink, Vec<f64>)> = rig
        .devices()
        .iter()
        .enumerate()
        .zip(inks)
        .map(|((at, device), ink)| {
            let watts =
                |solution: &Solution| solution.devices.get(at).map_or(0.0, |seen| seen.power_w);
            (device.name.clone(), ink, series(&watts))
        })
        .collect();
    let lost = |solution: &Solution| solution.cable_w() + solution.converter_w();
    parts.push(("wires, converters".into(), Ink::Quiet, series(&lost)));
    let mut panel = Panel::new("Mean power (W)");
    panel.height_px = 200.0;
    panel.layers = Layer::stacked(&x, &parts);
    Chart {
        title: "What the rig takes through the night".into(),
        description: format!("{} Wh out of the pack.", fixed(found.used_wh, 0)),
        x: XAxis::Time { zone: inspected.zone.clone() },
        panels: vec![panel],
        spans: Vec::new(),
        marks: Vec::new(),
    }
}
