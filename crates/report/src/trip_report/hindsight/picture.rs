//! What was recorded, laid over the forecast.

use plan::Plan;
use trip::{Compared, Forecast, Hindsight};

use super::super::timeline::{nights, told_v, x};
use super::told;
use crate::chart::{Chart, Ink, Layer, Mark, Panel, Point, XAxis};

/// Of more partings than this only the first carry words.
const MOST_WORDS: usize = 3;
/// Readings that stand for longer than this (s) are dots.
const DOTS_S: f64 = 900.0;

pub(super) fn chart(plan: &Plan, forecast: &Forecast, found: &Hindsight) -> Chart {
    let mut panels = vec![voltage(forecast, found)];
    if found.has_current {
        panels.push(charge(found));
        panels.push(current(forecast, found));
    }
    Chart {
        title: "What was recorded, over the forecast".into(),
        description: told::verdict(plan, found),
        x: XAxis::Time { zone: plan.site.zone.clone() },
        panels,
        spans: nights(forecast),
        marks: marks(plan, found),
    }
}

fn voltage(forecast: &Forecast, found: &Hindsight) -> Panel {
    let mut panel = Panel::new("Voltage at the pack (V)");
    panel.height_px = 190.0;
    let typical: Vec<Point> =
        forecast.points.iter().map(|point| (x(point.time), told_v(point.terminal_v))).collect();
    let measured = course(found, |at| Some(told_v(at.voltage_v)));
    // as a meter would have seen it where there is a record, else as the draws have it
    let recorded = found.compared.iter().map(|at| (x(at.time), at.band_v[0], at.band_v[1]));
    let ends = [found.compared.first(), found.compared.last()].map(|end| end.map(|at| at.time));
    let is_outside = |at: jiff::Timestamp| {
        ends[0].is_none_or(|first| at < first) || ends[1].is_none_or(|last| at > last)
    };
    let mut band: Vec<(f64, f64, f64)> = forecast
        .bands
        .iter()
        .filter(|band| is_outside(band.time))
        .map(|band| (x(band.time), band.terminal_v[0], band.terminal_v[1]))
        .chain(recorded)
        .collect();
    band.sort_by(|a, b| a.0.total_cmp(&b.0));
    // the lines decide what is shown; the band's lower edge may lead down to an empty pack
    let shown = typical.iter().chain(&measured).map(|point| point.1).filter(|v| v.is_finite());
    let (low, high) =
        shown.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
    if low < high {
        panel.range = Some(((2.0 * low - 0.2).floor() / 2.0, (2.0 * high + 0.2).ceil() / 2.0));
    }
    panel.layers = vec![
        Layer::band("middle 80 %", Ink::One, band),
        Layer::line("typical", Ink::One, typical),
        recorded_layer(found, measured),
    ];
    panel
}

fn charge(found: &Hindsight) -> Panel {
    let mut panel = Panel::new("Charge out since the record began (Ah)");
    let band = found.compared.iter().map(|at| (x(at.time), at.band_ah[0], at.band_ah[1])).collect();
    panel.layers = vec![
        Layer::band("", Ink::One, band),
        Layer::line("", Ink::One, course(found, |at| Some(at.typical_ah))),
        recorded_layer(found, course(found, |at| at.out_ah)),
    ];
    panel
}

fn current(forecast: &Forecast, found: &Hindsight) -> Panel {
    let mut panel = Panel::new("Current out of the pack (A)");
    panel.height_px = 120.0;
    let typical = forecast
        .points
        .iter()
        .map(|point| (x(point.time), point.pack_w / told_v(point.terminal_v)))
        .collect();
    panel.layers = vec![
        Layer::line("", Ink::One, typical),
        recorded_layer(found, course(found, |at| at.current_a)),
    ];
    panel
}

/// The record's own line, or dots where readings are few.
fn recorded_layer(found: &Hindsight, points: Vec<Point>) -> Layer {
    let mut stands_for_s: Vec<f64> = found.compared.iter().map(|at| at.stands_for_s).collect();
    stands_for_s.sort_by(f64::total_cmp);
    let is_sparse = stands_for_s.get(stands_for_s.len() / 2).is_some_and(|s| *s > DOTS_S);
    if is_sparse {
        Layer::dots("recorded", Ink::Two, points)
    } else {
        Layer::line("recorded", Ink::Two, points)
    }
}

/// A course through the record, broken where nothing was recorded.
fn course(found: &Hindsight, value: impl Fn(&Compared) -> Option<f64>) -> Vec<Point> {
    let mut points: Vec<Point> = Vec::with_capacity(found.compared.len());
    let mut before: Option<&Compared> = None;
    for at in &found.compared {
        if let Some(before) = before {
            let apart_s = at.time.duration_since(before.time).as_secs_f64();
            if apart_s > at.stands_for_s + before.stands_for_s + 60.0 {
                points.push((x(before.time) + 1.0, f64::NAN));
            }
        }
        points.push((x(at.time), value(at).unwrap_or(f64::NAN)));
        before = Some(at);
    }
    points
}

fn marks(plan: &Plan, found: &Hindsight) -> Vec<Mark> {
    found
        .partings
        .iter()
        .enumerate()
        .map(|(at, parting)| {
            let clock = plan.site.zone.to_datetime(parting.from).strftime("%a %H:%M").to_string();
            let text = if at < MOST_WORDS {
                format!("{clock} {}", told::parting(parting))
            } else {
                String::new()
            };
            Mark { at: x(parting.from), text, ink: Ink::Alarm }
        })
        .collect()
}
