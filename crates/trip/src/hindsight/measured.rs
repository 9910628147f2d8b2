//! A record as windows of a few minutes, each with the mean of its readings.

use record::{CurrentFrom, Record};

use super::course::Course;
use super::lens::Lens;

/// Readings within this time are one window (s): switching is seen to some minutes, and what the
/// gear does from second to second is not asked. Of a long record windows are longer, so that there
/// are no more than so many.
const WINDOW_S: f64 = 300.0;
const MOST_WINDOWS: f64 = 500.0;
/// Where readings are further apart than this many usual steps, and than [`LEAST_GAP_S`], there is
/// a gap.
const GAP_STEPS: f64 = 4.0;
/// No pause shorter than this is a gap (s).
const LEAST_GAP_S: f64 = 600.0;
/// A reading alone stands for this long before and after it (s), as far as it is compared.
const ALONE_S: f64 = 30.0;

/// A record made ready to be compared.
pub(super) struct Measured {
    pub(super) windows: Vec<Window>,
    pub(super) has_current: bool,
    /// From its first reading to its last.
    pub(super) length_s: f64,
    /// Within that, how long nothing was recorded.
    pub(super) gaps_s: f64,
    /// The stretches over which its charge is counted, on its own clock.
    pub(super) counted_s: Vec<[f64; 2]>,
}

/// Some readings close together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Window {
    /// On the record's clock: what the readings are compared with is the mean of this time.
    pub(super) from_s: f64,
    pub(super) to_s: f64,
    /// How much time it stands for: to the middle between it and its neighbours.
    pub(super) stands_for_s: f64,
    pub(super) voltage_v: f64,
    /// The lowest of its readings.
    pub(super) least_v: f64,
    /// Out of the pack; NaN where the record has no current.
    pub(super) current_a: f64,
    /// Out of the pack from the record's beginning to this window's middle, over the stretches
    /// that were counted; NaN where the record has no current.
    pub(super) out_ah: f64,
}

impl Window {
    pub(super) fn middle_s(&self) -> f64 {
        0.5 * (self.from_s + self.to_s)
    }
}

/// One reading.
#[derive(Clone, Copy)]
struct Row {
    at_s: f64,
    voltage_v: f64,
    current_a: f64,
    /// Charge out since the first row, gaps left out.
    out_ah: f64,
}

impl Measured {
    pub(super) fn of(record: &Record) -> Self {
        let has_current =
            !matches!(record.current_from, CurrentFrom::Stated | CurrentFrom::Nothing);
        let samples = &record.samples;
        let usual_s = usual_step_s(&samples.elapsed_s);
        let gap_s = LEAST_GAP_S.max(GAP_STEPS * usual_s);
        let counter =
            samples.counted_ah.as_ref().filter(|counts| counts.iter().all(|ah| ah.is_finite()));
        let mut rows: Vec<Row> = Vec::with_capacity(samples.len());
        let mut counted_s: Vec<[f64; 2]> = Vec::new();
        for (at, sample) in samples.iter().enumerate() {
            let current_a = if has_current { sample.current_a } else { f64::NAN };
            let before = rows.last().filter(|row| sample.elapsed_s - row.at_s <= gap_s);
            let hours = before.map_or(0.0, |row| (sample.elapsed_s - row.at_s) / 3600.0);
            let more_ah = before.map_or(0.0, |row| 0.5 * (row.current_a + current_a) * hours);
            let so_far_ah = rows.last().map_or(0.0, |row| row.out_ah);
            let out_ah = match counter.and_then(|counts| counts.get(at)) {
                Some(ah) => f64::from(*ah),
                None if has_current => so_far_ah + more_ah,
                None => f64::NAN,
            };
            match counted_s.last_mut() {
                // a counter knows what flowed in a gap
                Some(span) if before.is_some() || counter.is_some() => span[1] = sample.elapsed_s,
                _ => counted_s.push([sample.elapsed_s; 2]),
            }
            rows.push(Row {
                at_s: sample.elapsed_s,
                voltage_v: sample.voltage_v,
                current_a,
                out_ah,
            });
        }
        let mut windows = Vec::new();
        let mut gaps_s = 0.0;
        let length_s = rows.last().map_or(0.0, |row| row.at_s);
        let window_s = WINDOW_S.max(length_s / MOST_WINDOWS);
        for stretch in rows.chunk_by(|a, b| b.at_s - a.at_s <= gap_s) {
            windows_of(stretch, usual_s, window_s, &mut windows);
        }
        for pair in rows.windows(2) {
            let pause_s = pair[1].at_s - pair[0].at_s;
            gaps_s += if pause_s > gap_s { pause_s } else { 0.0 };
        }
        Self { windows, has_current, length_s, gaps_s, counted_s }
    }

    /// What a meter would have counted of a course by the middle of each window (Ah).
    pub(super) fn counted_ah(&self, course: &Course, lens: &Lens) -> Vec<f64> {
        let until = |until_s: f64, near: &mut usize| {
            let spans = self.counted_s.iter().filter(|[from_s, _]| *from_s < until_s);
            spans
                .map(|[from_s, to_s]| {
                    let to_s = to_s.min(until_s).max(*from_s);
                    let true_ah = course.out_ah(lens.start_s + from_s, lens.start_s + to_s, near);
                    lens.gain * true_ah + lens.offset_a * (to_s - from_s) / 3600.0
                })
                .fold(0.0, |sum, ah| sum + ah)
        };
        self.windows.iter().map(|window| until(window.middle_s(), &mut 0)).collect()
    }
}

/// The median time between readings.
fn usual_step_s(elapsed_s: &[f64]) -> f64 {
    let mut steps: Vec<f64> = elapsed_s.windows(2).map(|pair| pair[1] - pair[0]).collect();
    steps.sort_by(f64::total_cmp);
    steps.get(steps.len() / 2).copied().unwrap_or(0.0)
}

/// Parts a stretch without gaps.
fn windows_of(stretch: &[Row], usual_s: f64, window_s: f64, into: &mut Vec<Window>) {
    let around_s = (0.5 * usual_s).clamp(1.0, ALONE_S);
    let mut groups: Vec<&[Row]> = Vec::new();
    let mut rest = stretch;
    while let Some(first) = rest.first() {
        let count = rest.partition_point(|row| row.at_s < first.at_s + window_s).max(1);
        let (group, left) = rest.split_at(count);
        groups.push(group);
        rest = left;
    }
    let ends = |group: &[Row]| {
        let at = |row: Option<&Row>| row.map_or(0.0, |row| row.at_s);
        [at(group.first()) - around_s, at(group.last()) + around_s]
    };
    let middle = |group: &[Row]| ends(group).iter().sum::<f64>() / 2.0;
    for (at, group) in groups.iter().enumerate() {
        let [from_s, to_s] = ends(group);
        let neighbour = |at: Option<usize>| at.and_then(|at| groups.get(at)).map(|g| middle(g));
        let here_s = 0.5 * (from_s + to_s);
        let left_s = neighbour(at.checked_sub(1)).map_or(from_s, |s| 0.5 * (s + here_s));
        let right_s = neighbour(Some(at + 1)).map_or(to_s, |s| 0.5 * (s + here_s));
        let mean = |of: fn(&Row) -> f64| group.iter().map(of).sum::<f64>() / group.len() as f64;
        into.push(Window {
            from_s,
            to_s,
            stands_for_s: right_s - left_s,
            voltage_v: mean(|row| row.voltage_v),
            least_v: group.iter().map(|row| row.voltage_v).fold(f64::INFINITY, f64::min),
            current_a: mean(|row| row.current_a),
            out_ah: mean(|row| row.out_ah),
        });
    }
}
