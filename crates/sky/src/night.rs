//! A night: from one noon to the next, with what happens between.

use jiff::Timestamp;
use jiff::civil::Date;

use crate::crossing::{self, Curve, Stretch};
use crate::time::later;
use crate::{Error, Horizon, Place, Track, moon, moon_at, pressure_pa, refraction_deg};

/// How dark it gets: the phase at the sun's lowest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Phase {
    /// The sun does not set.
    Day,
    /// Lowest between the horizon and −6°.
    Civil,
    /// Lowest between −6° and −12°.
    Nautical,
    /// Lowest between −12° and −18°.
    Astronomical,
    /// Below −18°: dark.
    Night,
}

/// Altitudes of the sun's centre that part the phases, airless: the upper limb on the horizon
/// with 34′ of refraction and 16′ of radius, then the twilights (the usual convention of almanacs,
/// as in the *Explanatory Supplement to the Astronomical Almanac*).
const SUNSET_DEG: f64 = -0.8333;
const CIVIL_DEG: f64 = -6.0;
const NAUTICAL_DEG: f64 = -12.0;
const ASTRONOMICAL_DEG: f64 = -18.0;
/// Altitude of the moon's upper limb at rise and set: 34′ of refraction.
const MOON_LIMB_DEG: f64 = -34.0 / 60.0;

const WINDOW_S: f64 = 86_400.0;
/// Air taken for refraction at the skyline.
const USUAL_AIR_C: f64 = 12.0;

/// A night at a place. Events that do not happen are `None`.
#[derive(Debug, Clone, PartialEq)]
pub struct Night {
    /// Local mean noon of the evening's date, rounded to the minute.
    pub start: Timestamp,
    /// The next local mean noon.
    pub end: Timestamp,
    /// The sun's upper limb goes below the level horizon.
    pub sunset: Option<Timestamp>,
    /// The sun sinks through −6°.
    pub civil_dusk: Option<Timestamp>,
    /// The sun sinks through −12°.
    pub nautical_dusk: Option<Timestamp>,
    /// The sun sinks through −18°: darkness begins.
    pub astronomical_dusk: Option<Timestamp>,
    /// The sun climbs through −18°: darkness ends.
    pub astronomical_dawn: Option<Timestamp>,
    /// The sun climbs through −12°.
    pub nautical_dawn: Option<Timestamp>,
    /// The sun climbs through −6°.
    pub civil_dawn: Option<Timestamp>,
    /// The sun's upper limb comes over the level horizon.
    pub sunrise: Option<Timestamp>,
    /// When the sun is lowest.
    pub midnight: Timestamp,
    /// The sun's lowest altitude, airless.
    pub lowest_sun_deg: f64,
    /// How dark it gets.
    pub darkest: Phase,
    /// Hours with the sun below −18°.
    pub dark_h: f64,
    /// The moon that night.
    pub moon: MoonNight,
}

/// The moon between the two noons.
#[derive(Debug, Clone, PartialEq)]
pub struct MoonNight {
    /// Lit share of the disc in the middle of the window.
    pub lit_fraction: f64,
    /// The first time the upper limb comes over the level horizon.
    pub rise: Option<Timestamp>,
    /// The first time the upper limb goes below it.
    pub set: Option<Timestamp>,
    /// Hours with the sun below −18° and the moon below the horizon or behind the skyline.
    pub moonless_dark_h: f64,
}

impl Night {
    /// The night that begins on the evening of a date, from local mean noon (12:00 minus 4 minutes
    /// for each degree east, in UTC, rounded to the minute) to the next.
    ///
    /// # Errors
    /// When the date lies outside the years 1950 to 2100.
    pub fn of(place: &Place, evening: Date) -> Result<Self, Error> {
        Self::behind(place, &Horizon::default(), evening)
    }

    /// [`Night::of`] on a site with a skyline, which hides the moon. Events are those of the level
    /// horizon all the same: it gets dark by the sun's depth, whatever stands in the way.
    ///
    /// # Errors
    /// When the date lies outside the years 1950 to 2100.
    pub fn behind(place: &Place, horizon: &Horizon, evening: Date) -> Result<Self, Error> {
        let start = place.mean_noon(evening)?;
        let sun = Track::of_sun(place, start, WINDOW_S)?;
        let altitude = Curve::new(|elapsed_s| sun.at(elapsed_s).altitude_deg(), WINDOW_S);
        let (midnight_s, lowest_sun_deg) = altitude.lowest();
        // The stretch around the sun's lowest is the night; a second one, by a polar noon at
        // which the sun just fails to rise, belongs to the neighbours.
        let ends = |level_deg: f64| {
            let around = altitude
                .below(level_deg)
                .into_iter()
                .find(|(from, to)| (*from..=*to).contains(&midnight_s));
            let inside = |at_s: f64| (at_s > 0.0 && at_s < WINDOW_S).then(|| later(start, at_s));
            match around {
                Some((from, to)) => (inside(from), inside(to)),
                None => (None, None),
            }
        };
        let (sunset, sunrise) = ends(SUNSET_DEG);
        let (civil_dusk, civil_dawn) = ends(CIVIL_DEG);
        let (nautical_dusk, nautical_dawn) = ends(NAUTICAL_DEG);
        let (astronomical_dusk, astronomical_dawn) = ends(ASTRONOMICAL_DEG);
        let dark = altitude.below(ASTRONOMICAL_DEG);
        Ok(Self {
            start,
            end: later(start, WINDOW_S),
            sunset,
            civil_dusk,
            nautical_dusk,
            astronomical_dusk,
            astronomical_dawn,
            nautical_dawn,
            civil_dawn,
            sunrise,
            midnight: later(start, midnight_s),
            lowest_sun_deg,
            darkest: phase(lowest_sun_deg),
            dark_h: crossing::total_s(&dark) / 3600.0,
            moon: moon_night(place, horizon, start, &dark)?,
        })
    }
}

fn phase(sun_deg: f64) -> Phase {
    match sun_deg {
        d if d >= SUNSET_DEG => Phase::Day,
        d if d >= CIVIL_DEG => Phase::Civil,
        d if d >= NAUTICAL_DEG => Phase::Nautical,
        d if d >= ASTRONOMICAL_DEG => Phase::Astronomical,
        _ => Phase::Night,
    }
}

fn moon_night(
    place: &Place,
    horizon: &Horizon,
    start: Timestamp,
    dark: &[Stretch],
) -> Result<MoonNight, Error> {
    let track = Track::of_moon(place, start, WINDOW_S)?;
    let upper_limb_deg = |elapsed_s: f64| {
        let seen = track.at(elapsed_s);
        seen.altitude_deg() + (moon::RADIUS_KM / seen.distance_km).asin().to_degrees()
    };
    let down = Curve::new(upper_limb_deg, WINDOW_S).below(MOON_LIMB_DEG);
    let hidden = if horizon.is_level() {
        down.clone()
    } else {
        let pressure_pa = pressure_pa(place.elevation_m());
        let over_skyline_deg = |elapsed_s: f64| {
            let limb_deg = upper_limb_deg(elapsed_s);
            let skyline_deg = horizon.altitude_deg(track.at(elapsed_s).azimuth_deg());
            let apparent_deg = limb_deg + refraction_deg(limb_deg, pressure_pa, USUAL_AIR_C);
            (limb_deg - MOON_LIMB_DEG).min(apparent_deg - skyline_deg)
        };
        Curve::new(over_skyline_deg, WINDOW_S).below(0.0)
    };
    let first = |mut ends: Vec<f64>| {
        ends.retain(|at_s| *at_s > 0.0 && *at_s < WINDOW_S);
        ends.first().map(|at_s| later(start, *at_s))
    };
    Ok(MoonNight {
        lit_fraction: moon_at(place, later(start, WINDOW_S / 2.0))?.lit_fraction,
        rise: first(down.iter().map(|(_, end)| *end).collect()),
        set: first(down.iter().map(|(begin, _)| *begin).collect()),
        moonless_dark_h: crossing::total_s(&crossing::both(dark, &hidden)) / 3600.0,
    })
}
