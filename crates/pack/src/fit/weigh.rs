//! How much each row counts.

use super::problem::{Found, Problem};

/// One over each row's uncertainty, from how the rows are met so far.
///
/// The model errs by some millivolts everywhere and by a share of what the current does: in the
/// drop over the resistances and, where the curve is steep, in the lag of the wells. So the
/// slowest record says most about the curve. Neighbours err together and count as fewer.
pub(super) fn weights(problem: &Problem<'_>, found: &Found) -> Vec<f64> {
    const LEVEL_V: f64 = 0.003;
    const LEVEL_SOC: f64 = 5e-4;
    const SHARE: f64 = 0.05;
    let knots = &problem.linear.knots;
    let ohm = found.solution.ohms.r0_ohm + found.solution.ohms.r1_ohm;
    let shapes: Vec<f64> = found
        .rows
        .iter()
        .map(|row| {
            let soc = 1.0 - row.taken_ah / found.capacity_ah;
            let right = knots.partition_point(|k| *k <= soc).clamp(1, knots.len() - 1);
            let rise_v = found.solution.ocv_v[right] - found.solution.ocv_v[right - 1];
            let slope = rise_v / (knots[right] - knots[right - 1]);
            let lag = found.latent.lag_h * row.drive_a / found.capacity_ah;
            let level_v = LEVEL_V.hypot(SHARE * ohm * row.drive_a);
            level_v.hypot(slope * LEVEL_SOC.hypot(SHARE * lag))
        })
        .collect();
    let errors: Vec<f64> =
        found.solution.off_v.iter().zip(&shapes).map(|(off_v, shape)| off_v / shape).collect();
    let squares: f64 = errors.iter().map(|e| e * e).sum();
    let together: f64 = errors.windows(2).map(|w| w[0] * w[1]).sum();
    let correlation = (together / squares).clamp(0.0, 0.9);
    // neighbours that err together count as fewer
    let scale = (squares / errors.len() as f64 * (1.0 + correlation) / (1.0 - correlation)).sqrt();
    shapes.iter().map(|shape| 1.0 / (shape * scale.max(0.2))).collect()
}
