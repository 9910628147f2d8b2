//! What a day gives: light on the panel's plane, and what the panel makes of it before any
//! controller.

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use plan::{Plan, Supply};
use sky::weather::{Filled, Gaps, Weather};
use sky::{
    Aim, AirCurve, AirTemperature, Cloud, DayAir, Light, Place, Steps, Surroundings, Track,
    light_on_panel,
};
use source::Panel;

use crate::error::TripError;
use crate::skies::Skies;

/// A panel where it stands.
#[derive(Debug, Clone)]
pub struct Stand<'a> {
    /// What surrounds it.
    pub around: Surroundings,
    /// How it is set up.
    pub aim: Aim,
    /// The panel with its dirt and its cable.
    pub panel: &'a Panel,
}

/// One day's harvest.
#[derive(Debug, Clone)]
pub struct DayHarvest {
    /// Whose date the day is.
    pub date: Date,
    /// Its steps.
    pub steps: Steps,
    /// Light on the panel's plane, before the cover takes its share (Wh/m²).
    pub poa_wh_m2: f64,
    /// The same with the beam lessened by the cover: what makes current (Wh/m²).
    pub poa_effective_wh_m2: f64,
    /// Light on the level (Wh/m²).
    pub level_wh_m2: f64,
    /// Out of the panel at its best voltage, before any controller (Wh).
    pub panel_wh: f64,
    /// The most power in a step (W).
    pub peak_w: f64,
    /// How long the sun is above the horizon, and above the skyline where there is one (h).
    pub sun_h: f64,
    /// Step by step: the light.
    pub lights: Vec<Light>,
    /// Step by step: the panel's power (W).
    pub power_w: Vec<f64>,
    /// Where a weather file's light came from; none under a computed sky.
    pub filled: Option<Filled>,
}

/// Length of a step under a computed sky (s).
const STEP_S: f64 = 60.0;
const DAY_S: f64 = 86_400.0;
/// The sun's upper limb on a level horizon, with 34′ of refraction and 16′ of radius.
const SUNRISE_DEG: f64 = -0.8333;

/// The 24 hours from local mean midnight of a date: from 00:00 UTC less an hour for each 15° east,
/// to the minute.
///
/// # Errors
/// When the date lies outside the years 1950 to 2100.
pub fn mean_day(date: Date, place: &Place) -> Result<Steps, TripError> {
    let count = (DAY_S / STEP_S) as usize;
    Ok(Steps { start: place.mean_midnight(date)?, step_s: STEP_S, count })
}

/// A date by the clocks of a zone, from its first moment to that of the next date: 23 or 25 hours
/// where clocks are changed.
///
/// # Errors
/// When there is no such day.
pub fn clock_day(date: Date, zone: &TimeZone) -> Result<Steps, TripError> {
    let midnight = |date: Date| -> Result<Timestamp, TripError> {
        let first = date.to_zoned_datetime(zone.clone()).map_err(|_| no_day(date))?;
        Ok(first.timestamp())
    };
    let start = midnight(date)?;
    let end = midnight(date.tomorrow().map_err(|_| no_day(date))?)?;
    let minutes = end.duration_since(start).as_secs_f64() / STEP_S;
    Ok(Steps { start, step_s: STEP_S, count: minutes.round() as usize })
}

fn no_day(date: Date) -> TripError {
    sky::Error::Date { read: date.to_string() }.into()
}

/// What surrounds the panels of a plan, in air of a temperature.
pub(crate) fn surroundings(plan: &Plan, air: &AirTemperature) -> Surroundings {
    Surroundings {
        horizon: plan.site.horizon.clone(),
        turbidity: plan.site.turbidity,
        albedo: plan.site.albedo,
        air: air.clone(),
        wind_mps: plan.air.wind_mps,
        ..Surroundings::at(plan.site.place)
    }
}

impl<'a> Stand<'a> {
    /// The panels of a plan, in air of a temperature.
    pub(crate) fn of_plan(plan: &'a Plan, air: &AirTemperature) -> Vec<Self> {
        let around = surroundings(plan, air);
        let panels = plan.supplies.iter().filter_map(|supply| match supply {
            Supply::Panel(panel) => Some(panel),
            Supply::Charger(_) => None,
        });
        panels
            .map(|found| Stand {
                around: around.clone(),
                aim: found.aim.clone(),
                panel: &found.panel,
            })
            .collect()
    }

    /// A day under a computed sky.
    ///
    /// # Errors
    /// When the surroundings can't be or the day lies outside the years 1950 to 2100.
    pub fn day(&self, date: Date, steps: Steps, cloud: &Cloud) -> Result<DayHarvest, TripError> {
        let lights = light_on_panel(&self.around, &self.aim, cloud, steps)?;
        self.close(date, steps, lights, None)
    }

    /// A day as a weather file has it, by the file's clock and at the file's place.
    ///
    /// # Errors
    /// As [`Stand::day`], and when the file has no reading of that date.
    pub fn measured_day(
        &self,
        date: Date,
        weather: &Weather,
        gaps: Gaps,
    ) -> Result<DayHarvest, TripError> {
        if !weather.typical && !weather.dates().contains(&date) {
            let dates = weather.dates();
            let (Some(first), Some(last)) = (dates.first(), dates.last()) else {
                return Err(no_day(date));
            };
            return Err(TripError::NoReading { date, first: *first, last: *last });
        }
        let steps = weather.day(date)?;
        let (lights, filled) = weather.light_on_panel(&self.around, &self.aim, steps, gaps)?;
        let around = Surroundings { place: weather.place, ..self.around.clone() };
        Stand { around, ..self.clone() }.close(date, steps, lights, Some(filled))
    }

    fn close(
        &self,
        date: Date,
        steps: Steps,
        lights: Vec<Light>,
        filled: Option<Filled>,
    ) -> Result<DayHarvest, TripError> {
        let hours = steps.step_s / 3600.0;
        let sum = |of: &dyn Fn(&Light) -> f64| hours * lights.iter().map(of).sum::<f64>();
        let power_w: Vec<f64> = lights.iter().map(|light| self.power_w(light)).collect();
        Ok(DayHarvest {
            date,
            steps,
            poa_wh_m2: sum(&|light| light.poa_global_w_m2),
            poa_effective_wh_m2: sum(&|light| light.poa_effective_w_m2),
            level_wh_m2: sum(&|light| light.ghi_w_m2),
            panel_wh: hours * power_w.iter().sum::<f64>(),
            peak_w: power_w.iter().copied().fold(0.0, f64::max),
            sun_h: self.sun_h(steps)?,
            lights,
            power_w,
            filled,
        })
    }

    pub(crate) fn power_w(&self, light: &Light) -> f64 {
        self.panel.power_w(light.poa_effective_w_m2, light.cell_temp_c)
    }

    /// How long the sun is up and in sight, to the minute.
    fn sun_h(&self, steps: Steps) -> Result<f64, TripError> {
        let length_s = steps.step_s * steps.count as f64;
        let track = Track::of_sun(&self.around.place, steps.start, length_s)?;
        let pressure_pa = sky::pressure_pa(self.around.place.elevation_m());
        let skyline = &self.around.horizon;
        let minutes = (length_s / STEP_S).round() as usize;
        let in_sight = |minute: &usize| {
            let seen = track.at((*minute as f64 + 0.5) * STEP_S);
            let altitude_deg = seen.altitude_deg();
            if altitude_deg <= SUNRISE_DEG {
                return false;
            }
            let lifted_deg = sky::refraction_deg(altitude_deg, pressure_pa, 12.0);
            skyline.is_level()
                || altitude_deg + lifted_deg > skyline.altitude_deg(seen.azimuth_deg())
        };
        Ok((0..minutes).filter(in_sight).count() as f64 * STEP_S / 3600.0)
    }
}

impl DayHarvest {
    /// Hours of full sun (1000 W/m²) on the panel's plane that would bring as much light (h).
    #[must_use]
    pub fn peak_sun_h(&self) -> f64 {
        self.poa_wh_m2 / 1000.0
    }

    /// The middle of each step, in order.
    pub fn times(&self) -> impl Iterator<Item = Timestamp> + '_ {
        let (start, step_s) = (self.steps.start, self.steps.step_s);
        (0..self.steps.count).map(move |step| {
            let offset = SignedDuration::try_from_secs_f64((step as f64 + 0.5) * step_s);
            start.saturating_add(offset.unwrap_or_default()).unwrap_or(start)
        })
    }
}

/// One day of a plan and what its panels may give, before any controller.
#[derive(Debug, Clone, PartialEq)]
pub struct PlannedDay {
    /// The date; the evening of a night follows it.
    pub date: Date,
    /// Under a clear sky, panel by panel (Wh).
    pub clear_wh: Vec<f64>,
    /// Share of it that arrives on the mean.
    pub share: f64,
    /// Shares that 10 % and 90 % of such days stay below.
    pub share_range: [f64; 2],
    /// How long the sun is up and in sight (h).
    pub sun_h: f64,
    /// Light on the level under a clear sky (Wh/m²).
    pub clear_level_wh_m2: f64,
}

impl PlannedDay {
    /// What all panels give on the mean (Wh).
    #[must_use]
    pub fn usual_wh(&self) -> f64 {
        self.share * self.clear_wh.iter().sum::<f64>()
    }

    /// What 10 % and 90 % of such days stay below (Wh).
    #[must_use]
    pub fn range_wh(&self) -> [f64; 2] {
        self.share_range.map(|share| share * self.clear_wh.iter().sum::<f64>())
    }
}

/// The days before the evenings of a plan.
///
/// # Errors
/// When the plan has no panel, or a date lies outside the years 1950 to 2100.
pub fn planned_days(plan: &Plan) -> Result<Vec<PlannedDay>, TripError> {
    let skies = Skies::of_plan(plan)?;
    let usual = DayAir { lowest_c: plan.air.night_c.value, highest_c: plan.air.day_c.value };
    let mut days = Vec::with_capacity(plan.dates.nights);
    for ((at, date), sky) in plan.dates.evenings().enumerate().zip(skies.central()) {
        let steps = mean_day(date, &plan.site.place)?;
        let curve = AirCurve::over(&plan.site.place, date, &[usual; 2])?;
        let hours = (DAY_S / 3600.0) as usize + 1;
        let air = AirTemperature::Hourly(curve.hourly_c(steps.start, hours));
        let mut found = Vec::new();
        for stand in Stand::of_plan(plan, &air) {
            found.push(stand.day(date, steps, &Cloud::Clear)?);
        }
        let Some(first) = found.first() else { return Err(TripError::NoPanel) };
        days.push(PlannedDay {
            date,
            share: sky.sun,
            share_range: skies.range(at),
            sun_h: first.sun_h,
            clear_level_wh_m2: first.level_wh_m2,
            clear_wh: found.iter().map(|day| day.panel_wh).collect(),
        });
    }
    Ok(days)
}
