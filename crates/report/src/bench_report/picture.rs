//! The curve of a discharge.

use bench::{CurvePoint, Discharge};

use crate::chart::{Chart, Ink, Layer, Limit, Panel, Shade, Span, XAxis};
use crate::words::{fixed, percent};

/// Voltage and current against the charge delivered, shaded where the voltage is at the cutoff or
/// above it.
pub(super) fn curve(discharge: &Discharge) -> Chart {
    let above = &discharge.above_cutoff;
    let cutoff = format!("{:.1} V", above.cutoff_v);
    let points = |value: fn(&CurvePoint) -> f64| {
        discharge.curve.iter().map(|point| (point.charge_ah, value(point))).collect()
    };
    let mut voltage = Panel::new("Voltage at the terminals (V)");
    voltage.height_px = 260.0;
    voltage.limits = vec![Limit { at: above.cutoff_v, label: format!("cutoff {cutoff}") }];
    voltage.layers = vec![Layer::line("", Ink::One, points(|point| point.voltage_v))];
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
        panels: vec![voltage, current],
        spans: spans(discharge, &cutoff),
        marks: Vec::new(),
    }
}

/// The stretches of the curve at and below the cutoff; the longest of each kind carries the label.
fn spans(discharge: &Discharge, cutoff: &str) -> Vec<Span> {
    let above = &discharge.above_cutoff;
    let below_ah = discharge.capacity_ah - above.capacity_ah;
    let mut spans: Vec<Span> = Vec::new();
    for pair in discharge.curve.windows(2) {
        let [a, b] = pair else { continue };
        let (from, to) = (a.charge_ah, b.charge_ah);
        let crossing = crossing(a, b, above.cutoff_v);
        for (from, to, voltage_v) in [(from, crossing, a.voltage_v), (crossing, to, b.voltage_v)] {
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
