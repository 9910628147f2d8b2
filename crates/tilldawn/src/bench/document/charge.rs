//! A recharge, by a charger or by the sun.

use bench::{Recharge, Run, Settings, Solar};
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct ChargeDocument {
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

impl ChargeDocument {
    pub(super) fn of(settings: &Settings, run: &Run, recharge: &Recharge) -> Self {
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
