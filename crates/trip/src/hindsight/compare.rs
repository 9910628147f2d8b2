//! Record and forecast side by side.

use super::Compared;
use super::course::{Course, World};
use super::drawn::Drawn;
use super::lens::Lens;
use super::measured::{Measured, Window};

/// Window by window.
pub(super) fn compared(
    world: &World<'_>,
    (measured, lens): (&Measured, &Lens),
    typical: &Course,
    drawn: &Drawn,
) -> Vec<Compared> {
    let shown = lens.shown(typical, &measured.windows);
    let typical_ah = measured.counted_ah(typical, lens);
    let of_window = |(at, window): (usize, &Window)| {
        let shown = shown.get(at).copied().flatten()?;
        let drawn = || drawn.trips.iter();
        Some(Compared {
            time: world.calendar.instant(lens.start_s + window.middle_s()),
            stands_for_s: window.stands_for_s,
            voltage_v: window.voltage_v,
            typical_v: shown.voltage_v,
            band_v: middle(drawn().filter_map(|trip| Some(trip.shown[at]?.voltage_v))),
            current_a: measured.has_current.then_some(window.current_a),
            typical_a: shown.current_a,
            out_ah: measured.has_current.then_some(window.out_ah),
            typical_ah: typical_ah[at],
            band_ah: middle(drawn().map(|trip| trip.out_ah[at])),
        })
    };
    measured.windows.iter().enumerate().filter_map(of_window).collect()
}

/// 10 % and 90 % quantiles.
fn middle(values: impl Iterator<Item = f64>) -> [f64; 2] {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    [0.1, 0.9].map(|share| {
        let at = (values.len().saturating_sub(1) as f64 * share).round() as usize;
        values.get(at).copied().unwrap_or(f64::NAN)
    })
}
