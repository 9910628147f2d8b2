//! What gear took on a night outside.

use crate::piece::{Piece, Sum};
use crate::trace::{Stretch, Trace, Way};

/// A record of gear at work: its nights and its levels of load.
#[derive(Debug, Clone, PartialEq)]
pub struct Field {
    /// One after the other, charging between them.
    pub nights: Vec<Night>,
    /// The loads found in all of them, lightest first: ready to become devices of a rig.
    pub levels: Vec<Level>,
}

/// From the first load to the last before the pack was charged again.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Night {
    /// Since the start of the record (s).
    pub from_s: f64,
    /// Since the start of the record (s).
    pub to_s: f64,
    /// Charge taken (Ah).
    pub charge_ah: f64,
    /// Energy taken (Wh).
    pub energy_wh: f64,
    /// Half-width of the energy's 95 % interval (Wh).
    pub energy_u_wh: f64,
    /// Energy over time (W).
    pub mean_power_w: f64,
    /// The least voltage (V).
    pub least_voltage_v: f64,
}

/// A load that keeps coming back.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Its mean current (A).
    pub current_a: f64,
    /// Its mean power (W).
    pub power_w: f64,
    /// Its share of the nights' time (0..1).
    pub share_of_time: f64,
}

/// A load that is on for a share of the time, whatever else is on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// Its power (W).
    pub power_w: f64,
    /// Its share of the nights' time (0..1).
    pub share_of_time: f64,
}

impl Field {
    /// The levels as devices of a rig: what each level adds to the one below it, on for as long as
    /// the record was at that level or above. Together they take the mean of the levels.
    #[must_use]
    pub fn parts(&self) -> Vec<Part> {
        let mut below_w = 0.0;
        let mut parts = Vec::new();
        for (at, level) in self.levels.iter().enumerate() {
            let longer = self.levels.iter().skip(at);
            let share_of_time = longer.map(|level| level.share_of_time).sum::<f64>().min(1.0);
            let power_w = level.power_w - below_w;
            // a level that differs in voltage alone adds nothing
            if power_w > 0.0 {
                parts.push(Part { power_w, share_of_time });
                below_w = level.power_w;
            }
        }
        parts
    }
}

/// Charging for so long ends a night (s); less may be a panel that covers the load for a moment.
const RECHARGE_S: f64 = 1800.0;
/// After so long without a load another night begins (s).
const DAY_S: f64 = 4.0 * 3600.0;
/// Bins of the histogram in which levels are found.
const BINS: usize = 200;
/// Levels are so many empty bins apart: a twentieth of the largest load.
const APART: usize = 10;
/// A bin with less of the time is part of a change from one level to another.
const LEAST_BIN_SHARE: f64 = 1e-3;
/// A level has at least this share of the time.
const LEAST_SHARE: f64 = 0.02;

pub(crate) fn field(
    trace: &Trace,
    stretches: &[Stretch],
    instrument: Option<crate::Instrument>,
) -> Field {
    let mut nights: Vec<Vec<Stretch>> = vec![Vec::new()];
    let mut last_load_s = f64::INFINITY;
    for stretch in stretches {
        let samples = &stretch.samples;
        let lasts_s = trace.elapsed_s(samples.end - 1) - trace.elapsed_s(samples.start);
        let charges = stretch.way == Way::In && lasts_s >= RECHARGE_S;
        let loads = stretch.way == Way::Out;
        let begins = loads && trace.elapsed_s(stretch.samples.start) - last_load_s >= DAY_S;
        if loads {
            last_load_s = trace.elapsed_s(stretch.samples.end - 1);
        }
        match nights.last_mut() {
            Some(last) if (charges || begins) && last.iter().any(|s| s.way == Way::Out) => {
                nights.push(if charges { Vec::new() } else { vec![stretch.clone()] });
            }
            Some(last) if !charges => last.push(stretch.clone()),
            _ => {}
        }
    }
    for night in &mut nights {
        let first = night.iter().position(|s| s.way == Way::Out).unwrap_or(night.len());
        let last = night.iter().rposition(|s| s.way == Way::Out).map_or(first, |at| at + 1);
        *night = night.get(first..last).unwrap_or_default().to_vec();
    }
    nights.retain(|night| !night.is_empty());
    let pieces = nights.iter().flatten().flat_map(|stretch| trace.pieces(stretch));
    Field {
        levels: levels(pieces, trace.peak_a),
        nights: nights.iter().map(|stretches| night(trace, stretches, instrument)).collect(),
    }
}

fn night(trace: &Trace, stretches: &[Stretch], instrument: Option<crate::Instrument>) -> Night {
    let pieces = || stretches.iter().flat_map(|stretch| trace.pieces(stretch));
    let sum: Sum = pieces().collect();
    Night {
        from_s: pieces().map(|piece| piece.from_s).fold(f64::INFINITY, f64::min),
        to_s: pieces().map(|piece| piece.to_s).fold(0.0, f64::max),
        charge_ah: sum.charge_ah,
        energy_wh: sum.energy_wh,
        energy_u_wh: trace.doubts(instrument, stretches, &sum).energy_wh.expanded_95(),
        mean_power_w: sum.mean_power_w(),
        least_voltage_v: pieces()
            .map(|p| p.voltage_v[0].min(p.voltage_v[1]))
            .fold(f64::MAX, f64::min),
    }
}

/// Heaps in the histogram of the current, weighted by time, with room between them.
fn levels(pieces: impl Iterator<Item = Piece>, peak_a: f64) -> Vec<Level> {
    let mut bins = vec![Sum::default(); BINS + 1];
    // half of the time between two readings is the one's, half the other's
    for piece in pieces {
        for end in [0, 1] {
            let half = Piece {
                from_s: 0.0,
                to_s: piece.duration_s() / 2.0,
                voltage_v: [piece.voltage_v[end]; 2],
                current_a: [piece.current_a[end]; 2],
            };
            let bin = (piece.current_a[end].max(0.0) / peak_a * BINS as f64).round() as usize;
            bins[bin.min(BINS)].add(&half);
        }
    }
    let whole_s: f64 = bins.iter().map(|bin| bin.duration_s).sum();
    let mut heaps: Vec<(std::ops::RangeInclusive<usize>, Sum)> = Vec::new();
    for (at, bin) in bins.iter().enumerate() {
        if bin.duration_s <= LEAST_BIN_SHARE * whole_s {
            continue;
        }
        match heaps.last_mut() {
            Some((range, heap)) if at - range.end() <= APART => {
                *range = *range.start()..=at;
                *heap += *bin;
            }
            _ => heaps.push((at..=at, *bin)),
        }
    }
    heaps.retain(|(_, heap)| heap.duration_s >= LEAST_SHARE * whole_s);
    let mut levels: Vec<Level> = heaps
        .iter()
        .map(|(_, heap)| Level {
            current_a: heap.mean_current_a(),
            power_w: heap.mean_power_w(),
            share_of_time: heap.duration_s / whole_s,
        })
        .collect();
    // what lies between two levels was partly at the one, partly at the other
    for (at, bin) in bins.iter().enumerate() {
        if bin.duration_s > 0.0 && !heaps.iter().any(|(range, _)| range.contains(&at)) {
            share_out(&mut levels, bin.mean_current_a(), bin.duration_s / whole_s);
        }
    }
    levels
}

/// Adds a share of the time at some current to the levels around it, by the lever.
fn share_out(levels: &mut [Level], current_a: f64, share_of_time: f64) {
    let above = levels.partition_point(|level| level.current_a < current_a);
    let below = above.checked_sub(1);
    let level_a = |at: usize| levels.get(at).map(|level| level.current_a);
    let upper_part = match (below.and_then(level_a), level_a(above)) {
        (Some(low_a), Some(high_a)) => (current_a - low_a) / (high_a - low_a),
        (None, Some(_)) => 1.0,
        (_, None) => 0.0,
    };
    for (at, part) in [(below, 1.0 - upper_part), (Some(above), upper_part)] {
        if let Some(level) = at.and_then(|at| levels.get_mut(at)) {
            level.share_of_time += part * share_of_time;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn levels_are_stacked_into_devices() {
        let level = |power_w: f64, share_of_time| Level {
            current_a: power_w / 12.5,
            power_w,
            share_of_time,
        };
        let levels = vec![level(8.0, 0.5), level(14.0, 0.3), level(30.0, 0.2)];
        let parts = Field { nights: Vec::new(), levels: levels.clone() }.parts();
        let found: Vec<[f64; 2]> =
            parts.iter().map(|part| [part.power_w, part.share_of_time]).collect();
        for (found, expect) in found.iter().zip([[8.0, 1.0], [6.0, 0.5], [16.0, 0.2]]) {
            assert!(found.iter().zip(expect).all(|(a, b)| (a - b).abs() < 1e-12), "{found:?}");
        }
        let mean_w: f64 = levels.iter().map(|level| level.power_w * level.share_of_time).sum();
        let parts_w: f64 = parts.iter().map(|part| part.power_w * part.share_of_time).sum();
        assert!((mean_w - parts_w).abs() < 1e-12);
    }
}
