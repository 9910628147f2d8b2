//! Where everything of a chart goes, before any of it is drawn.

use super::labels::{lanes, spread};
use super::scale::{Scale, asked, extent, opened};
use super::text::{width, wrapped};
use super::ticks::{self, Tick};
use super::{Chart, Layer, Mark, Panel, Shape, Span, XAxis};

/// Size of the letters (px of the drawing).
pub(super) const FONT_PX: f64 = 13.0;
/// Distance of lines of text (px).
pub(super) const LINE_PX: f64 = 17.0;
/// Length of a line's sample in a legend (px).
pub(super) const SWATCH_PX: f64 = 22.0;
/// Between a panel's foot and the next one's title (px).
const GAP_PX: f64 = 14.0;

/// A chart laid out for one width.
pub(super) struct Layout<'a> {
    pub(super) width_px: f64,
    pub(super) height_px: f64,
    pub(super) x: Scale,
    pub(super) spans: Vec<SpanLabel<'a>>,
    pub(super) marks: Vec<MarkLabel<'a>>,
    pub(super) panels: Vec<Frame<'a>>,
    pub(super) axis: Axis,
}

/// The marks of the shared axis.
pub(super) struct Axis {
    pub(super) ticks: Vec<Tick>,
    pub(super) midnights: Vec<f64>,
    pub(super) days: Vec<(f64, f64, String)>,
    pub(super) title: String,
}

pub(super) struct SpanLabel<'a> {
    pub(super) span: &'a Span,
    /// Middle of the text and its baseline.
    pub(super) at: (f64, f64),
}

pub(super) struct MarkLabel<'a> {
    pub(super) mark: &'a Mark,
    pub(super) lines: Vec<String>,
    pub(super) left_px: f64,
    /// First baseline.
    pub(super) top_px: f64,
}

/// One panel in its place.
pub(super) struct Frame<'a> {
    pub(super) panel: &'a Panel,
    pub(super) y: Scale,
    pub(super) ticks: Vec<Tick>,
    pub(super) title_px: f64,
    /// Names in the legend: the layer's index, left edge, baseline.
    pub(super) legend: Vec<(usize, f64, f64)>,
    /// Names beside the ends of their layers: the layer's index and its baseline.
    pub(super) ends: Vec<(usize, f64)>,
}

impl Frame<'_> {
    pub(super) fn top_px(&self) -> f64 {
        self.y.high_px
    }

    pub(super) fn foot_px(&self) -> f64 {
        self.y.low_px
    }
}

impl<'a> Layout<'a> {
    pub(super) fn new(chart: &'a Chart, width_px: f64, roomy: bool) -> Self {
        let x_range = x_range(chart);
        let sides: Vec<_> = chart.panels.iter().map(Side::new).collect();
        let left = sides.iter().map(|side| side.tick_width).fold(24.0, f64::max) + 8.0;
        let ends: Vec<_> = chart
            .panels
            .iter()
            .zip(&sides)
            .map(|(panel, side)| if roomy { side.ends(panel, x_range) } else { None })
            .collect();
        let right = chart
            .panels
            .iter()
            .zip(&ends)
            .filter(|(_, ends)| ends.is_some())
            .flat_map(|(panel, _)| named(panel).map(|(_, layer)| width(&layer.name, FONT_PX)))
            .fold(12.0, |most: f64, name| most.max(name + 8.0));
        let x = Scale {
            low: x_range.0,
            high: x_range.1,
            low_px: left,
            high_px: (width_px - right).max(left + 40.0),
        };

        let mut top = 4.0;
        let spans = place_spans(&chart.spans, &x, width_px, &mut top);
        let marks = place_marks(&chart.marks, &x, width_px, roomy, &mut top);
        let mut panels = Vec::with_capacity(chart.panels.len());
        for ((panel, side), ends) in chart.panels.iter().zip(sides).zip(ends) {
            let frame = side.frame(panel, &x, ends, top);
            top = frame.foot_px() + GAP_PX;
            panels.push(frame);
        }
        let axis = Axis::new(&chart.x, &x);
        let rows = 1.0 + f64::from(u8::from(!axis.days.is_empty() || !axis.title.is_empty()));
        let height_px = top - GAP_PX + 6.0 + rows * LINE_PX + 4.0;
        Layout { width_px, height_px, x, spans, marks, panels, axis }
    }
}

impl Axis {
    fn new(axis: &XAxis, x: &Scale) -> Self {
        let room = x.high_px - x.low_px;
        match axis {
            XAxis::Number { title } => Axis {
                ticks: ticks::numbers(x.low, x.high, (room / 60.0) as usize),
                midnights: Vec::new(),
                days: Vec::new(),
                title: title.clone(),
            },
            XAxis::Time { zone } => {
                let times = ticks::times(x.low, x.high, zone, (room / 50.0) as usize);
                let fits = |(from, to, label): &(f64, f64, String)| {
                    width(label, FONT_PX) <= x.at(*to) - x.at(*from)
                };
                Axis {
                    ticks: times.hours,
                    midnights: times.midnights,
                    days: times.days.into_iter().filter(fits).collect(),
                    title: String::new(),
                }
            }
        }
    }
}

/// A panel's vertical axis, which decides how much room is left for the plot.
struct Side {
    range: (f64, f64),
    ticks: Vec<Tick>,
    tick_width: f64,
}

impl Side {
    fn new(panel: &Panel) -> Self {
        let most = (panel.height_px / 34.0).max(2.0) as usize;
        let range = asked(panel.range).unwrap_or_else(|| {
            let (low, high) = opened(y_extent(panel).unwrap_or((0.0, 1.0)));
            ticks::widened(low, high, most)
        });
        let ticks = ticks::numbers(range.0, range.1, most);
        let tick_width = ticks.iter().map(|tick| width(&tick.label, FONT_PX)).fold(0.0, f64::max);
        Side { range, ticks, tick_width }
    }

    /// The heights (as shares of the axis) at which the layers end, if all named ones end at the
    /// right edge and their names find room there.
    fn ends(&self, panel: &Panel, x_range: (f64, f64)) -> Option<Vec<(usize, f64)>> {
        let near = x_range.1 - 0.03 * (x_range.1 - x_range.0);
        let mut found = Vec::new();
        for (at, layer) in named(panel) {
            if width(&layer.name, FONT_PX) > 130.0 {
                return None;
            }
            let (x, y) = last_point(layer)?;
            if x < near {
                return None;
            }
            let share = (y - self.range.0) / (self.range.1 - self.range.0);
            found.push((at, panel.height_px * (1.0 - share.clamp(0.0, 1.0))));
        }
        let wanted: Vec<f64> = found.iter().map(|end| end.1).collect();
        let placed = spread(&wanted, LINE_PX, 0.0, panel.height_px)?;
        // a part of a whole is named where it lies; a line's name may stand a little off
        let is_solid =
            |(_, layer): (usize, &Layer)| matches!(layer.shape, Shape::Band { solid: true, .. });
        let most = if named(panel).any(is_solid) { 0.4 } else { 2.0 } * LINE_PX;
        let moved = wanted.iter().zip(&placed).any(|(a, b)| (a - b).abs() > most);
        (!moved).then(|| found.iter().zip(placed).map(|(end, y)| (end.0, y)).collect())
    }

    fn frame<'a>(
        self,
        panel: &'a Panel,
        x: &Scale,
        ends: Option<Vec<(usize, f64)>>,
        top: f64,
    ) -> Frame<'a> {
        let title_px = top + FONT_PX;
        let mut legend = Vec::new();
        let mut row_px = title_px;
        if ends.is_none() {
            let mut left = x.low_px + width(&panel.title, FONT_PX) * 1.08 + 18.0;
            // lines are named before the bands around them
            let is_band = |layer: &Layer| matches!(layer.shape, Shape::Band { solid: false, .. });
            let lines = named(panel).filter(|(_, layer)| !is_band(layer));
            let bands = named(panel).filter(|(_, layer)| is_band(layer));
            for (at, layer) in lines.chain(bands) {
                let wide = SWATCH_PX + 6.0 + width(&layer.name, FONT_PX);
                if left + wide > x.high_px + 8.0 && left > x.low_px {
                    (left, row_px) = (x.low_px, row_px + LINE_PX);
                }
                legend.push((at, left, row_px));
                left += wide + 16.0;
            }
        }
        let top_px = row_px + 7.0;
        let y = Scale {
            low: self.range.0,
            high: self.range.1,
            low_px: top_px + panel.height_px,
            high_px: top_px,
        };
        let ends = ends.unwrap_or_default();
        let ends = ends.into_iter().map(|(at, y)| (at, top_px + y + FONT_PX * 0.35)).collect();
        Frame { panel, y, ticks: self.ticks, title_px, legend, ends }
    }
}

fn named(panel: &Panel) -> impl Iterator<Item = (usize, &Layer)> {
    panel.layers.iter().enumerate().filter(|(_, layer)| !layer.name.is_empty())
}

fn last_point(layer: &Layer) -> Option<(f64, f64)> {
    let finite = |point: &&(f64, f64)| point.0.is_finite() && point.1.is_finite();
    match &layer.shape {
        Shape::Line { points, .. } => points.iter().rev().find(finite).copied(),
        Shape::Band { points, .. } => points
            .iter()
            .rev()
            .find(|point| point.1.is_finite() && point.2.is_finite())
            .map(|point| (point.0, (point.1 + point.2) / 2.0)),
        Shape::Dots { .. } => None,
    }
}

/// The range of the shared axis: that of all points, with room for dots at its ends.
fn x_range(chart: &Chart) -> (f64, f64) {
    let (low, high) = opened(x_extent(chart).unwrap_or((0.0, 1.0)));
    let mut layers = chart.panels.iter().flat_map(|panel| &panel.layers);
    let has_dots = layers.any(|layer| matches!(layer.shape, Shape::Dots { .. }));
    let room = if has_dots { 0.02 * (high - low) } else { 0.0 };
    (low - room, high + room)
}

fn x_extent(chart: &Chart) -> Option<(f64, f64)> {
    let layers = chart.panels.iter().flat_map(|panel| &panel.layers);
    extent(layers.flat_map(|layer| -> Box<dyn Iterator<Item = f64>> {
        match &layer.shape {
            Shape::Line { points, .. } | Shape::Dots { points } => {
                Box::new(points.iter().map(|point| point.0))
            }
            Shape::Band { points, .. } => Box::new(points.iter().map(|point| point.0)),
        }
    }))
}

fn y_extent(panel: &Panel) -> Option<(f64, f64)> {
    let layers = panel.layers.iter().flat_map(|layer| -> Box<dyn Iterator<Item = f64>> {
        match &layer.shape {
            // a tinted area is measured from zero
            Shape::Line { points, filled: true, .. } => {
                Box::new(points.iter().map(|point| point.1).chain([0.0]))
            }
            Shape::Line { points, .. } | Shape::Dots { points } => {
                Box::new(points.iter().map(|point| point.1))
            }
            Shape::Band { points, .. } => {
                Box::new(points.iter().flat_map(|point| [point.1, point.2]))
            }
        }
    });
    extent(layers.chain(panel.limits.iter().map(|limit| limit.at)))
}

/// Puts the spans' labels into rows on top, and moves `top` below them.
fn place_spans<'a>(
    spans: &'a [Span],
    x: &Scale,
    width_px: f64,
    top: &mut f64,
) -> Vec<SpanLabel<'a>> {
    let visible = |span: &&Span| {
        !span.label.is_empty() && span.from < x.high && span.to > x.low && span.to > span.from
    };
    let shown: Vec<_> = spans.iter().filter(visible).collect();
    let stretches: Vec<_> = shown
        .iter()
        .map(|span| {
            let middle = (x.at(span.from.max(x.low)) + x.at(span.to.min(x.high))) / 2.0;
            let half = width(&span.label, FONT_PX) / 2.0;
            let middle = middle.min(width_px - half - 2.0).max(half + 2.0);
            (middle - half, middle + half)
        })
        .collect();
    let rows = lanes(&stretches, 6.0);
    let first = *top + FONT_PX;
    *top += rows.iter().max().map_or(0.0, |most| (*most + 1) as f64 * LINE_PX + 3.0);
    shown
        .into_iter()
        .zip(stretches)
        .zip(rows)
        .map(|((span, (left, right)), row)| SpanLabel {
            span,
            at: ((left + right) / 2.0, first + row as f64 * LINE_PX),
        })
        .collect()
}

/// Puts the marks' words into lanes on top, and moves `top` below them.
fn place_marks<'a>(
    marks: &'a [Mark],
    x: &Scale,
    width_px: f64,
    roomy: bool,
    top: &mut f64,
) -> Vec<MarkLabel<'a>> {
    let mut shown: Vec<_> =
        marks.iter().filter(|mark| x.holds(mark.at) && !mark.text.is_empty()).collect();
    // from the right: words go to the right of their line, so that the line of one whose words are
    // higher up passes to the left of those below
    shown.sort_by(|a, b| b.at.total_cmp(&a.at));
    let most = (x.high_px - x.low_px) * if roomy { 0.45 } else { 0.8 };
    let texts: Vec<_> = shown.iter().map(|mark| wrapped(&mark.text, FONT_PX, most)).collect();
    let stretches: Vec<_> = shown
        .iter()
        .zip(&texts)
        .map(|(mark, lines)| {
            let wide = lines.iter().map(|line| width(line, FONT_PX)).fold(0.0, f64::max);
            let line = x.at(mark.at);
            let left = if line + 4.0 + wide <= width_px { line + 4.0 } else { line - 4.0 - wide };
            let left = left.max(2.0).min((width_px - wide).max(2.0));
            (left, left + wide)
        })
        .collect();
    let rows = lanes(&stretches, 8.0);
    let count = rows.iter().max().map_or(0, |most| most + 1);
    let lines_in = |row: usize| {
        let of_row = texts.iter().zip(&rows).filter(|(_, at)| **at == row);
        of_row.map(|(lines, _)| lines.len()).max().unwrap_or(0) as f64
    };
    // lane 0 is the lowest
    let above = |row: usize| (row + 1..count).map(lines_in).sum::<f64>();
    let first = *top + FONT_PX;
    let labels = shown
        .iter()
        .zip(&texts)
        .zip(stretches)
        .zip(&rows)
        .map(|(((mark, lines), (left_px, _)), row)| MarkLabel {
            mark,
            lines: lines.clone(),
            left_px,
            top_px: first + above(*row) * LINE_PX,
        })
        .collect();
    *top += (0..count).map(lines_in).sum::<f64>() * LINE_PX + if count > 0 { 4.0 } else { 0.0 };
    labels
}
