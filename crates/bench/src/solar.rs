//! A day on a panel.

use crate::Settings;
use crate::piece::Sum;
use crate::trace::{Stretch, Trace};

/// What a panel gave through its controller, at the pack's terminals.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Solar {
    /// From the first charging current to the last (s), clouds between them included.
    pub span_s: f64,
    /// Energy over that span (W).
    pub mean_power_w: f64,
    /// The largest power of any reading (W).
    pub peak_power_w: f64,
    /// Mean power over the panel's rating.
    pub mean_share_of_rating: Option<f64>,
    /// Largest power over the panel's rating.
    pub peak_share_of_rating: Option<f64>,
    /// Energy over what a clear sky would have given in that span. This room knows no sky: for
    /// whoever knows site, date and tilt to fill in.
    pub share_of_clear_sky: Option<f64>,
}

pub(crate) fn solar(trace: &Trace, stretches: &[Stretch], settings: &Settings) -> Solar {
    let pieces = || stretches.iter().flat_map(|stretch| trace.pieces(stretch));
    let sum: Sum = pieces().collect();
    let from_s = pieces().map(|piece| piece.from_s).fold(f64::INFINITY, f64::min);
    let span_s = pieces().map(|piece| piece.to_s).fold(from_s, f64::max) - from_s;
    let mean_power_w = -sum.energy_wh / (span_s / 3600.0);
    let peak_power_w =
        pieces().map(|piece| -piece.voltage_v[0] * piece.current_a[0]).fold(0.0, f64::max);
    Solar {
        span_s,
        mean_power_w,
        peak_power_w,
        mean_share_of_rating: settings.panel_w.map(|rated_w| mean_power_w / rated_w),
        peak_share_of_rating: settings.panel_w.map(|rated_w| peak_power_w / rated_w),
        share_of_clear_sky: None,
    }
}
