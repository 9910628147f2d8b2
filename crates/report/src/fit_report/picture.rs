//! The pictures of a fit.

use pack::Pack;
use pack::fit::{Fit, Met};

use crate::chart::{Chart, Ink, Layer, Limit, Panel, Point, XAxis};
use crate::words::file_name;

/// What is further off is not drawn, or the ends of the curve would flatten all between them.
const MOST_MV: f64 = 100.0;

/// Modelled less measured voltage of all records against the charge delivered.
pub(super) fn residuals(fit: &Fit) -> Chart {
    let layer = |(met, ink): (&Met, &Ink)| {
        let shown = |off_mv: f64| if off_mv.abs() <= MOST_MV { off_mv } else { f64::NAN };
        let points = met.residuals.iter().map(|(ah, off_v)| (*ah, shown(1e3 * off_v)));
        let points: Vec<Point> = points.collect();
        let name = file_name(&met.name).to_owned();
        // what is charged between goes back on the axis
        if points.is_sorted_by(|a, b| a.0 <= b.0) {
            Layer::line(name, *ink, points)
        } else {
            Layer::dots(name, *ink, points)
        }
    };
    let mut panel = Panel::new("Off (mV)");
    panel.height_px = 220.0;
    panel.range = Some((-MOST_MV, MOST_MV));
    panel.layers = fit.runs.iter().zip(Ink::SERIES.iter().cycle()).map(layer).collect();
    panel.limits = vec![Limit { at: 0.0, label: String::new() }];
    Chart {
        title: "How far the model is off".into(),
        description: format!(
            "Modelled less measured voltage of {} records against the charge delivered.",
            fit.runs.len()
        ),
        x: XAxis::Number { title: "Delivered (Ah)".into() },
        panels: vec![panel],
        spans: Vec::new(),
        marks: Vec::new(),
    }
}

/// The open-circuit voltage.
pub(super) fn curve(pack: &Pack) -> Chart {
    let points = pack.circuit.ocv.points().iter();
    let offset_v = pack.circuit.offset_v;
    let points = points.map(|(soc, voltage_v)| (100.0 * soc, voltage_v + offset_v)).collect();
    let mut panel = Panel::new("Voltage (V)");
    panel.height_px = 220.0;
    panel.layers = vec![Layer::line("", Ink::One, points)];
    Chart {
        title: "Open-circuit voltage".into(),
        description: "Voltage of the rested battery against its state of charge.".into(),
        x: XAxis::Number { title: "State of charge (%)".into() },
        panels: vec![panel],
        spans: Vec::new(),
        marks: Vec::new(),
    }
}
