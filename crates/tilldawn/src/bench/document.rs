//! The JSON document of `tilldawn bench`.

use std::collections::BTreeMap;

use bench::{Discharge, Phase, Recharge, Resistance, Run};
use jiff::Timestamp;
use record::{Column, Record};
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct Document<'a> {
    runs: Vec<RunDocument<'a>>,
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
    share_of_label: Option<f64>,
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

#[derive(Serialize)]
struct ChargeDocument {
    cc_s: f64,
    cv_s: f64,
    ah_in: f64,
    wh_in: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    coulombic_efficiency: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    energy_efficiency: Option<f64>,
}

#[derive(Serialize)]
struct FieldDocument {
    nights: Vec<FieldNight>,
    levels: Vec<FieldLevel>,
}

#[derive(Serialize)]
struct FieldNight {
    from_s: f64,
    to_s: f64,
    energy_wh: f64,
    mean_power_w: f64,
}

#[derive(Serialize)]
struct FieldLevel {
    power_w: f64,
    share: f64,
}

impl<'a> Document<'a> {
    pub(super) fn of(measured: &'a [(Record, Vec<Run>)]) -> Self {
        let runs = measured
            .iter()
            .flat_map(|(record, runs)| runs.iter().map(|run| RunDocument::of(record, run)));
        Document { runs: runs.collect() }
    }
}

impl<'a> RunDocument<'a> {
    fn of(record: &'a Record, run: &'a Run) -> Self {
        let totals = Totals::of(run);
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
            above: run.discharge.as_ref().map(AboveDocument::of),
            share_of_label: run.discharge.as_ref().and_then(|discharge| discharge.share_of_label),
            rows: Rows {
                read: record.rows.read,
                used: record.rows.used,
                set_aside: &record.rows.set_aside,
            },
            columns: &record.columns,
            notices: record.notices.iter().chain(&run.notices).map(String::as_str).collect(),
            phases: run.phases.iter().map(PhaseDocument::of).collect(),
            resistance: run.resistances.iter().map(ResistanceDocument::of).collect(),
            charge: run.recharge.as_ref().map(ChargeDocument::of),
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
    fn of(discharge: &Discharge) -> Self {
        let above = &discharge.above_cutoff;
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

impl ChargeDocument {
    fn of(recharge: &Recharge) -> Self {
        ChargeDocument {
            cc_s: recharge.cc_s,
            cv_s: recharge.cv_s,
            ah_in: recharge.charge_ah,
            wh_in: recharge.energy_wh,
            coulombic_efficiency: recharge
                .efficiency
                .as_ref()
                .map(|efficiency| efficiency.coulombic),
            energy_efficiency: recharge.efficiency.as_ref().map(|efficiency| efficiency.energy),
        }
    }
}

impl FieldDocument {
    fn of(field: &bench::Field) -> Self {
        FieldDocument {
            nights: field
                .nights
                .iter()
                .map(|night| FieldNight {
                    from_s: night.from_s,
                    to_s: night.to_s,
                    energy_wh: night.energy_wh,
                    mean_power_w: night.mean_power_w,
                })
                .collect(),
            levels: field
                .levels
                .iter()
                .map(|level| FieldLevel { power_w: level.power_w, share: level.share_of_time })
                .collect(),
        }
    }
}
