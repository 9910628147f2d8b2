//! A year of nights, for the terminal and as a page.

use jiff::tz::TimeZone;
use quantity::Kind;
use sky::{Aim, SeasonNight, Surroundings};
use trip::{Per, Stretch, gathered, night_h};

use crate::chart::{Chart, Ink, Layer, Panel, Shape, XAxis};
use crate::harvest_report::stands;
use crate::page::{Block, Page, Provenance, Section, Tone, Verdict};
use crate::table::{Table, paragraph};
use crate::words::{NONE, fixed};

/// A year of nights and where it is.
#[derive(Debug, Clone, Copy)]
pub struct Season<'a> {
    /// What the site is called; empty where it has no name.
    pub site: &'a str,
    /// The site.
    pub around: &'a Surroundings,
    /// How the panel stands.
    pub aim: &'a Aim,
    /// In order.
    pub nights: &'a [SeasonNight],
    /// The clock of the site.
    pub zone: &'a TimeZone,
}

/// A season for a terminal of 80 columns.
#[must_use]
pub fn season_text(season: &Season<'_>, per: Per) -> String {
    let table = table(season, per);
    format!("{}\n{}", paragraph(&answer(season)), table.terminal())
}

/// A season as a page.
#[must_use]
pub fn season_page(season: &Season<'_>, provenance: Provenance) -> String {
    let tables = [Per::Month, Per::Week].map(|per| Block::Table(table(season, per)));
    Page {
        title: format!("A year of nights at {}", place(season)),
        subtitle: format!("Evenings from {}", from_to(season)),
        verdict: Verdict { tone: Tone::Plain, sentence: answer(season), detail: String::new() },
        sections: vec![
            Section::new("", vec![Block::Figure(chart(season), PICTURE.into())]),
            Section::new("Month by month, week by week", tables.to_vec()),
        ],
        provenance,
    }
    .html()
}

const PICTURE: &str = "Top: when night and dark begin and end, around local mean midnight; dark is the sun below −18°. Middle: how long each night is dark, and dark without the moon. Foot: light on the panel's plane on a clear day, behind its cover; a panel gives about its watts times this number in Wh, before losses.";

fn place(season: &Season<'_>) -> String {
    let place = &season.around.place;
    let here = format!(
        "{} {}",
        Kind::Latitude.show(place.latitude_deg()),
        Kind::Longitude.show(place.longitude_deg())
    );
    if season.site.is_empty() { here } else { format!("{} ({here})", season.site) }
}

fn from_to(season: &Season<'_>) -> String {
    let date = |night: Option<&SeasonNight>| {
        night.map_or_else(String::new, |night| night.evening.strftime("%-d %B %Y").to_string())
    };
    format!("{} to {}", date(season.nights.first()), date(season.nights.last()))
}

fn answer(season: &Season<'_>) -> String {
    let months = gathered(season.nights, Per::Month);
    let dark = months.iter().filter_map(|month| month.darkest).max_by(|a, b| a.1.total_cmp(&b.1));
    let none = season.nights.iter().filter(|night| night.night.dark_h <= 0.0).count();
    let mut text = match dark {
        Some((evening, hours)) => format!(
            "The longest dark without the moon is on {}: {} h.",
            evening.strftime("%-d %B %Y"),
            fixed(hours, 1)
        ),
        None => "It never gets dark without the moon.".to_owned(),
    };
    text.push_str(&match none {
        0 => " Every night gets dark.".to_owned(),
        1 => " One night does not get dark.".to_owned(),
        count => format!(" {count} of {} nights do not get dark.", season.nights.len()),
    });
    text
}

fn table(season: &Season<'_>, per: Per) -> Table {
    let (caption, heading) = match per {
        Per::Month => ("Month by month, means of its nights", "Month"),
        Per::Week => ("Week by week, means of its nights", "Week from"),
    };
    let mut table = Table::new(caption)
        .text(heading)
        .number("Night", "h")
        .number("Dark", "h")
        .number("Moonless", "h")
        .text("Darkest evening")
        .number("There", "h")
        .number("Clear sun", "kWh/m²");
    for stretch in gathered(season.nights, per) {
        table.row(row(&stretch, per));
    }
    table.note(format!(
        "Dark: sun below −18°; moonless: of these hours, those without the moon. Clear sun: a day's \
         light on a panel {}, under a clear sky of turbidity {}; a panel gives about its watts \
         times this number in Wh, before losses.",
        stands(season.aim),
        season.around.turbidity
    ));
    table
}

fn row(stretch: &Stretch, per: Per) -> [String; 7] {
    let name = match per {
        Per::Month => stretch.from.strftime("%B %Y"),
        Per::Week => stretch.from.strftime("%-d %b %Y"),
    };
    let none = || NONE.to_owned();
    [
        name.to_string(),
        fixed(stretch.night_h, 1),
        fixed(stretch.dark_h, 1),
        fixed(stretch.moonless_h, 1),
        stretch.darkest.map_or_else(none, |(date, _)| date.strftime("%a %-d %b").to_string()),
        stretch.darkest.map_or_else(none, |(_, hours)| fixed(hours, 1)),
        fixed(stretch.clear_wh_m2 / 1000.0, 2),
    ]
}

fn chart(season: &Season<'_>) -> Chart {
    let noon = |night: &SeasonNight| night.night.start.as_second() as f64;
    let along = |of: &dyn Fn(&SeasonNight) -> f64| -> Vec<(f64, f64)> {
        season.nights.iter().map(|night| (noon(night), of(night))).collect()
    };
    let mut clock = Panel::new("Hours from midnight");
    clock.height_px = 210.0;
    clock.range = Some((-12.0, 12.0));
    clock.layers = vec![
        between("sunset to sunrise", Ink::One, season, |night| {
            (night_h(night) > 0.0).then_some((night.night.sunset, night.night.sunrise))
        }),
        between("dark", Ink::Four, season, |night| {
            (night.night.dark_h > 0.0)
                .then_some((night.night.astronomical_dusk, night.night.astronomical_dawn))
        }),
    ];
    let mut hours = Panel::new("Hours of dark");
    hours.layers = vec![
        Layer::line("dark", Ink::Four, along(&|night| night.night.dark_h)),
        Layer::area("moonless", Ink::One, along(&|night| night.night.moon.moonless_dark_h)),
    ];
    let mut sun = Panel::new("Clear sun (kWh/m² a day)");
    sun.height_px = 110.0;
    sun.layers = vec![Layer::area("", Ink::Five, along(&|night| night.clear_wh_m2 / 1000.0))];
    Chart {
        title: "Night, moon and sun through the year".into(),
        description: answer(season),
        x: XAxis::Time { zone: season.zone.clone() },
        panels: vec![clock, hours, sun],
        spans: Vec::new(),
        marks: Vec::new(),
    }
}

type Ends = (Option<jiff::Timestamp>, Option<jiff::Timestamp>);

/// The hours from one event of each night to another, around local mean midnight; from noon to
/// noon where neither happens.
fn between(
    name: &str,
    ink: Ink,
    season: &Season<'_>,
    ends: impl Fn(&SeasonNight) -> Option<Ends>,
) -> Layer {
    let points = season
        .nights
        .iter()
        .map(|night| {
            let start = night.night.start;
            let from_midnight =
                |at: jiff::Timestamp| at.duration_since(start).as_secs_f64() / 3600.0 - 12.0;
            let x = start.as_second() as f64;
            match ends(night) {
                Some((from, to)) => {
                    (x, from.map_or(-12.0, from_midnight), to.map_or(12.0, from_midnight))
                }
                None => (x, f64::NAN, f64::NAN),
            }
        })
        .collect();
    Layer { name: name.into(), ink, shape: Shape::Band { points, solid: true } }
}
