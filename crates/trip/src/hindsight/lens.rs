//! A course through a meter that may err.

use super::course::{Course, Seen};
use super::measured::Window;

/// What a meter at a pack may show too much, and its current's factor (standard deviations; common
/// practice, no source).
const OFFSET_V: f64 = 0.02;
const OFFSET_A: f64 = 0.02;
const GAIN: f64 = 0.01;

/// How many numbers [`Lens::err`] takes.
pub(super) const ERRORS: usize = 3;

/// How a meter saw a course.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Lens {
    /// When its record began, on the trip's clock.
    pub(super) start_s: f64,
    /// What it shows too much.
    pub(super) offset_v: f64,
    pub(super) offset_a: f64,
    /// Factor on its current.
    pub(super) gain: f64,
}

impl Lens {
    /// A meter that shows what is there.
    pub(super) fn clear(start_s: f64) -> Self {
        Lens { start_s, offset_v: 0.0, offset_a: 0.0, gain: 1.0 }
    }

    /// Has it err by so many standard deviations: of its voltage, its current's zero, its gain.
    pub(super) fn err(&mut self, deviations: &[f64]) {
        let [v, a, gain] = [0, 1, 2].map(|at| deviations.get(at).copied().unwrap_or(0.0));
        self.offset_v += OFFSET_V * v;
        self.offset_a += OFFSET_A * a;
        self.gain *= 1.0 + GAIN * gain;
    }

    /// What it would have shown in each window of a record; `None` outside the trip.
    pub(super) fn shown(&self, course: &Course, windows: &[Window]) -> Vec<Option<Seen>> {
        let spans = windows.iter().map(|at| [self.start_s + at.from_s, self.start_s + at.to_s]);
        let mut means = course.means(spans);
        for seen in means.iter_mut().flatten() {
            seen.voltage_v += self.offset_v;
            seen.current_a = seen.current_a * self.gain + self.offset_a;
        }
        means
    }
}
