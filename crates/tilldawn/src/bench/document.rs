//! The JSON document of `tilldawn bench`.

mod charge;
mod field;
mod summary;

use std::collections::BTreeMap;

use bench::{AboveCutoff, Discharge, Phase, Recharge, Resistance, Run};
use jiff::Timestamp;
use record::Column;
use report::Tested;
use serde::Serialize;

use charge::ChargeDocument;
use field::FieldDocument;
use summary::Summary;

#[derive(Serialize)]
pub(super) struct Document<'a> {
    runs: Vec<RunDocument<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    summary: Option<Summary<'a>>,
}

#[derive(Serialize)]
struct RunDocument<'a> {
    file: &'a str,
    kind: &'static str,
    start: Option<Timestamp>,
    duration_s: f64,
    capacity_ah: f64,
    capacity_u_ah: f64,
    energy_wh: f64,
    energy_u_wh: f64,
    mean_voltage_v: f64,
    mean_power_w: f64,
    #[serde(flatten)]
    above: Option<AboveDocument>,
    #[serde(skip_serializing_if = "Option::is_none")]
    at_gear: Option<AboveDocument>,
    share_of_label: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    share_of_label_energy: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    capacity_at_20_c_ah: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    mean_temperature_c: Option<f64>,
    rows: Rows<'a>,
    columns: &'a [Column],
    notices: Vec<&'a str>,
    phases: Vec<PhaseDocument>,
    resistance: Vec<ResistanceDocument>,
    #[serde(skip_serializing_if = "Option::is_none")]
    charge: Option<ChargeDocument>,
    #[serde(skip_serializing_if = "Option::is_none")]
    field: Option<FieldDocument>,
}

#[derive(Serialize)]
struct AboveDocument {
    cutoff_v: f64,
    share_above_cutoff: f64,
    share_above_cutoff_u: f64,
    capacity_above_cutoff_ah: f64,
    energy_above_cutoff_wh: f64,
}

#[derive(Serialize)]
struct Rows<'a> {
    read: usize,
    used: usize,
    set_aside: &'a BTreeMap<String, usize>,
}

#[derive(Serialize)]
struct PhaseDocument {
    kind: &'static str,
    from_s: f64,
    to_s: f64,
    ah: f64,
    wh: f64,
}

#[derive(Serialize)]
struct ResistanceDocument {
    at_s: f64,
    soc: Option<f64>,
    ohm: f64,
    u_ohm: f64,
    delay_s: f64,
}

impl<'a> Document<'a> {
    pub(super) fn of(tested: &'a [Tested<'a>]) -> Self {
        let runs = tested
            .iter()
            .flat_map(|test| test.runs.iter().map(|run| RunDocument::of(test, run)))
            .collect();
        Document { runs, summary: Summary::of(tested) }
    }
}

impl<'a> RunDocument<'a> {
    fn of(test: &Tested<'a>, run: &'a Run) -> Self {
        let record = test.record;
        let totals = Totals::of(run);
        let discharge = run.discharge.as_ref();
        RunDocument {
            file: &record.file,
            kind: run.kind.name(),
            start: run.start,
            duration_s: totals.duration_s,
            capacity_ah: totals.charge_ah,
            capacity_u_ah: totals.charge_u_ah,
            energy_wh: totals.energy_wh,
            energy_u_wh: totals.energy_u_wh,
            mean_voltage_v: totals.energy_wh / totals.charge_ah,
            mean_power_w: totals.mean_power_w,
            above: discharge.map(|discharge| AboveDocument::of(&discharge.above_cutoff)),
            at_gear: discharge.and_then(|found| found.at_gear.as_ref().map(AboveDocument::of)),
            share_of_label: discharge.and_then(|discharge| discharge.share_of_label),
            share_of_label_energy: discharge.and_then(|found| found.share_of_label_energy),
            capacity_at_20_c_ah: discharge.and_then(|found| found.capacity_at_20_c_ah),
            mean_temperature_c: run.mean_temperature_c,
            rows: Rows {
                read: record.rows.read,
                used: record.rows.used,
                set_aside: &record.rows.set_aside,
            },
            columns: &record.columns,
            notices: record.notices.iter().chain(&run.notices).map(String::as_str).collect(),
            phases: run.phases.iter().map(PhaseDocument::of).collect(),
            resistance: run.resistances.iter().map(ResistanceDocument::of).collect(),
            charge: run
                .recharge
                .as_ref()
                .map(|found| ChargeDocument::of(test.settings, run, found)),
            field: run.field.as_ref().map(FieldDocument::of),
        }
    }
}

/// What went out in a discharge, or in on a charger.
#[derive(Default)]
struct Totals {
    duration_s: f64,
    charge_ah: f64,
    charge_u_ah: f64,
    energy_wh: f64,
    energy_u_wh: f64,
    mean_power_w: f64,
}

impl Totals {
    fn of(run: &Run) -> Self {
        match (&run.discharge, &run.recharge) {
            (
                _,
                Some(Recharge {
                    duration_s,
                    charge_ah,
                    charge_u_ah,
                    energy_wh,
                    energy_u_wh,
                    mean_power_w,
                    ..
                }),
            ) => Totals {
                duration_s: *duration_s,
                charge_ah: *charge_ah,
                charge_u_ah: *charge_u_ah,
                energy_wh: *energy_wh,
                energy_u_wh: *energy_u_wh,
                mean_power_w: *mean_power_w,
            },
            (
                Some(Discharge {
                    duration_s,
                    capacity_ah,
                    capacity_u_ah,
                    energy_wh,
                    energy_u_wh,
                    mean_power_w,
                    ..
                }),
                None,
            ) => Totals {
                duration_s: *duration_s,
                charge_ah: *capacity_ah,
                charge_u_ah: *capacity_u_ah,
                energy_wh: *energy_wh,
                energy_u_wh: *energy_u_wh,
                mean_power_w: *mean_power_w,
            },
            (None, None) => Totals::default(),
        }
    }
}

impl AboveDocument {
    fn of(above: &AboveCutoff) -> Self {
        AboveDocument {
            cutoff_v: above.cutoff_v,
            share_above_cutoff: above.share,
            share_above_cutoff_u: above.share_u,
            capacity_above_cutoff_ah: above.capacity_ah,
            energy_above_cutoff_wh: above.energy_wh,
        }
    }
}

impl PhaseDocument {
    fn of(phase: &Phase) -> Self {
        let Phase { kind, from_s, to_s, ah, wh } = *phase;
        PhaseDocument { kind: kind.name(), from_s, to_s, ah, wh }
    }
}

impl ResistanceDocument {
    fn of(resistance: &Resistance) -> Self {
        let Resistance { at_s, soc, ohm, u_ohm, delay_s, .. } = *resistance;
        ResistanceDocument { at_s, soc, ohm, u_ohm, delay_s }
    }
}
