//! A day on a panel.

use crate::piece::Sum;
use crate::trace::{Stretch, Trace};
use crate::{Recharge, Settings};

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
    /// What the panel would have given under a clear sky in that span, before any controller (Wh).
    /// This room knows no sky: [`Recharge::under_clear_sky`] fills it in.
    pub clear_sky_wh: Option<f64>,
    /// Energy put in over that.
    pub share_of_clear_sky: Option<f64>,
}

impl Recharge {
    /// Compares a day on a panel with what a clear sky would have given (Wh) from its first
    /// charging current to its last.
    pub fn under_clear_sky(&mut self, clear_sky_wh: f64) {
        let energy_wh = self.energy_wh;
        if let Some(solar) = self.solar.as_mut().filter(|_| clear_sky_wh > 0.0) {
            solar.clear_sky_wh = Some(clear_sky_wh);
            solar.share_of_clear_sky = Some(energy_wh / clear_sky_wh);
        }
    }
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
        clear_sky_wh: None,
        share_of_clear_sky: None,
    }
}
