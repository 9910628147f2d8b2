//! Days that were: drawn from a weather file, in the order they had there.

use jiff::SignedDuration;
use plan::{FileDays, Plan};
use sky::weather::{Gaps, WeatherDay};
use sky::{Aim, AirTemperature, Cloud, Surroundings, light_on_panel};
use statrs::distribution::{ContinuousCDF, Normal};

use super::Day;
use crate::error::TripError;
use crate::statistics::{deviation, middle_80};
use crate::suns::{stands, taken_w};

/// Days of a file and which of them each day of the trip may be like.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Stock {
    days: Vec<Day>,
    /// Whether each day was the day after the one before it in the list.
    follows: Vec<bool>,
    of_evening: Vec<Vec<usize>>,
    has_air: bool,
    has_dew: bool,
}

impl Stock {
    pub(super) fn of(plan: &Plan, file: &FileDays) -> Result<Self, TripError> {
        let suns = suns(plan, file)?;
        let means: Option<Vec<f64>> = file.days.iter().map(mean_c).collect();
        let usual_c = means.as_ref().map_or(0.0, |means| mean(means.iter().copied()));
        // how near the dew point comes to the air, which tells how damp it is
        let spreads: Option<Vec<f64>> =
            file.days.iter().map(|day| Some(day.dew_point_c? - mean_c(day)?)).collect();
        let usual_k = spreads.as_ref().map_or(0.0, |spreads| mean(spreads.iter().copied()));
        let off = |of: &Option<Vec<f64>>, usual: f64, at: usize| {
            of.as_ref().and_then(|of| of.get(at)).map_or(0.0, |value| value - usual)
        };
        let days = file.days.iter().zip(suns).enumerate().map(|(at, (day, sun))| Day {
            sun,
            clear: 1.0 - sky::cloud_cover(day.share_of_clear),
            air_k: off(&means, usual_c, at),
            dew_k: off(&spreads, usual_k, at),
        });
        let mut before = None;
        let follows = file
            .days
            .iter()
            .map(|day| {
                before.replace(day.date).and_then(|date| date.tomorrow().ok()) == Some(day.date)
            })
            .collect();
        Ok(Self {
            days: days.collect(),
            follows,
            of_evening: file.of_evening.clone(),
            has_air: means.is_some(),
            has_dew: spreads.is_some(),
        })
    }

    /// Whether the file tells the air's temperature.
    pub(super) fn has_air(&self) -> bool {
        self.has_air
    }

    /// Whether it tells how damp the air was.
    pub(super) fn has_dew(&self) -> bool {
        self.has_dew
    }

    fn like(&self, evening: usize) -> impl Iterator<Item = &Day> + Clone {
        self.of_evening.get(evening).into_iter().flatten().filter_map(|at| self.days.get(*at))
    }

    /// For each evening the mean of the days its day may be like.
    pub(super) fn means(&self) -> Vec<Day> {
        (0..self.of_evening.len())
            .map(|evening| Day {
                sun: mean(self.like(evening).map(|day| day.sun)),
                clear: mean(self.like(evening).map(|day| day.clear)),
                air_k: 0.0,
                dew_k: 0.0,
            })
            .collect()
    }

    /// For each evening mean and standard deviation of the suns its day may have.
    pub(super) fn means_and_deviations(&self) -> Vec<[f64; 2]> {
        (0..self.of_evening.len())
            .map(|evening| {
                let suns = self.like(evening).map(|day| day.sun);
                [mean(suns.clone()), deviation(suns)]
            })
            .collect()
    }

    /// Standard deviations of air and dew point on its days (K).
    pub(super) fn air_deviations_k(&self) -> [f64; 2] {
        let days = self.days.iter();
        [deviation(days.clone().map(|day| day.air_k)), deviation(days.map(|day| day.dew_k))]
    }

    /// See [`super::Skies::range`].
    pub(super) fn range(&self, evening: usize) -> [f64; 2] {
        middle_80(self.like(evening).map(|day| day.sun), 1.0)
    }

    /// A day of the season at random, then the days that followed it, as long as they are of the
    /// season too.
    pub(super) fn draw(&self, normal: &mut impl FnMut() -> f64) -> Vec<Day> {
        let below = Normal::standard();
        let mut last: Option<usize> = None;
        let mut drawn = Vec::with_capacity(self.of_evening.len());
        for like in &self.of_evening {
            let any = below.cdf(normal());
            let next = last.map(|at| at + 1).filter(|next| {
                self.follows.get(*next).copied().unwrap_or(false)
                    && like.binary_search(next).is_ok()
            });
            let at = next.or_else(|| {
                let place = (any * like.len() as f64) as usize;
                like.get(place.min(like.len().saturating_sub(1))).copied()
            });
            let day = at.and_then(|at| self.days.get(at)).copied();
            drawn.push(day.unwrap_or(Day { sun: 1.0, clear: 1.0, air_k: 0.0, dew_k: 0.0 }));
            last = at;
        }
        drawn
    }
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (mut sum, mut count) = (0.0, 0_usize);
    for value in values {
        sum += value;
        count += 1;
    }
    if count > 0 { sum / count as f64 } else { 1.0 }
}

fn mean_c(day: &WeatherDay) -> Option<f64> {
    day.air.map(|air| f64::midpoint(air.lowest_c, air.highest_c))
}

/// For each day of the file what the plan's panels would have given there, over what they would
/// have given under a clear sky; the light on the level tells where there is no panel.
fn suns(plan: &Plan, file: &FileDays) -> Result<Vec<f64>, TripError> {
    let weather = &file.weather;
    let usual_c = f64::midpoint(plan.air.night_c.value, plan.air.day_c.value);
    let first = plan.site.place.mean_midnight(plan.dates.first_evening)?;
    let mut suns = Vec::with_capacity(file.days.len());
    for day in &file.days {
        let steps = weather.day(day.date)?;
        let air = AirTemperature::Constant(mean_c(day).unwrap_or(usual_c));
        // turns of the trip's first day, on the file's
        let later = weather.place.mean_midnight(day.date)?.duration_since(first);
        let (mut found, mut clear) = (0.0, 0.0);
        for (stand, tracks) in stands(plan, &air) {
            let around = Surroundings { place: weather.place, ..stand.around.clone() };
            let aim = moved(&stand.aim, later);
            let energy = |lights: &[sky::Light]| -> f64 {
                lights.iter().map(|light| taken_w(stand.panel, tracks, light)).sum()
            };
            let (lights, _) = weather.light_on_panel(&around, &aim, steps, Gaps::Close)?;
            found += energy(&lights);
            clear += energy(&light_on_panel(&around, &aim, &Cloud::Clear, steps)?);
        }
        suns.push(if clear > 0.0 { found / clear } else { day.share_of_clear });
    }
    Ok(suns)
}

fn moved(aim: &Aim, later: SignedDuration) -> Aim {
    match aim {
        Aim::ReAimed(turns) => Aim::ReAimed(
            turns
                .iter()
                .map(|(at, facing)| (at.saturating_add(later).unwrap_or(*at), *facing))
                .collect(),
        ),
        other => other.clone(),
    }
}
