//! A trip looked back on, as JSON.

use jiff::Timestamp;
use serde::Serialize;
use trip::{
    Compared, Explanation, Finding, Hindsight, Measure, NightHindsight, Parting, Suspect, Together,
};

#[derive(Serialize)]
pub(super) struct HindsightDocument<'a> {
    finding: &'static str,
    /// Share of drawn trips that lie nearer to the typical one than the record does.
    further_than: f64,
    began: Timestamp,
    is_placed: bool,
    has_current: bool,
    covered_h: f64,
    gaps_h: f64,
    nights: Vec<NightDocument>,
    partings: Vec<PartingDocument>,
    explanations: Vec<ExplanationDocument<'a>>,
    other_chance: f64,
    together: Option<TogetherDocument<'a>>,
    compared: Vec<ComparedDocument>,
    notices: &'a [String],
}

#[derive(Serialize)]
struct NightDocument {
    evening: String,
    covered: f64,
    /// Null without a current.
    planned_out_wh: Option<f64>,
    measured_out_wh: Option<f64>,
    planned_in_wh: Option<f64>,
    measured_in_wh: Option<f64>,
    planned_least_v: f64,
    measured_least_v: f64,
}

#[derive(Serialize)]
struct PartingDocument {
    what: &'static str,
    from: Timestamp,
    to: Timestamp,
    to_the_end: bool,
    /// Measured less typical.
    #[serde(skip_serializing_if = "Option::is_none")]
    most_v: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    most_ah: Option<f64>,
    most_at: Timestamp,
}

#[derive(Serialize)]
struct ExplanationDocument<'a> {
    #[serde(flatten)]
    cause: CauseDocument<'a>,
    explains: f64,
    chance: f64,
    /// Standard deviations: of the plan, or where it does not say of what is usual.
    deviations: f64,
    is_allowed_for: bool,
}

#[derive(Serialize)]
struct TogetherDocument<'a> {
    causes: Vec<CauseDocument<'a>>,
    explains: f64,
}

/// What was otherwise, and by how much; the unit is in the key.
#[derive(Serialize)]
#[serde(tag = "what", rename_all = "kebab-case")]
enum CauseDocument<'a> {
    Capacity { factor: f64 },
    Charge { soc_start: f64 },
    Resistance { more_ohm: f64 },
    Voltage { higher_v: f64 },
    Device { device: &'a str, factor: f64 },
    Extra { power_w: f64 },
    Sun { evening: Option<String>, factor: f64 },
    Chargers { factor: f64 },
    Air { warmer_k: f64 },
    Clock { ahead_s: f64 },
    MeterZero { higher_a: f64 },
    MeterGain { factor: f64 },
}

#[derive(Serialize)]
struct ComparedDocument {
    time: Timestamp,
    voltage_v: f64,
    typical_voltage_v: f64,
    low_voltage_v: f64,
    high_voltage_v: f64,
    current_a: Option<f64>,
    typical_current_a: f64,
    out_ah: Option<f64>,
    typical_out_ah: f64,
    low_out_ah: f64,
    high_out_ah: f64,
}

impl<'a> HindsightDocument<'a> {
    pub(super) fn of(found: &'a Hindsight) -> Self {
        HindsightDocument {
            finding: match found.finding {
                Finding::AsForecast => "as-forecast",
                Finding::Explained => "explained",
                Finding::Several => "several",
                Finding::Nothing => "nothing",
            },
            further_than: found.further_than,
            began: found.began,
            is_placed: found.is_placed,
            has_current: found.has_current,
            covered_h: found.covered_h,
            gaps_h: found.gaps_h,
            nights: found.nights.iter().map(NightDocument::of).collect(),
            partings: found.partings.iter().map(PartingDocument::of).collect(),
            explanations: found.explanations.iter().map(ExplanationDocument::of).collect(),
            other_chance: found.other_chance,
            together: found.together.as_ref().map(TogetherDocument::of),
            compared: found.compared.iter().map(ComparedDocument::of).collect(),
            notices: &found.notices,
        }
    }
}

impl NightDocument {
    fn of(night: &NightHindsight) -> Self {
        let NightHindsight { evening, covered, out_wh, in_wh, least_v } = night;
        NightDocument {
            evening: evening.to_string(),
            covered: *covered,
            planned_out_wh: out_wh[0],
            measured_out_wh: out_wh[1],
            planned_in_wh: in_wh[0],
            measured_in_wh: in_wh[1],
            planned_least_v: least_v[0],
            measured_least_v: least_v[1],
        }
    }
}

impl PartingDocument {
    fn of(parting: &Parting) -> Self {
        let (what, most_v, most_ah) = match parting.what {
            Measure::Voltage => ("voltage", Some(parting.most), None),
            Measure::Charge => ("charge", None, Some(parting.most)),
        };
        let Parting { from, to, to_the_end, most_at, .. } = *parting;
        PartingDocument { what, from, to, to_the_end, most_v, most_ah, most_at }
    }
}

impl<'a> ExplanationDocument<'a> {
    fn of(explanation: &'a Explanation) -> Self {
        ExplanationDocument {
            cause: CauseDocument::of(&explanation.what, explanation.amount),
            explains: explanation.explains,
            chance: explanation.chance,
            deviations: explanation.deviations,
            is_allowed_for: explanation.is_allowed_for,
        }
    }
}

impl<'a> TogetherDocument<'a> {
    fn of(together: &'a Together) -> Self {
        let causes = together.causes.iter();
        TogetherDocument {
            causes: causes.map(|(what, amount)| CauseDocument::of(what, *amount)).collect(),
            explains: together.explains,
        }
    }
}

impl<'a> CauseDocument<'a> {
    fn of(what: &'a Suspect, amount: f64) -> Self {
        match what {
            Suspect::Capacity => CauseDocument::Capacity { factor: amount },
            Suspect::Charge => CauseDocument::Charge { soc_start: amount },
            Suspect::Resistance => CauseDocument::Resistance { more_ohm: amount },
            Suspect::Voltage => CauseDocument::Voltage { higher_v: amount },
            Suspect::Device(device) => CauseDocument::Device { device, factor: amount },
            Suspect::Extra => CauseDocument::Extra { power_w: amount },
            Suspect::Sun(evening) => CauseDocument::Sun {
                evening: evening.map(|evening| evening.to_string()),
                factor: amount,
            },
            Suspect::Chargers => CauseDocument::Chargers { factor: amount },
            Suspect::Air => CauseDocument::Air { warmer_k: amount },
            Suspect::Clock => CauseDocument::Clock { ahead_s: amount },
            Suspect::MeterZero => CauseDocument::MeterZero { higher_a: amount },
            Suspect::MeterGain => CauseDocument::MeterGain { factor: amount },
        }
    }
}

impl ComparedDocument {
    fn of(at: &Compared) -> Self {
        ComparedDocument {
            time: at.time,
            voltage_v: at.voltage_v,
            typical_voltage_v: at.typical_v,
            low_voltage_v: at.band_v[0],
            high_voltage_v: at.band_v[1],
            current_a: at.current_a,
            typical_current_a: at.typical_a,
            out_ah: at.out_ah,
            typical_out_ah: at.typical_ah,
            low_out_ah: at.band_ah[0],
            high_out_ah: at.band_ah[1],
        }
    }
}
