//! One night at a place, for the terminal.

use jiff::Timestamp;
use jiff::tz::TimeZone;
use quantity::Kind;
use sky::{Night, Phase, Place};

use crate::table::{Table, paragraph};
use crate::words::{NONE, day_and_clock, fixed};

/// The events of a night as a table for a terminal of 80 columns. `site` is the place's name,
/// empty where it has none.
#[must_use]
pub fn night_text(site: &str, place: &Place, night: &Night, zone: &TimeZone) -> String {
    let clock = |at: Timestamp| day_and_clock(at, zone);
    let here = format!(
        "{} {}",
        Kind::Latitude.show(place.latitude_deg()),
        Kind::Longitude.show(place.longitude_deg())
    );
    let site = if site.is_empty() { here } else { format!("{site} ({here})") };
    let evening = zone.to_datetime(night.start).strftime("%A %-d %B %Y");
    let zone_name = zone.to_offset_info(night.midnight).abbreviation().to_owned();
    let mut table = Table::new(format!("{site}, the night of {evening}"))
        .text("Event")
        .text(format!("Local ({zone_name})"))
        .text("UTC");
    let mut events: Vec<(&str, Option<Timestamp>)> = vec![
        ("sunset", night.sunset),
        ("civil dusk (−6°)", night.civil_dusk),
        ("nautical dusk (−12°)", night.nautical_dusk),
        ("dark begins (−18°)", night.astronomical_dusk),
        ("sun lowest", Some(night.midnight)),
        ("dark ends (−18°)", night.astronomical_dawn),
        ("nautical dawn (−12°)", night.nautical_dawn),
        ("civil dawn (−6°)", night.civil_dawn),
        ("sunrise", night.sunrise),
        ("moonrise", night.moon.rise),
        ("moonset", night.moon.set),
    ];
    // in order of time; what does not happen comes last
    events.sort_by_key(|(_, at)| (at.is_none(), *at));
    for (name, at) in events {
        let utc = at.map(|at| TimeZone::UTC.to_datetime(at).strftime("%H:%M").to_string());
        let local = at.map_or_else(|| "does not happen".to_owned(), clock);
        table.row([name.to_owned(), local, utc.unwrap_or_else(|| NONE.to_owned())]);
    }
    format!("{}\n{}", table.terminal(), paragraph(&summary(night)))
}

fn summary(night: &Night) -> String {
    let darkness = match night.darkest {
        Phase::Night => format!("Dark for {} h.", fixed(night.dark_h, 1)),
        Phase::Astronomical => "It does not get fully dark: the sun stays above −18°.".to_owned(),
        Phase::Nautical => "It stays twilight all night: the sun stays above −12°.".to_owned(),
        Phase::Civil => "It stays bright twilight all night: the sun stays above −6°.".to_owned(),
        Phase::Day => "The sun does not set.".to_owned(),
    };
    let moon = format!("The moon is {:.0} % lit", 100.0 * night.moon.lit_fraction);
    if night.darkest == Phase::Night {
        format!(
            "{darkness} {moon}; {} h are dark without it.",
            fixed(night.moon.moonless_dark_h, 1)
        )
    } else {
        format!("{darkness} {moon}.")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(latitude_deg: f64, date: &str, zone: &str) -> String {
        let place = Place::new(latitude_deg, -4.2, 300.0).unwrap();
        let night = Night::of(&place, date.parse().unwrap()).unwrap();
        let text = night_text("Heather Ridge", &place, &night, &TimeZone::get(zone).unwrap());
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
        text
    }

    #[test]
    fn a_night_in_order_of_time() {
        insta::assert_snapshot!(text(56.9, "2026-10-09", "Europe/London"));
    }

    #[test]
    fn a_night_that_does_not_get_dark() {
        let text = text(56.9, "2026-06-20", "Europe/London");
        assert!(text.contains("dark begins (−18°)    does not happen"), "{text}");
        assert!(text.contains("above −12°"), "{text}");
        assert!(text.lines().nth(4).is_some_and(|line| line.contains("sun")), "{text}");
    }

    #[test]
    fn a_day_without_a_night() {
        assert!(text(75.0, "2026-06-20", "UTC").contains("The sun does not set."));
    }
}
