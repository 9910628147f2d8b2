//! What a run in the field says of its loads.

use serde::Serialize;

#[derive(Serialize)]
pub(super) struct FieldDocument {
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

impl FieldDocument {
    pub(super) fn of(field: &bench::Field) -> Self {
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
