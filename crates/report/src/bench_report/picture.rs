//! What a run looks like.

use bench::{CurvePoint, Discharge, PhaseKind, Resistance, Run};
use record::Record;

use super::tables::phase_name;
use super::{Tested, runs};
use crate::chart::{Chart, Ink, Layer, Limit, Panel, Point, Shade, Span, XAxis, condensed};
use crate::words::{file_name, fixed, percent, short};

/// Voltage and current against the charge delivered, shaded where the voltage is at the cutoff or
/// above it.
pub(super) fn curve(discharge: &Discharge) -> Chart {
    let above = &discharge.above_cutoff;
    let cutoff = format!("{} V", short(above.cutoff_v));
    let points = |value: fn(&CurvePoint) -> f64| {
        discharge.curve.iter().map(|point| (point.charge_ah, value(point))).collect()
    };
    let mut current = Panel::new("Current (A)");
    current.height_px = 70.0;
    current.layers = vec![Layer::area("", Ink::Two, points(|point| point.current_a))];
    Chart {
        title: "Voltage against capacity".into(),
        description: format!(
            "{} Ah were delivered, {} of it at {cutoff} or more. The voltage under load went from {} to {} V.",
            fixed(discharge.capacity_ah, 2),
            percent(above.share),
            fixed(discharge.first_last_v[0], 2),
            fixed(discharge.first_last_v[1], 2),
        ),
        x: XAxis::Number { title: "Delivered (Ah)".into() },
        panels: vec![
            voltage(
                vec![Layer::line("", Ink::One, points(|point| point.voltage_v))],
                Some(above.cutoff_v),
            ),
            current,
        ],
        spans: above_and_below(discharge, &cutoff),
        marks: Vec::new(),
    }
}

pub(crate) fn voltage(layers: Vec<Layer>, cutoff_v: Option<f64>) -> Panel {
    let mut panel = Panel::new("Voltage at the terminals (V)");
    panel.height_px = 240.0;
    panel.layers = layers;
    panel.limits = cutoff_v
        .map(|at| Limit { at, label: format!("cutoff {} V", short(at)) })
        .into_iter()
        .collect();
    panel
}

/// The stretches of the curve at and below the cutoff; the longest of each kind carries the label.
fn above_and_below(discharge: &Discharge, cutoff: &str) -> Vec<Span> {
    let above = &discharge.above_cutoff;
    let below_ah = discharge.capacity_ah - above.capacity_ah;
    let mut spans: Vec<Span> = Vec::new();
    for pair in discharge.curve.windows(2) {
        let [a, b] = pair else { continue };
        let crossing = crossing(a, b, above.cutoff_v);
        for (from, to, voltage_v) in
            [(a.charge_ah, crossing, a.voltage_v), (crossing, b.charge_ah, b.voltage_v)]
        {
            let shade = if voltage_v >= above.cutoff_v { Shade::Good } else { Shade::Bad };
            match spans.last_mut() {
                Some(span) if span.shade == shade => span.to = to,
                _ if to > from => spans.push(Span { from, to, shade, label: String::new() }),
                _ => {}
            }
        }
    }
    for (shade, label) in [
        (Shade::Good, format!("{} Ah at {cutoff} or more", fixed(above.capacity_ah, 2))),
        (Shade::Bad, format!("{} Ah below", fixed(below_ah, 2))),
    ] {
        let of_kind = spans.iter_mut().filter(|span| span.shade == shade);
        if let Some(longest) = of_kind.max_by(|a, b| (a.to - a.from).total_cmp(&(b.to - b.from))) {
            longest.label = label;
        }
    }
    spans
}

/// Where the line between two points goes through the cutoff; its end where it does not.
fn crossing(a: &CurvePoint, b: &CurvePoint, cutoff_v: f64) -> f64 {
    let (before_v, after_v) = (a.voltage_v - cutoff_v, b.voltage_v - cutoff_v);
    if (before_v >= 0.0) == (after_v >= 0.0) {
        return b.charge_ah;
    }
    a.charge_ah + (b.charge_ah - a.charge_ah) * before_v / (before_v - after_v)
}

/// The discharges of several runs over each other.
pub(super) fn overlay(tested: &[Tested<'_>]) -> Option<Chart> {
    let with_curve: Vec<_> = runs(tested)
        .filter_map(|(test, run)| Some((test, run.discharge.as_ref()?)))
        .filter(|(_, discharge)| discharge.curve.len() > 1)
        .collect();
    let layers: Vec<Layer> = with_curve
        .iter()
        .enumerate()
        .map(|(at, (test, discharge))| {
            let points = discharge.curve.iter().map(|point| (point.charge_ah, point.voltage_v));
            let ink = Ink::SERIES[at % Ink::SERIES.len()];
            let of_file =
                with_curve.iter().filter(|(other, _)| other.record.file == test.record.file);
            let name = match of_file.count() {
                1 => file_name(&test.record.file).to_owned(),
                _ => format!("{}, discharge {}", file_name(&test.record.file), at + 1),
            };
            Layer::line(name, ink, points.collect())
        })
        .collect();
    let cutoff_v = tested.first().map(|test| test.settings.cutoff_v);
    (layers.len() > 1).then(|| Chart {
        title: "The discharges over each other".into(),
        description: format!(
            "Voltage against the charge delivered of {} discharges.",
            layers.len()
        ),
        x: XAxis::Number { title: "Delivered (Ah)".into() },
        panels: vec![voltage(layers, cutoff_v)],
        spans: Vec::new(),
        marks: Vec::new(),
    })
}

/// Voltage, current and temperature of a run over time.
pub(super) fn over_time(record: &Record, run: &Run) -> Chart {
    let samples = &record.samples;
    let from = samples.elapsed_s.partition_point(|&elapsed_s| elapsed_s < run.from_s);
    let to = samples.elapsed_s.partition_point(|&elapsed_s| elapsed_s <= run.to_s);
    let points = |values: &[f32], sign: f64| -> Vec<Point> {
        let times = samples.elapsed_s.get(from..to).unwrap_or_default();
        let values = values.get(from..to).unwrap_or_default();
        condensed(times.len().min(values.len()), |at| {
            (times[at] / 3600.0, sign * f64::from(values[at]))
        })
    };
    let goes_in = run.recharge.is_some();
    let way = if goes_in { ("Current in (A)", -1.0) } else { ("Current out (A)", 1.0) };
    let mut current = Panel::new(way.0);
    current.height_px = 110.0;
    current.layers = vec![Layer::area("", Ink::Two, points(&samples.current_a, way.1))];
    let volts = points(&samples.voltage_v, 1.0);
    let mut panels = vec![voltage(vec![Layer::line("", Ink::One, volts)], None), current];
    panels[0].height_px = 180.0;
    if let Some(temperature_c) = &samples.temperature_c {
        let mut panel = Panel::new("Temperature (°C)");
        panel.height_px = 80.0;
        panel.layers = vec![Layer::line("", Ink::Three, points(temperature_c, 1.0))];
        panels.push(panel);
    }
    Chart {
        title: "Voltage and current over time".into(),
        description: format!("The {} over time.", run.kind.name()),
        x: XAxis::Number { title: "Since the start of the record (h)".into() },
        panels,
        spans: charging(run),
        marks: Vec::new(),
    }
}

/// The parts of a charge, labelled.
fn charging(run: &Run) -> Vec<Span> {
    let shade = |kind| match kind {
        PhaseKind::ConstantCurrent => Some(Shade::Clear),
        PhaseKind::ConstantVoltage => Some(Shade::Night),
        PhaseKind::Float => Some(Shade::Dark),
        _ => None,
    };
    let of_phase = |phase: &bench::Phase| {
        let (from, to) = (phase.from_s / 3600.0, phase.to_s / 3600.0);
        Some(Span { from, to, shade: shade(phase.kind)?, label: phase_name(phase.kind).into() })
    };
    run.phases.iter().filter_map(of_phase).collect()
}

/// Resistance against state of charge, where it is known for several steps.
pub(super) fn resistance(resistances: &[Resistance]) -> Option<Chart> {
    let points: Vec<Point> = resistances
        .iter()
        .filter_map(|found| Some((100.0 * found.soc?, 1e3 * found.ohm)))
        .collect();
    let mut panel = Panel::new("Resistance (mΩ)");
    panel.height_px = 180.0;
    let count = points.len();
    panel.layers = vec![Layer::dots("", Ink::One, points)];
    (count > 2).then(|| Chart {
        title: "Resistance against state of charge".into(),
        description: format!("Resistance at {count} steps of the current."),
        x: XAxis::Number { title: "State of charge (%)".into() },
        panels: vec![panel],
        spans: Vec::new(),
        marks: Vec::new(),
    })
}
