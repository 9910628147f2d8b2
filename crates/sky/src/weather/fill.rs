//! A file's light on a panel, with what was filled and how.

use jiff::Timestamp;

use super::check::in_typical_year;
use super::{Reading, Weather};
use crate::clear::Irradiance;
use crate::light::{High, Sample, along};
use crate::{Aim, AimError, Error, Light, Steps, Surroundings, split};

/// What to do where the file lacks one of global, beam and diffuse.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Gaps {
    /// What was not measured gave no light: the careful side, and what the file says.
    #[default]
    Dark,
    /// The third follows from the other two; a lone global is split by its clearness.
    Close,
}

/// Where the light of each step with the sun up came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Filled {
    /// Global, beam and diffuse as the file has them.
    pub as_read: usize,
    /// One of the three was missing and follows from the other two ([`Gaps::Close`]).
    pub closed: usize,
    /// Only the global was there; beam and diffuse by its clearness. A file that has no other
    /// light at all is always read so.
    pub split: usize,
    /// Some or all of the light was missing and none was assumed in its place.
    pub dark: usize,
    /// Steps, by day or night, without an air temperature: the last one, or that of the
    /// surroundings before the first, was held.
    pub air_held: usize,
}

/// Below this altitude a beam is not worked out from global and diffuse.
const LEAST_ALTITUDE_DEG: f64 = 3.0;

impl Weather {
    /// The reading in whose stretch an instant lies.
    #[must_use]
    pub fn reading_at(&self, at: Timestamp) -> Option<&Reading> {
        let at = if self.typical { in_typical_year(at, self.clock_h) } else { at };
        let next = self.readings.partition_point(|reading| reading.start <= at);
        let reading = self.readings.get(next.checked_sub(1)?)?;
        (at.duration_since(reading.start).as_secs_f64() < self.interval_s).then_some(reading)
    }

    /// The file's light on a panel in the middle of each step. Place, turbidity, air and wind of
    /// the surroundings stand back behind the file's where it has them.
    ///
    /// # Errors
    /// When the surroundings can't be, the step is not longer than nothing, or the instants lie
    /// outside the years 1950 to 2100.
    pub fn light_on_panel(
        &self,
        around: &Surroundings,
        aim: &Aim,
        steps: Steps,
        gaps: Gaps,
    ) -> Result<(Vec<Light>, Filled), Error> {
        let lone = self.readings.iter().all(|r| r.dni_w_m2.is_none() && r.dhi_w_m2.is_none());
        let gaps = if lone { Gaps::Close } else { gaps };
        let mut filled = Filled::default();
        let mut last_air_c = None;
        let mut last_wind_mps = None;
        let around = Surroundings { place: self.place, ..around.clone() };
        let sample = |_: usize, elapsed_s: f64, sun: Option<&High>| {
            let reading = self.reading_at(crate::time::later(steps.start, elapsed_s));
            let air_c = reading.and_then(|reading| reading.air_c);
            filled.air_held += usize::from(air_c.is_none());
            last_air_c = air_c.or(last_air_c);
            last_wind_mps = reading.and_then(|reading| reading.wind_mps).or(last_wind_mps);
            Sample {
                irradiance: sun.map_or_else(Irradiance::default, |sun| {
                    irradiance(reading, sun, gaps, &mut filled)
                }),
                air_c: last_air_c.unwrap_or_else(|| around.air.at(elapsed_s)),
                wind_mps: last_wind_mps.unwrap_or(around.wind_mps),
            }
        };
        let lights = along(&around, (aim, [AimError::NONE]), steps, sample)?;
        Ok((lights.into_iter().map(|[light]| light).collect(), filled))
    }
}

fn irradiance(
    reading: Option<&Reading>,
    sun: &High,
    gaps: Gaps,
    filled: &mut Filled,
) -> Irradiance {
    let least = |value: Option<f64>| value.map(|value| value.max(0.0));
    let (ghi, dni, dhi) = reading.map_or((None, None, None), |reading| {
        (least(reading.ghi_w_m2), least(reading.dni_w_m2), least(reading.dhi_w_m2))
    });
    let of = |ghi_w_m2, dni_w_m2, dhi_w_m2| Irradiance { ghi_w_m2, dni_w_m2, dhi_w_m2 };
    match (ghi, dni, dhi) {
        (Some(ghi), Some(dni), Some(dhi)) => {
            filled.as_read += 1;
            of(ghi, dni, dhi)
        }
        _ if gaps == Gaps::Dark => {
            filled.dark += 1;
            of(ghi.unwrap_or(0.0), dni.unwrap_or(0.0), dhi.unwrap_or(0.0))
        }
        (Some(ghi), None, Some(dhi)) => {
            filled.closed += 1;
            let beam =
                if sun.apparent_deg < LEAST_ALTITUDE_DEG { 0.0 } else { (ghi - dhi) / sun.sin };
            of(ghi, beam.clamp(0.0, sun.outside_w_m2), dhi)
        }
        (Some(ghi), Some(dni), None) => {
            filled.closed += 1;
            of(ghi, dni, (ghi - dni * sun.sin).max(0.0))
        }
        (None, Some(dni), Some(dhi)) => {
            filled.closed += 1;
            of(dhi + dni * sun.sin, dni, dhi)
        }
        (Some(ghi), None, None) => {
            filled.split += 1;
            split::split(ghi, sun.sin, sun.apparent_deg, sun.outside_w_m2)
        }
        _ => {
            filled.dark += 1;
            Irradiance::default()
        }
    }
}
