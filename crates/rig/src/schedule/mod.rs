//! When a device runs: what a person writes in a plan, and the hours it means on a given night.
//!
//! "always", "night", "dark", "day", "dusk to dawn", "dark to 02:00", "21:30 to 02:00",
//! "sunset + 30 min to sunrise", "from dark for 3 h"; several of them with commas; "at 50 %" for a
//! duty cycle.

mod moments;
mod read;
mod show;

pub use moments::Moments;
pub use read::WhenError;

/// Hours of running, and the share of them in which the device really draws.
#[derive(Debug, Clone, PartialEq)]
pub struct When {
    /// The spans, in the order written.
    pub spans: Vec<Span>,
    /// Duty cycle (0..1) within them.
    pub duty: f64,
    /// Of all this only what lies within this span, where there is one. No plan writes it; it is for
    /// asking what a change from some hour on would do.
    pub within: Option<Span>,
}

/// One stretch of every night.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Span {
    /// All the time.
    Always,
    /// While the sun is up.
    Day,
    /// From one edge to another.
    Between(Edge, Edge),
    /// From an edge for so many seconds.
    For(Edge, f64),
}

/// Where a span begins or ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Edge {
    /// So many seconds after an event of the sky (before, if negative).
    Sky(Event, f64),
    /// A time by the clock on the wall, in seconds of the day.
    Clock(f64),
}

/// What the sky does in a night.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Event {
    /// The sun's upper edge goes below the horizon.
    Sunset,
    /// The sun is 6° below the horizon (civil dusk).
    Dusk,
    /// The sun is 18° below the horizon: it is dark.
    Dark,
    /// The sun comes up to 18° below the horizon: the dark ends (astronomical dawn).
    DarkEnd,
    /// The sun comes up to 6° below the horizon (civil dawn).
    Dawn,
    /// The sun's upper edge comes over the horizon.
    Sunrise,
}

impl Event {
    /// All events, in the order of the night.
    pub const ALL: [Event; 6] =
        [Event::Sunset, Event::Dusk, Event::Dark, Event::DarkEnd, Event::Dawn, Event::Sunrise];

    /// The word for it in a plan.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Event::Sunset => "sunset",
            Event::Dusk => "dusk",
            Event::Dark => "dark",
            Event::DarkEnd => "end of dark",
            Event::Dawn => "dawn",
            Event::Sunrise => "sunrise",
        }
    }

    fn of_evening(self) -> bool {
        matches!(self, Event::Sunset | Event::Dusk | Event::Dark)
    }
}

/// Noon, in seconds of the day: before it a clock time is of the morning, after it of the evening.
const NOON_S: f64 = 12.0 * 3600.0;

impl Edge {
    fn of_evening(self) -> bool {
        match self {
            Edge::Sky(event, _) => event.of_evening(),
            Edge::Clock(second) => second >= NOON_S,
        }
    }
}

impl When {
    /// These spans, at this duty cycle.
    #[must_use]
    pub fn of(spans: Vec<Span>, duty: f64) -> When {
        When { spans, duty, within: None }
    }

    /// All the time.
    #[must_use]
    pub fn always() -> When {
        When::of(vec![Span::Always], 1.0)
    }

    /// Not at all.
    #[must_use]
    pub fn never() -> When {
        When::of(Vec::new(), 1.0)
    }

    /// From sunset to sunrise.
    #[must_use]
    pub fn night() -> When {
        When::between(Event::Sunset, Event::Sunrise)
    }

    /// While the sun is 18° below the horizon.
    #[must_use]
    pub fn dark() -> When {
        When::between(Event::Dark, Event::DarkEnd)
    }

    fn between(from: Event, to: Event) -> When {
        When::of(vec![Span::Between(Edge::Sky(from, 0.0), Edge::Sky(to, 0.0))], 1.0)
    }
}
