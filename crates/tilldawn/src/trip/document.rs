//! The JSON document of `tilldawn trip`.

mod hindsight;

use jiff::Timestamp;
use plan::Plan;
use report::Mends;
use serde::Serialize;
use trip::{Cause, Fix, Forecast, Hindsight, Ledger, NightForecast, Restarts, Shedding};

use hindsight::HindsightDocument;

#[derive(Serialize)]
pub(super) struct Document<'a> {
    nights: Vec<NightDocument<'a>>,
    ledger: Ledger,
    draws: usize,
    seed: u64,
    trip_probability: f64,
    trip_probability_low: f64,
    trip_probability_high: f64,
    /// What prices are counted in, where the plan says it.
    currency: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    fixes: Option<Vec<FixDocument<'a>>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    shedding: Option<SheddingDocument<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    hindsight: Option<HindsightDocument<'a>>,
}

#[derive(Serialize)]
struct FixDocument<'a> {
    change: &'a str,
    weakest_night_probability: f64,
    gain: f64,
    gain_low: f64,
    gain_high: f64,
    /// Null where it is not known; nought where nothing is bought.
    kg: Option<f64>,
    price: Option<f64>,
    /// Whether it stands in the short list that people see.
    listed: bool,
}

#[derive(Serialize)]
struct SheddingDocument<'a> {
    steps: Vec<ShedDocument<'a>>,
    probabilities: Vec<f64>,
    enough: bool,
}

#[derive(Serialize)]
struct ShedDocument<'a> {
    device: &'a str,
    from: Option<String>,
}

#[derive(Serialize)]
struct NightDocument<'a> {
    evening: String,
    sunset: Option<Timestamp>,
    sunrise: Option<Timestamp>,
    dark_h: f64,
    carried: bool,
    probability: f64,
    probability_low: f64,
    probability_high: f64,
    soc_dusk: f64,
    soc_dawn: f64,
    used_wh: f64,
    harvest_wh: f64,
    least_voltage_v: Option<f64>,
    worst_device: Option<&'a str>,
    first_failure: Option<FailureDocument<'a>>,
    restarts: &'a [Restarts],
}

#[derive(Serialize)]
struct FailureDocument<'a> {
    time: Timestamp,
    device: Option<&'a str>,
    cause: Cause,
}

impl<'a> Document<'a> {
    pub(super) fn of(
        plan: &'a Plan,
        forecast: &'a Forecast,
        mends: Option<Mends<'a>>,
        looked_back: Option<&'a Hindsight>,
    ) -> Self {
        let fixes = mends.map(|mends| mends.fixes.iter().map(FixDocument::of).collect());
        let shedding = mends.and_then(|mends| mends.shedding).map(SheddingDocument::of);
        Document {
            currency: plan.currency.as_deref(),
            fixes,
            shedding,
            hindsight: looked_back.map(HindsightDocument::of),
            nights: forecast.nights.iter().map(NightDocument::of).collect(),
            ledger: forecast.ledger,
            draws: forecast.draws,
            seed: forecast.settings.seed,
            trip_probability: forecast.trip.share,
            trip_probability_low: forecast.trip.low,
            trip_probability_high: forecast.trip.high,
        }
    }
}

impl<'a> FixDocument<'a> {
    fn of(fix: &'a Fix) -> Self {
        FixDocument {
            change: &fix.change,
            weakest_night_probability: fix.weakest(),
            gain: fix.gain,
            gain_low: fix.gain_95[0],
            gain_high: fix.gain_95[1],
            kg: fix.kg,
            price: fix.price,
            listed: fix.is_listed,
        }
    }
}

impl<'a> SheddingDocument<'a> {
    fn of(shedding: &'a Shedding) -> Self {
        let step = |shed: &'a trip::Shed| ShedDocument {
            device: &shed.device,
            from: shed.from.map(|from| from.strftime("%H:%M").to_string()),
        };
        SheddingDocument {
            steps: shedding.steps.iter().map(step).collect(),
            probabilities: shedding.nights.iter().map(|chance| chance.share).collect(),
            enough: shedding.enough,
        }
    }
}

impl<'a> NightDocument<'a> {
    fn of(night: &'a NightForecast) -> Self {
        NightDocument {
            evening: night.evening.to_string(),
            sunset: night.night.sunset,
            sunrise: night.night.sunrise,
            dark_h: night.night.dark_h,
            carried: night.carried,
            probability: night.chance.share,
            probability_low: night.chance.low,
            probability_high: night.chance.high,
            soc_dusk: night.soc_dusk,
            soc_dawn: night.soc_dawn,
            used_wh: night.used_wh,
            harvest_wh: night.harvest_wh,
            least_voltage_v: night.least_voltage_v,
            worst_device: night.worst_device.as_deref(),
            first_failure: night.first_failure.as_ref().map(|failure| FailureDocument {
                time: failure.time,
                device: failure.device.as_deref(),
                cause: failure.cause,
            }),
            restarts: &night.restarts,
        }
    }
}
