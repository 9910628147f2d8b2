//! What the charge counter says of the current and the clock.

use crate::clock::Notation;
use crate::column::HowSure;
use crate::layout::{Layout, Timing};
use crate::rows::Raw;
use crate::{CurrentFrom, Role};

/// A counter and an integrated current that differ by less agree.
const AGREE: f64 = 0.02;

/// Compares the integrated current with the counter.
///
/// A clock whose unit was only guessed is set right by it; any other disagreement is told.
pub(crate) fn ask(
    raw: &mut Raw,
    layout: &mut Layout,
    from: CurrentFrom,
    notices: &mut Vec<String>,
) {
    if !matches!(from, CurrentFrom::Measured | CurrentFrom::Power) {
        return;
    }
    let Some((counted_ah, shown_ah, span_s)) = both(raw) else { return };
    // half a digit of the current all through, and a digit of the counter at either end
    let rounding_ah = 0.5 * raw.steps.current * span_s / 3600.0 + 2.0 * raw.steps.charge_ah;
    let ratio = counted_ah / shown_ah;
    if (counted_ah - shown_ah).abs() <= AGREE * counted_ah.abs() + rounding_ah {
        return;
    }
    if let Some((unit, unit_s)) = unit_by(ratio, layout) {
        for time in &mut raw.time_s {
            *time *= unit_s;
        }
        raw.steps.time_s *= unit_s;
        if let Some(column) = layout.columns.iter_mut().find(|column| column.role == Role::Time) {
            unit.clone_into(&mut column.unit);
            column.how_sure = HowSure::Sure;
            notices.push(format!(
                "by the counted charge the times under {:?} are {unit}",
                column.heading
            ));
        }
        return;
    }
    notices.push(format!(
        "the charge counter says {counted_ah:.3} Ah, the current adds up to {shown_ah:.3} Ah"
    ));
}

/// Charge out by the counter and by the current, and the time in between.
fn both(raw: &Raw) -> Option<(f64, f64, f64)> {
    let counts = raw.charge_ah.as_ref()?;
    let first = counts.iter().position(|count| count.is_finite())?;
    let last = counts.iter().rposition(|count| count.is_finite())?;
    let counted_ah = f64::from(*counts.get(last)?) - f64::from(*counts.get(first)?);
    let (times, currents) = (raw.time_s.get(first..=last)?, raw.current.get(first..=last)?);
    let steps = times.windows(2).zip(currents.windows(2));
    let shown_as: f64 = steps
        .map(|(t, i)| match (t, i) {
            (&[t0, t1], &[i0, i1]) => (t1 - t0) * f64::from(i0 + i1) / 2.0,
            _ => 0.0,
        })
        .sum();
    let enough = last > first + 2 && counted_ah.abs() > 20.0 * raw.steps.charge_ah;
    (enough && shown_as != 0.0).then(|| {
        (
            counted_ah,
            shown_as / 3600.0,
            times.last().unwrap_or(&0.0) - times.first().unwrap_or(&0.0),
        )
    })
}

/// The unit that makes the clock agree, where its own was guessed.
fn unit_by(ratio: f64, layout: &Layout) -> Option<(&'static str, f64)> {
    let guessed = layout
        .columns
        .iter()
        .any(|column| column.role == Role::Time && column.how_sure == HowSure::Likely);
    let units: &[(&'static str, f64)] = match layout.timing {
        Timing::Column { notation: Notation::Span { .. }, .. } if guessed => {
            &[("min", 60.0), ("h", 3600.0), ("ms", 1e-3)]
        }
        Timing::Column { notation: Notation::HoursMinutes, .. } => &[("m:ss", 1.0 / 60.0)],
        _ => return None,
    };
    units.iter().copied().find(|(_, unit_s)| (ratio / unit_s - 1.0).abs() < 0.05)
}
