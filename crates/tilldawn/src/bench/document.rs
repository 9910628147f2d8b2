//! The JSON document of `tilldawn bench`.

use std::collections::BTreeMap;

use bench::{
    AboveCutoff, Discharge, Phase, Recharge, Repeats, Resistance, Run, RunKind, Settings, Solar,
};
use jiff::Timestamp;
use record::{Column, Record};
use report::Tested;
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct Document<'a> {
    runs: Vec<RunDocument<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    summary: Option<Summary<'a>>,
}

/// All discharges together, as repeats of one test.
#[derive(Serialize)]
struct Summary<'a> {
    n: usize,
    mean_ah: f64,
    /// Half-width of the 95 % interval.
    u_ah: f64,
    spread_ah: Option<f64>,
    /// Standard uncertainties: of the mean from the spread, and from the meter.
    from_runs_ah: f64,
    from_meter_ah: f64,
    rated_ah: Option<f64>,
    verdict: Option<&'static str>,
    more_runs: Option<usize>,
    guard_band_ah: Option<f64>,
    probability: Option<f64>,
    furthest: Option<Furthest<'a>>,
    /// The least and the largest mean power, where they differ by more than a tenth.
    unlike_loads_w: Option<[f64; 2]>,
}

/// The run furthest from the mean, by Grubbs' test.
#[derive(Serialize)]
struct Furthest<'a> {
    file: &'a str,
    start: Option<Timestamp>,
    deviation: f64,
    limit: f64,
    is_outlier: bool,
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

#[derive(Serialize)]
struct ChargeDocument {
    cc_s: f64,
    cv_s: f64,
    ah_in: f64,
    wh_in: f64,
    cc_current_a: f64,
    cv_voltage_v: Option<f64>,
    time_to: Vec<TimeToDocument>,
    #[serde(skip_serializing_if = "Option::is_none")]
    charger: Option<ChargerDocument>,
    #[serde(skip_serializing_if = "Option::is_none")]
    other_charger: Option<OtherCharger>,
    #[serde(skip_serializing_if = "Option::is_none")]
    solar: Option<SolarDocument>,
    #[serde(skip_serializing_if = "Option::is_none")]
    coulombic_efficiency: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    energy_efficiency: Option<f64>,
}

#[derive(Serialize)]
struct TimeToDocument {
    share: f64,
    duration_s: f64,
}

/// The label of the charger that was used.
#[derive(Serialize)]
struct ChargerDocument {
    promised_a: f64,
    verdict: &'static str,
}

/// Null where the record can't tell.
#[derive(Serialize)]
struct OtherCharger {
    current_a: f64,
    duration_s: Option<f64>,
}

#[derive(Serialize)]
struct SolarDocument {
    span_s: f64,
    mean_power_w: f64,
    peak_power_w: f64,
    mean_share_of_rating: Option<f64>,
    peak_share_of_rating: Option<f64>,
    clear_sky_wh: Option<f64>,
    share_of_clear_sky: Option<f64>,
}

#[derive(Serialize)]
struct FieldDocument {
    nights: Vec<FieldNight>,
    levels: Vec<FieldLevel>,
    /// For a plan.
    devices: String,
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
    current_a: f64,
    power_w: f64,
    share: f64,
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

impl<'a> Summary<'a> {
    fn of(tested: &'a [Tested<'a>]) -> Option<Self> {
        let (places, discharges): (Vec<_>, Vec<&Discharge>) = tested
            .iter()
            .flat_map(|test| test.runs.iter().map(move |run| (test.record, run)))
            .filter(|(_, run)| run.kind == RunKind::Discharge)
            .filter_map(|(record, run)| Some(((record, run), run.discharge.as_ref()?)))
            .unzip();
        let repeats = Repeats::of_capacity(&discharges)?;
        let rated_ah = tested.iter().find_map(|test| test.settings.rated_ah);
        let claim = rated_ah.map(|rated_ah| repeats.claim(rated_ah));
        let furthest = repeats.furthest.and_then(|furthest| {
            let (record, run): &(&Record, &Run) = places.get(furthest.at)?;
            Some(Furthest {
                file: &record.file,
                start: run.start,
                deviation: furthest.largest,
                limit: furthest.critical,
                is_outlier: furthest.is_outlier(),
            })
        });
        Some(Summary {
            n: repeats.n,
            mean_ah: repeats.mean,
            u_ah: repeats.u_95,
            spread_ah: repeats.spread,
            from_runs_ah: repeats.u_runs,
            from_meter_ah: repeats.u_meter,
            rated_ah,
            verdict: claim.map(|claim| claim.verdict.name()),
            more_runs: claim.and_then(|claim| claim.more_runs),
            guard_band_ah: claim.map(|claim| claim.guard_band),
            probability: claim.map(|claim| claim.probability),
            furthest,
            unlike_loads_w: Repeats::unlike_loads_w(&discharges),
        })
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

impl ChargeDocument {
    fn of(settings: &Settings, run: &Run, recharge: &Recharge) -> Self {
        let is_charger = recharge.solar.is_none();
        ChargeDocument {
            cc_s: recharge.cc_s,
            cv_s: recharge.cv_s,
            ah_in: recharge.charge_ah,
            wh_in: recharge.energy_wh,
            cc_current_a: recharge.cc_current_a,
            cv_voltage_v: recharge.cv_voltage_v,
            time_to: recharge
                .time_to
                .iter()
                .map(|reached| TimeToDocument {
                    share: reached.share,
                    duration_s: reached.duration_s,
                })
                .collect(),
            charger: settings.charger_a.filter(|_| is_charger).map(|promised_a| ChargerDocument {
                promised_a,
                verdict: recharge.charger_gives(promised_a).name(),
            }),
            other_charger: settings.other_charger_a.filter(|_| is_charger).map(|current_a| {
                OtherCharger { current_a, duration_s: run.with_charger_s(current_a) }
            }),
            solar: recharge.solar.as_ref().map(SolarDocument::of),
            coulombic_efficiency: recharge
                .efficiency
                .as_ref()
                .map(|efficiency| efficiency.coulombic),
            energy_efficiency: recharge.efficiency.as_ref().map(|efficiency| efficiency.energy),
        }
    }
}

impl SolarDocument {
    fn of(solar: &Solar) -> Self {
        SolarDocument {
            span_s: solar.span_s,
            mean_power_w: solar.mean_power_w,
            peak_power_w: solar.peak_power_w,
            mean_share_of_rating: solar.mean_share_of_rating,
            peak_share_of_rating: solar.peak_share_of_rating,
            clear_sky_wh: solar.clear_sky_wh,
            share_of_clear_sky: solar.share_of_clear_sky,
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
                .map(|level| FieldLevel {
                    current_a: level.current_a,
                    power_w: level.power_w,
                    share: level.share_of_time,
                })
                .collect(),
            devices: plan::as_devices(field),
        }
    }
}
