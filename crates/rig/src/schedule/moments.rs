//! One evening's events on the trip's clock, and the hours a schedule means on it.

use super::{Edge, Event, Span, When};

/// One night and the half days around it: from one noon to the next, on the trip's clock (s).
///
/// An event that does not happen is none. Where the sun stays *below* an altitude for the whole
/// window (polar night), give the window's `start_s` for the event of the evening and its `end_s`
/// for that of the morning.
#[derive(Clone, Copy)]
pub struct Moments<'a> {
    /// Beginning of the window.
    pub start_s: f64,
    /// Its end.
    pub end_s: f64,
    /// Sunset.
    pub sunset_s: Option<f64>,
    /// Civil dusk.
    pub dusk_s: Option<f64>,
    /// Beginning of dark.
    pub dark_s: Option<f64>,
    /// End of dark.
    pub dark_end_s: Option<f64>,
    /// Civil dawn.
    pub dawn_s: Option<f64>,
    /// Sunrise.
    pub sunrise_s: Option<f64>,
    /// From a time by the clock on the wall (seconds of the day, 0..86400) to the trip's clock
    /// within the window. The caller knows zones and changes of the clocks.
    pub clock_s: &'a dyn Fn(f64) -> f64,
}

impl Moments<'_> {
    /// When an event happens; none if it doesn't.
    #[must_use]
    pub fn event_s(&self, event: Event) -> Option<f64> {
        match event {
            Event::Sunset => self.sunset_s,
            Event::Dusk => self.dusk_s,
            Event::Dark => self.dark_s,
            Event::DarkEnd => self.dark_end_s,
            Event::Dawn => self.dawn_s,
            Event::Sunrise => self.sunrise_s,
        }
    }

    fn edge_s(&self, edge: Edge) -> Option<f64> {
        match edge {
            Edge::Sky(event, offset_s) => Some(self.event_s(event)? + offset_s),
            Edge::Clock(second) => Some((self.clock_s)(second)),
        }
    }

    /// The one or two stretches of a span within the window, before clipping.
    fn stretches(&self, span: Span) -> [Option<(f64, f64)>; 2] {
        let whole = [Some((self.start_s, self.end_s)), None];
        match span {
            Span::Always => whole,
            Span::Day => match (self.sunset_s, self.sunrise_s) {
                (None, None) => whole,
                (sunset, sunrise) => [
                    sunset.map(|sunset_s| (self.start_s, sunset_s)),
                    sunrise.map(|sunrise_s| (sunrise_s, self.end_s)),
                ],
            },
            Span::For(from, lasting_s) => {
                [self.edge_s(from).map(|from_s| (from_s, from_s + lasting_s)), None]
            }
            Span::Between(from, to) => match (self.edge_s(from), self.edge_s(to)) {
                (Some(from_s), Some(to_s)) if from_s <= to_s => [Some((from_s, to_s)), None],
                // "09:00 to 20:00": the window begins at noon, in the middle of it
                (Some(from_s), Some(to_s)) if spans_noon(from, to) => {
                    [Some((self.start_s, to_s)), Some((from_s, self.end_s))]
                }
                // "dark to 02:00" where it gets dark only later, or not at all
                _ => [None, None],
            },
        }
    }
}

/// Whether a span whose end comes before its beginning runs through noon rather than not at all.
fn spans_noon(from: Edge, to: Edge) -> bool {
    matches!((from, to), (Edge::Clock(_), Edge::Clock(_)))
        || (!from.of_evening() && to.of_evening())
}

/// What stretches, in order, have in common with one or two others.
fn shared(stretches: &[(f64, f64)], within: [Option<(f64, f64)>; 2]) -> Vec<(f64, f64)> {
    let common = |&(from_s, to_s): &(f64, f64)| {
        within
            .into_iter()
            .flatten()
            .map(move |(least_s, most_s)| (from_s.max(least_s), to_s.min(most_s)))
    };
    stretches.iter().flat_map(common).filter(|(from_s, to_s)| from_s < to_s).collect()
}

impl When {
    /// The stretches (from, to; s on the trip's clock) it means within the window, in order and
    /// without overlap. None where the night has no such hours, for example no dark in June in
    /// the north; [`When::missing`] says which event it was.
    #[must_use]
    pub fn intervals(&self, moments: &Moments) -> Vec<(f64, f64)> {
        let mut found: Vec<(f64, f64)> = self
            .spans
            .iter()
            .flat_map(|&span| moments.stretches(span))
            .flatten()
            .map(|(from_s, to_s)| (from_s.max(moments.start_s), to_s.min(moments.end_s)))
            .filter(|(from_s, to_s)| from_s < to_s)
            .collect();
        found.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut merged: Vec<(f64, f64)> = Vec::with_capacity(found.len());
        for (from_s, to_s) in found {
            match merged.last_mut() {
                Some(last) if from_s <= last.1 => last.1 = last.1.max(to_s),
                _ => merged.push((from_s, to_s)),
            }
        }
        match self.within {
            None => merged,
            Some(within) => shared(&merged, moments.stretches(within)),
        }
    }

    /// Events it hangs on that do not happen on this night; nothing runs on their account.
    #[must_use]
    pub fn missing(&self, moments: &Moments) -> Vec<Event> {
        let mut events = Vec::new();
        for span in &self.spans {
            let edges = match *span {
                Span::Always | Span::Day => [None, None],
                Span::Between(from, to) => [Some(from), Some(to)],
                Span::For(from, _) => [Some(from), None],
            };
            for edge in edges.into_iter().flatten() {
                if let Edge::Sky(event, _) = edge
                    && moments.event_s(event).is_none()
                    && !events.contains(&event)
                {
                    events.push(event);
                }
            }
        }
        events
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Noon at 0, hours as floats.
    fn night(dark: bool) -> Moments<'static> {
        let h = |hours: f64| Some(hours * 3600.0);
        Moments {
            start_s: 0.0,
            end_s: 86400.0,
            sunset_s: h(7.0),
            dusk_s: h(7.5),
            dark_s: if dark { h(9.0) } else { None },
            dark_end_s: if dark { h(15.0) } else { None },
            dawn_s: h(16.5),
            sunrise_s: h(17.0),
            clock_s: &|second| (second + 43200.0) % 86400.0,
        }
    }

    #[track_caller]
    fn check(text: &str, moments: &Moments, hours: &[(f64, f64)]) {
        let when: When = text.parse().unwrap_or_else(|error| panic!("{text:?}: {error}"));
        let found: Vec<(f64, f64)> =
            when.intervals(moments).iter().map(|(a, b)| (a / 3600.0, b / 3600.0)).collect();
        assert_eq!(found, hours, "{text}");
    }

    #[test]
    fn hours_of_a_night() {
        let night = night(true);
        check("always", &night, &[(0.0, 24.0)]);
        check("never", &night, &[]);
        check("night", &night, &[(7.0, 17.0)]);
        check("dark", &night, &[(9.0, 15.0)]);
        check("day", &night, &[(0.0, 7.0), (17.0, 24.0)]);
        check("dusk to dawn", &night, &[(7.5, 16.5)]);
        check("dark to 02:00", &night, &[(9.0, 14.0)]);
        check("21:30 to 02:00", &night, &[(9.5, 14.0)]);
        check("09:00 to 20:00", &night, &[(0.0, 8.0), (21.0, 24.0)]);
        check("sunset + 30 min to sunrise", &night, &[(7.5, 17.0)]);
        check("from dark for 3 h", &night, &[(9.0, 12.0)]);
        check("from sunrise for 12 h", &night, &[(17.0, 24.0)]);
        check(
            "19:00 to 22:00, dark to 02:00, 03:00 to 04:00",
            &night,
            &[(7.0, 14.0), (15.0, 16.0)],
        );
        check("1 h before sunset to dusk", &night, &[(6.0, 7.5)]);
        check("sunrise to sunset", &night, &[(0.0, 7.0), (17.0, 24.0)]);
        check("dark to 20:00", &night, &[]);
        check("04:00 to end of dark", &night, &[]);
    }

    #[test]
    fn only_what_lies_within_another_span() {
        let night = night(true);
        let check = |text: &str, within: &str, hours: &[(f64, f64)]| {
            let span = within.parse::<When>().unwrap().spans[0];
            let when = When { within: Some(span), ..text.parse::<When>().unwrap() };
            let found: Vec<(f64, f64)> =
                when.intervals(&night).iter().map(|(a, b)| (a / 3600.0, b / 3600.0)).collect();
            assert_eq!(found, hours, "{text} within {within}");
        };
        check("dark", "02:00 to sunrise", &[(14.0, 15.0)]);
        check("dark", "20:00 to sunrise", &[(9.0, 15.0)]);
        check("dark", "04:00 to sunrise", &[]);
        check("always", "23:00 to sunrise", &[(11.0, 17.0)]);
        check("19:00 to 22:00, 01:00 to 03:00", "21:30 to 02:00", &[(9.5, 10.0), (13.0, 14.0)]);
        // by day there are two stretches of one window
        check("always", "day", &[(0.0, 7.0), (17.0, 24.0)]);
        let when = When { within: Some(Span::Day), ..When::always() };
        assert_eq!(when.to_string(), "always, within day");
    }

    #[test]
    fn nights_that_never_get_dark() {
        let night = night(false);
        for text in ["dark", "dark to 02:00", "from dark for 3 h", "20:00 to end of dark"] {
            check(text, &night, &[]);
            assert!(!text.parse::<When>().unwrap().missing(&night).is_empty(), "{text}");
        }
        check("dark, 23:00 to 01:00", &night, &[(11.0, 13.0)]);
        assert_eq!("dark".parse::<When>().unwrap().missing(&night), [Event::Dark, Event::DarkEnd]);
        assert!("night".parse::<When>().unwrap().missing(&night).is_empty());
    }

    #[test]
    fn sun_that_stays_up_or_down() {
        let mut polar = night(false);
        (polar.sunset_s, polar.sunrise_s) = (None, None);
        check("day", &polar, &[(0.0, 24.0)]);
        check("night", &polar, &[]);
        (polar.sunset_s, polar.sunrise_s) = (Some(0.0), Some(86400.0));
        check("day", &polar, &[]);
        check("night", &polar, &[(0.0, 24.0)]);
    }
}
