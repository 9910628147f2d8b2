//! Whether records can be fitted, and belong together.

use super::Run;
use crate::measured::check;
use crate::{Chemistry, PackError, Sample};

/// What the records have in common.
pub(super) struct Examined {
    /// Cells in series.
    pub(super) cells: u32,
    /// The largest steady discharge current.
    pub(super) up_to_a: f64,
    /// The largest discharge current at all.
    pub(super) largest_a: f64,
    /// The lowest voltage under load.
    pub(super) lowest_v: f64,
    /// Whether the current is one and the same throughout all records.
    pub(super) one_current: bool,
}

/// A battery whose voltage moves by less than this share in a record tells nothing.
const FLAT: f64 = 0.01;
/// Currents within this ratio are one.
const ONE: f64 = 1.3;
/// Records of one battery begin within this share of each other's voltage,
const APART: f64 = 0.08;
/// and do not give this much more than another down to the same voltage.
const SIZES: f64 = 1.7;

pub(super) fn examine(chemistry: Chemistry, runs: &[Run<'_>]) -> Result<Examined, PackError> {
    let wrong = |text: String| Err(PackError::Record(text));
    if runs.is_empty() {
        return wrong("there is none".to_owned());
    }
    let mut seen = Vec::new();
    for run in runs {
        seen.push(Seen::new(run).map_err(|error| match error {
            PackError::Record(text) => PackError::Record(format!("{}: {text}", run.name)),
            other => other,
        })?);
    }
    let Some(longest) = seen.iter().max_by(|a, b| a.delivered_ah.total_cmp(&b.delivered_ah)) else {
        return wrong("there is none".to_owned());
    };
    let Some(cells) = chemistry.cells_of(longest.mean_v) else {
        let fitting: Vec<String> = Chemistry::ALL
            .into_iter()
            .filter(|c| c.cells_of(longest.mean_v).is_some_and(|n| n == c.cells() || n == 4))
            .map(|c| c.to_string())
            .collect();
        let hint = if fitting.is_empty() {
            String::new()
        } else {
            format!("; it would be for {}", fitting.join(" or "))
        };
        return wrong(format!(
            "{} has a mean of {:.2} V under load, which is not right for any number of \
             {chemistry} cells{hint}",
            longest.name, longest.mean_v
        ));
    };
    for other in &seen {
        let comparable = other.delivered_ah > 0.5 * longest.delivered_ah
            && other.steady_a < 3.0 * longest.steady_a;
        if comparable && chemistry.cells_of(other.mean_v) != Some(cells) {
            return wrong(format!(
                "{} has a mean of {:.2} V under load and {} {:.2} V, which is not right for \
                 {cells} {chemistry} cells: these are not records of one battery",
                longest.name, longest.mean_v, other.name, other.mean_v
            ));
        }
    }
    for other in seen.iter().filter(|s| s.from_full && longest.from_full) {
        let apart = (other.begin_v / longest.begin_v - 1.0).abs();
        if apart > APART {
            return wrong(format!(
                "{} begins at {:.2} V and {} at {:.2} V: these are not records of one battery, or \
                 not all begin full",
                longest.name, longest.begin_v, other.name, other.begin_v
            ));
        }
        if longest.delivered_ah > SIZES * other.delivered_ah
            && other.end_v < longest.end_v + 0.02 * longest.end_v
            && other.steady_a < 3.0 * longest.steady_a
        {
            return wrong(format!(
                "{} gives {:.1} Ah down to {:.2} V and {} only {:.1} Ah down to {:.2} V: these are \
                 not records of one battery",
                longest.name,
                longest.delivered_ah,
                longest.end_v,
                other.name,
                other.delivered_ah,
                other.end_v
            ));
        }
    }
    let least_a = seen.iter().map(|s| s.steady_a).fold(f64::INFINITY, f64::min);
    let up_to_a = seen.iter().map(|s| s.steady_a).fold(0.0, f64::max);
    Ok(Examined {
        cells,
        one_current: up_to_a < ONE * least_a && seen.iter().all(|s| s.varies < ONE),
        up_to_a,
        largest_a: seen.iter().map(|s| s.largest_a).fold(0.0, f64::max),
        lowest_v: seen.iter().map(|s| s.end_v).fold(f64::INFINITY, f64::min),
    })
}

/// One record at a glance.
struct Seen<'a> {
    name: &'a str,
    from_full: bool,
    /// Under load, weighted by time.
    mean_v: f64,
    /// Under load once a twentieth of what it gives is out: what a charger left on top is gone.
    begin_v: f64,
    end_v: f64,
    delivered_ah: f64,
    /// Mean over the time the load is on.
    steady_a: f64,
    largest_a: f64,
    /// The largest current over the mean; a rest after which the load comes on again counts as
    /// no end of variation.
    varies: f64,
}

impl<'a> Seen<'a> {
    fn new(run: &Run<'a>) -> Result<Self, PackError> {
        let (last, largest_a) = check(run.samples)?;
        let on = |s: &Sample| s.current_a > 0.05 * largest_a;
        let loaded = || run.samples.iter().filter(|s| on(s));
        let highest_v = loaded().map(|s| s.voltage_v).fold(0.0, f64::max);
        let begin_v = loaded()
            .find(|s| s.delivered_ah >= 0.05 * last.delivered_ah)
            .map_or(highest_v, |s| s.voltage_v);
        let end_v = loaded().map(|s| s.voltage_v).fold(f64::INFINITY, f64::min);
        if highest_v - end_v < FLAT * highest_v {
            return Err(PackError::Record(format!(
                "the voltage stays between {end_v:.3} and {highest_v:.3} V; a battery's falls when \
                 it is discharged"
            )));
        }
        let first_v = loaded().next().map_or(highest_v, |s| s.voltage_v);
        let never_charged = run.samples.iter().all(|s| s.current_a >= 0.0);
        if never_charged && last.voltage_v > first_v * (1.0 + FLAT) {
            return Err(PackError::Record(format!(
                "the voltage rises from {first_v:.2} to {:.2} V while current flows out; a \
                 discharge lowers it: this is a charge, its current labelled the wrong way round",
                last.voltage_v
            )));
        }
        let (mut seconds, mut volts, mut amperes) = (0.0, 0.0, 0.0);
        for pair in run.samples.windows(2) {
            if let [a, b] = pair
                && on(a)
                && on(b)
            {
                let dt_s = b.elapsed_s - a.elapsed_s;
                seconds += dt_s;
                volts += dt_s * 0.5 * (a.voltage_v + b.voltage_v);
                amperes += dt_s * 0.5 * (a.current_a + b.current_a);
            }
        }
        let mut phases = run.samples.iter().skip_while(|s| !on(s)).skip_while(|s| on(s));
        let again = phases.any(on);
        Ok(Self {
            name: run.name,
            from_full: run.from_full,
            mean_v: volts / seconds,
            begin_v,
            end_v,
            delivered_ah: last.delivered_ah,
            steady_a: amperes / seconds,
            largest_a,
            varies: if again { f64::INFINITY } else { largest_a * seconds / amperes },
        })
    }
}
