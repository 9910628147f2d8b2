//! From values to pixels.

/// A straight mapping of values to pixels.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scale {
    pub(super) low: f64,
    pub(super) high: f64,
    pub(super) low_px: f64,
    pub(super) high_px: f64,
}

impl Scale {
    pub(super) fn at(&self, value: f64) -> f64 {
        let share = (value - self.low) / (self.high - self.low);
        // far outside the picture is far enough: no renderer need see 1e300
        (self.low_px + share * (self.high_px - self.low_px)).clamp(-1e5, 1e5)
    }

    pub(super) fn holds(&self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }
}

/// Beyond this no picture is meant, and sums would lose their last digits.
const MOST: f64 = 1e15;

/// The least and greatest of the values that a picture can show.
pub(super) fn extent(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    values.filter(|value| value.abs() <= MOST).fold(None, |range, value| {
        let (low, high) = range.unwrap_or((value, value));
        Some((low.min(value), high.max(value)))
    })
}

/// A range with room in it: one that has no width gets some.
pub(super) fn opened((low, high): (f64, f64)) -> (f64, f64) {
    let width = high - low;
    if width > 1e-9 * low.abs().max(high.abs()) && width > 0.0 {
        return (low, high);
    }
    let room = if low == 0.0 { 1.0 } else { low.abs() * 0.1 };
    (low - room, high + room)
}

/// A range as asked for, if it can be one.
pub(super) fn asked(range: Option<(f64, f64)>) -> Option<(f64, f64)> {
    let (low, high) = range?;
    (low.abs() <= MOST && high.abs() <= MOST && high - low > 1e-9 * low.abs().max(high.abs()))
        .then_some((low, high))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_always_have_width() {
        for (range, expect) in
            [((1.0, 2.0), (1.0, 2.0)), ((0.0, 0.0), (-1.0, 1.0)), ((-10.0, -10.0), (-11.0, -9.0))]
        {
            assert_eq!(opened(range), expect);
        }
    }

    #[test]
    fn extent_passes_over_what_is_no_number() {
        assert_eq!(extent([f64::NAN, 2.0, f64::INFINITY, -1.0].into_iter()), Some((-1.0, 2.0)));
        assert_eq!(extent([f64::NAN].into_iter()), None);
    }
}
