//! A recorded run, once more, by the model.

use crate::{Pack, Sample, State};

/// What the model makes of a run's own current.
#[derive(Debug, Clone, PartialEq)]
pub struct Replay {
    /// Modelled less measured voltage in V, a row each.
    pub off_v: Vec<f64>,
    /// Root mean square of it by time, while between 10 and 95 % of the most that was ever taken
    /// out is out.
    pub rms_v: f64,
    /// When the measured voltage under load is lowest; NaN if there is no load.
    pub lowest_s: f64,
    /// When the model's voltage under load first falls as low; if not by then, the current goes
    /// on. `None` if it never does.
    pub reached_s: Option<f64>,
    /// Where the pack stands at the end of the record.
    pub end: State,
}

/// Sends a run's current through the model, from `start`.
///
/// Between two rows the current is the charge counted between them over the time.
#[must_use]
pub fn replay(pack: &Pack, start: State, run: &[Sample]) -> Replay {
    let circuit = &pack.circuit;
    let mut state = start;
    let mut off_v = Vec::with_capacity(run.len());
    let (mut squares, mut seconds) = (0.0, 0.0);
    let most_ah = run.iter().map(|s| s.delivered_ah).fold(0.0, f64::max);
    let lowest = run
        .iter()
        .enumerate()
        .filter(|(_, s)| s.current_a > 0.0)
        .min_by(|(_, a), (_, b)| a.voltage_v.total_cmp(&b.voltage_v));
    let mut reached_s = None;
    let mut before: Option<(&Sample, f64)> = None;
    let mut kept = None;
    for (index, row) in run.iter().enumerate() {
        let climate = circuit.climate(row.temperature_c.unwrap_or(25.0));
        let mut dt_s = 0.0;
        if let Some((from, _)) = before {
            dt_s = row.elapsed_s - from.elapsed_s;
            if dt_s > 0.0 {
                let current_a = (row.delivered_ah - from.delivered_ah) * 3600.0 / dt_s;
                let step = match kept {
                    Some((s, c, step)) if s == dt_s && c == climate => step,
                    _ => circuit.step(dt_s, &climate),
                };
                kept = Some((dt_s, climate, step));
                circuit.advance_by(&mut state, current_a + pack.idle_a, &step);
            }
        }
        let model_v = circuit.terminal_v(&state, row.current_a, &climate);
        off_v.push(model_v - row.voltage_v);
        let share = row.delivered_ah / most_ah;
        if (0.1..=0.95).contains(&share) {
            squares += dt_s * (model_v - row.voltage_v).powi(2);
            seconds += dt_s;
        }
        if let (Some((lowest_index, lowest)), Some((from, from_v)), None) =
            (lowest, before, reached_s)
            && row.current_a > 0.0
        {
            if model_v < lowest.voltage_v {
                let share = ((from_v - lowest.voltage_v) / (from_v - model_v)).clamp(0.0, 1.0);
                reached_s = Some(from.elapsed_s + share * dt_s);
            } else if index == lowest_index {
                reached_s = beyond_s(pack, state, row).map(|more_s| row.elapsed_s + more_s);
            }
        }
        before = Some((row, model_v));
    }
    Replay {
        off_v,
        rms_v: (squares / seconds).sqrt(),
        lowest_s: lowest.map_or(f64::NAN, |(_, s)| s.elapsed_s),
        reached_s,
        end: state,
    }
}

/// How much longer a row's current takes to bring the voltage down to the row's.
fn beyond_s(pack: &Pack, mut state: State, row: &Sample) -> Option<f64> {
    let circuit = &pack.circuit;
    let climate = circuit.climate(row.temperature_c.unwrap_or(25.0));
    // thousandths of the capacity
    let dt_s = 3.6 * circuit.capacity_ah / row.current_a;
    let step = circuit.step(dt_s, &climate);
    let mut from_v = circuit.terminal_v(&state, row.current_a, &climate);
    for count in 0..1000 {
        circuit.advance_by(&mut state, row.current_a, &step);
        let model_v = circuit.terminal_v(&state, row.current_a, &climate);
        if model_v < row.voltage_v {
            let share = ((from_v - row.voltage_v) / (from_v - model_v)).clamp(0.0, 1.0);
            return Some(dt_s * (f64::from(count) + share));
        }
        from_v = model_v;
    }
    None
}
