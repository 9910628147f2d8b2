//! A laid-out chart as SVG.

use std::fmt::Write as _;

use maud::{Markup, html};

use super::labels::{Obstacles, Place};
use super::layout::{FONT_PX, Frame, LINE_PX, Layout, SWATCH_PX};
use super::scale::Scale;
use super::text::width;
use super::{Chart, Join, Layer, Mark, Point, Shape, Span, thin};

/// A coordinate with as many digits as a renderer can use.
pub(super) fn px(value: f64) -> String {
    let mut text = format!("{value:.2}");
    text.truncate(text.trim_end_matches('0').trim_end_matches('.').len());
    if text == "-0" { "0".to_owned() } else { text }
}

impl Layout<'_> {
    /// Everything within the `svg` element.
    pub(super) fn content(&self, chart: &Chart) -> Markup {
        html! {
            @for label in &self.spans {
                text class={ "span-label " (label.span.shade.class()) }
                    x=(px(label.at.0)) y=(px(label.at.1)) text-anchor="middle" { (label.span.label) }
            }
            @for frame in &self.panels { (self.panel(frame, chart)) }
            (self.axis())
            // all lines before all words, which their pale edge keeps readable across a line
            @for label in &self.marks {
                @let x = px(self.x.at(label.mark.at));
                line class={ "mark " (label.mark.ink.class()) } x1=(x) x2=(x)
                    y1=(px(label.top_px - FONT_PX + 2.0)) y2=(px(self.foot_px())) {}
            }
            @for label in &self.marks {
                @for (row, line) in label.lines.iter().enumerate() {
                    text class={ "said " (label.mark.ink.class()) } x=(px(label.left_px))
                        y=(px(label.top_px + row as f64 * LINE_PX)) { (line) }
                }
            }
        }
    }

    fn foot_px(&self) -> f64 {
        self.panels.last().map_or(self.height_px, Frame::foot_px)
    }

    fn panel(&self, frame: &Frame<'_>, chart: &Chart) -> Markup {
        let (left, right) = (self.x.low_px, self.x.high_px);
        let (top, foot) = (frame.top_px(), frame.foot_px());
        // the plot is an svg of its own, which cuts off what leaves it
        let plot = Plot {
            x: Scale { low_px: 0.0, high_px: right - left, ..self.x },
            y: Scale { low_px: foot - top, high_px: 0.0, ..frame.y },
        };
        let dashes = dashes(&frame.panel.layers);
        html! {
            text class="title" x=(px(left)) y=(px(frame.title_px)) { (frame.panel.title) }
            @for &(at, x, y) in &frame.legend {
                @if let Some(layer) = frame.panel.layers.get(at) {
                    (swatch(layer, dashes[at], x, y))
                }
            }
            @for tick in &frame.ticks {
                text class="tick" text-anchor="end" x=(px(left - 6.0))
                    y=(px(frame.y.at(tick.at) + FONT_PX * 0.35)) { (tick.label) }
            }
            svg x=(px(left)) y=(px(top)) width=(px(right - left)) height=(px(foot - top)) {
                rect class="plot" width="100%" height="100%" {}
                @for span in &chart.spans { (plot.span(span)) }
                @for tick in &frame.ticks {
                    @let y = px(plot.y.at(tick.at));
                    line class="grid" x1="0" x2="100%" y1=(y) y2=(y) {}
                }
                @for tick in &self.axis.ticks {
                    @let x = px(plot.x.at(tick.at));
                    line class="grid" y1="0" y2="100%" x1=(x) x2=(x) {}
                }
                @for at in &self.axis.midnights {
                    @let x = px(plot.x.at(*at));
                    line class="grid midnight" y1="0" y2="100%" x1=(x) x2=(x) {}
                }
                @for layer in &frame.panel.layers { (plot.tint(layer)) }
                @for limit in frame.panel.limits.iter().filter(|limit| limit.at.is_finite()) {
                    @let y = px(plot.y.at(limit.at));
                    line class="limit" x1="0" x2="100%" y1=(y) y2=(y) {}
                }
                @for (layer, dash) in frame.panel.layers.iter().zip(&dashes) {
                    (plot.line(layer, dash))
                }
                @for mark in chart.marks.iter().filter(|mark| mark.text.is_empty()) {
                    (plot.wordless(mark))
                }
                (plot.words(frame))
            }
            line class="foot" x1=(px(left)) x2=(px(right)) y1=(px(foot)) y2=(px(foot)) {}
            @for &(at, y) in &frame.ends {
                @if let Some(layer) = frame.panel.layers.get(at) {
                    text class={ "said " (layer.ink.class()) } x=(px(right + 6.0)) y=(px(y)) {
                        (layer.name)
                    }
                }
            }
        }
    }

    fn axis(&self) -> Markup {
        let row = self.foot_px() + 6.0 + FONT_PX * 0.9;
        let fits = |middle: f64, text: &str| {
            let half = width(text, FONT_PX) / 2.0;
            middle.min(self.width_px - half).max(half)
        };
        html! {
            @for tick in &self.axis.ticks {
                text class="tick" text-anchor="middle" x=(px(fits(self.x.at(tick.at), &tick.label)))
                    y=(px(row)) { (tick.label) }
            }
            @for (from, to, label) in &self.axis.days {
                text class="day" text-anchor="middle" y=(px(row + LINE_PX))
                    x=(px(fits((self.x.at(*from) + self.x.at(*to)) / 2.0, label))) { (label) }
            }
            @if !self.axis.title.is_empty() {
                text class="title" text-anchor="end" x=(px(self.x.high_px)) y=(px(row + LINE_PX)) {
                    (self.axis.title)
                }
            }
        }
    }
}

/// Each layer's dash: lines of one panel differ, the first is whole. A filled one is told by that.
fn dashes(layers: &[Layer]) -> Vec<&'static str> {
    const DASHES: [&str; 6] = ["d1", "d2", "d3", "d4", "d5", "d6"];
    let mut lines = 0;
    layers
        .iter()
        .map(|layer| {
            let dash = DASHES[lines % DASHES.len()];
            match layer.shape {
                Shape::Line { filled: false, .. } => lines += 1,
                _ => return DASHES[0],
            }
            dash
        })
        .collect()
}

/// A legend's sample of a layer and its name.
fn swatch(layer: &Layer, dash: &str, x: f64, y: f64) -> Markup {
    let middle = y - FONT_PX * 0.35;
    html! {
        g class=(layer.ink.class()) {
            @match &layer.shape {
                Shape::Line { .. } => line class={ "line " (dash) } x1=(px(x))
                    x2=(px(x + SWATCH_PX)) y1=(px(middle)) y2=(px(middle)) {},
                Shape::Band { solid, .. } => rect class=(band_class(*solid)) x=(px(x)) y=(px(middle - 5.0))
                    width=(px(SWATCH_PX)) height="10" {},
                Shape::Dots { .. } => circle class="dot" cx=(px(x + SWATCH_PX / 2.0))
                    cy=(px(middle)) r="3.5" {},
            }
            text class="said" x=(px(x + SWATCH_PX + 6.0)) y=(px(y)) { (layer.name) }
        }
    }
}

fn band_class(solid: bool) -> &'static str {
    if solid { "band solid" } else { "band" }
}

/// The inside of a panel, its origin at its upper left.
struct Plot {
    x: Scale,
    y: Scale,
}

impl Plot {
    fn span(&self, span: &Span) -> Markup {
        // a bound that is no number makes it empty
        let from = self.x.at(span.from.max(self.x.low));
        let to = self.x.at(span.to.min(self.x.high));
        html! {
            @if to > from {
                rect class=(span.shade.class()) x=(px(from)) y="0" width=(px(to - from))
                    height="100%" {}
            }
        }
    }

    /// A mark without words; those with words go through all panels.
    fn wordless(&self, mark: &Mark) -> Markup {
        let x = px(self.x.at(mark.at));
        html! {
            @if self.x.holds(mark.at) {
                line class={ "mark " (mark.ink.class()) } x1=(x) x2=(x) y1="0" y2="100%" {}
            }
        }
    }

    /// The parts that lie behind the lines.
    fn tint(&self, layer: &Layer) -> Markup {
        let class = layer.ink.class();
        html! {
            @match &layer.shape {
                Shape::Band { points, solid } => @for run in whole_bands(points) {
                    path class={ (band_class(*solid)) " " (class) } d=(self.band_path(run)) {}
                },
                Shape::Line { points, join, filled: true } => @for run in whole_lines(points) {
                    path class={ "area " (class) } d=(self.area_path(run, *join)) {}
                },
                _ => {}
            }
        }
    }

    fn line(&self, layer: &Layer, dash: &str) -> Markup {
        let class = layer.ink.class();
        html! {
            @match &layer.shape {
                Shape::Line { points, join, .. } => @for run in whole_lines(points) {
                    path class={ "line " (dash) " " (class) } d=(self.line_path(run, *join)) {}
                },
                Shape::Dots { points } => @for point in points {
                    @if point.0.is_finite() && point.1.is_finite() {
                        circle class={ "dot " (class) } cx=(px(self.x.at(point.0)))
                            cy=(px(self.y.at(point.1))) r="3.5" {}
                    }
                },
                Shape::Band { .. } => {}
            }
        }
    }

    fn in_px(&self, points: &[Point]) -> Vec<Point> {
        points.iter().map(|point| (self.x.at(point.0), self.y.at(point.1))).collect()
    }

    fn line_path(&self, run: &[Point], join: Join) -> String {
        let mut path = String::new();
        match join {
            Join::Straight => {
                for (at, point) in thin::line(&self.in_px(run)).into_iter().enumerate() {
                    go_to(&mut path, if at == 0 { 'M' } else { 'L' }, point);
                }
            }
            Join::Step => {
                for (at, point) in thin::steps(&self.in_px(run)).into_iter().enumerate() {
                    if at == 0 {
                        go_to(&mut path, 'M', point);
                    } else {
                        let _ = write!(path, "H{}V{}", px(point.0), px(point.1));
                    }
                }
            }
        }
        path
    }

    fn area_path(&self, run: &[Point], join: Join) -> String {
        let mut path = self.line_path(run, join);
        if let (Some(first), Some(last)) = (run.first(), run.last()) {
            let foot = px(self.y.at(0.0_f64.clamp(self.y.low, self.y.high)));
            let _ = write!(path, "H{}V{foot}H{}Z", px(self.x.at(last.0)), px(self.x.at(first.0)));
        }
        path
    }

    fn band_path(&self, run: &[(f64, f64, f64)]) -> String {
        let points: Vec<_> = run
            .iter()
            .map(|&(x, low, high)| (self.x.at(x), self.y.at(low), self.y.at(high)))
            .collect();
        let (low, high) = thin::band(&points);
        let mut path = String::new();
        for (at, point) in high.into_iter().chain(low.into_iter().rev()).enumerate() {
            go_to(&mut path, if at == 0 { 'M' } else { 'L' }, point);
        }
        path.push('Z');
        path
    }

    /// The limits' labels and the notes, where they cover no line.
    fn words(&self, frame: &Frame<'_>) -> Markup {
        let (wide, high) = (self.x.high_px, self.y.low_px);
        let mut obstacles = Obstacles::default();
        for layer in &frame.panel.layers {
            match &layer.shape {
                Shape::Line { points, .. } => obstacles.lines.push(self.in_px(points)),
                Shape::Dots { points } => obstacles.dots.extend(self.in_px(points)),
                Shape::Band { .. } => {}
            }
        }
        let noted: Vec<Point> = frame.panel.notes.iter().map(|note| note.at).collect();
        obstacles.dots.extend(self.in_px(&noted));
        let place = |left: f64, foot: f64, text: &str| {
            let room = width(text, FONT_PX);
            let left = left.min(wide - room - 4.0).max(4.0);
            let foot = foot.min(high - 3.0).max(FONT_PX + 2.0);
            Place { left, right: left + room, top: foot - FONT_PX, foot }
        };
        let mut limits = Vec::new();
        for limit in frame.panel.limits.iter().filter(|limit| limit.at.is_finite()) {
            let y = self.y.at(limit.at);
            let room = width(&limit.label, FONT_PX);
            let places = [0.0, wide, (wide - room) / 2.0].map(|left| {
                [y - 4.0, y + FONT_PX + 4.0].map(|foot| place(left, foot, &limit.label))
            });
            let places = places.as_flattened();
            if let Some(at) = obstacles.choose(places) {
                limits.push((&limit.label, places[at]));
            }
        }
        let mut notes = Vec::new();
        for note in &frame.panel.notes {
            if !(note.at.0.is_finite() && note.at.1.is_finite()) {
                continue;
            }
            let (x, y) = (self.x.at(note.at.0), self.y.at(note.at.1));
            let room = width(&note.text, FONT_PX);
            let places = [x - room / 2.0, x + 8.0, x - room - 8.0]
                .map(|left| [y - 8.0, y + FONT_PX + 8.0].map(|foot| place(left, foot, &note.text)));
            let places = places.as_flattened();
            if let Some(at) = obstacles.choose(places) {
                notes.push((note, (x, y), places[at]));
            }
        }
        html! {
            @for (label, place) in &limits {
                text class="limit-label" x=(px(place.left)) y=(px(place.foot - 2.0)) { (label) }
            }
            @for (note, (x, y), place) in &notes {
                g class=(note.ink.class()) {
                    circle class="dot" cx=(px(*x)) cy=(px(*y)) r="4" {}
                    text class="said" x=(px(place.left)) y=(px(place.foot - 2.0)) { (note.text) }
                }
            }
        }
    }
}

fn go_to(path: &mut String, how: char, point: Point) {
    let _ = write!(path, "{how}{},{}", px(point.0), px(point.1));
}

/// The runs of a line between what is not finite.
fn whole_lines(points: &[Point]) -> impl Iterator<Item = &[Point]> {
    points
        .split(|point| !(point.0.is_finite() && point.1.is_finite()))
        .filter(|run| !run.is_empty())
}

fn whole_bands(points: &[(f64, f64, f64)]) -> impl Iterator<Item = &[(f64, f64, f64)]> {
    points
        .split(|point| !(point.0.is_finite() && point.1.is_finite() && point.2.is_finite()))
        .filter(|run| !run.is_empty())
}
