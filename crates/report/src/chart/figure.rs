//! A chart as an element of a page.

use maud::{Markup, html};

use super::layout::Layout;
use super::{Chart, Rows};

/// Width of the drawing for a desk or paper (px).
const WIDE_PX: f64 = 860.0;
/// Width of the drawing for a phone (px).
const NARROW_PX: f64 = 380.0;

impl Chart {
    /// The chart drawn twice, for a wide and for a narrow page; the page's style shows the one
    /// that fits. `id` must be unique in the page.
    #[must_use]
    pub fn figure(&self, id: &str) -> Markup {
        twice(id, &self.title, &self.description, |width_px, is_roomy| {
            let layout = Layout::new(self, width_px, is_roomy);
            (layout.height_px, layout.content(self))
        })
    }
}

impl Rows {
    /// As [`Chart::figure`].
    #[must_use]
    pub fn figure(&self, id: &str) -> Markup {
        twice(id, &self.title, &self.description, |width_px, is_roomy| {
            self.draw(width_px, is_roomy)
        })
    }
}

/// `draw` gives height and content for a width, and is told whether that is roomy.
fn twice(
    id: &str,
    title: &str,
    description: &str,
    draw: impl Fn(f64, bool) -> (f64, Markup),
) -> Markup {
    html! {
        @for (variant, width_px, is_roomy) in [("wide", WIDE_PX, true), ("narrow", NARROW_PX, false)] {
            @let (height_px, content) = draw(width_px, is_roomy);
            @let title_id = format!("{id}-{variant}-title");
            @let description_id = format!("{id}-{variant}-desc");
            svg class={ "chart " (variant) } viewBox=(format!("0 0 {width_px:.0} {height_px:.0}"))
                role="img" aria-labelledby=(title_id) aria-describedby=(description_id)
                xmlns="http://www.w3.org/2000/svg" {
                title id=(title_id) { (title) }
                desc id=(description_id) { (description) }
                (content)
            }
        }
    }
}
