//! Slips of the pen: a decimal point in the wrong place, digits swapped.
//!
//! One reading far from both its neighbours, which agree, while the other quantity says that
//! nothing happened. A protection that opens or a load that switches moves both, and stays.

use crate::rows::{Raw, largest, reason};

/// A record with more of them than this share, and than three, has something real in it.
const MOST: f64 = 0.05;

/// Sets such rows aside and names them.
pub(crate) fn set_aside(raw: &mut Raw, notices: &mut Vec<String>) {
    let (v, i) = (&raw.voltage_v, &raw.current);
    let largest_a = largest(i);
    let smallest_v = (2.0 * raw.steps.voltage) as f32;
    let mut found: Vec<(usize, String)> = Vec::new();
    for (at, (v, i)) in v.windows(3).zip(i.windows(3)).enumerate() {
        let (&[v0, v1, v2], &[i0, i1, i2]) = (v, i) else { continue };
        // the cheap question first: most rows are like their neighbours
        if (v1 - v0).abs() <= 0.2 * v0 && (i1 - i0).abs() <= 0.5 * i0.abs() {
            continue;
        }
        let (v_around, i_around) = ((v0 + v2) / 2.0, (i0 + i2) / 2.0);
        let v_off = (v1 - v_around).abs() > 0.33 * v_around.abs();
        let i_off = (i1 - i_around).abs() > 0.8 * i_around.abs() && i_around != 0.0;
        if v_off
            && (v0 - v2).abs() <= 0.1 * v_around.abs()
            && (i1 - i_around).abs() <= 0.2 * i_around.abs() + 0.01 * largest_a
        {
            found.push((at + 1, format!("{v1:.4} V between {v0:.4} V and {v2:.4} V")));
        } else if i_off
            && (i0 - i2).abs() <= 0.02 * i_around.abs()
            && power_of_ten(i1 / i_around)
            && (v1 - v_around).abs() <= (0.002 * v_around.abs()).max(smallest_v)
        {
            found.push((at + 1, format!("{i1:.4} A between {i0:.4} A and {i2:.4} A")));
        }
    }
    if found.is_empty() || found.len() as f64 > (MOST * raw.time_s.len() as f64).max(3.0) {
        return;
    }
    for (row, what) in found.iter().take(10) {
        notices.push(format!(
            "line {} was set aside: {what} (decimal point or digits in the wrong place?)",
            raw.line(*row)
        ));
    }
    let rows: Vec<usize> = found.into_iter().map(|(row, _)| row).collect();
    raw.set_aside(&rows, reason::OUT_OF_LINE);
}

/// Whether a ratio is that of a decimal point in the wrong place.
fn power_of_ten(ratio: f32) -> bool {
    [10.0, 100.0, 1000.0, 0.1, 0.01, 0.001].iter().any(|power| (ratio / power - 1.0).abs() < 0.02)
}
