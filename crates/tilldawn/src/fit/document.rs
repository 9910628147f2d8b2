//! The JSON document of `tilldawn fit`.

use pack::Pack;
use pack::fit::{Fit, Met, Parameter};
use plan::BatteryRun;
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct Sheet<'a> {
    pub(super) pack: &'a Pack,
}

#[derive(Serialize)]
pub(super) struct Document<'a> {
    pack: &'a Pack,
    /// Of the capacity, relative, one standard uncertainty.
    capacity_relative_u: f64,
    not_below_v: Option<f64>,
    parameters: Vec<ParameterDocument<'a>>,
    records: Vec<RecordDocument<'a>>,
    left_out: Vec<MetDocument<'a>>,
}

#[derive(Serialize)]
struct ParameterDocument<'a> {
    name: &'a str,
    unit: &'a str,
    value: f64,
    /// Relative, one standard uncertainty.
    relative_u: f64,
    held: Option<&'a str>,
}

#[derive(Serialize)]
struct RecordDocument<'a> {
    #[serde(flatten)]
    met: MetDocument<'a>,
    from_full: bool,
    notices: &'a [String],
}

#[derive(Serialize)]
struct MetDocument<'a> {
    file: &'a str,
    measured_s: f64,
    modelled_s: Option<f64>,
    rms_v: f64,
}

impl<'a> Document<'a> {
    pub(super) fn of(fit: &'a Fit, records: &'a [BatteryRun]) -> Self {
        Document {
            pack: &fit.pack,
            capacity_relative_u: fit.pack.capacity_u(),
            not_below_v: fit.not_below_v,
            parameters: fit.parameters.iter().map(ParameterDocument::of).collect(),
            records: fit
                .runs
                .iter()
                .zip(records)
                .map(|(met, record)| RecordDocument {
                    met: MetDocument::of(met),
                    from_full: record.from_full,
                    notices: &record.notices,
                })
                .collect(),
            left_out: fit.left_out.iter().map(MetDocument::of).collect(),
        }
    }
}

impl<'a> ParameterDocument<'a> {
    fn of(parameter: &'a Parameter) -> Self {
        let Parameter { name, unit, value, relative_u, held } = parameter;
        ParameterDocument {
            name,
            unit,
            value: *value,
            relative_u: *relative_u,
            held: held.as_deref(),
        }
    }
}

impl<'a> MetDocument<'a> {
    fn of(met: &'a Met) -> Self {
        MetDocument {
            file: &met.name,
            measured_s: met.measured_s,
            modelled_s: met.modelled_s,
            rms_v: met.rms_v,
        }
    }
}
