//! A season of nights at a glance.

use jiff::Timestamp;
use jiff::tz::TimeZone;
use quantity::Kind;
use sky::{Place, SeasonNight};

use crate::chart::{Chart, Ink, Layer, Panel, XAxis};
use crate::page::{Block, Page, Provenance, Section, Tone, Verdict};
use crate::table::Table;
use crate::words::{NONE, fixed};

/// Up to so many nights a table has each of them, beyond that one a week.
const MOST_ROWS: usize = 45;

/// Nights of one place.
#[derive(Debug, Clone, Copy)]
pub struct Season<'a> {
    /// Name of the place; empty where it has none.
    pub site: &'a str,
    /// The place.
    pub place: &'a Place,
    /// The clock that times are shown by.
    pub zone: &'a TimeZone,
    /// One night after the other.
    pub nights: &'a [SeasonNight],
}

/// The season as a table for a terminal of 80 columns.
#[must_use]
pub fn season_text(season: &Season<'_>) -> String {
    table(season).terminal()
}

/// The season as a page.
#[must_use]
pub fn season_page(season: &Season<'_>, provenance: Provenance) -> String {
    let blocks = vec![
        Block::Figure(chart(season), "The lower area is without the moon.".into()),
        Block::Table(table(season)),
    ];
    Page {
        title: format!("Nights of {}", here(season)),
        subtitle: span(season),
        verdict: answer(season),
        sections: vec![Section::new("", blocks)],
        provenance,
    }
    .html()
}

fn here(season: &Season<'_>) -> String {
    let place = format!(
        "{} {}",
        Kind::Latitude.show(season.place.latitude_deg()),
        Kind::Longitude.show(season.place.longitude_deg())
    );
    if season.site.is_empty() { place } else { format!("{} ({place})", season.site) }
}

fn span(season: &Season<'_>) -> String {
    match (season.nights.first(), season.nights.last()) {
        (Some(first), Some(last)) => format!(
            "Evenings of {} to {}",
            first.evening.strftime("%-d %B %Y"),
            last.evening.strftime("%-d %B %Y")
        ),
        _ => "No nights".to_owned(),
    }
}

fn answer(season: &Season<'_>) -> Verdict {
    let darkest = season
        .nights
        .iter()
        .max_by(|a, b| a.night.moon.moonless_dark_h.total_cmp(&b.night.moon.moonless_dark_h));
    let sentence = match darkest {
        Some(darkest) if darkest.night.dark_h > 0.0 => format!(
            "The longest moonless dark is on the evening of {}: {} h.",
            darkest.evening.strftime("%-d %B %Y"),
            fixed(darkest.night.moon.moonless_dark_h, 1)
        ),
        _ => "It does not get fully dark in these nights.".to_owned(),
    };
    Verdict { tone: Tone::Plain, sentence, detail: String::new() }
}

fn chart(season: &Season<'_>) -> Chart {
    let points = |value: fn(&SeasonNight) -> f64| {
        let of_night =
            |night: &SeasonNight| (night.night.midnight.as_second() as f64, value(night));
        season.nights.iter().map(of_night).collect()
    };
    let mut dark = Panel::new("Dark (h)");
    dark.height_px = 180.0;
    dark.layers = vec![
        Layer::area("dark", Ink::One, points(|night| night.night.dark_h)),
        Layer::area("moonless", Ink::Four, points(|night| night.night.moon.moonless_dark_h)),
    ];
    let mut light = Panel::new("Light of a clear day on the panel (kWh/m²)");
    light.height_px = 120.0;
    light.layers = vec![Layer::area("", Ink::Five, points(|night| night.clear_wh_m2 / 1e3))];
    Chart {
        title: "Dark hours and clear-sky light".into(),
        description: format!("{}. {}", span(season), answer(season).sentence),
        x: XAxis::Time { zone: season.zone.clone() },
        panels: vec![dark, light],
        spans: Vec::new(),
        marks: Vec::new(),
    }
}

fn table(season: &Season<'_>) -> Table {
    let clock = |at: Option<Timestamp>| {
        at.map_or_else(
            || NONE.to_owned(),
            |at| season.zone.to_datetime(at).strftime("%H:%M").to_string(),
        )
    };
    let mut table = Table::new(format!("{}. {}", here(season), span(season)))
        .text("Evening")
        .number("Dark from", "")
        .number("To", "")
        .number("Dark", "h")
        .number("Moonless", "h")
        .number("Moon lit", "%")
        .number("Clear day", "kWh/m²");
    let every = if season.nights.len() > MOST_ROWS { 7 } else { 1 };
    for night in season.nights.iter().step_by(every) {
        table.row([
            night.evening.strftime("%a %-d %b %Y").to_string(),
            clock(night.night.astronomical_dusk),
            clock(night.night.astronomical_dawn),
            fixed(night.night.dark_h, 1),
            fixed(night.night.moon.moonless_dark_h, 1),
            fixed(100.0 * night.night.moon.lit_fraction, 0),
            fixed(night.clear_wh_m2 / 1e3, 2),
        ]);
    }
    if every > 1 {
        table.note("One night a week is listed.");
    }
    table.note("The last column is the light of that date under a clear sky on the panel's plane.");
    table
}
