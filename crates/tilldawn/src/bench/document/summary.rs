//! All discharges together, as repeats of one test.

use bench::{Discharge, Repeats, Run, RunKind};
use jiff::Timestamp;
use record::Record;
use report::Tested;
use serde::Serialize;

/// All discharges together, as repeats of one test.
#[derive(Serialize)]
pub(super) struct Summary<'a> {
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

impl<'a> Summary<'a> {
    pub(super) fn of(tested: &'a [Tested<'a>]) -> Option<Self> {
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
