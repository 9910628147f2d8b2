//! A record made ready to be measured: its noise, the zero of its current meter, its gaps, and
//! the stretches in which current flows one way.

use std::ops::Range;

use record::{CurrentFrom, Record, Samples};

use crate::piece::Piece;
use crate::{BenchError, Trouble};

/// Which way the current goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Way {
    /// None flows.
    Rest,
    /// None flows and the terminals are dead: the pack's protection has opened.
    Open,
    /// Out of the pack.
    Out,
    /// Into the pack.
    In,
}

/// Samples in a row with the current going one way.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Stretch {
    pub(crate) way: Way,
    pub(crate) samples: Range<usize>,
}

/// A span without readings inside a stretch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Gap {
    /// The sample before it.
    pub(crate) at: usize,
    /// Whether the readings on both sides agree, so that the straight line between them stands.
    pub(crate) bridged: bool,
}

/// A record and what can be seen in it as a whole.
#[derive(Debug)]
pub(crate) struct Trace<'a> {
    pub(crate) record: &'a Record,
    /// What the current meter shows with nothing connected (A), as taken off every reading.
    pub(crate) zero_a: f64,
    /// Whether rests show that zero, so that the meter's offset is known to its last digit.
    pub(crate) zero_is_seen: bool,
    /// The largest current either way (A).
    pub(crate) peak_a: f64,
    /// Standard deviation of the current's noise (A).
    pub(crate) noise_a: f64,
    /// The same while next to none flows (A).
    quiet_noise_a: f64,
    /// The usual time between readings (s).
    pub(crate) interval_s: f64,
    /// Below this the terminals are dead (V).
    dead_v: f64,
    pub(crate) stretches: Vec<Stretch>,
    pub(crate) gaps: Vec<Gap>,
}

/// So many usual intervals without a reading are a gap; loggers that write on a change of the
/// reading stay below.
const GAP_INTERVALS: f64 = 10.0;
/// No gap longer than this share of the record, or than this time (s), is bridged: a logger that
/// was off by day is no hole in a run.
const LONGEST_BRIDGE: (f64, f64) = (0.1, 7200.0);
/// A change of the current by this share of the largest is a jump, not noise.
const JUMP_SHARE: f64 = 0.05;
/// The terminals of a pack whose protection has opened show less than this share of its voltage
/// under load (*common practice, no source*: a tenth of a volt or so is left).
const OPEN_SHARE: f64 = 0.25;

impl<'a> Trace<'a> {
    pub(crate) fn new(record: &'a Record) -> Result<Self, BenchError> {
        let samples = &record.samples;
        check(record)?;
        let steps: Vec<f64> =
            sampled(samples.len() - 1).map(|at| interval_s(samples, at)).collect();
        let interval_s = median(steps.into_iter().filter(|&step| step > 0.0).collect());
        let peak_a: f64 =
            samples.current_a.iter().fold(0.0, |most: f32, a| most.max(a.abs())).into();
        let steps_a = |is_counted: &dyn Fn(f64) -> bool| -> Vec<f64> {
            sampled(samples.len() - 1)
                .map(|at| [at, at + 1].map(|at| f64::from(samples.current_a[at])))
                .filter(|pair| pair.iter().all(|&a| is_counted(a)))
                .map(|[before, after]| (after - before).abs())
                .filter(|&step| step < JUMP_SHARE * peak_a)
                .collect()
        };
        // the median distance of two draws from a normal distribution is 0.6745 √2 deviations
        let noise_a = median(steps_a(&|_| true)) / 0.954;
        let quiet_noise_a = median(steps_a(&|a| a.abs() < JUMP_SHARE * peak_a)) / 0.954;
        let mut trace = Trace {
            record,
            zero_a: 0.0,
            zero_is_seen: false,
            peak_a,
            noise_a,
            quiet_noise_a,
            interval_s,
            dead_v: 0.0,
            stretches: Vec::new(),
            gaps: Vec::new(),
        };
        let zero_a = trace.meter_zero_a().filter(|_| record.current_from == CurrentFrom::Measured);
        if let Some(zero_a) = zero_a {
            trace.zero_is_seen = true;
            let is_more_than_a_digit = zero_a.abs() >= 0.9 * record.resolution.current_a;
            trace.zero_a = if is_more_than_a_digit { zero_a } else { 0.0 };
        }
        if trace.peak_a - trace.zero_a.abs() <= trace.quiet_a() {
            return Err(BenchError { file: record.file.clone(), trouble: Trouble::NoCurrent });
        }
        trace.find_stretches();
        Ok(trace)
    }

    /// Currents up to this are nought (A): half a hundredth of the largest, unless the meter's
    /// last digit or its noise hides more.
    fn quiet_a(&self) -> f64 {
        let hidden = (2.5 * self.record.resolution.current_a).max(4.0 * self.quiet_noise_a);
        (0.005 * self.peak_a).max(hidden.min(0.3 * self.peak_a))
    }

    /// The mean of a steady stretch of small current that begins and ends with a jump or with the
    /// record, if there is one; of several the smallest, since the others may be gear on standby.
    /// What goes on into the pack after a charge is float, not a zero.
    fn meter_zero_a(&self) -> Option<f64> {
        const LEAST_READINGS: usize = 5;
        let current = &self.record.samples.current_a;
        let small = (0.03 * self.peak_a).max(2.0 * self.record.resolution.current_a);
        let steady = (2.0 * self.record.resolution.current_a).max(8.0 * self.quiet_noise_a);
        let is_small = |at: usize| f64::from(current[at].abs()) <= small;
        let mut best: Option<f64> = None;
        let mut at = 0;
        while at < current.len() {
            if !is_small(at) {
                at += 1;
                continue;
            }
            let first = at;
            while at < current.len() && is_small(at) {
                at += 1;
            }
            let values = || current[first..at].iter().map(|&a| f64::from(a));
            let (least, most) =
                values().fold((f64::MAX, f64::MIN), |(least, most), a| (least.min(a), most.max(a)));
            let mean = values().sum::<f64>() / (at - first) as f64;
            let before = first.checked_sub(1).and_then(|at| current.get(at));
            let jumps = |neighbour: Option<&f32>| {
                neighbour.is_none_or(|&a| (f64::from(a) - mean).abs() > 3.0 * small)
            };
            let floats = mean < 0.0 && before.is_some_and(|&a| a < 0.0);
            let is_rest = at - first >= LEAST_READINGS
                && most - least <= steady
                && jumps(before)
                && jumps(current.get(at))
                && !floats;
            if is_rest && best.is_none_or(|best| mean.abs() < best.abs()) {
                best = Some(mean);
            }
        }
        best
    }

    fn find_stretches(&mut self) {
        let samples = &self.record.samples;
        let quiet_a = self.quiet_a();
        let loaded = sampled(samples.len())
            .filter(|&at| self.current_a(at).abs() > quiet_a)
            .map(|at| f64::from(samples.voltage_v[at]));
        self.dead_v = OPEN_SHARE * median(loaded.collect());
        let way = |at: usize| {
            let current_a = self.current_a(at);
            if current_a > quiet_a {
                Way::Out
            } else if current_a < -quiet_a {
                Way::In
            } else if self.is_dead(at) {
                Way::Open
            } else {
                Way::Rest
            }
        };
        let mut stretches: Vec<Stretch> = Vec::new();
        let mut gaps = Vec::new();
        for at in 0..samples.len() {
            let gap = (at > 0 && interval_s(samples, at - 1) > self.gap_s())
                .then(|| Gap { at: at - 1, bridged: self.sides_agree(at - 1) });
            gaps.extend(gap);
            match stretches.last_mut() {
                Some(last) if last.way == way(at) && gap.is_none_or(|gap| gap.bridged) => {
                    last.samples.end = at + 1;
                }
                _ => stretches.push(Stretch { way: way(at), samples: at..at + 1 }),
            }
        }
        self.stretches = stretches;
        self.gaps = gaps;
    }

    /// Whether the pack's protection has opened.
    pub(crate) fn is_dead(&self, at: usize) -> bool {
        self.voltage_v(at) < self.dead_v
    }

    /// The gaps after the samples of a range.
    pub(crate) fn gaps_in(&self, samples: &Range<usize>) -> &[Gap] {
        let from = self.gaps.partition_point(|gap| gap.at < samples.start);
        let to = self.gaps.partition_point(|gap| gap.at < samples.end);
        self.gaps.get(from..to).unwrap_or_default()
    }

    /// Whether the gap after a sample is one that the readings around it bridge.
    pub(crate) fn bridges(&self, at: usize) -> bool {
        self.gaps_in(&(at..at + 1)).iter().any(|gap| gap.bridged)
    }

    /// The mean temperature over some stretches (°C), where the record has it.
    pub(crate) fn mean_temperature_c<'s>(
        &self,
        stretches: impl Iterator<Item = &'s Stretch>,
    ) -> Option<f64> {
        let celsius = self.record.samples.temperature_c.as_ref()?;
        let (mut sum, mut readings) = (0.0, 0.0);
        for at in stretches.flat_map(|stretch| stretch.samples.clone()) {
            if let Some(celsius) = celsius.get(at).filter(|celsius| celsius.is_finite()) {
                sum += f64::from(*celsius);
                readings += 1.0;
            }
        }
        (readings > 0.0).then(|| sum / readings)
    }

    /// The least time without readings that counts as a gap (s).
    pub(crate) fn gap_s(&self) -> f64 {
        GAP_INTERVALS * self.interval_s
    }

    /// Whether the readings before and after a gap are those of one load that stayed on (or off):
    /// the same current, and a voltage that went on the way that current drives it.
    fn sides_agree(&self, at: usize) -> bool {
        let [before_a, after_a] = [at, at + 1].map(|at| self.current_a(at));
        let room_a = (0.05 * before_a.abs().max(after_a.abs()))
            .max(3.0 * self.record.resolution.current_a)
            .max(6.0 * self.noise_a);
        let [before_v, after_v] =
            [at, at + 1].map(|at| f64::from(self.record.samples.voltage_v[at]));
        let room_v = (0.005 * before_v).max(3.0 * self.record.resolution.voltage_v);
        let turned_back = (after_v - before_v) * before_a.signum();
        let (share, longest_s) = LONGEST_BRIDGE;
        interval_s(&self.record.samples, at) <= longest_s.min(share * self.span_s())
            && (after_a - before_a).abs() <= room_a
            && (before_a.abs() <= self.quiet_a() || turned_back <= room_v)
    }

    /// From the first reading to the last (s).
    pub(crate) fn span_s(&self) -> f64 {
        let elapsed_s = &self.record.samples.elapsed_s;
        elapsed_s.last().map_or(0.0, |last_s| last_s - elapsed_s[0])
    }

    /// The current of a sample, the meter's zero taken off (A).
    pub(crate) fn current_a(&self, at: usize) -> f64 {
        f64::from(self.record.samples.current_a[at]) - self.zero_a
    }

    /// The voltage of a sample (V).
    pub(crate) fn voltage_v(&self, at: usize) -> f64 {
        f64::from(self.record.samples.voltage_v[at])
    }

    /// The time of a sample (s).
    pub(crate) fn elapsed_s(&self, at: usize) -> f64 {
        self.record.samples.elapsed_s[at]
    }

    /// What is known of a stretch, piece by piece. Where a reading of another kind stands next to
    /// it, the change came somewhere between the two: half of that interval is counted.
    pub(crate) fn pieces(&self, stretch: &Stretch) -> impl Iterator<Item = Piece> + use<'_> {
        let Range { start, end } = stretch.samples;
        let before = self.edge(start, start.checked_sub(1)).map(|half_s| self.flat(start, -half_s));
        let after = self.edge(end - 1, Some(end)).map(|half_s| self.flat(end - 1, half_s));
        let inside = (start..end - 1).map(|at| self.piece(at, at + 1));
        before.into_iter().chain(inside).chain(after)
    }

    /// The straight line between two samples.
    pub(crate) fn piece(&self, from: usize, to: usize) -> Piece {
        Piece {
            from_s: self.elapsed_s(from),
            to_s: self.elapsed_s(to),
            voltage_v: [from, to].map(|at| self.voltage_v(at)),
            current_a: [from, to].map(|at| self.current_a(at)),
        }
    }

    /// Half the time to the neighbour, if there is one near enough (s).
    fn edge(&self, at: usize, neighbour: Option<usize>) -> Option<f64> {
        let neighbour = neighbour.filter(|&at| at < self.record.samples.len())?;
        let apart_s = (self.elapsed_s(neighbour) - self.elapsed_s(at)).abs();
        (apart_s <= self.gap_s()).then_some(apart_s / 2.0)
    }

    /// The readings of one sample, held for a while before (negative) or after it.
    fn flat(&self, at: usize, span_s: f64) -> Piece {
        let (elapsed_s, other_s) = (self.elapsed_s(at), self.elapsed_s(at) + span_s);
        Piece {
            from_s: elapsed_s.min(other_s),
            to_s: elapsed_s.max(other_s),
            voltage_v: [self.voltage_v(at); 2],
            current_a: [self.current_a(at); 2],
        }
    }

    /// Whether a sample stands close before `first` and at `last`, the end of a range.
    pub(crate) fn has_neighbours(&self, first: usize, last: usize) -> [bool; 2] {
        [self.edge(first, first.checked_sub(1)), self.edge(last - 1, Some(last))]
            .map(|edge| edge.is_some())
    }

    /// The first and last samples of a stretch, each with the time within which the current changed
    /// there (s). Where the record itself begins or ends, nothing is known and nothing is doubted:
    /// the result is of what the record covers.
    pub(crate) fn ends_s(&self, stretch: &Stretch) -> impl Iterator<Item = (usize, f64)> + use<> {
        let Range { start, end } = stretch.samples;
        let before = self.edge(start, start.checked_sub(1)).map(|half_s| (start, 2.0 * half_s));
        let after = self.edge(end - 1, Some(end)).map(|half_s| (end - 1, 2.0 * half_s));
        before.into_iter().chain(after)
    }
}

fn check(record: &Record) -> Result<(), BenchError> {
    let of_file = |trouble| BenchError { file: record.file.clone(), trouble };
    let samples = &record.samples;
    if samples.len() < 2 {
        return Err(of_file(Trouble::TooFew { samples: samples.len() }));
    }
    let broken = |at: usize| of_file(Trouble::Broken { sample: at + 1 });
    let shortest = samples.voltage_v.len().min(samples.current_a.len());
    if shortest != samples.len() || samples.voltage_v.len() != samples.current_a.len() {
        return Err(broken(shortest));
    }
    let mut before_s = f64::NEG_INFINITY;
    for (at, sample) in samples.iter().enumerate() {
        let finite = sample.elapsed_s.is_finite()
            && sample.voltage_v.is_finite()
            && sample.current_a.is_finite();
        if !finite || sample.elapsed_s < before_s {
            return Err(broken(at));
        }
        before_s = sample.elapsed_s;
    }
    Ok(())
}

fn interval_s(samples: &Samples, at: usize) -> f64 {
    samples.elapsed_s[at + 1] - samples.elapsed_s[at]
}

/// Places in a long record from which a median is good enough.
fn sampled(len: usize) -> impl Iterator<Item = usize> {
    (0..len).step_by(stride(len))
}

/// Every so many-th of a long record is enough for its medians.
pub(crate) fn stride(len: usize) -> usize {
    const ENOUGH: usize = 100_000;
    len.div_ceil(ENOUGH).max(1)
}

/// The middle value; nought of none.
pub(crate) fn median(values: Vec<f64>) -> f64 {
    quantile(values, 0.5)
}

/// The value that this share of all stay below; nought of none.
pub(crate) fn quantile(mut values: Vec<f64>, share: f64) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let at = ((values.len() as f64 * share) as usize).min(values.len() - 1);
    *values.select_nth_unstable_by(at, f64::total_cmp).1
}
