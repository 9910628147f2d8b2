//! What the rig takes over a night.

use rig::{Passage, Solution};
use trip::SurveyedNight;

use super::Inspected;
use crate::chart::{Chart, Ink, Layer, Panel, XAxis};
use crate::words::fixed;

/// The mean power of each device and of all losses, on top of each other over the night that takes
/// most.
pub(super) fn power(inspected: &Inspected<'_>) -> Chart {
    let Inspected { rig, survey, .. } = inspected;
    let start_s = survey.clock_start.as_millisecond() as f64 / 1e3;
    let used_wh = |night: &&SurveyedNight| night.budget.used_wh;
    // of several alike the first
    let heaviest = survey.nights.iter().rev().max_by(|a, b| used_wh(a).total_cmp(&used_wh(b)));
    let within = |passage: &&Passage| {
        heaviest.is_some_and(|night| {
            passage.from_s < night.to_s - 1.0 && passage.to_s > night.from_s + 1.0
        })
    };
    let course: Vec<&Passage> = survey.found.course.iter().filter(within).collect();
    // the hours before and after, in which nothing is on, are left out
    let takes = |passage: &&Passage| passage.mean.load_w() > 0.0;
    let first = course.iter().position(takes).unwrap_or(0);
    let last = course.iter().rposition(takes).map_or(0, |at| at + 1);
    let course = course.get(first..last).unwrap_or_default();
    let x: Vec<f64> = course.iter().flat_map(|p| [start_s + p.from_s, start_s + p.to_s]).collect();
    let series = |watts: &dyn Fn(&Solution) -> f64| -> Vec<f64> {
        course.iter().flat_map(|passage| [watts(&passage.mean); 2]).collect()
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
        title: heaviest.map_or_else(
            || "What the rig takes through the night".into(),
            |night| format!("What the rig takes, {}", night.evening.strftime("%a %-d %b %Y")),
        ),
        description: heaviest.map_or_else(String::new, |night| {
            format!("{} Wh out of the pack.", fixed(night.budget.used_wh, 0))
        }),
        x: XAxis::Time { zone: inspected.zone.clone() },
        panels: vec![panel],
        spans: Vec::new(),
        marks: Vec::new(),
    }
}
