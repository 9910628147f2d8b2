//! One record, read as tests.

use jiff::{SignedDuration, Timestamp};
use record::Record;

use crate::discharge::discharge;
use crate::field::field;
use crate::kind::{Test, tests_in};
use crate::phase::phase;
use crate::recharge::recharge;
use crate::resistance::resistances;
use crate::solar::solar;
use crate::trace::{Trace, Way};
use crate::{
    BenchError, Discharge, Efficiency, Field, Phase, Recharge, Resistance, Settings, Trouble,
};

/// One test and what it proves.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// What kind of test it is.
    pub kind: RunKind,
    /// When it began, where the record tells it.
    pub start: Option<Timestamp>,
    /// From the first reading with current (s since the start of the record).
    pub from_s: f64,
    /// To the last (s since the start of the record).
    pub to_s: f64,
    /// What happened in it, in order.
    pub phases: Vec<Phase>,
    /// What came out: of a discharge, of the loads of a pulse test, of all nights of a field run.
    pub discharge: Option<Discharge>,
    /// What went in, on a charger or a panel.
    pub recharge: Option<Recharge>,
    /// The nights and loads of a field run.
    pub field: Option<Field>,
    /// At every usable step of the current.
    pub resistances: Vec<Resistance>,
    /// Mean temperature while current flowed, where the record has it (°C).
    pub mean_temperature_c: Option<f64>,
    /// What people should know, each a sentence.
    pub notices: Vec<String>,
}

/// What kind of test a run is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum RunKind {
    /// A load empties the pack.
    Discharge,
    /// A charger fills it.
    Recharge,
    /// A panel fills it.
    SolarRecharge,
    /// Short loads with rests between them.
    Pulses,
    /// Gear at work, night by night.
    Field,
}

impl RunKind {
    /// In words, as a program reads them.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            RunKind::Discharge => "discharge",
            RunKind::Recharge => "recharge",
            RunKind::SolarRecharge => "solar recharge",
            RunKind::Pulses => "pulses",
            RunKind::Field => "field",
        }
    }
}

/// Reads a record as the tests in it and measures each.
///
/// # Errors
/// If the record has no current in it or is no record.
pub fn measure(record: &Record, settings: &Settings) -> Result<Vec<Run>, BenchError> {
    let mut trace = Trace::new(record)?;
    let tests = tests_in(&trace);
    if tests.is_empty() {
        return Err(BenchError { file: record.file.clone(), trouble: Trouble::NoCurrent });
    }
    let mut notices = trace.notices(settings);
    if tests.iter().any(|test| test.kind == RunKind::Field) && trace.zero_a != 0.0 {
        // between the loads of a night a small current is gear on standby, not a wrong zero
        trace.zero_a = 0.0;
        notices.retain(|notice| !notice.contains("with nothing connected"));
    }
    let (usable, odd): (Vec<_>, Vec<_>) =
        resistances(&trace, settings).into_iter().partition(|step| step.ohm > 0.0);
    if !odd.is_empty() {
        notices.push(format!(
            "at {} of {} steps of the current the voltage went the wrong way for a resistance; those are left out",
            odd.len(),
            odd.len() + usable.len(),
        ));
    }
    let mut runs: Vec<Run> = tests.iter().map(|test| run(&trace, test, settings)).collect();
    for resistance in usable {
        let at = runs.iter().rposition(|run| run.from_s <= resistance.at_s + trace.interval_s);
        if let Some(run) = runs.get_mut(at.unwrap_or(0)) {
            run.resistances.push(resistance);
        }
    }
    pair(&mut runs);
    for run in &mut runs {
        run.notices.splice(0..0, notices.iter().cloned());
    }
    Ok(runs)
}

fn run(trace: &Trace, test: &Test, settings: &Settings) -> Run {
    let [out, put_in] = [Way::Out, Way::In].map(|way| test.with_current(way));
    let flowing = || test.stretches.iter().filter(|s| matches!(s.way, Way::Out | Way::In));
    let from_s = flowing().next().map_or(0.0, |s| trace.elapsed_s(s.samples.start));
    let to_s = flowing().next_back().map_or(from_s, |s| trace.elapsed_s(s.samples.end - 1));
    let mut notices = Vec::new();
    let is_recharge = matches!(test.kind, RunKind::Recharge | RunKind::SolarRecharge);
    let (mut recharge, mut charging) =
        is_recharge.then(|| recharge(trace, &put_in, settings, &mut notices)).unzip();
    if test.kind == RunKind::SolarRecharge
        && let Some(recharge) = &mut recharge
    {
        recharge.solar = Some(solar(trace, &put_in, settings));
        // clouds set the current, not a charger
        charging = None;
    }
    let mut charging = charging.unwrap_or_default().into_iter();
    let phases = test.stretches.iter().flat_map(|stretch| {
        let told_apart = if stretch.way == Way::In { charging.next() } else { None };
        told_apart.unwrap_or_else(|| vec![phase(trace, stretch)])
    });
    let mut phases: Vec<Phase> = phases.collect();
    let discharge = (!is_recharge).then(|| discharge(trace, &out, settings, &mut notices));
    if let Some(discharge) = &discharge {
        add_up(&mut phases, 1.0, discharge.capacity_ah, discharge.energy_wh);
    }
    if let Some(recharge) = &recharge {
        add_up(&mut phases, -1.0, -recharge.charge_ah, -recharge.energy_wh);
    }
    Run {
        kind: test.kind,
        start: trace.record.start.and_then(|start| {
            start.checked_add(SignedDuration::try_from_secs_f64(from_s).ok()?).ok()
        }),
        from_s,
        to_s,
        phases,
        discharge,
        recharge,
        field: (test.kind == RunKind::Field)
            .then(|| field(trace, &test.stretches, settings.instrument)),
        resistances: Vec::new(),
        mean_temperature_c: trace.mean_temperature_c(flowing()),
        notices,
    }
}

/// Scales the phases with this sign of current to what the run gives as a whole, which a counter
/// may know better than the readings.
fn add_up(phases: &mut [Phase], sign: f64, ah: f64, wh: f64) {
    let with_sign = || |phase: &&mut Phase| phase.ah * sign > 0.0;
    let (mut sum_ah, mut sum_wh) = (0.0, 0.0);
    for phase in phases.iter_mut().filter(with_sign()) {
        sum_ah += phase.ah;
        sum_wh += phase.wh;
    }
    for phase in phases.iter_mut().filter(with_sign()) {
        phase.ah *= ah / sum_ah;
        phase.wh *= wh / sum_wh;
    }
}

/// The voltages at the ends of two discharges are the same within this (V).
const SAME_END_V: f64 = 0.1;

/// Gives each recharge the discharge it makes a closed cycle with: the one after it, if that ended
/// where the one before did, else the one before.
fn pair(runs: &mut [Run]) {
    for at in 0..runs.len() {
        let discharge_at = |at: Option<usize>| runs.get(at?)?.discharge.clone();
        let before = discharge_at(at.checked_sub(1));
        let after = discharge_at(Some(at + 1));
        let closed = match (&before, &after) {
            (Some(before), Some(after)) => {
                (before.first_last_v[1] - after.first_last_v[1]).abs() <= SAME_END_V
            }
            _ => before.is_none(),
        };
        let Some(discharge) = (if closed { after } else { before }) else { continue };
        let run = &mut runs[at];
        let Some(recharge) = &mut run.recharge else { continue };
        let efficiency = Efficiency::of(&discharge, recharge);
        if efficiency.coulombic - efficiency.coulombic_u > 1.0 {
            run.notices.push(format!(
                "more charge came out than went in ({:.2} %): the recharge did not bring the pack back to where its discharge began, so this is no closed cycle and both efficiencies read too high",
                100.0 * efficiency.coulombic,
            ));
        }
        recharge.efficiency = Some(efficiency);
    }
}
