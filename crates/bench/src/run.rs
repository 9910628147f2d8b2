//! One record, read as tests.

use jiff::{SignedDuration, Timestamp};
use record::Record;

use crate::discharge::{Discharge, discharge};
use crate::piece::Sum;
use crate::trace::{Stretch, Trace, Way};
use crate::{BenchError, Settings};

/// One test and what it proves.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// What kind of test it is.
    pub kind: RunKind,
    /// When it began, where the record tells it.
    pub start: Option<Timestamp>,
    /// Its span in the record (s).
    pub from_s: f64,
    /// Its span in the record (s).
    pub to_s: f64,
    /// What happened in it, in order.
    pub phases: Vec<Phase>,
    /// The discharge, if it is one.
    pub discharge: Option<Discharge>,
    /// What the reader should know, each a sentence.
    pub notices: Vec<String>,
}

/// What kind of test a run is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum RunKind {
    /// A load empties the pack.
    Discharge,
    /// A charger fills it.
    Recharge,
}

impl RunKind {
    /// In words.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            RunKind::Discharge => "discharge",
            RunKind::Recharge => "recharge",
        }
    }
}

/// A part of a run with one thing going on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Phase {
    /// What goes on.
    pub kind: PhaseKind,
    /// Since the start of the record (s).
    pub from_s: f64,
    /// Since the start of the record (s).
    pub to_s: f64,
    /// Charge, out of the pack positive (Ah).
    pub ah: f64,
    /// Energy, out of the pack positive (Wh).
    pub wh: f64,
}

/// What goes on in a phase.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PhaseKind {
    /// No current.
    Rest,
    /// Current out of the pack.
    Discharge,
    /// Current into the pack.
    Charge,
    /// No current and no voltage: the pack's protection has opened.
    Open,
}

impl PhaseKind {
    /// In words.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            PhaseKind::Rest => "rest",
            PhaseKind::Discharge => "discharge",
            PhaseKind::Charge => "charge",
            PhaseKind::Open => "protection open",
        }
    }
}

/// Reads a record as the tests in it and measures each.
///
/// # Errors
/// If the record has no current in it or is no record.
pub fn measure(record: &Record, settings: &Settings) -> Result<Vec<Run>, BenchError> {
    let trace = Trace::new(record)?;
    Ok(split(&trace).into_iter().map(|part| run(&trace, &part, settings)).collect())
}

/// The stretches of the record, cut into tests: a new one begins where the current turns round.
/// Rests before a test belong to it.
fn split(trace: &Trace) -> Vec<Vec<Stretch>> {
    let mut tests: Vec<Vec<Stretch>> = Vec::new();
    let mut now = Vec::new();
    let mut way = None;
    for stretch in &trace.stretches {
        let flows = matches!(stretch.way, Way::Out | Way::In);
        if flows && way.is_some_and(|way| way != stretch.way) {
            let rests = now.iter().rposition(|s: &Stretch| matches!(s.way, Way::Out | Way::In));
            let rest = now.split_off(rests.map_or(0, |at| at + 1));
            tests.push(std::mem::replace(&mut now, rest));
        }
        if flows {
            way = Some(stretch.way);
        }
        now.push(stretch.clone());
    }
    tests.push(now);
    tests
}

fn run(trace: &Trace, part: &[Stretch], settings: &Settings) -> Run {
    let flowing: Vec<Stretch> =
        part.iter().filter(|s| matches!(s.way, Way::Out | Way::In)).cloned().collect();
    let phases: Vec<Phase> = part.iter().map(|stretch| phase(trace, stretch)).collect();
    let mut notices = Vec::new();
    let out = flowing.first().is_some_and(|s| s.way == Way::Out);
    let from_s = flowing.first().map_or(0.0, |s| trace.elapsed_s(s.samples.start));
    let to_s = flowing.last().map_or(from_s, |s| trace.elapsed_s(s.samples.end - 1));
    let start = trace
        .record
        .start
        .and_then(|start| start.checked_add(SignedDuration::try_from_secs_f64(from_s).ok()?).ok());
    Run {
        kind: if out { RunKind::Discharge } else { RunKind::Recharge },
        start,
        from_s,
        to_s,
        phases,
        discharge: out.then(|| discharge(trace, &flowing, settings, &mut notices)),
        notices,
    }
}

fn phase(trace: &Trace, stretch: &Stretch) -> Phase {
    let sum: Sum = trace.pieces(stretch).collect();
    let flows = matches!(stretch.way, Way::Out | Way::In);
    Phase {
        kind: match stretch.way {
            Way::Rest => PhaseKind::Rest,
            Way::Open => PhaseKind::Open,
            Way::Out => PhaseKind::Discharge,
            Way::In => PhaseKind::Charge,
        },
        from_s: trace.elapsed_s(stretch.samples.start),
        to_s: trace.elapsed_s(stretch.samples.end - 1),
        ah: if flows { sum.charge_ah } else { 0.0 },
        wh: if flows { sum.energy_wh } else { 0.0 },
    }
}
