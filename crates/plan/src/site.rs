//! `[site]` and `[trip]`: where and when.

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
    pub fn evenings(&self) -> impl Iterator<Item = Date> + '_ {
        (0..self.nights)
            .map(|night| self.first_evening.saturating_add(jiff::Span::new().days(night as i64)))
    }
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
        Some(name) => record::named_clock(&name).ok_or_else(|| {
            section.error("zone", format!("{name:?} is no time zone known here; write it such as \"Europe/London\" or \"+02:00\""))
        })?,
        None => {
            let hours = place.hours_ahead();
            defaults.push(format!(
                "site.zone = \"{hours:+03}:00\" by the longitude (people there may live by another clock)"
            ));
            place.hour_clock()
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
    if confidence <= 0.0 {
        return Err(section.error(
            "confidence",
            format!(
                "{} asks nothing of the nights: any plan reaches that; write how sure each should \
                 be, above 0 %, such as \"90 %\"",
                Kind::Fraction.show(confidence)
            ),
        ));
    }
    section.finish()?;
    Ok(Dates { first_evening, nights: nights as usize, confidence })
}

/// Half-width of the 95 % interval of a normal distribution over its standard deviation.
pub const COVERAGE_95: f64 = 1.959_963_985;
