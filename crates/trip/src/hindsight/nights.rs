//! Forecast and record night by night.

use jiff::Timestamp;

use super::NightHindsight;
use super::course::{Seen, World};
use super::measured::Measured;
use crate::answer::Forecast;
use crate::calendar::seconds_between;

/// Night by night, over the time that the record covers.
pub(super) fn nights(
    forecast: &Forecast,
    measured: &Measured,
    typical: &[Option<Seen>],
    (world, start_s): (&World<'_>, f64),
) -> Vec<NightHindsight> {
    let on_clock = |at: Timestamp| seconds_between(world.calendar.noon, at);
    let within = |from_s: f64, to_s: f64| {
        measured
            .windows
            .iter()
            .zip(typical)
            .filter(move |(window, _)| (from_s..to_s).contains(&(start_s + window.middle_s())))
            .filter_map(|(window, shown)| Some((window, shown.as_ref()?)))
    };
    // out of the pack with sign 1, into it with -1: planned and measured
    let energy_wh = |from_s: f64, to_s: f64, sign: f64| {
        let mut sums = [0.0; 2];
        for (window, shown) in within(from_s, to_s) {
            let hours = window.stands_for_s / 3600.0;
            sums[0] += hours * (sign * shown.voltage_v * shown.current_a).max(0.0);
            sums[1] += hours * (sign * window.voltage_v * window.current_a).max(0.0);
        }
        sums.map(|wh| measured.has_current.then_some(wh))
    };
    forecast
        .nights
        .iter()
        .enumerate()
        .filter_map(|(at, night)| {
            let (from_s, to_s) = (on_clock(night.from), on_clock(night.to));
            let before = at.checked_sub(1).and_then(|before| forecast.nights.get(before));
            let day_s = before.map_or(from_s, |before| on_clock(before.to));
            let covered_s: f64 = within(from_s, to_s).map(|(window, _)| window.stands_for_s).sum();
            let mut least_v = [f64::INFINITY; 2];
            for (window, shown) in within(from_s, to_s) {
                least_v[0] = least_v[0].min(shown.voltage_v);
                least_v[1] = least_v[1].min(window.least_v);
            }
            (covered_s > 0.0).then(|| NightHindsight {
                evening: night.evening,
                covered: (covered_s / (to_s - from_s)).min(1.0),
                out_wh: energy_wh(from_s, to_s, 1.0),
                in_wh: energy_wh(day_s, from_s, -1.0),
                least_v,
            })
        })
        .collect()
}
