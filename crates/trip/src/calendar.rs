//! The nights of a trip on the trip's own clock.
//!
//! The clock counts seconds from local mean noon of the first evening. Each night lies in its own
//! window from one local mean noon to the next, so windows are 86,400 s long and touch.

use jiff::civil::{Date, Time};
use jiff::tz::{AmbiguousOffset, TimeZone};
use jiff::{SignedDuration, Timestamp};
use rig::schedule::Moments;
use sky::{Night, Phase, Place};

/// One night of the trip.
#[derive(Debug, Clone)]
pub(crate) struct Evening {
    pub(crate) date: Date,
    pub(crate) night: Night,
    /// Sunset and sunrise on the trip's clock; the whole window where the sun does not rise, its
    /// lowest moment where it does not set.
    pub(crate) from_s: f64,
    pub(crate) to_s: f64,
    /// From noon to noon.
    pub(crate) window_s: [f64; 2],
}

/// All nights.
#[derive(Debug, Clone)]
pub(crate) struct Calendar {
    pub(crate) noon: Timestamp,
    pub(crate) evenings: Vec<Evening>,
    zone: TimeZone,
}

/// A full hour of one night.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct FullHour {
    /// By the clock on the wall, in seconds of the day.
    pub(crate) clock_s: f64,
    /// On the trip's clock.
    pub(crate) at_s: f64,
}

impl FullHour {
    pub(crate) fn time(&self) -> Time {
        Time::midnight().wrapping_add(SignedDuration::from_secs(self.clock_s as i64))
    }
}

/// Length of a window.
pub(crate) const WINDOW_S: f64 = 86_400.0;

impl Calendar {
    /// # Errors
    /// When a date lies outside what the sky is worked out for.
    pub(crate) fn new(
        place: &Place,
        zone: &TimeZone,
        dates: impl Iterator<Item = Date>,
    ) -> Result<Self, sky::Error> {
        let mut evenings: Vec<Evening> = Vec::new();
        let mut noon = Timestamp::UNIX_EPOCH;
        for (at, date) in dates.enumerate() {
            let night = Night::of(place, date)?;
            if at == 0 {
                noon = night.start;
            }
            let start_s = WINDOW_S * at as f64;
            let on_clock = |moment: Timestamp| seconds_between(noon, moment);
            let (from_s, to_s) = if night.darkest == Phase::Day {
                (on_clock(night.midnight), on_clock(night.midnight))
            } else {
                (
                    night.sunset.map_or(start_s, on_clock),
                    night.sunrise.map_or(start_s + WINDOW_S, on_clock),
                )
            };
            evenings.push(Evening {
                date,
                night,
                from_s,
                to_s,
                window_s: [start_s, start_s + WINDOW_S],
            });
        }
        Ok(Self { noon, evenings, zone: zone.clone() })
    }

    /// When the simulation begins: at the first sunset, or with the window where there is none.
    pub(crate) fn begins_s(&self) -> f64 {
        self.evenings.first().map_or(0.0, |first| match first.night.darkest {
            Phase::Day => first.window_s[0],
            _ => first.from_s,
        })
    }

    /// When it ends: at the last sunrise, or with the window.
    pub(crate) fn ends_s(&self) -> f64 {
        self.evenings.last().map_or(0.0, |last| match last.night.darkest {
            Phase::Day => last.window_s[1],
            _ => last.to_s,
        })
    }

    /// The night a moment is counted to: that which it lies in, or the one that comes next.
    pub(crate) fn night_of(&self, at_s: f64) -> usize {
        let ended =
            self.evenings.iter().take_while(|evening| self.closes_s(evening) <= at_s).count();
        ended.min(self.evenings.len().saturating_sub(1))
    }

    /// The end of what is counted to a night.
    fn closes_s(&self, evening: &Evening) -> f64 {
        if evening.night.darkest == Phase::Day { evening.window_s[1] } else { evening.to_s }
    }

    /// The instant of a moment on the trip's clock.
    pub(crate) fn instant(&self, at_s: f64) -> Timestamp {
        let offset = SignedDuration::try_from_secs_f64(at_s).unwrap_or(SignedDuration::ZERO);
        self.noon.saturating_add(offset).unwrap_or(self.noon)
    }

    /// What schedules hang on, for one night.
    pub(crate) fn moments<T>(&self, evening: &Evening, use_them: impl FnOnce(&Moments) -> T) -> T {
        let [start_s, end_s] = evening.window_s;
        let night = &evening.night;
        let clock_s = |second: f64| self.wall_clock_s(evening, second);
        // an altitude that the sun stays below all through the window is there from end to end
        let ends = |dusk: Option<Timestamp>, dawn: Option<Timestamp>, below: Phase| {
            let on_clock = |moment: Timestamp| seconds_between(self.noon, moment);
            if night.darkest >= below && dusk.is_none() && dawn.is_none() {
                (Some(start_s), Some(end_s))
            } else if night.darkest >= below {
                (
                    dusk.map_or(Some(start_s), |d| Some(on_clock(d))),
                    dawn.map_or(Some(end_s), |d| Some(on_clock(d))),
                )
            } else {
                (None, None)
            }
        };
        let (sunset_s, sunrise_s) = ends(night.sunset, night.sunrise, Phase::Civil);
        let (dusk_s, dawn_s) = ends(night.civil_dusk, night.civil_dawn, Phase::Nautical);
        let (dark_s, dark_end_s) =
            ends(night.astronomical_dusk, night.astronomical_dawn, Phase::Night);
        use_them(&Moments {
            start_s,
            end_s,
            sunset_s,
            dusk_s,
            dark_s,
            dark_end_s,
            dawn_s,
            sunrise_s,
            clock_s: &clock_s,
        })
    }

    /// The full hours by the clock on the wall within a night, in order.
    pub(crate) fn full_hours(&self, evening: &Evening) -> Vec<FullHour> {
        let mut hours: Vec<FullHour> = (0..24)
            .map(|hour| 3600.0 * f64::from(hour))
            .map(|clock_s| FullHour { clock_s, at_s: self.wall_clock_s(evening, clock_s) })
            .filter(|hour| (evening.from_s..evening.to_s).contains(&hour.at_s))
            .collect();
        hours.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
        hours
    }

    /// A time by the clock on the wall within a night's window. A time that a change of the clocks
    /// leaves out is the moment of the change, so that later times stay later; one that it brings
    /// twice is the first.
    fn wall_clock_s(&self, evening: &Evening, second: f64) -> f64 {
        let [start_s, end_s] = evening.window_s;
        let whole = second.clamp(0.0, 86_399.0) as i64;
        let time = Time::midnight().wrapping_add(SignedDuration::from_secs(whole));
        let on = |date: Date| {
            let local = date.to_datetime(time);
            let ambiguous = self.zone.to_ambiguous_timestamp(local);
            let left_out = matches!(ambiguous.offset(), AmbiguousOffset::Gap { .. });
            let moved = ambiguous.compatible().ok()?;
            let change = || Some(self.zone.preceding(moved).next()?.timestamp());
            let instant = if left_out { change().unwrap_or(moved) } else { moved };
            Some(seconds_between(self.noon, instant))
        };
        let days =
            [Some(evening.date), evening.date.tomorrow().ok(), evening.date.yesterday().ok()];
        days.into_iter()
            .flatten()
            .filter_map(on)
            .find(|at_s| (start_s..end_s).contains(at_s))
            .unwrap_or(start_s + second)
    }
}

pub(crate) fn seconds_between(from: Timestamp, to: Timestamp) -> f64 {
    to.duration_since(from).as_secs_f64()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// In Rome the clocks went from 02:00 to 03:00 on 29 March 2026 (rules of the European Union:
    /// 01:00 UTC on the last Sunday of March).
    #[test]
    fn what_a_change_of_the_clocks_leaves_out() {
        let place = Place::new(45.0, 7.0, 0.0).unwrap();
        let zone = TimeZone::get("Europe/Rome").unwrap();
        let evening = Date::constant(2026, 3, 28);
        let calendar = Calendar::new(&place, &zone, std::iter::once(evening)).unwrap();
        let hours = |text: &str| -> f64 {
            let when: rig::schedule::When = text.parse().unwrap();
            let spans = calendar.moments(&calendar.evenings[0], |moments| when.intervals(moments));
            spans.iter().map(|(from_s, to_s)| (to_s - from_s) / 3600.0).sum()
        };
        for (text, expected) in [
            ("02:30 to 03:00", 0.0),
            ("02:30 to 03:30", 0.5),
            ("01:30 to 02:30", 0.5),
            ("02:10 to 02:50", 0.0),
            ("01:00 to 04:00", 2.0),
            // all of the day but from 01:30 to 02:00, after which it is 03:00
            ("03:00 to 01:30", 23.5),
        ] {
            assert!((hours(text) - expected).abs() < 1e-6, "{text}: {}", hours(text));
        }
    }
}
