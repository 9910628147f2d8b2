//! Pictures as values, drawn as SVG.
//!
//! A [`Chart`] is one or more [`Panel`]s above each other on one horizontal axis, which is easier
//! to read than two vertical axes on one panel. Colours are classes, so that the page's style
//! decides them for light, dark and print; lines of one panel also differ by dash.

mod draw;
mod figure;
mod labels;
mod layout;
mod rows;
mod scale;
mod text;
mod thin;
mod ticks;

use jiff::tz::TimeZone;

pub use rows::{Row, Rows};
pub use thin::condensed;

/// The rules a page needs to show charts; they name the colours by CSS variables.
pub const STYLE: &str = include_str!("chart.css");

/// A position in the units of the axes. On a time axis `x` is Unix time in seconds. A value that
/// is not finite breaks the line there.
pub type Point = (f64, f64);

/// One picture.
#[derive(Debug, Clone)]
pub struct Chart {
    /// What it is, in a few words.
    pub title: String,
    /// What a person would see in it, for those who can't.
    pub description: String,
    /// The axis all panels share.
    pub x: XAxis,
    /// From top to bottom.
    pub panels: Vec<Panel>,
    /// Shaded stretches behind all panels.
    pub spans: Vec<Span>,
    /// Moments marked through all panels.
    pub marks: Vec<Mark>,
}

/// The shared horizontal axis.
#[derive(Debug, Clone)]
pub enum XAxis {
    /// A number; the title carries the unit: "Delivered (Ah)".
    Number {
        /// Shown below the axis.
        title: String,
    },
    /// Unix time in seconds, shown as people at the site see it.
    Time {
        /// Of the site.
        zone: TimeZone,
    },
}

/// One plot with its own vertical axis.
#[derive(Debug, Clone)]
pub struct Panel {
    /// What the vertical axis shows, with its unit: "Voltage (V)".
    pub title: String,
    /// Of the plot itself (px).
    pub height_px: f64,
    /// Fixed ends of the vertical axis; found from the layers when `None`.
    pub range: Option<(f64, f64)>,
    /// What is drawn, first at the back.
    pub layers: Vec<Layer>,
    /// Horizontal lines: a cutoff, a limit.
    pub limits: Vec<Limit>,
    /// Single points with words beside them.
    pub notes: Vec<Note>,
}

impl Panel {
    /// An empty panel of ordinary height.
    #[must_use]
    pub fn new(title: impl Into<String>) -> Self {
        Panel {
            title: title.into(),
            height_px: 150.0,
            range: None,
            layers: Vec::new(),
            limits: Vec::new(),
            notes: Vec::new(),
        }
    }
}

/// A colour by its place in the palette.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ink {
    /// Blue.
    One,
    /// Orange.
    Two,
    /// Green.
    Three,
    /// Purple.
    Four,
    /// Ochre.
    Five,
    /// Rose.
    Six,
    /// For what is only context.
    Quiet,
    /// For what went wrong.
    Alarm,
}

impl Ink {
    /// The palette for series that are alike, in order.
    pub const SERIES: [Ink; 6] = [Ink::One, Ink::Two, Ink::Three, Ink::Four, Ink::Five, Ink::Six];

    fn class(self) -> &'static str {
        match self {
            Ink::One => "k1",
            Ink::Two => "k2",
            Ink::Three => "k3",
            Ink::Four => "k4",
            Ink::Five => "k5",
            Ink::Six => "k6",
            Ink::Quiet => "kq",
            Ink::Alarm => "ka",
        }
    }
}

/// One thing drawn in a panel.
#[derive(Debug, Clone)]
pub struct Layer {
    /// Shown beside it or in the legend; no label when empty.
    pub name: String,
    /// Its colour.
    pub ink: Ink,
    /// What is drawn.
    pub shape: Shape,
}

/// How a layer's values are drawn.
#[derive(Debug, Clone)]
pub enum Shape {
    /// A line through the points.
    Line {
        /// In order of `x`.
        points: Vec<Point>,
        /// How one point leads to the next.
        join: Join,
        /// Whether the area down to zero (or the panel's foot) is tinted.
        filled: bool,
    },
    /// The area between two curves.
    Band {
        /// `(x, low, high)` in order of `x`.
        points: Vec<(f64, f64, f64)>,
        /// Whether it is a part of a whole rather than a doubt around a line.
        solid: bool,
    },
    /// Separate dots.
    Dots {
        /// In any order.
        points: Vec<Point>,
    },
}

/// How one point of a line leads to the next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Join {
    /// Straight.
    Straight,
    /// The value holds until the next point.
    Step,
}

impl Layer {
    /// A plain line.
    #[must_use]
    pub fn line(name: impl Into<String>, ink: Ink, points: Vec<Point>) -> Self {
        let shape = Shape::Line { points, join: Join::Straight, filled: false };
        Layer { name: name.into(), ink, shape }
    }

    /// A line with the area below it tinted.
    #[must_use]
    pub fn area(name: impl Into<String>, ink: Ink, points: Vec<Point>) -> Self {
        let shape = Shape::Line { points, join: Join::Straight, filled: true };
        Layer { name: name.into(), ink, shape }
    }

    /// A value that holds until the next point.
    #[must_use]
    pub fn steps(name: impl Into<String>, ink: Ink, points: Vec<Point>) -> Self {
        let shape = Shape::Line { points, join: Join::Step, filled: false };
        Layer { name: name.into(), ink, shape }
    }

    /// The area between two curves, given as `(x, low, high)`.
    #[must_use]
    pub fn band(name: impl Into<String>, ink: Ink, points: Vec<(f64, f64, f64)>) -> Self {
        Layer { name: name.into(), ink, shape: Shape::Band { points, solid: false } }
    }

    /// Separate dots.
    #[must_use]
    pub fn dots(name: impl Into<String>, ink: Ink, points: Vec<Point>) -> Self {
        Layer { name: name.into(), ink, shape: Shape::Dots { points } }
    }

    /// Bands on top of each other, the first at the foot. Each part has a value for each `x`;
    /// a missing or non-finite value counts as nothing.
    #[must_use]
    pub fn stacked(x: &[f64], parts: &[(String, Ink, Vec<f64>)]) -> Vec<Layer> {
        let mut foot = vec![0.0; x.len()];
        let mut layers = Vec::with_capacity(parts.len());
        for (name, ink, values) in parts {
            let mut points = Vec::with_capacity(x.len());
            for (at, (&x, low)) in x.iter().zip(&mut foot).enumerate() {
                let value = values.get(at).copied().filter(|v| v.is_finite()).unwrap_or(0.0);
                points.push((x, *low, *low + value));
                *low += value;
            }
            let shape = Shape::Band { points, solid: true };
            layers.push(Layer { name: name.clone(), ink: *ink, shape });
        }
        layers
    }
}

/// A horizontal line with a word: "cutoff 12.0 V".
#[derive(Debug, Clone)]
pub struct Limit {
    /// Where, in the unit of the vertical axis.
    pub at: f64,
    /// What it is.
    pub label: String,
}

/// A point with words beside it.
#[derive(Debug, Clone)]
pub struct Note {
    /// Where.
    pub at: Point,
    /// What there is to say.
    pub text: String,
    /// Its colour.
    pub ink: Ink,
}

/// A vertical line through all panels with words on top.
#[derive(Debug, Clone)]
pub struct Mark {
    /// Where on the shared axis.
    pub at: f64,
    /// What happened; a line alone when empty.
    pub text: String,
    /// Its colour.
    pub ink: Ink,
}

/// A shaded stretch of the shared axis.
#[derive(Debug, Clone)]
pub struct Span {
    /// Where it begins.
    pub from: f64,
    /// Where it ends.
    pub to: f64,
    /// How it is tinted.
    pub shade: Shade,
    /// Shown on top; nothing when empty.
    pub label: String,
}

/// What a shaded stretch means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shade {
    /// The sun is down.
    Night,
    /// The sun is well down; drawn over [`Shade::Night`].
    Dark,
    /// What counts.
    Good,
    /// What does not.
    Bad,
    /// Not tinted, only labelled.
    Clear,
}

impl Shade {
    fn class(self) -> &'static str {
        match self {
            Shade::Night => "night",
            Shade::Dark => "dark",
            Shade::Good => "good",
            Shade::Bad => "bad",
            Shade::Clear => "clear",
        }
    }
}
