//! Where a record that does not tell its time lies on the trip.

use super::course::Course;
use super::lens::Lens;
use super::measured::Measured;

/// Beginnings are tried this far apart.
const STEP_S: f64 = 300.0;
/// A volt and an ampere count as these are to each other (common practice, no source).
const VOLT: f64 = 0.03;
const AMPERE: f64 = 0.1;

/// The beginning, on the trip's clock, with which it fits the typical trip best.
pub(super) fn placed(typical: &Course, measured: &Measured) -> f64 {
    let [begins_s, ends_s] = typical.span_s();
    let room_s = ends_s - begins_s - measured.length_s;
    // a record longer than the trip begins before it
    let (first_s, last_s) = (begins_s + room_s.min(0.0), begins_s + room_s.max(0.0));
    let count = ((last_s - first_s) / STEP_S).floor() as usize;
    let tried: Vec<(f64, f64, f64)> = (0..=count)
        .map(|step| {
            let start_s = first_s + STEP_S * step as f64;
            let (mean, met_s) = misfit(typical, &Lens::clear(start_s), measured);
            (start_s, mean, met_s)
        })
        .collect();
    let most_s = tried.iter().map(|tried| tried.2).fold(0.0, f64::max);
    tried
        .iter()
        .filter(|(_, _, met_s)| *met_s >= 0.9 * most_s)
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .map_or(begins_s, |best| best.0)
}

/// The mean distance, of which far readings count less than by their square (pseudo-Huber), and the
/// time over which it was taken.
fn misfit(typical: &Course, lens: &Lens, measured: &Measured) -> (f64, f64) {
    let robust = |x: f64| (1.0 + x * x).sqrt() - 1.0;
    let (mut sum, mut met_s) = (0.0, 0.0);
    let shown = lens.shown(typical, &measured.windows);
    for (window, shown) in measured.windows.iter().zip(shown) {
        let Some(shown) = shown else { continue };
        let off_a = window.current_a - shown.current_a;
        let of_current = if measured.has_current { robust(off_a / AMPERE) } else { 0.0 };
        sum += window.stands_for_s
            * (robust((window.voltage_v - shown.voltage_v) / VOLT) + of_current);
        met_s += window.stands_for_s;
    }
    (sum / met_s.max(1e-9), met_s)
}
