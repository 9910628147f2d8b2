//! `[site]`, `[trip]` and `[weather]`: where, when, and under which sky.

use jiff::civil::Date;
use jiff::tz::TimeZone;
use quantity::Kind;

use crate::error::PlanError;
use crate::section::Section;

/// Where the rig stands.
#[derive(Debug, Clone)]
pub struct Site {
    /// What people call it.
    pub name: String,
    /// Its place on Earth.
    pub place: sky::Place,
    /// The clock people there live by.
    pub zone: TimeZone,
    /// Its skyline.
    pub horizon: sky::Horizon,
    /// Linke turbidity of the clear sky above it.
    pub turbidity: f64,
    /// Share of light that the ground sends back.
    pub albedo: f64,
}

/// The nights of the trip and what they should reach.
#[derive(Debug, Clone, PartialEq)]
pub struct Dates {
    /// The date of the first evening at the site.
    pub first_evening: Date,
    /// How many nights.
    pub nights: usize,
    /// The probability each night should reach.
    pub confidence: f64,
}

impl Dates {
    /// The date of each evening.
    ///
    /// # Panics
    /// Never: [`read_dates`] has checked that the last date exists.
    pub fn evenings(&self) -> impl Iterator<Item = Date> + '_ {
        (0..self.nights)
            .map(|night| self.first_evening.saturating_add(jiff::Span::new().days(night as i64)))
    }
}

/// How much of a clear day's harvest arrives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sun {
    /// Mean share of the clear-sky harvest, over the days of the season.
    pub mean: f64,
    /// Standard deviation of that share from day to day; 0 where every day is like the mean.
    pub spread: f64,
    /// Correlation of one day with the next.
    pub persistence: f64,
}

/// The longest trip that is planned at one go.
pub const MOST_NIGHTS: i64 = 60;

pub(crate) fn read_site(
    section: &mut Section<'_>,
    defaults: &mut Vec<String>,
) -> Result<Site, PlanError> {
    let name = section.maybe_text("name")?.unwrap_or_else(|| "the site".to_owned());
    let latitude_deg = section.value("latitude", Kind::Latitude)?;
    let longitude_deg = section.value("longitude", Kind::Longitude)?;
    let elevation_m = match section.maybe("elevation", Kind::Elevation)? {
        Some(elevation_m) => elevation_m,
        None => {
            defaults.push("site.elevation = \"0 m\"".to_owned());
            0.0
        }
    };
    let place = sky::Place::new(latitude_deg, longitude_deg, elevation_m)
        .map_err(|error| section.error("latitude", error.to_string()))?;
    let zone = match section.maybe_text("zone")? {
        Some(name) => TimeZone::get(&name).map_err(|_| {
            section.error("zone", format!("{name:?} is no time zone known here; write it such as \"Europe/London\" or \"UTC\""))
        })?,
        None => {
            defaults.push("site.zone = \"UTC\" (all times below are UTC)".to_owned());
            TimeZone::UTC
        }
    };
    let usual = sky::Surroundings::at(place);
    let turbidity = section.maybe_number("turbidity", 1.0..=12.0)?.unwrap_or_else(|| {
        defaults.push(format!("site.turbidity = {}", usual.turbidity));
        usual.turbidity
    });
    let albedo = section.maybe("albedo", Kind::Fraction)?.unwrap_or_else(|| {
        defaults.push(format!("site.albedo = \"{}\"", Kind::Fraction.show(usual.albedo)));
        usual.albedo
    });
    let horizon = match section.maybe_rows::<2>("horizon")? {
        Some(rows) => {
            let points: Vec<(f64, f64)> =
                rows.iter().map(|[azimuth, altitude]| (*azimuth, *altitude)).collect();
            sky::Horizon::new(&points)
                .map_err(|error| section.error("horizon", error.to_string()))?
        }
        None => usual.horizon,
    };
    Ok(Site { name, place, zone, horizon, turbidity, albedo })
}

pub(crate) fn read_dates(
    mut section: Section<'_>,
    defaults: &mut Vec<String>,
) -> Result<Dates, PlanError> {
    let text = section.text("first_evening", "\"2026-10-09\"")?;
    let first_evening: Date = text.trim().parse().map_err(|_| {
        section.error(
            "first_evening",
            format!("{text:?} is no date; write it as year-month-day, such as \"2026-10-09\""),
        )
    })?;
    if !(1950..=2100).contains(&first_evening.year()) {
        return Err(
            section.error("first_evening", "the sky is worked out for the years 1950 to 2100 only")
        );
    }
    let nights = match (
        section.maybe_count("nights", 1..=MOST_NIGHTS)?,
        section.maybe_text("last_evening")?,
    ) {
        (Some(nights), None) => nights,
        (None, Some(text)) => {
            let last: Date = text.trim().parse().map_err(|_| {
                section.error(
                    "last_evening",
                    format!("{text:?} is no date; write it as year-month-day"),
                )
            })?;
            let days = (last - first_evening).get_days();
            if days < 0 {
                return Err(section.error(
                    "last_evening",
                    format!("{last} is before the first evening, {first_evening}"),
                ));
            }
            if i64::from(days) >= MOST_NIGHTS {
                return Err(section.error(
                    "last_evening",
                    format!("the trip has more than {MOST_NIGHTS} nights"),
                ));
            }
            i64::from(days) + 1
        }
        (Some(_), Some(_)) => {
            return Err(
                section.error("last_evening", "give either `nights` or `last_evening`, not both")
            );
        }
        (None, None) => {
            defaults.push("trip.nights = 1".to_owned());
            1
        }
    };
    let confidence = section.maybe("confidence", Kind::Fraction)?.unwrap_or_else(|| {
        defaults.push("trip.confidence = \"90 %\"".to_owned());
        0.9
    });
    section.finish()?;
    Ok(Dates { first_evening, nights: nights as usize, confidence })
}

/// From one day to the next, weather is alike: correlation of the daily share of clear-sky
/// radiation. Graham, Hollands & Huget 1988 found a lag-one value near 0.29 for Canadian stations
/// (from memory).
const PERSISTENCE: f64 = 0.29;

pub(crate) fn read_sun(
    section: Option<Section<'_>>,
    matters: bool,
    defaults: &mut Vec<String>,
) -> Result<Sun, PlanError> {
    let Some(mut section) = section else {
        if matters {
            defaults.push("weather.sun = \"100 %\" (every day clear)".to_owned());
        }
        return Ok(Sun { mean: 1.0, spread: 0.0, persistence: PERSISTENCE });
    };
    let given = section.given("sun", Kind::Fraction)?;
    let spread = given.plus_minus.unwrap_or(0.0) / COVERAGE_95;
    // a share between 0 and 1 can't spread wider than this, and a two-sided "±" is a rough guess
    // near the ends
    let widest = (given.value * (1.0 - given.value)).sqrt();
    if spread > 0.0 && spread >= widest {
        return Err(section.error(
            "sun",
            format!(
                "a share with mean {} can't spread so wide; at most about ± {}",
                Kind::Fraction.show(given.value),
                Kind::Fraction.show(widest * COVERAGE_95 * 0.95)
            ),
        ));
    }
    let persistence = section.maybe("persistence", Kind::Fraction)?.unwrap_or(PERSISTENCE);
    section.finish()?;
    Ok(Sun { mean: given.value, spread, persistence })
}

/// Half-width of the 95 % interval of a normal distribution over its standard deviation.
pub const COVERAGE_95: f64 = 1.959_963_985;
