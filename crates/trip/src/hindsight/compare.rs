//! Record and forecast side by side.

use super::Compared;
use super::course::{Course, Seen, World};
use super::drawn::Drawn;
use super::lens::Lens;
use super::measured::{Measured, Window};
use crate::statistics::middle_80;

/// Window by window; `shown` is what a clear lens shows of the typical trip.
pub(super) fn compared(
    world: &World<'_>,
    (measured, lens): (&Measured, &Lens),
    (typical, shown): (&Course, &[Option<Seen>]),
    drawn: &Drawn,
) -> Vec<Compared> {
    let typical_ah = measured.counted_ah(typical, lens);
    let of_window = |(at, window): (usize, &Window)| {
        let shown = shown.get(at).copied().flatten()?;
        let drawn = || drawn.trips.iter();
        Some(Compared {
            time: world.calendar.instant(lens.start_s + window.middle_s()),
            stands_for_s: window.stands_for_s,
            voltage_v: window.voltage_v,
            typical_v: shown.voltage_v,
            band_v: middle_80(drawn().filter_map(|trip| Some(trip.shown[at]?.voltage_v)), f64::NAN),
            current_a: measured.has_current.then_some(window.current_a),
            typical_a: shown.current_a,
            out_ah: measured.has_current.then_some(window.out_ah),
            typical_ah: typical_ah[at],
            band_ah: middle_80(drawn().map(|trip| trip.out_ah[at]), f64::NAN),
        })
    };
    measured.windows.iter().enumerate().filter_map(of_window).collect()
}
