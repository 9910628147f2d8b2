//! What the days before the evenings may bring, drawn from what the plan says of its weather.

use plan::{FileDays, Plan, Weather};
use sky::weather::Gaps;
use sky::{Aim, AimError, AirTemperature, Cloud, Surroundings, light_on_panel};

use super::dice::{Dice, Shares};
use super::light::{Field, meant, taken};

/// The sky of one day and night.
#[derive(Clone, Copy)]
pub(super) struct Sky {
    /// Share of the clear sky's light.
    pub(super) light: f64,
    /// What the panels would give as they are meant to stand (Ws), where that is stated.
    pub(super) harvest: Option<f64>,
    /// Share of the night without cloud.
    pub(super) clear: f64,
    /// Air, and dew point in it, against what is usual (K), where the weather tells.
    pub(super) air_and_dew_k: Option<[f64; 2]>,
}

/// How the days of a trip may be.
pub(super) enum Days {
    /// Each by chance, like the one before it.
    Spread(Vec<Clouds>, f64),
    /// Days that were: what each day of the file was, and the trip's days by their light.
    Were(Vec<Were>, Box<FileDays>, Vec<Harvest>),
}

/// How one day may be clouded.
pub(super) enum Clouds {
    /// The same always: share of the clear sky's light.
    Certain(f64),
    /// A share of the clear harvest.
    OfHarvest(Shares, Harvest),
    /// A clearness up to a most; as a share of the clear sky's light.
    Clearness(Shares, f64),
}

/// One day of a file.
#[derive(Clone, Copy)]
pub(super) struct Were {
    /// Share of the clear harvest.
    share: f64,
    clear: f64,
    air_and_dew_k: [f64; 2],
}

/// Parts of the clear sky's light at which a day's harvest is worked out.
const PARTS: usize = 20;

/// A day's harvest by its light.
pub(super) struct Harvest {
    /// For even parts of the clear sky's light its share of the clear day's.
    shares: Vec<f64>,
    clear_ws: f64,
}

impl Harvest {
    fn of(field: &Field<'_>, plan: &Plan, night: usize) -> Self {
        let still = vec![AimError::NONE; plan.supplies.len()];
        let even = |part: usize| part as f64 / PARTS as f64;
        let energy = |part| meant(&field.given(night, even(part), &still, 0.0));
        let clear_ws = energy(PARTS);
        let share = |part| if clear_ws > 0.0 { energy(part) / clear_ws } else { even(part) };
        Self { shares: (0..=PARTS).map(share).collect(), clear_ws }
    }

    /// The sky of a day that brings a share of the clear harvest.
    fn sky(&self, share: f64, clear: f64) -> Sky {
        let next = self.shares.partition_point(|given| *given < share).clamp(1, PARTS);
        let (a, b) = (self.shares[next - 1], self.shares[next]);
        let along = if b > a { ((share - a) / (b - a)).clamp(0.0, 1.0) } else { 0.5 };
        let light = ((next - 1) as f64 + along) / PARTS as f64;
        Sky { light, harvest: Some(share * self.clear_ws), clear, air_and_dew_k: None }
    }
}

/// docs/sky.md: "the cover of the day before, by Kasten & Czeplak from the day's share of the clear
/// light (with `sun` from the share of the harvest)".
fn clear(share: f64) -> f64 {
    1.0 - ((1.0 - share) / 0.75).clamp(0.0, 1.0).powf(1.0 / 3.4)
}

impl Days {
    /// `stated`: the standard deviation of the clearness, where the plan states one.
    pub(super) fn of(plan: &Plan, field: &Field<'_>, stated: Option<f64>) -> Self {
        let nights = 0..plan.dates.nights;
        match &plan.weather {
            // docs/sky.md: "Beta distribution with the mean and spread stated"
            Weather::Share(sun) if sun.spread > 0.0 => {
                let shares = Shares::beta(sun.mean, sun.spread);
                let day =
                    |night| Clouds::OfHarvest(shares.clone(), Harvest::of(field, plan, night));
                Self::Spread(nights.map(day).collect(), sun.persistence)
            }
            Weather::Share(sun) => {
                Self::Spread(nights.map(|_| Clouds::Certain(sun.mean)).collect(), 0.0)
            }
            // docs/sky.md: "days are spread by Hollands & Huget 1983, p(K) ~ (Kmax − K) exp(γ K)
            // with γ from the mean and Kmax theirs or that of a clear day here and 15 %, whichever
            // is less; or, where a spread is stated, by a Beta distribution with that mean and
            // spread"
            Weather::Clearness(days) => {
                let of_day = |day: &plan::ClearnessDay| {
                    let Some(clearness) = &day.clearness else { return Clouds::Certain(1.0) };
                    let mean = clearness.mean();
                    let theirs = 0.6313 + 0.267 * mean - 11.9 * (mean - 0.75).powi(8);
                    let most = theirs.min(1.15 * day.level.clear_day());
                    let shares = stated.map_or_else(
                        || Shares::hollands_huget(mean / most),
                        |deviation| Shares::beta(mean / most, deviation / most),
                    );
                    Clouds::Clearness(shares, most / day.level.clear_day())
                };
                Self::Spread(days.iter().map(of_day).collect(), days[0].persistence)
            }
            Weather::File(file) => Self::Were(
                were(plan, field, file),
                file.clone(),
                nights.map(|night| Harvest::of(field, plan, night)).collect(),
            ),
        }
    }

    pub(super) fn draw(&self, dice: &mut Dice) -> Vec<Sky> {
        match self {
            // docs/sky.md: "a first-order autoregression in the normal domain"
            Self::Spread(days, persistence) => {
                let row = dice.row(days.len(), *persistence);
                days.iter().zip(row).map(|(clouds, normal)| clouds.sky(normal)).collect()
            }
            // docs/sky.md: "a whole day of the season in the file, and the days that followed it
            // as long as they are of the season too; then another"
            Self::Were(were, file, harvests) => {
                let mut last = None;
                let days = file.of_evening.iter().zip(harvests).map(|(like, harvest)| {
                    let follower = last.map(|last: usize| last + 1).filter(|next| {
                        let date = |at: usize| file.days.get(at).map(|day| day.date);
                        let follows = date(next - 1).map(|date| date.tomorrow().unwrap());
                        like.contains(next) && date(*next) == follows
                    });
                    let at = follower.unwrap_or_else(|| like[dice.below(like.len())]);
                    last = Some(at);
                    let Were { share, clear, air_and_dew_k } = were[at];
                    Sky { air_and_dew_k: Some(air_and_dew_k), ..harvest.sky(share, clear) }
                });
                days.collect()
            }
        }
    }
}

impl Clouds {
    fn sky(&self, normal: f64) -> Sky {
        match self {
            Self::Certain(share) => lit(*share),
            Self::OfHarvest(shares, harvest) => {
                let share = shares.at(normal);
                harvest.sky(share, clear(share))
            }
            Self::Clearness(shares, most) => lit(most * shares.at(normal)),
        }
    }
}

/// A sky that gives a share of the clear sky's light.
fn lit(share: f64) -> Sky {
    Sky { light: share, harvest: None, clear: clear(share), air_and_dew_k: None }
}

/// docs/sky.md: "What the plan's panels would have given on that day, by the file's light and at
/// its place, over a clear day there; the file's gaps closed"; air "with a file as its days had it,
/// against their mean". docs/trip.md: the dew point "from a weather file as its days were".
fn were(plan: &Plan, field: &Field<'_>, file: &FileDays) -> Vec<Were> {
    let mean_c: Vec<f64> = (file.days.iter())
        .map(|day| day.air.map(|air| 0.5 * (air.lowest_c + air.highest_c)).unwrap())
        .collect();
    let below_k: Vec<f64> = (file.days.iter().zip(&mean_c))
        .map(|(day, mean_c)| day.dew_point_c.unwrap() - mean_c)
        .collect();
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    let usual = [mean(&mean_c), mean(&below_k)];
    let of_day = |at: usize| {
        let day = &file.days[at];
        let steps = file.weather.day(day.date).unwrap();
        let around = Surroundings {
            place: file.weather.place,
            air: AirTemperature::Constant(mean_c[at]),
            ..field.around.clone()
        };
        let (mut found, mut whole) = (0.0, 0.0);
        for supply in &plan.supplies {
            let plan::Supply::Panel(supply) = supply else { continue };
            let aim = &supply.aim;
            assert!(matches!(aim, Aim::Fixed(_)), "turned with the file's days: not lived here");
            let sum = |lights: &[sky::Light]| -> f64 {
                lights.iter().map(|light| taken(supply, light)).sum()
            };
            let weather = &file.weather;
            found += sum(&weather.light_on_panel(&around, aim, steps, Gaps::Close).unwrap().0);
            whole += sum(&light_on_panel(&around, aim, &Cloud::Clear, steps).unwrap());
        }
        Were {
            share: if whole > 0.0 { found / whole } else { day.share_of_clear },
            clear: clear(day.share_of_clear),
            air_and_dew_k: [mean_c[at] - usual[0], below_k[at] - usual[1]],
        }
    };
    (0..file.days.len()).map(of_day).collect()
}
