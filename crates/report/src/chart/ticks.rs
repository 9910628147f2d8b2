//! Where an axis is marked: round numbers, whole hours.

use jiff::civil::{Date, DateTime};
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};

/// A marked place of an axis.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tick {
    pub(super) at: f64,
    pub(super) label: String,
}

/// The least step of 1, 2 or 5 times a power of ten that marks a range at most `most` times.
pub(super) fn round_step(width: f64, most: usize) -> f64 {
    let raw = width / most.max(1) as f64;
    let power = 10f64.powf(raw.log10().floor());
    for factor in [1.0, 2.0, 5.0] {
        if factor * power >= raw * (1.0 - 1e-9) {
            return factor * power;
        }
    }
    10.0 * power
}

/// Round numbers within `low..=high`, at most about `most` of them.
pub(super) fn numbers(low: f64, high: f64, most: usize) -> Vec<Tick> {
    let step = round_step(high - low, most);
    let decimals = (-(step * 1.000_001).log10().floor()).clamp(0.0, 9.0) as usize;
    let first = (low / step - 1e-6).ceil();
    let count = ((high / step + 1e-6).floor() - first).clamp(0.0, 1000.0) as usize;
    (0..=count)
        .map(|index| {
            // adding zero turns -0 into 0
            let at = (first + index as f64) * step + 0.0;
            Tick { at, label: format!("{at:.decimals$}") }
        })
        .collect()
}

/// A range widened to whole steps.
pub(super) fn widened(low: f64, high: f64, most: usize) -> (f64, f64) {
    let step = round_step(high - low, most);
    (step * (low / step + 1e-6).floor(), step * (high / step - 1e-6).ceil())
}

/// The marks of a time axis: hours, and the dates below them.
#[derive(Debug, Default)]
pub(super) struct TimeTicks {
    pub(super) hours: Vec<Tick>,
    /// Local midnights within the range, where hours are marked.
    pub(super) midnights: Vec<f64>,
    /// Each day's visible stretch with its date.
    pub(super) days: Vec<(f64, f64, String)>,
}

/// Beyond this an axis is marked by months.
const SEASON_S: f64 = 70.0 * 86_400.0;

/// Steps of a clock, in minutes.
const STEPS_MIN: [i64; 13] = [1, 2, 5, 10, 15, 30, 60, 120, 180, 240, 360, 720, 1440];

/// A date as a mark takes the room of so many times of day.
const DATE_OVER_CLOCK: f64 = 1.9;

/// Whole minutes or hours of the site's clock within `low..=high` (Unix s), at most about `most`.
pub(super) fn times(low_s: f64, high_s: f64, zone: &TimeZone, most: usize) -> TimeTicks {
    let mut ticks = TimeTicks::default();
    let Ok(first) = Timestamp::from_second(low_s.floor() as i64) else { return ticks };
    let Ok(last) = Timestamp::from_second(high_s.ceil() as i64) else { return ticks };
    if high_s - low_s > SEASON_S {
        return months(first, last, zone, most);
    }
    let wanted_min = (high_s - low_s) / 60.0 / most.max(1) as f64;
    let step_min = STEPS_MIN.into_iter().find(|&step| step as f64 >= wanted_min);
    // from a day on, every so many days
    let day_step = match step_min {
        Some(step) if step < 1440 => 1,
        _ => (DATE_OVER_CLOCK * wanted_min / 1440.0).ceil().max(1.0) as i64,
    };
    let last_date = zone.to_datetime(last).date();
    let mut date = zone.to_datetime(first).date();
    while date <= last_date {
        let Ok(next) = date.checked_add(day_step.days()) else { break };
        let midnight = second(date.at(0, 0, 0, 0), zone);
        let end = second(next.at(0, 0, 0, 0), zone);
        let label = date.strftime("%a %-d %b").to_string();
        match step_min {
            Some(step) if step < 1440 => {
                ticks.hours.extend(within_day(date.at(0, 0, 0, 0), step, zone, low_s, high_s));
                ticks.days.push((midnight.max(low_s), end.min(high_s), label));
                if (low_s..=high_s).contains(&midnight) {
                    ticks.midnights.push(midnight);
                }
            }
            _ if (low_s..=high_s).contains(&midnight) => {
                ticks.hours.push(Tick { at: midnight, label });
            }
            _ => {}
        }
        date = next;
    }
    ticks.hours.dedup_by(|later, earlier| later.at <= earlier.at);
    ticks
}

/// The first of each month, or of every so many, with the years below them.
fn months(first: Timestamp, last: Timestamp, zone: &TimeZone, most: usize) -> TimeTicks {
    const STEPS: [i64; 8] = [1, 2, 3, 6, 12, 24, 60, 120];
    let mut ticks = TimeTicks::default();
    let (low_s, high_s) = (first.as_second() as f64, last.as_second() as f64);
    let wanted = (high_s - low_s) / (30.44 * 86_400.0) / most.max(1) as f64;
    let step = STEPS.into_iter().find(|&step| step as f64 >= wanted).unwrap_or(1200);
    let begin = zone.to_datetime(first).date();
    let Ok(mut date) = Date::new(begin.year(), 1, 1) else { return ticks };
    loop {
        let at = second(date.at(0, 0, 0, 0), zone);
        if at > high_s {
            return ticks;
        }
        let Ok(next) = date.checked_add(step.months()) else { return ticks };
        if at >= low_s {
            let label = date.strftime(if step < 12 { "%b" } else { "%Y" }).to_string();
            ticks.hours.push(Tick { at, label });
        }
        if date.month() == 1 && step < 12 {
            let end =
                date.checked_add(1.year()).map_or(f64::NAN, |end| second(end.at(0, 0, 0, 0), zone));
            ticks.days.push((at.max(low_s), end.min(high_s), date.strftime("%Y").to_string()));
        }
        date = next;
    }
}

fn within_day(
    midnight: DateTime,
    step_min: i64,
    zone: &TimeZone,
    low_s: f64,
    high_s: f64,
) -> impl Iterator<Item = Tick> {
    (0..1440 / step_min).filter_map(move |index| {
        let clock = midnight.checked_add((index * step_min).minutes()).ok()?;
        let at = second(clock, zone);
        let label = clock.strftime("%H:%M").to_string();
        (low_s..=high_s).contains(&at).then_some(Tick { at, label })
    })
}

/// Unix time of a local clock reading; NaN, which no range holds, outside of what can be told.
fn second(clock: DateTime, zone: &TimeZone) -> f64 {
    zone.to_timestamp(clock).map_or(f64::NAN, |instant| instant.as_second() as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_one_two_or_five() {
        for (width, most, step) in
            [(3.2, 5, 1.0), (10.0, 10, 1.0), (0.9, 4, 0.5), (100.0, 6, 20.0), (1.0, 3, 0.5)]
        {
            assert_eq!(round_step(width, most), step, "{width} in {most}");
        }
    }

    #[test]
    fn numbers_are_round_and_written_alike() {
        let labels = |low, high, most| {
            numbers(low, high, most).into_iter().map(|tick| tick.label).collect::<Vec<_>>()
        };
        assert_eq!(labels(11.8, 13.3, 4), ["12.0", "12.5", "13.0"]);
        assert_eq!(labels(-1.0, 1.0, 4), ["-1.0", "-0.5", "0.0", "0.5", "1.0"]);
        assert_eq!(labels(0.0, 40.0, 5), ["0", "10", "20", "30", "40"]);
        assert_eq!(labels(0.0, 2.5e-3, 3), ["0.000", "0.001", "0.002"]);
        assert_eq!(widened(10.2, 13.4, 5), (10.0, 14.0));
        assert_eq!(widened(0.0, 40.0, 5), (0.0, 40.0));
    }

    #[test]
    fn hours_are_those_of_the_sites_clock() {
        let zone = TimeZone::get("Europe/London").unwrap();
        // from 17:30 to 09:10 local summer time, which is one hour ahead of UTC
        let start: Timestamp = "2026-08-14T16:30:00Z".parse().unwrap();
        let (low, high) = (start.as_second() as f64, start.as_second() as f64 + 15.66 * 3600.0);
        let ticks = times(low, high, &zone, 8);
        let labels: Vec<_> = ticks.hours.iter().map(|tick| tick.label.as_str()).collect();
        assert_eq!(
            labels,
            ["18:00", "20:00", "22:00", "00:00", "02:00", "04:00", "06:00", "08:00"]
        );
        assert_eq!(ticks.hours[0].at, low + 1800.0);
        assert_eq!(ticks.midnights.len(), 1);
        let days: Vec<_> = ticks.days.iter().map(|(_, _, label)| label.as_str()).collect();
        assert_eq!(days, ["Fri 14 Aug", "Sat 15 Aug"]);
    }

    #[test]
    fn a_clock_that_is_put_back_keeps_the_ticks_in_order() {
        let zone = TimeZone::get("Europe/London").unwrap();
        for day in ["2026-03-28T20:00:00Z", "2026-10-24T20:00:00Z"] {
            let start = day.parse::<Timestamp>().unwrap().as_second() as f64;
            let ticks = times(start, start + 12.0 * 3600.0, &zone, 14);
            assert!(ticks.hours.len() > 8);
            assert!(ticks.hours.windows(2).all(|pair| pair[0].at < pair[1].at));
        }
    }

    #[test]
    fn a_year_is_marked_by_months() {
        let start = "2026-08-15T12:00:00Z".parse::<Timestamp>().unwrap().as_second() as f64;
        let ticks = times(start, start + 365.0 * 86400.0, &TimeZone::UTC, 15);
        let labels: Vec<_> = ticks.hours.iter().map(|tick| tick.label.as_str()).collect();
        assert_eq!(labels.len(), 12);
        assert_eq!((labels[0], labels[11]), ("Sep", "Aug"));
        let years: Vec<_> = ticks.days.iter().map(|(_, _, label)| label.as_str()).collect();
        assert_eq!(years, ["2026", "2027"]);
        let few = times(start, start + 365.0 * 86400.0, &TimeZone::UTC, 5);
        assert_eq!(few.hours.len(), 4);
    }

    #[test]
    fn weeks_are_marked_by_days() {
        let start = "2026-08-01T12:00:00Z".parse::<Timestamp>().unwrap().as_second() as f64;
        let ticks = times(start, start + 30.0 * 86400.0, &TimeZone::UTC, 11);
        assert!((4..=7).contains(&ticks.hours.len()), "{ticks:?}");
        assert!(ticks.days.is_empty());
    }
}
