//! The current of a record: where it comes from and which way it flows.

use crate::column::HowSure;
use crate::error::{ErrorKind, Trouble};
use crate::layout::Layout;
use crate::rows::{Raw, largest};
use crate::state::Flow;
use crate::{CurrentFrom, ReadOptions, Role, Sign};

/// Below this share of the largest current nothing is said to flow.
const REST: f32 = 0.02;

/// So many rows, evenly chosen, are enough to tell a direction.
const SAMPLE: usize = 100_000;

/// Makes the raw current one in amperes, signed as in the file.
pub(crate) fn derive(
    raw: &mut Raw,
    layout: &Layout,
    options: &ReadOptions,
    notices: &mut Vec<String>,
) -> Result<CurrentFrom, Trouble> {
    let has = |role| layout.column(role).is_some();
    let from = if has(Role::Current) {
        CurrentFrom::Measured
    } else if has(Role::Power) {
        CurrentFrom::Power
    } else if has(Role::Charge) {
        CurrentFrom::Counter
    } else if options.stated_current_a.is_some() {
        CurrentFrom::Stated
    } else {
        CurrentFrom::Nothing
    };
    if !has(Role::Voltage) {
        for (power_or_voltage, current) in raw.voltage_v.iter_mut().zip(&raw.current) {
            *power_or_voltage = if *current == 0.0 { 0.0 } else { *power_or_voltage / current };
        }
        notices.push("the voltage was worked out from power and current".to_owned());
    }
    match from {
        // nought until the rows are in order, so that they compare
        CurrentFrom::Measured | CurrentFrom::Nothing => {}
        CurrentFrom::Power => {
            let mean_v = mean(&raw.voltage_v);
            for (power, voltage) in raw.current.iter_mut().zip(&raw.voltage_v) {
                *power = if voltage.abs() < 1e-3 { 0.0 } else { *power / voltage };
            }
            raw.steps.current /= mean_v.abs().max(1e-3);
            notices.push("the current was worked out from power and voltage".to_owned());
        }
        CurrentFrom::Counter => {
            raw.current = rates(&raw.time_s, raw.charge_ah.as_deref().unwrap_or_default());
            let span_s = raw.time_s.last().unwrap_or(&0.0) - raw.time_s.first().unwrap_or(&0.0);
            raw.steps.current = raw.steps.charge_ah * 3600.0 / span_s.max(1.0);
            notices.push("the current was worked out from the counted charge".to_owned());
        }
        CurrentFrom::Stated => {
            let stated = options.stated_current_a.unwrap_or(0.0);
            if !stated.is_finite() {
                let message = "the stated current is no number";
                return Err(Trouble::new(ErrorKind::Current, message, "state it in amperes"));
            }
            raw.current.fill(stated as f32);
            notices.push(format!("the current of {stated} A was stated, not measured"));
        }
    }
    Ok(from)
}

fn mean(values: &[f32]) -> f64 {
    values.iter().map(|value| f64::from(*value)).sum::<f64>() / values.len().max(1) as f64
}

/// The slope of a counter in amperes, over the step before and the step after each row.
fn rates(time_s: &[f64], charge_ah: &[f32]) -> Vec<f32> {
    let row = |at: usize| Some((*time_s.get(at)?, f64::from(*charge_ah.get(at)?)));
    let last = time_s.len().saturating_sub(1);
    let mut before = 0.0;
    (0..time_s.len())
        .map(|at| {
            let (from, to) = (at.saturating_sub(1), (at + 1).min(last));
            if let (Some((from_s, from_ah)), Some((to_s, to_ah))) = (row(from), row(to))
                && to_s > from_s
                && (to_ah - from_ah).is_finite()
            {
                before = (to_ah - from_ah) * 3600.0 / (to_s - from_s);
            }
            before as f32
        })
        .collect()
}

/// Turns the current so that out of the pack is positive.
pub(crate) fn orient(
    raw: &mut Raw,
    layout: &mut Layout,
    from: CurrentFrom,
    told: Option<Sign>,
    notices: &mut Vec<String>,
) {
    let role = match from {
        CurrentFrom::Measured => Role::Current,
        CurrentFrom::Power => Role::Power,
        CurrentFrom::Counter => Role::Charge,
        CurrentFrom::Stated | CurrentFrom::Nothing => return,
    };
    let largest = largest(&raw.current);
    let rest = largest * REST;
    if largest == 0.0 {
        return;
    }
    if let Some(told) = told {
        if told == Sign::ChargePositive {
            turn(raw);
        }
        return;
    }
    if by_state(raw, rest, notices) {
        return;
    }
    let seen = by_voltage(raw, rest);
    let column = layout.columns.iter_mut().find(|column| column.role == role);
    let words = column.as_ref().and_then(|column| column.sign);
    if let (None, None, Some(column)) = (seen, words, column) {
        column.how_sure = HowSure::Likely;
    }
    let sign = seen.or(words).unwrap_or(Sign::DischargePositive);
    let charging = "positive current was taken as charging";
    match (seen, words) {
        (None, None) => notices.push(
            "the voltage doesn't tell which way the current flows; positive was taken as discharge"
                .to_owned(),
        ),
        (Some(seen), Some(words)) if seen != words => notices.push(format!(
            "the heading tells one direction of the current, the course of the voltage the other; \
             the voltage was believed{}",
            if seen == Sign::ChargePositive { format!(" and {charging}") } else { String::new() }
        )),
        (Some(Sign::ChargePositive), _) => {
            notices.push(format!("{charging}, by the course of the voltage"));
        }
        (None, Some(Sign::ChargePositive)) => {
            notices.push(format!("{charging}, by the heading of its column"));
        }
        _ => {}
    }
    if sign == Sign::ChargePositive {
        turn(raw);
    }
}

fn turn(raw: &mut Raw) {
    // nought stays a positive nought
    raw.current.iter_mut().for_each(|current| *current = 0.0 - *current);
}

/// Uses the words of a state column; false if they don't settle it.
fn by_state(raw: &mut Raw, rest: f32, notices: &mut Vec<String>) -> bool {
    let Some(flow) = &raw.flow else { return false };
    let count = |flowing: Flow, positive: bool| {
        let rows = flow.iter().zip(&raw.current);
        rows.filter(|(flow, current)| {
            **flow == flowing && current.abs() > rest && (**current > 0.0) == positive
        })
        .count()
    };
    let (out_positive, out_negative) = (count(Flow::Out, true), count(Flow::Out, false));
    let (in_positive, in_negative) = (count(Flow::In, true), count(Flow::In, false));
    let unsigned = in_positive > in_negative && out_positive > out_negative;
    if unsigned {
        for (current, flow) in raw.current.iter_mut().zip(flow) {
            if *flow == Flow::In {
                *current = -*current;
            }
        }
        notices
            .push("the current has no sign; the state column tells which way it flows".to_owned());
        return true;
    }
    let discharge_positive = out_positive + in_negative;
    let charge_positive = out_negative + in_positive;
    if discharge_positive.max(charge_positive) == 0 || discharge_positive == charge_positive {
        return false;
    }
    if charge_positive > discharge_positive {
        turn(raw);
        notices.push("positive current was taken as charging, by the state column".to_owned());
    }
    true
}

/// Which way positive flows, by what the voltage does: it falls while charge goes out, and it
/// drops at once where the current out rises.
fn by_voltage(raw: &Raw, rest: f32) -> Option<Sign> {
    let course = by_course(raw, rest);
    let jumps = by_jumps(raw, rest);
    // a protection that opens is a jump that says less than the whole course
    course.or(jumps)
}

/// By where the voltage goes when the current jumps by more than a fifth of the largest.
fn by_jumps(raw: &Raw, rest: f32) -> Option<Sign> {
    let jump_a = rest / REST * 0.2;
    let (mut with, mut against) = (0.0, 0.0);
    let pairs = raw.voltage_v.windows(2).zip(raw.current.windows(2));
    for (v, i) in pairs.step_by(raw.current.len() / SAMPLE + 1) {
        let (&[v0, v1], &[i0, i1]) = (v, i) else { continue };
        if (i1 - i0).abs() > jump_a {
            let rise = f64::from(v1 - v0);
            if (i1 > i0) == (v1 > v0) { with += rise.abs() } else { against += rise.abs() }
        }
    }
    (with.max(against) > 3.0 * with.min(against)).then_some(if with > against {
        Sign::ChargePositive
    } else {
        Sign::DischargePositive
    })
}

/// By the slope of the voltage over the charge that flowed, while it flows.
fn by_course(raw: &Raw, rest: f32) -> Option<Sign> {
    let mut charge = 0.0;
    let mut before_s = raw.time_s.first().copied()?;
    let (mut n, mut sq, mut sv, mut sqq, mut sqv, mut svv) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    let first_v = f64::from(raw.voltage_v.first().copied()?);
    let rows = raw.time_s.iter().zip(&raw.voltage_v).zip(&raw.current);
    for ((time_s, voltage), current) in rows.step_by(raw.current.len() / SAMPLE + 1) {
        charge += f64::from(*current) * (time_s - before_s);
        before_s = *time_s;
        if current.abs() > rest {
            let v = f64::from(*voltage) - first_v;
            n += 1.0;
            sq += charge;
            sv += v;
            sqq += charge * charge;
            sqv += charge * v;
            svv += v * v;
        }
    }
    if n < 2.0 {
        return None;
    }
    let covariance = sqv - sq * sv / n;
    let spread = ((sqq - sq * sq / n).max(0.0) * (svv - sv * sv / n).max(0.0)).sqrt();
    // a correlation below this says nothing
    if spread == 0.0 || covariance.abs() < 0.3 * spread {
        return None;
    }
    Some(if covariance > 0.0 { Sign::ChargePositive } else { Sign::DischargePositive })
}
