//! After the trip: what was forecast against what a meter recorded, where they part, and which
//! assumption of the plan explains it.

use jiff::Timestamp;
use jiff::civil::Date;
use pack::{Sample, State, replay};
use plan::{Plan, Supply, Weather};
use record::Record;

use crate::answer::{Forecast, Point};
use crate::calendar::seconds_between;
use crate::error::TripError;

/// A forecast looked back on.
#[derive(Debug, Clone, PartialEq)]
pub struct Hindsight {
    /// Each night that the record covers, with the day before it.
    pub nights: Vec<NightHindsight>,
    /// The plan's assumptions, the one that fits least first.
    pub assumptions: Vec<Assumption>,
}

/// One night, planned and measured over the time that the record covers.
#[derive(Debug, Clone, PartialEq)]
pub struct NightHindsight {
    /// The date of its evening.
    pub evening: Date,
    /// Share of the night that the record covers.
    pub covered: f64,
    /// Out of the pack by night (Wh), planned and measured.
    pub out_wh: [f64; 2],
    /// Into the pack on the day before (Wh), planned and measured.
    pub in_wh: [f64; 2],
    /// The least voltage at the terminals by night (V), planned and measured.
    pub least_v: [f64; 2],
}

/// One thing the plan took for granted.
#[derive(Debug, Clone, PartialEq)]
pub struct Assumption {
    /// Which.
    pub what: Assumed,
    /// How far it was off: relative for loads and sun, in V for the pack.
    pub off: f64,
    /// The standard deviation the plan allows it, in the same measure.
    pub doubt: f64,
}

impl Assumption {
    /// How many of its standard deviations it was off.
    #[must_use]
    pub fn deviations(&self) -> f64 {
        self.off / self.doubt
    }
}

/// What a plan takes for granted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Assumed {
    /// What the gear draws.
    Loads,
    /// How much sun arrives.
    Sun,
    /// What voltage the pack has at the charge it holds.
    Pack,
}

/// Nothing is taken to be known better than this, relative or in V.
const LEAST_DOUBT: f64 = 0.02;

/// Compares a forecast's typical trip with a record of the pack's voltage and current.
///
/// # Errors
/// If the record does not tell when it began, or covers no time of the trip.
pub fn hindsight(
    plan: &Plan,
    forecast: &Forecast,
    record: &Record,
) -> Result<Hindsight, TripError> {
    let start = record.start.ok_or(TripError::RecordWithoutStart)?;
    let measured = Measured::of(record, start);
    let planned: Vec<&Point> =
        forecast.points.iter().filter(|point| measured.covers(point.time)).collect();
    if planned.len() < 2 {
        return Err(TripError::RecordElsewhere);
    }
    let nights: Vec<NightHindsight> = forecast
        .nights
        .iter()
        .enumerate()
        .filter_map(|(at, night)| {
            let day_from = at
                .checked_sub(1)
                .and_then(|before| forecast.nights.get(before))
                .map_or(night.from, |before| before.to);
            let length_s = seconds_between(night.from, night.to);
            let covered_s = measured.overlap_s(night.from, night.to);
            (covered_s > 0.0).then(|| NightHindsight {
                evening: night.evening,
                covered: covered_s / length_s,
                out_wh: [
                    planned_wh(&planned, night.from, night.to, 1.0),
                    measured.energy_wh(night.from, night.to, 1.0),
                ],
                in_wh: [
                    planned_wh(&planned, day_from, night.from, -1.0),
                    measured.energy_wh(day_from, night.from, -1.0),
                ],
                least_v: [
                    planned_least_v(&planned, night.from, night.to),
                    measured.least_v(night.from, night.to),
                ],
            })
        })
        .collect();
    let mut assumptions: Vec<Assumption> =
        [loads(plan, &nights), sun(plan, &nights), pack_voltage(plan, &planned, &measured)]
            .into_iter()
            .flatten()
            .collect();
    assumptions.sort_by(|a, b| b.deviations().abs().total_cmp(&a.deviations().abs()));
    Ok(Hindsight { nights, assumptions })
}

/// The record as instants.
struct Measured {
    start: Timestamp,
    rows: Vec<Sample>,
}

impl Measured {
    fn of(record: &Record, start: Timestamp) -> Self {
        let samples = record.samples.iter();
        let rows = pack::counted(samples.map(|row| [row.elapsed_s, row.voltage_v, row.current_a]));
        Measured { start, rows }
    }

    fn length_s(&self) -> f64 {
        self.rows.last().map_or(0.0, |last| last.elapsed_s)
    }

    fn covers(&self, at: Timestamp) -> bool {
        (0.0..=self.length_s()).contains(&seconds_between(self.start, at))
    }

    fn overlap_s(&self, from: Timestamp, to: Timestamp) -> f64 {
        let [from_s, to_s] =
            [from, to].map(|at| seconds_between(self.start, at).clamp(0.0, self.length_s()));
        to_s - from_s
    }

    fn within(&self, from: Timestamp, to: Timestamp) -> &[Sample] {
        let at = |instant: Timestamp| {
            let elapsed_s = seconds_between(self.start, instant);
            self.rows.partition_point(|row| row.elapsed_s < elapsed_s)
        };
        self.rows.get(at(from)..at(to)).unwrap_or_default()
    }

    /// Energy out of the pack (`sign` 1) or into it (-1).
    fn energy_wh(&self, from: Timestamp, to: Timestamp, sign: f64) -> f64 {
        let power_w = |row: &Sample| (sign * row.voltage_v * row.current_a).max(0.0);
        self.within(from, to)
            .windows(2)
            .map(|pair| {
                let hours = (pair[1].elapsed_s - pair[0].elapsed_s) / 3600.0;
                0.5 * (power_w(&pair[0]) + power_w(&pair[1])) * hours
            })
            .fold(0.0, |sum, wh| sum + wh)
    }

    fn least_v(&self, from: Timestamp, to: Timestamp) -> f64 {
        self.within(from, to).iter().map(|row| row.voltage_v).fold(f64::INFINITY, f64::min)
    }
}

fn between<'a>(
    planned: &'a [&Point],
    from: Timestamp,
    to: Timestamp,
) -> impl Iterator<Item = (&'a Point, f64)> {
    planned.windows(2).filter_map(move |pair| {
        let (before, point) = (pair[0], pair[1]);
        (from <= before.time && point.time <= to)
            .then(|| (point, seconds_between(before.time, point.time) / 3600.0))
    })
}

fn planned_wh(planned: &[&Point], from: Timestamp, to: Timestamp, sign: f64) -> f64 {
    between(planned, from, to)
        .fold(0.0, |sum, (point, hours)| sum + (sign * point.pack_w).max(0.0) * hours)
}

fn planned_least_v(planned: &[&Point], from: Timestamp, to: Timestamp) -> f64 {
    between(planned, from, to).map(|(point, _)| point.terminal_v).fold(f64::INFINITY, f64::min)
}

/// Relative difference of what was measured to what was planned, over all nights.
fn relative(nights: &[NightHindsight], of: fn(&NightHindsight) -> [f64; 2]) -> Option<f64> {
    let [planned, measured] =
        nights.iter().map(of).fold([0.0; 2], |sum, next| [sum[0] + next[0], sum[1] + next[1]]);
    (planned > 0.0).then(|| measured / planned - 1.0)
}

fn loads(plan: &Plan, nights: &[NightHindsight]) -> Option<Assumption> {
    // the devices' doubts by their share of the power, independent of each other
    let devices = plan.gear.rig.devices().iter().zip(&plan.gear.load_spread);
    let (mut all_w, mut squares) = (0.0, 0.0);
    for (device, spread) in devices {
        let power_w =
            device.uses.iter().map(|used| used.mean().power_w(NOMINAL_V)).fold(0.0, f64::max);
        all_w += power_w;
        squares += (power_w * spread).powi(2);
    }
    let doubt = (squares.sqrt() / all_w).max(LEAST_DOUBT);
    Some(Assumption { what: Assumed::Loads, off: relative(nights, |night| night.out_wh)?, doubt })
}

/// The voltage at which a load's share is judged.
const NOMINAL_V: f64 = 12.8;

fn sun(plan: &Plan, nights: &[NightHindsight]) -> Option<Assumption> {
    if !plan.supplies.iter().any(|supply| matches!(supply, Supply::Panel(_))) {
        return None;
    }
    // where the weather is not a plain share, days spread about as widely as they do there
    let day = match &plan.weather {
        Weather::Share(sun) if sun.mean > 0.0 => sun.spread / sun.mean,
        _ => USUAL_SUN_DOUBT,
    };
    let days = nights.iter().filter(|night| night.in_wh[0] > 0.0).count();
    let doubt = (day / (days.max(1) as f64).sqrt()).max(LEAST_DOUBT);
    Some(Assumption { what: Assumed::Sun, off: relative(nights, |night| night.in_wh)?, doubt })
}

/// Of a day's harvest, relative, where the plan's weather does not say (common practice, no source).
const USUAL_SUN_DOUBT: f64 = 0.4;

/// The model's voltage at the measured current against the measured voltage, under load.
fn pack_voltage(plan: &Plan, planned: &[&Point], measured: &Measured) -> Option<Assumption> {
    let pack = &plan.battery.pack;
    let soc = planned.first()?.soc;
    let replayed = replay(pack, State::rested(soc), &measured.rows);
    let under_load: Vec<(f64, f64)> = replayed
        .off_v
        .iter()
        .zip(&measured.rows)
        .filter(|(_, row)| row.current_a > 0.0)
        .map(|(off_v, row)| (-off_v, row.current_a))
        .collect();
    let count = under_load.len() as f64;
    if count == 0.0 {
        return None;
    }
    let off = under_load.iter().map(|(off_v, _)| off_v).sum::<f64>() / count;
    let mean_a = under_load.iter().map(|(_, current_a)| current_a).sum::<f64>() / count;
    let doubt = pack.voltage_u(mean_a).max(LEAST_DOUBT);
    Some(Assumption { what: Assumed::Pack, off, doubt })
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use record::{RowCount, Samples};

    use super::*;
    use crate::answer::Settings;
    use crate::forecast::forecast;

    fn plan(mount: &str, sun: &str, r0: &str) -> Plan {
        let text = format!(
            r#"
format = 1
[site]
latitude = "40 N"
longitude = "0 E"
zone = "UTC"
[trip]
first_evening = "2026-06-09"
nights = 2
[weather]
sun = "{sun} ± 30 %"
[pack]
[pack.circuit]
capacity = "60 Ah ± 2 %"
r0 = "{r0} ± 20 %"
ocv = [[0, 10.5], [0.1, 12.7], [0.5, 13.1], [0.9, 13.3], [1, 13.6]]
[rig.devices.mount]
power = "{mount} ± 5 %"
least_voltage = "11 V"
when = "night"
[sources.panel]
panel = "100 W"
tilt = "30°"
azimuth = "180°"
controller = {{ kind = "MPPT", absorb = "14.4 V" }}
"#
        );
        Plan::parse("test.toml", Path::new(""), &text).unwrap()
    }

    fn forecast_of(plan: &Plan) -> Forecast {
        forecast(plan, Settings { draws: 16, ..Settings::default() }, |_| true).unwrap()
    }

    /// What a meter would have recorded on another trip's typical course.
    fn record_of(forecast: &Forecast) -> Record {
        let start = forecast.points[0].time;
        let points = || forecast.points.iter();
        let samples = Samples {
            elapsed_s: points().map(|point| seconds_between(start, point.time)).collect(),
            voltage_v: points().map(|point| point.terminal_v as f32).collect(),
            current_a: points().map(|point| (point.pack_w / point.terminal_v) as f32).collect(),
            ..Samples::default()
        };
        let count = samples.len();
        Record {
            file: "trip.csv".into(),
            start: Some(start),
            samples,
            rows: RowCount { read: count, used: count, ..RowCount::default() },
            ..empty()
        }
    }

    fn empty() -> Record {
        record::read_bytes(
            "a.csv",
            &b"s,V,A\n0,13,1\n10,13,1\n20,13,1\n"[..],
            &record::ReadOptions::default(),
        )
        .unwrap()
    }

    #[track_caller]
    fn check(happened: &Plan, what: Assumed, off: std::ops::Range<f64>) {
        let planned = plan("20 W", "60 %", "40 mohm");
        let found = hindsight(&planned, &forecast_of(&planned), &record_of(&forecast_of(happened)))
            .unwrap();
        let first = &found.assumptions[0];
        assert_eq!(first.what, what, "{found:?}");
        assert!(off.contains(&first.off) && first.deviations().abs() > 2.0, "{found:?}");
    }

    #[test]
    fn the_assumption_that_was_wrong_is_found() {
        check(&plan("25 W", "60 %", "40 mohm"), Assumed::Loads, 0.22..0.28);
        // the planned day fills the pack and leaves sun over, so less is missing than 55 of 60
        check(&plan("20 W", "5 %", "40 mohm"), Assumed::Sun, -0.86..-0.76);
        check(&plan("20 W", "60 %", "120 mohm"), Assumed::Pack, -0.14..-0.10);
    }

    #[test]
    fn a_trip_as_planned_fits() {
        let planned = plan("20 W", "60 %", "40 mohm");
        let forecast = forecast_of(&planned);
        let found = hindsight(&planned, &forecast, &record_of(&forecast)).unwrap();
        assert_eq!(found.nights.len(), 2);
        assert!(
            found.assumptions.iter().all(|assumption| assumption.deviations().abs() < 0.5),
            "{found:?}"
        );
        for night in &found.nights {
            assert!((night.out_wh[0] / night.out_wh[1] - 1.0).abs() < 0.02, "{night:?}");
            assert!((night.least_v[0] - night.least_v[1]).abs() < 0.01, "{night:?}");
        }
    }

    #[test]
    fn a_record_of_another_time_is_refused() {
        let planned = plan("20 W", "60 %", "40 mohm");
        let forecast = forecast_of(&planned);
        let mut record = record_of(&forecast);
        record.start = Some("2020-01-01T00:00Z".parse().unwrap());
        assert!(matches!(hindsight(&planned, &forecast, &record), Err(TripError::RecordElsewhere)));
        record.start = None;
        assert!(matches!(
            hindsight(&planned, &forecast, &record),
            Err(TripError::RecordWithoutStart)
        ));
    }
}
