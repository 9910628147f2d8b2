//! Things compared on one scale, a row each: a dot, where it comes from, what it needs.

use maud::{Markup, html};

use super::Ink;
use super::draw::px;
use super::layout::{FONT_PX, LINE_PX};
use super::scale::{Scale, asked, extent, opened};
use super::text::{width, wrapped};
use super::ticks;

/// Rows on one scale.
#[derive(Debug, Clone)]
pub struct Rows {
    /// What it is, in a few words.
    pub title: String,
    /// What a person would see in it, for those who can't.
    pub description: String,
    /// Of the scale, with its unit.
    pub axis: String,
    /// Fixed ends of the scale; found from the rows when `None`.
    pub range: Option<(f64, f64)>,
    /// From top to bottom.
    pub rows: Vec<Row>,
}

/// One row.
#[derive(Debug, Clone)]
pub struct Row {
    /// Its name.
    pub label: String,
    /// How deep it hangs in the tree of rows: 0 for a row that hangs on none, otherwise on the
    /// nearest row above it that is one less deep.
    pub depth: usize,
    /// What else to say, small.
    pub detail: String,
    /// Where the line to the dot comes from.
    pub from: Option<f64>,
    /// Where the dot is.
    pub at: f64,
    /// What it must at least reach.
    pub least: Option<f64>,
    /// The dot's value in words.
    pub value: String,
    /// Its colour.
    pub ink: Ink,
}

/// Step to the right for each level of the tree (px).
const INDENT_PX: f64 = 18.0;

/// Where the parts of all rows are.
struct Places {
    width_px: f64,
    /// Whether name and scale stand beside each other rather than below each other.
    is_roomy: bool,
    /// Width for a name and its detail (px).
    name_px: f64,
    scale: Scale,
}

/// One row, placed.
struct Placed<'a> {
    row: &'a Row,
    /// Baseline of the name's first line.
    name_px: f64,
    names: Vec<String>,
    /// Height of the dot.
    dot_px: f64,
    details: Vec<String>,
    /// Baseline of the first detail.
    detail_px: f64,
}

impl Placed<'_> {
    fn last_baseline_px(&self) -> f64 {
        let (first_px, lines) = match self.details.len() {
            0 => (self.name_px, self.names.len()),
            count => (self.detail_px, count),
        };
        first_px + lines.saturating_sub(1) as f64 * LINE_PX
    }
}

impl Rows {
    pub(super) fn draw(&self, width_px: f64, is_roomy: bool) -> (f64, Markup) {
        let places = self.places(width_px, is_roomy);
        let mut foot_px = 4.0;
        let placed: Vec<_> = self.rows.iter().map(|row| places.place(row, &mut foot_px)).collect();
        let most = ((places.scale.high_px - places.scale.low_px) / 60.0) as usize;
        let ticks = ticks::numbers(places.scale.low, places.scale.high, most);
        let content = html! {
            @for tick in &ticks {
                @let x = px(places.scale.at(tick.at));
                line class="grid" x1=(x) x2=(x) y1="0" y2=(px(foot_px)) {}
                @let half = width(&tick.label, FONT_PX) / 2.0;
                @let middle = places.scale.at(tick.at).min(width_px - half).max(half);
                text class="tick" text-anchor="middle" x=(px(middle)) y=(px(foot_px + LINE_PX)) {
                    (tick.label)
                }
            }
            line class="foot" x1=(px(places.scale.low_px)) x2=(px(places.scale.high_px))
                y1=(px(foot_px)) y2=(px(foot_px)) {}
            text class="title" text-anchor="end" x=(px(places.scale.high_px))
                y=(px(foot_px + 2.0 * LINE_PX)) { (self.axis) }
            @for (at, placed_row) in placed.iter().enumerate() {
                (elbow(&placed, at))
                (places.row(placed_row))
            }
        };
        (foot_px + 2.0 * LINE_PX + 6.0, content)
    }

    fn places(&self, width_px: f64, is_roomy: bool) -> Places {
        let indent = |row: &Row| row.depth as f64 * INDENT_PX;
        let widest = |text: fn(&Row) -> &str| {
            let widths = self.rows.iter().map(|row| indent(row) + width(text(row), FONT_PX));
            widths.fold(0.0, f64::max)
        };
        let value_px =
            self.rows.iter().map(|row| width(&row.value, FONT_PX)).fold(0.0, f64::max) + 10.0;
        let name_px = if is_roomy {
            (widest(|row| &row.label).max(widest(|row| &row.detail)) + 16.0).min(0.45 * width_px)
        } else {
            width_px - value_px
        };
        let values = self.rows.iter().flat_map(|row| [Some(row.at), row.from, row.least]);
        let range = asked(self.range).unwrap_or_else(|| {
            let (low, high) = opened(extent(values.flatten()).unwrap_or((0.0, 1.0)));
            ticks::widened(low, high, 6)
        });
        let scale = Scale {
            low: range.0,
            high: range.1,
            low_px: if is_roomy { name_px } else { 12.0 },
            high_px: if is_roomy { width_px - value_px - 4.0 } else { width_px - 12.0 },
        };
        Places { width_px, is_roomy, name_px, scale }
    }
}

impl Places {
    fn place<'a>(&self, row: &'a Row, foot_px: &mut f64) -> Placed<'a> {
        let room = self.name_px - row.depth as f64 * INDENT_PX - 10.0;
        let names = wrapped(&row.label, FONT_PX, room);
        let room = if self.is_roomy { room } else { self.width_px - row.depth as f64 * INDENT_PX };
        let details = wrapped(&row.detail, FONT_PX, room);
        let name_px = *foot_px + FONT_PX + 3.0;
        let last_name_px = name_px + names.len().saturating_sub(1) as f64 * LINE_PX;
        let below = if self.is_roomy { last_name_px } else { last_name_px + LINE_PX + 2.0 };
        let detail_px = below + LINE_PX - 1.0;
        let dot_px = if self.is_roomy { name_px - FONT_PX * 0.35 } else { below - 5.0 };
        *foot_px = below + details.len() as f64 * LINE_PX + 9.0;
        Placed { row, name_px, names, dot_px, details, detail_px }
    }

    fn row(&self, placed: &Placed<'_>) -> Markup {
        let Placed { row, dot_px, .. } = *placed;
        let left = row.depth as f64 * INDENT_PX;
        let y = px(dot_px);
        html! {
            @for (at, line) in placed.names.iter().enumerate() {
                text class="name" x=(px(left)) y=(px(placed.name_px + at as f64 * LINE_PX)) { (line) }
            }
            @for (at, line) in placed.details.iter().enumerate() {
                text class="tick" x=(px(left)) y=(px(placed.detail_px + at as f64 * LINE_PX)) { (line) }
            }
            g class=(row.ink.class()) {
                text class="said" text-anchor="end" x=(px(self.width_px)) y=(px(placed.name_px)) {
                    (row.value)
                }
                @if let Some(least) = row.least.filter(|least| self.scale.holds(*least)) {
                    @let x = px(self.scale.at(least));
                    line class="least" x1=(x) x2=(x) y1=(px(dot_px - 8.0)) y2=(px(dot_px + 8.0)) {}
                }
                @if row.at.is_finite() {
                    @if let Some(from) = row.from.filter(|from| from.is_finite()) {
                        line class="line d1" x1=(px(self.scale.at(from))) x2=(px(self.scale.at(row.at)))
                            y1=(y) y2=(y) {}
                    }
                    circle class="dot" cx=(px(self.scale.at(row.at))) cy=(y) r="5" {}
                }
            }
        }
    }
}

/// The line from a row to the one it hangs on.
fn elbow(placed: &[Placed<'_>], at: usize) -> Markup {
    let Some(child) = placed.get(at).filter(|child| child.row.depth > 0) else { return html! {} };
    let above = placed.iter().take(at).rev();
    let mut parents = above.filter(|parent| parent.row.depth + 1 == child.row.depth);
    let Some(parent) = parents.next() else { return html! {} };
    let x = px(parent.row.depth as f64 * INDENT_PX + 5.0);
    let end = px(child.row.depth as f64 * INDENT_PX - 3.0);
    let from = px(parent.last_baseline_px() + 4.0);
    let to = px(child.name_px - FONT_PX * 0.35);
    html! { path class="elbow" d={ "M" (x) "," (from) "V" (to) "H" (end) } {} }
}
