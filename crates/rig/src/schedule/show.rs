//! Printing a schedule so that it can be read again.

use super::{Edge, Event, Span, When};
use quantity::Kind;
use std::fmt::{Display, Formatter, Result};

impl Display for When {
    fn fmt(&self, f: &mut Formatter<'_>) -> Result {
        if self.spans.is_empty() {
            return f.write_str("never");
        }
        for (k, span) in self.spans.iter().enumerate() {
            write!(f, "{}{span}", if k > 0 { ", " } else { "" })?;
        }
        if let Some(within) = self.within {
            write!(f, ", within {within}")?;
        }
        if self.duty < 1.0 {
            write!(f, " at {}", Kind::Fraction.show(self.duty))?;
        }
        Ok(())
    }
}

impl Display for Span {
    fn fmt(&self, f: &mut Formatter<'_>) -> Result {
        const NIGHT: (Edge, Edge) = (Edge::Sky(Event::Sunset, 0.0), Edge::Sky(Event::Sunrise, 0.0));
        const DARK: (Edge, Edge) = (Edge::Sky(Event::Dark, 0.0), Edge::Sky(Event::DarkEnd, 0.0));
        match *self {
            Span::Always => f.write_str("always"),
            Span::Day => f.write_str("day"),
            Span::Between(from, to) if (from, to) == NIGHT => f.write_str("night"),
            Span::Between(from, to) if (from, to) == DARK => f.write_str("dark"),
            Span::Between(from, to) => write!(f, "{from} to {to}"),
            Span::For(from, lasting_s) => {
                write!(f, "from {from} for {}", Kind::Duration.show(lasting_s))
            }
        }
    }
}

impl Display for Edge {
    fn fmt(&self, f: &mut Formatter<'_>) -> Result {
        match *self {
            Edge::Clock(second) => {
                let minutes = (second / 60.0).round() as i64;
                write!(f, "{:02}:{:02}", minutes / 60, minutes % 60)
            }
            Edge::Sky(event, 0.0) => f.write_str(event.word()),
            Edge::Sky(event, offset_s) => {
                let sign = if offset_s < 0.0 { '-' } else { '+' };
                write!(f, "{} {sign} {}", event.word(), Kind::Duration.show(offset_s.abs()))
            }
        }
    }
}
