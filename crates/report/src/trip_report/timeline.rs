//! The trip over time: charge, voltage and power above each other, nights shaded.

use jiff::Timestamp;
use plan::Plan;
use trip::{Forecast, Point};

use super::told::{failure, verdict};
use crate::chart::{Chart, Ink, Join, Layer, Mark, Panel, Shade, Shape, Span, XAxis};
use crate::words::chance;

/// Below this (V) a pack's protection is open, and there is no voltage to draw.
const OPEN_V: f64 = 0.5;

/// Of more failures than this only the first carries words.
const MOST_WORDS: usize = 4;

pub(super) fn chart(plan: &Plan, forecast: &Forecast) -> Chart {
    let answer = verdict(plan, forecast);
    Chart {
        title: "Charge, voltage and power".into(),
        description: format!("{} {}", answer.sentence, answer.detail).trim_end().to_owned(),
        x: XAxis::Time { zone: plan.site.zone.clone() },
        panels: vec![charge(forecast), voltage(forecast), power(forecast)],
        spans: nights(forecast),
        marks: failures(plan, forecast),
    }
}

/// A voltage as it is drawn: none behind a protection that is open.
pub(super) fn told_v(volts: f64) -> f64 {
    if volts > OPEN_V { volts } else { f64::NAN }
}

pub(super) fn x(at: Timestamp) -> f64 {
    at.as_millisecond() as f64 / 1e3
}

fn line(forecast: &Forecast, value: impl Fn(&Point) -> f64) -> Vec<(f64, f64)> {
    forecast.points.iter().map(|point| (x(point.time), value(point))).collect()
}

fn charge(forecast: &Forecast) -> Panel {
    let mut panel = Panel::new("State of charge (%)");
    panel.range = Some((0.0, 100.0));
    let band = forecast
        .bands
        .iter()
        .map(|band| (x(band.time), 100.0 * band.soc[0], 100.0 * band.soc[1]))
        .collect();
    panel.layers = vec![
        Layer::band("middle 80 %", Ink::One, band),
        Layer::line("typical", Ink::One, line(forecast, |point| 100.0 * point.soc)),
    ];
    panel
}

fn voltage(forecast: &Forecast) -> Panel {
    let mut panel = Panel::new("Voltage (V)");
    panel.height_px = 170.0;
    let pack = line(forecast, |point| told_v(point.terminal_v));
    let worst = line(forecast, |point| point.worst_v.map_or(f64::NAN, told_v));
    let needed = line(forecast, |point| point.needed_v.unwrap_or(f64::NAN));
    let band: Vec<_> = forecast
        .bands
        .iter()
        .map(|band| (x(band.time), band.terminal_v[0], band.terminal_v[1]))
        .collect();
    // the lines decide what is shown; the band's lower edge may lead down to an empty pack
    let lows = pack.iter().chain(&worst).chain(&needed).map(|point| point.1);
    let low = lows.filter(|v| v.is_finite()).fold(f64::INFINITY, f64::min);
    let tops = band.iter().map(|point| point.2).chain(pack.iter().map(|point| point.1));
    let high = tops.filter(|v| v.is_finite()).fold(f64::NEG_INFINITY, f64::max);
    if low < high {
        panel.range = Some(((2.0 * low - 0.4).floor() / 2.0, (2.0 * high + 0.2).ceil() / 2.0));
    }
    panel.layers = vec![
        Layer::band("", Ink::One, band),
        Layer::line("pack", Ink::One, pack),
        Layer::line("worst device", Ink::Two, worst),
        Layer::steps("what it needs", Ink::Quiet, needed),
    ];
    panel
}

fn power(forecast: &Forecast) -> Panel {
    let mut panel = Panel::new("Power (W)");
    panel.height_px = 110.0;
    // a point carries the mean of the step that ends with it
    let mut load = line(forecast, |point| point.load_w);
    let next: Vec<f64> = load.iter().skip(1).map(|point| point.1).collect();
    load.iter_mut().zip(next).for_each(|(point, load_w)| point.1 = load_w);
    let harvest = line(forecast, |point| point.harvest_w);
    if harvest.iter().any(|point| point.1 > 0.0) {
        panel.layers.push(Layer::area("harvest", Ink::Five, harvest));
    }
    panel.layers.push(Layer {
        name: "devices".into(),
        ink: Ink::Four,
        shape: Shape::Line { points: load, join: Join::Step, filled: true },
    });
    panel
}

pub(super) fn nights(forecast: &Forecast) -> Vec<Span> {
    let count = forecast.nights.len();
    let mut spans = Vec::new();
    for night in &forecast.nights {
        let label = match count {
            0..=4 => {
                format!("{} {}", night.evening.strftime("%a night"), chance(night.chance.share))
            }
            5..=14 => chance(night.chance.share),
            _ => String::new(),
        };
        spans.push(Span { from: x(night.from), to: x(night.to), shade: Shade::Night, label });
        if let (Some(dusk), Some(dawn)) =
            (night.night.astronomical_dusk, night.night.astronomical_dawn)
        {
            let (from, to, label) = (x(dusk), x(dawn), String::new());
            spans.push(Span { from, to, shade: Shade::Dark, label });
        }
    }
    spans
}

fn failures(plan: &Plan, forecast: &Forecast) -> Vec<Mark> {
    let found: Vec<_> = forecast
        .nights
        .iter()
        .filter_map(|night| Some((night.first_failure.as_ref()?.time, failure(plan, night)?)))
        .collect();
    let are_few = found.len() <= MOST_WORDS;
    found
        .into_iter()
        .enumerate()
        .map(|(at, (time, text))| {
            let text = if are_few || at == 0 { text } else { String::new() };
            Mark { at: x(time), text, ink: Ink::Alarm }
        })
        .collect()
}
