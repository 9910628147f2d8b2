//! What the readings of a record count: how far apart a record and a trip, or two trips, lie.
//!
//! Differences are taken in units of what model and meter are good for. Far ones count by the
//! logarithm of their distance (Cauchy's distribution). Once the voltage has fallen below what the
//! rig needs, on either side, the rest of the night is not compared: a trip may have fallen there or
//! not by a hair's breadth. What counts of such a night is how long it was carried.

use std::ops::Range;

use nalgebra::DVector;

use super::course::Seen;
use super::measured::Measured;

/// What model and meter together are taken to be good for (standard deviations; common practice, no
/// source): the voltage of a pack on the way out, and on the way in.
const OUT_V: f64 = 0.03;
const IN_V: f64 = 0.10;
/// The current, with its share, and the share of what sources give: clouds go by.
const CURRENT_A: f64 = 0.03;
const CURRENT_SHARE: f64 = 0.02;
const SOURCE_SHARE: f64 = 0.4;
/// Readings further apart than this (h) are taken to err independently of each other (common
/// practice, no source): what a model has wrong it has wrong for hours.
const INDEPENDENT_H: f64 = 2.0;
/// Beyond so many standard deviations a difference counts ever less (common practice, no source).
const FAR: f64 = 3.0;

/// How well a model tells how long a night is carried (h; common practice, no source).
const CARRIED_H: f64 = 0.5;

/// Towards the moment of a failure differences count less and less, over so long (h; common practice,
/// no source): the voltage falls steeply there.
const FADING_H: f64 = 1.0;

/// The measure for one record.
pub(super) struct Yardstick<'a> {
    measured: &'a Measured,
    /// The windows of each night of which there are any.
    nights: Vec<Range<usize>>,
    /// Below this voltage something that should be on is not.
    floor_v: f64,
    /// How long each night was carried by the record.
    carried: Vec<Carried>,
    /// Of each reading: what model and meter are good for, the other way round (1/V, 1/A or 1/h), and
    /// for how many independent readings it stands. Voltages first, then currents, then nights.
    scales: Vec<[f64; 2]>,
    /// Independent readings in the record.
    pub(super) count: f64,
}

/// How long a night was carried.
#[derive(Clone, Copy)]
struct Carried {
    /// The first of its windows that lies below the floor, or the one after its last.
    until: usize,
    /// Since its first window.
    hours: f64,
}

/// Differences of readings in units of what model and meter are good for.
pub(super) struct Off {
    pub(super) values: DVector<f64>,
    /// Share of the record that lies within the trip.
    pub(super) overlap: f64,
}

impl<'a> Yardstick<'a> {
    /// By what the typical trip shows in the windows of the record; `nights` are their spans on the
    /// record's clock (s).
    pub(super) fn new(
        measured: &'a Measured,
        typical: &[Option<Seen>],
        nights: impl Iterator<Item = [f64; 2]>,
        floor_v: f64,
    ) -> Self {
        let windows = &measured.windows;
        let before = |at_s: f64| windows.partition_point(|window| window.middle_s() < at_s);
        let nights: Vec<Range<usize>> = nights
            .map(|[from_s, to_s]| before(from_s)..before(to_s))
            .filter(|night| !night.is_empty())
            .collect();
        let noise_v = flicker(windows.iter().map(|window| window.voltage_v));
        let noise_a = flicker(windows.iter().map(|window| window.current_a));
        let mut scales = vec![[0.0; 2]; 2 * windows.len()];
        let mut count = 0.0;
        for (at, (window, shown)) in windows.iter().zip(typical).enumerate() {
            let Some(shown) = shown else { continue };
            let share = window.stands_for_s / 3600.0 / INDEPENDENT_H;
            let good_v = if shown.current_a < -CURRENT_A { IN_V } else { OUT_V };
            scales[at] = [1.0 / good_v.hypot(noise_v), share];
            count += share;
            if measured.has_current {
                let good_a = CURRENT_A
                    .hypot(CURRENT_SHARE * shown.current_a)
                    .hypot(SOURCE_SHARE * shown.source_a)
                    .hypot(noise_a);
                scales[windows.len() + at] = [1.0 / good_a, share];
                count += share;
            }
        }
        scales.extend(nights.iter().map(|_| [1.0 / CARRIED_H, 1.0]));
        count += nights.len() as f64;
        let mut yardstick =
            Self { measured, nights, floor_v, carried: Vec::new(), scales, count: count.max(1.0) };
        yardstick.carried = yardstick.carried(|at| Some(windows.get(at)?.voltage_v));
        yardstick
    }

    /// How long each night was carried by these voltages.
    fn carried(&self, voltage_v: impl Fn(usize) -> Option<f64>) -> Vec<Carried> {
        let windows = &self.measured.windows;
        let of_night = |night: &Range<usize>| {
            let above = |at: usize| voltage_v(at).map(|v| v - self.floor_v);
            let until = night.clone().find(|at| above(*at).is_some_and(|above_v| above_v < 0.0));
            let middle_h = |at: usize| windows[at].middle_s() / 3600.0;
            let last = night.end - 1;
            let end_h = match until {
                None => middle_h(last),
                Some(at) if at == night.start => middle_h(at),
                // straight between the last window above and the first below
                Some(at) => match (above(at - 1), above(at)) {
                    (Some(high), Some(low)) => {
                        middle_h(at - 1)
                            + (middle_h(at) - middle_h(at - 1)) * high / (high - low).max(1e-9)
                    }
                    _ => middle_h(at),
                },
            };
            Carried { until: until.unwrap_or(night.end), hours: end_h - middle_h(night.start) }
        };
        self.nights.iter().map(of_night).collect()
    }

    fn carried_by(&self, shown: &[Option<Seen>]) -> Vec<Carried> {
        self.carried(|at| shown.get(at).copied().flatten().map(|seen| seen.voltage_v))
    }

    /// Puts how long nights were carried beside the other differences, and has what comes after a
    /// failure count for nothing.
    fn end_nights(&self, values: &mut DVector<f64>, one: &[Carried], other: &[Carried]) {
        let count = self.measured.windows.len();
        for (at, (night, (one, other))) in self.nights.iter().zip(one.iter().zip(other)).enumerate()
        {
            let windows = &self.measured.windows;
            let failed = one.until.min(other.until) < night.end;
            let end_h = windows[night.start].middle_s() / 3600.0 + one.hours.min(other.hours);
            for window in night.clone().filter(|_| failed) {
                let before_h = end_h - windows[window].middle_s() / 3600.0;
                let share = (before_h / FADING_H).clamp(0.0, 1.0);
                values[window] *= share;
                values[count + window] *= share;
            }
            let at = 2 * count + at;
            values[at] = self.scales[at][0] * (one.hours - other.hours);
        }
    }

    /// The record less what a trip shows.
    pub(super) fn off(&self, shown: &[Option<Seen>]) -> Off {
        let windows = &self.measured.windows;
        let (mut values, mut met, mut all) = (DVector::zeros(self.scales.len()), 0.0, 0.0);
        for (at, (window, shown)) in windows.iter().zip(shown).enumerate() {
            if self.scales[at][1] == 0.0 {
                continue;
            }
            all += window.stands_for_s;
            let Some(shown) = shown else { continue };
            met += window.stands_for_s;
            values[at] = self.scales[at][0] * (window.voltage_v - shown.voltage_v);
            if self.measured.has_current {
                let at = windows.len() + at;
                values[at] = self.scales[at][0] * (window.current_a - shown.current_a);
            }
        }
        self.end_nights(&mut values, &self.carried, &self.carried_by(shown));
        Off { values, overlap: met / f64::max(all, 1e-9) }
    }

    /// What one trip shows less another, where both show something.
    pub(super) fn between(&self, one: &[Option<Seen>], other: &[Option<Seen>]) -> DVector<f64> {
        let count = self.measured.windows.len();
        let mut values = DVector::zeros(self.scales.len());
        for (at, pair) in one.iter().zip(other).enumerate() {
            let (Some(one), Some(other)) = pair else { continue };
            values[at] = self.scales[at][0] * (one.voltage_v - other.voltage_v);
            let at = count + at;
            values[at] = self.scales[at][0] * (one.current_a - other.current_a);
        }
        self.end_nights(&mut values, &self.carried_by(one), &self.carried_by(other));
        values
    }

    /// The squared distance that differences come to; about [`Yardstick::count`] where nothing lies
    /// between but what model and meter are not good for.
    pub(super) fn distance(&self, off: &Off) -> f64 {
        let far = FAR * FAR;
        let of = |(x, [_, counts]): (&f64, &[f64; 2])| counts * far * (x * x / far).ln_1p();
        off.values.iter().zip(&self.scales).map(of).sum::<f64>() / off.overlap.max(1e-9)
    }

    /// What each reading counts beside others that are nearer or further off.
    pub(super) fn weights(&self, off: &DVector<f64>) -> DVector<f64> {
        let counts = self.scales.iter().map(|[_, counts]| counts);
        let weights = off.iter().zip(counts).map(|(x, counts)| counts / (1.0 + (x / FAR).powi(2)));
        DVector::from_iterator(off.len(), weights)
    }
}

/// How much a row of readings flickers from one to the next (a standard deviation): by the median of
/// the second differences, which steps and slopes don't touch. Of normal noise the median is 0.6745
/// of the deviation, and second differences have √6 times that of the readings.
fn flicker(values: impl Iterator<Item = f64>) -> f64 {
    let values: Vec<f64> = values.filter(|value| value.is_finite()).collect();
    let mut bends: Vec<f64> =
        values.windows(3).map(|three| (three[0] - 2.0 * three[1] + three[2]).abs()).collect();
    bends.sort_by(f64::total_cmp);
    bends.get(bends.len() / 2).map_or(0.0, |bend| bend / 0.6745 / 6.0_f64.sqrt())
}

#[cfg(test)]
mod tests {
    use rand_distr::{Distribution, StandardNormal};
    use rand_pcg::Pcg64;

    use super::*;

    #[test]
    fn noise_is_found_beside_steps_and_slopes() {
        let mut random = Pcg64::new(3, 3);
        let noisy: Vec<f64> = (0..2000)
            .map(|at| {
                let noise: f64 = StandardNormal.sample(&mut random);
                let step = if at > 900 { 5.0 } else { 0.0 };
                0.1 * noise + 0.001 * f64::from(at) + step
            })
            .collect();
        let found = flicker(noisy.into_iter());
        assert!((0.09..0.11).contains(&found), "{found}");
        assert_eq!(flicker([1.0, 2.0].into_iter()), 0.0);
    }
}
