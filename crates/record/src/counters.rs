//! Counters of charge and energy, freed of resets and given the sign of the record.

use crate::rows::Raw;

/// A fall by more than this share of all that was counted is no reading error.
const FALL: f32 = 0.05;

/// Takes resets out of all counters, and what went in off what went out.
pub(crate) fn join(raw: &mut Raw, notices: &mut Vec<String>) {
    for mut counter in std::mem::take(&mut raw.counters) {
        let resets = without_resets(&mut counter.counts, counter.first as f32);
        if !resets.is_empty() {
            let lines: Vec<String> =
                resets.iter().take(5).map(|row| raw.line(*row).to_string()).collect();
            notices.push(format!(
                "the {} counter was reset {} time(s) (line {}); it was joined there",
                if counter.is_charge { "charge" } else { "energy" },
                resets.len(),
                lines.join(", ")
            ));
        }
        let net = if counter.is_charge { &mut raw.charge_ah } else { &mut raw.energy_wh };
        match net {
            Some(net) if counter.is_in => {
                net.iter_mut().zip(&counter.counts).for_each(|(out, into)| *out -= into);
            }
            _ => *net = Some(counter.counts),
        }
    }
}

/// Joins a counter, given above its first value, where it falls back to nought or what it counts
/// in a step, and says where.
///
/// A counter that falls step by step counts back, as a net count does while charging.
fn without_resets(counts: &mut [f32], first: f32) -> Vec<usize> {
    let known = counts.iter().filter(|count| count.is_finite());
    let span = known.fold(0.0_f32, |most, count| most.max((count + first).abs()));
    let mut resets = Vec::new();
    let mut added = 0.0;
    let mut before: Option<f32> = None;
    let mut last_rise = 0.0_f32;
    for (row, count) in counts.iter_mut().enumerate() {
        if !count.is_finite() {
            continue;
        }
        let shown = *count + first;
        if let Some(before) = before {
            let fell = before - shown > FALL * span && last_rise >= 0.0;
            if fell && shown >= 0.0 && shown <= (FALL * before).max(last_rise) {
                added += before;
                resets.push(row);
            } else {
                last_rise = shown - before;
            }
        }
        before = Some(shown);
        *count += added;
    }
    resets
}

/// Turns both counters into the net charge and energy that went out.
///
/// Some count what flows either way, some count down; the current tells which.
pub(crate) fn orient(raw: &mut Raw) {
    let Raw { charge_ah, energy_wh, current, .. } = raw;
    for counts in [charge_ah, energy_wh].into_iter().flatten() {
        net_out(counts, current);
    }
}

fn net_out(counts: &mut [f32], current_a: &[f32]) {
    let mut rises = [0.0_f64; 2]; // while charge goes out, while it comes in
    let mut before: Option<f32> = None;
    for (count, current) in counts.iter().zip(current_a) {
        if !count.is_finite() {
            continue;
        }
        let rise = before.map_or(0.0, |before| f64::from(count - before));
        if *current > 0.0 {
            rises[0] += rise;
        } else if *current < 0.0 {
            rises[1] += rise;
        }
        before = Some(*count);
    }
    let out = if rises[0] < 0.0 || (rises[0] == 0.0 && rises[1] > 0.0) { -1.0 } else { 1.0 };
    let into = if rises[1] > 0.0 {
        -1.0
    } else if rises[1] < 0.0 {
        1.0
    } else {
        out
    };
    if out == 1.0 && into == 1.0 {
        return;
    }
    let mut net = 0.0;
    let mut before: Option<f32> = None;
    for (count, current) in counts.iter_mut().zip(current_a) {
        if !count.is_finite() {
            continue;
        }
        let rise = before.map_or(0.0, |before| f64::from(*count - before));
        net += rise * if *current < 0.0 { into } else { out };
        before = Some(*count);
        *count = net as f32;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn resets() {
        let mut counts = [0.0, 4.0, 8.0, 0.5, 4.5, f32::NAN, 8.5];
        assert_eq!(without_resets(&mut counts, 0.0), [3]);
        assert_eq!(counts[..5], [0.0, 4.0, 8.0, 8.5, 12.5]);
        assert_eq!(counts[6], 16.5);
        let mut net = [0.0, 4.0, 8.0, 6.0, 4.0, 2.0, 0.0];
        assert_eq!(without_resets(&mut net, 0.0), [0_usize; 0]);
        let mut down = [0.0, -20.0, -40.0];
        for first in [0.0, 40.0] {
            assert_eq!(without_resets(&mut down, first), [0_usize; 0]);
        }
        // began at 1000, was set to nought
        let mut life = [0.0, 1.0, 2.0, -1000.0, -999.0];
        assert_eq!(without_resets(&mut life, 1000.0), [3]);
        assert_eq!(life, [0.0, 1.0, 2.0, 2.0, 3.0]);
    }

    #[test]
    fn net() {
        for (counts, current_a, expect) in [
            // counts what goes out
            ([0.0, 1.0, 2.0, 2.0], [1.0, 1.0, 1.0, 0.0], [0.0, 1.0, 2.0, 2.0]),
            // counts what comes in
            ([0.0, 1.0, 2.0, 2.0], [-1.0, -1.0, -1.0, 0.0], [0.0, -1.0, -2.0, -2.0]),
            // counts what flows either way
            ([0.0, 1.0, 2.0, 3.0], [1.0, 1.0, -1.0, -1.0], [0.0, 1.0, 0.0, -1.0]),
            // counts down what is left
            ([0.0, -1.0, -2.0, -3.0], [1.0, 1.0, 1.0, 1.0], [0.0, 1.0, 2.0, 3.0]),
        ] {
            let mut counts: [f32; 4] = counts;
            net_out(&mut counts, &current_a);
            assert_eq!(counts, expect);
        }
    }
}
