//! A chart as an element of a page.

use maud::{Markup, html};

use super::Chart;
use super::layout::Layout;

/// Width of the drawing for a desk or paper (px).
const WIDE_PX: f64 = 860.0;
/// Width of the drawing for a phone (px).
const NARROW_PX: f64 = 380.0;

impl Chart {
    /// The chart drawn twice, for a wide and for a narrow page; the page's style shows the one
    /// that fits. `id` must be unique in the page.
    #[must_use]
    pub fn figure(&self, id: &str) -> Markup {
        html! {
            (self.svg(id, "wide", WIDE_PX, true))
            (self.svg(id, "narrow", NARROW_PX, false))
        }
    }

    fn svg(&self, id: &str, variant: &str, width_px: f64, roomy: bool) -> Markup {
        let layout = Layout::new(self, width_px, roomy);
        let (title, desc) = (format!("{id}-{variant}-title"), format!("{id}-{variant}-desc"));
        let view = format!("0 0 {width_px:.0} {:.0}", layout.height_px);
        html! {
            svg class={ "chart " (variant) } viewBox=(view) role="img"
                aria-labelledby=(title) aria-describedby=(desc)
                xmlns="http://www.w3.org/2000/svg" {
                title id=(title) { (self.title) }
                desc id=(desc) { (self.description) }
                (layout.content(&self.spans))
            }
        }
    }
}
