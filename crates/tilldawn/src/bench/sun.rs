//! A day on a panel, against a clear sky.

use bench::Run;
use jiff::civil::DateTime;
use jiff::{SignedDuration, Timestamp};
use record::Record;
use sky::{Aim, Place, Surroundings};

use crate::args;
use crate::clock;
use crate::output::Failure;

/// The sky a panel stood under.
pub(super) struct Sky {
    stood: Stood,
    began: Option<DateTime>,
    clock: Option<String>,
}

/// Where it stood.
enum Stood {
    Plan(Box<plan::Plan>),
    Here(Box<Here>),
}

/// As the command line says.
struct Here {
    around: Surroundings,
    aim: Aim,
    panel: source::Panel,
}

/// A panel of which only the label is known (common practice, no source).
const USUAL_COEFFICIENT_PER_K: f64 = -0.004;

impl Sky {
    /// None where no place is given.
    pub(super) fn asked(asked: &args::Bench) -> Result<Option<Sky>, Failure> {
        let clock = asked.reading.clock.clone();
        let asked = &asked.sun;
        let began = asked.began;
        if let Some(path) = &asked.plan {
            let stood = Stood::Plan(Box::new(plan::Plan::read(path)?));
            return Ok(Some(Sky { stood, began, clock }));
        }
        let (Some(latitude), Some(longitude), Some(rating_w)) =
            (asked.latitude, asked.longitude, asked.panel)
        else {
            return Ok(None);
        };
        let aim = asked.facing.aim()?.ok_or_else(|| {
            wrong("how the panel stood is missing; write --tilt 45° --azimuth 180°, --flat or --turned-every \"2 h\"")
        })?;
        let place = Place::new(latitude, longitude, asked.elevation.unwrap_or(0.0))?;
        let panel = source::Panel::rated(rating_w, USUAL_COEFFICIENT_PER_K)
            .map_err(|error| wrong(&error.to_string()))?;
        let around = Surroundings::at(place);
        let stood = Stood::Here(Box::new(Here { around, aim, panel }));
        Ok(Some(Sky { stood, began, clock }))
    }

    /// Tells each day on a panel what a clear sky would have given.
    pub(super) fn compare(&self, record: &Record, runs: &mut [Run]) -> Result<(), Failure> {
        for run in runs {
            let (from_s, to_s) = (run.from_s, run.to_s);
            let Some(recharge) = run.recharge.as_mut().filter(|found| found.solar.is_some()) else {
                continue;
            };
            let start = self.start(record)?;
            let at = |elapsed_s: f64| {
                let since = SignedDuration::try_from_secs_f64(elapsed_s).unwrap_or_default();
                start.saturating_add(since).unwrap_or(start)
            };
            let clear_wh = match &self.stood {
                Stood::Plan(plan) => trip::clear_wh_of_plan(plan, at(from_s), at(to_s))?,
                Stood::Here(here) => {
                    let Here { around, aim, panel } = &**here;
                    let stand = trip::Stand { around: around.clone(), aim: aim.clone(), panel };
                    stand.clear_wh(at(from_s), at(to_s))?
                }
            };
            recharge.under_clear_sky(clear_wh);
        }
        Ok(())
    }

    /// The moment of the record's first row.
    fn start(&self, record: &Record) -> Result<Timestamp, Failure> {
        if let (Some(start), None) = (record.start, self.began) {
            return Ok(start);
        }
        let on_the_wall = self.began.or(record.local_start).ok_or_else(|| {
            wrong(&format!("{} does not tell its date; write when its first row was: --began 2026-06-06T06:30 --clock Europe/London", record.file))
        })?;
        let clock = match (&self.clock, &self.stood) {
            (Some(clock), _) => clock::named(clock)?,
            (None, Stood::Plan(plan)) => plan.site.zone.clone(),
            (None, Stood::Here(_)) => {
                return Err(wrong(
                    "the clock of the record is not known; write --clock Europe/London",
                ));
            }
        };
        clock::moment(on_the_wall, &clock)
    }
}

fn wrong(message: &str) -> Failure {
    Failure::new("arguments", message)
}
