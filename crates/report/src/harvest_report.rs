//! What a day gives, for the terminal and as a page.

use jiff::tz::TimeZone;
use quantity::Kind;
use sky::weather::Weather;
use sky::{Aim, AirTemperature};
use trip::{DayHarvest, Stand};

use crate::chart::{Chart, Ink, Layer, Panel, XAxis};
use crate::page::{Block, Page, Provenance, Section, Tone, Verdict};
use crate::table::{Table, indented, paragraph};
use crate::words::{fixed, sentence};

/// A day and what it was worked out from.
#[derive(Debug, Clone, Copy)]
pub struct HarvestDay<'a> {
    /// The panel and its surroundings.
    pub stand: &'a Stand<'a>,
    /// What the day gives.
    pub day: &'a DayHarvest,
    /// The clock of the picture.
    pub zone: &'a TimeZone,
    /// The file the light is from; the sky is clear without one.
    pub weather: Option<&'a Weather>,
}

/// A day's harvest for a terminal of 80 columns.
#[must_use]
pub fn harvest_text(told: &HarvestDay<'_>) -> String {
    let mut text = paragraph(&answer(told));
    text.push('\n');
    text.push_str(&gives(told).terminal());
    text.push('\n');
    text.push_str(&from(told).terminal());
    text.push('\n');
    for remark in remarks(told) {
        text.push_str(&indented(&remark, " - ", "   "));
    }
    text
}

/// A day's harvest as a page.
#[must_use]
pub fn harvest_page(told: &HarvestDay<'_>, provenance: Provenance) -> String {
    let date = told.day.date.strftime("%A %-d %B %Y");
    Page {
        title: "What the day gives".into(),
        subtitle: format!("{date}, {}", place(told)),
        verdict: Verdict { tone: Tone::Plain, sentence: answer(told), detail: String::new() },
        sections: vec![
            Section::new("", vec![Block::Figure(chart(told), PICTURE.into())]),
            Section::new(
                "The day",
                vec![
                    Block::Table(gives(told)),
                    Block::Table(from(told)),
                    Block::List(remarks(told)),
                ],
            ),
        ],
        provenance,
    }
    .html()
}

const PICTURE: &str =
    "Power is what comes out of the panel at its best voltage, before any controller.";

fn place(told: &HarvestDay<'_>) -> String {
    let place = &told.stand.around.place;
    let here = format!(
        "{} {}, {}",
        Kind::Latitude.show(place.latitude_deg()),
        Kind::Longitude.show(place.longitude_deg()),
        Kind::Elevation.show(place.elevation_m())
    );
    match told.weather {
        Some(weather) if !weather.station.is_empty() => format!("{} ({here})", weather.station),
        _ => here,
    }
}

fn answer(told: &HarvestDay<'_>) -> String {
    let under = match told.weather {
        Some(weather) => format!("by the {} file", weather.layout.name()),
        None => "under a clear sky".to_owned(),
    };
    let rated_w = told.stand.panel.power_w(1000.0, 25.0);
    format!(
        "The panel of {} gives {} Wh on {} {under}, before any controller.",
        Kind::Power.show(rated_w),
        fixed(told.day.panel_wh, 0),
        told.day.date.strftime("%-d %B %Y")
    )
}

fn gives(told: &HarvestDay<'_>) -> Table {
    let day = told.day;
    let mut table = Table::facts("What it gives");
    table.row(["Out of the panel".to_owned(), format!("{} Wh", fixed(day.panel_wh, 1))]);
    table.row(["Most power".to_owned(), format!("{} W", fixed(day.peak_w, 1))]);
    table.row(["Light on its plane".to_owned(), format!("{} Wh/m²", fixed(day.poa_wh_m2, 0))]);
    let through = fixed(day.poa_effective_wh_m2, 0);
    table.row(["Let through by its cover".to_owned(), format!("{through} Wh/m²")]);
    table.row(["Light on the level".to_owned(), format!("{} Wh/m²", fixed(day.level_wh_m2, 0))]);
    table.row(["Sun in sight".to_owned(), format!("{} h", fixed(day.sun_h, 1))]);
    let peak = fixed(day.peak_sun_h(), 2);
    table.row(["Peak sun hours on its plane".to_owned(), format!("{peak} h")]);
    table
}

/// How a panel stands, in words.
pub(crate) fn stands(aim: &Aim) -> String {
    match aim {
        Aim::Fixed(facing) if facing.tilt_deg() == 0.0 => "lying flat".to_owned(),
        Aim::Fixed(facing) => format!(
            "tilted {}, facing {}",
            Kind::Angle.show(facing.tilt_deg()),
            Kind::Angle.show(facing.azimuth_deg())
        ),
        Aim::ReAimed(turns) => format!("re-aimed {} times", turns.len()),
        Aim::Tracked { every_s } => {
            format!("turned to the sun every {}", Kind::Duration.show(*every_s))
        }
    }
}

fn from(told: &HarvestDay<'_>) -> Table {
    let around = &told.stand.around;
    let mut table = Table::facts("Worked out from");
    table.row(["Place".to_owned(), place(told)]);
    table.row(["Panel".to_owned(), stands(&told.stand.aim)]);
    table.row(["Ground".to_owned(), format!("albedo {}", Kind::Fraction.show(around.albedo))]);
    if told.weather.is_none() {
        table.row(["Sky".to_owned(), format!("clear, Linke turbidity {}", around.turbidity)]);
        if let AirTemperature::Constant(air_c) = around.air {
            let wind = Kind::Speed.show(around.wind_mps);
            table
                .row(["Air".to_owned(), format!("{}, wind {wind}", Kind::Temperature.show(air_c))]);
        }
    }
    table
}

fn remarks(told: &HarvestDay<'_>) -> Vec<String> {
    let Some(weather) = told.weather else {
        return vec!["No cloud, dirt, shade or cable is counted here.".to_owned()];
    };
    let mut remarks = Vec::new();
    if let Some(filled) = told.day.filled {
        let counts = [
            (filled.dark, "had light that was not measured, and none was assumed in its place"),
            (
                filled.closed,
                "lacked one of global, beam and diffuse, which follows from the others",
            ),
            (filled.split, "had global light only, parted into beam and diffuse by its clearness"),
            (filled.air_held, "had no air temperature; the one before was held"),
        ];
        let told = counts.iter().filter(|(count, _)| *count > 0);
        remarks.extend(told.map(|(count, what)| format!("{count} steps {what}.")));
    }
    remarks.extend(weather.findings.notices().iter().map(|notice| sentence(notice)));
    remarks
}

fn chart(told: &HarvestDay<'_>) -> Chart {
    let day = told.day;
    let times: Vec<f64> = day.times().map(|at| at.as_millisecond() as f64 / 1e3).collect();
    let along = |values: &mut dyn Iterator<Item = f64>| times.iter().copied().zip(values).collect();
    let mut power = Panel::new("Panel (W)");
    power.layers = vec![Layer::area("", Ink::Five, along(&mut day.power_w.iter().copied()))];
    let mut light = Panel::new("Light (W/m²)");
    light.layers = vec![
        Layer::line(
            "on the panel's plane",
            Ink::One,
            along(&mut day.lights.iter().map(|l| l.poa_global_w_m2)),
        ),
        Layer::line("on the level", Ink::Two, along(&mut day.lights.iter().map(|l| l.ghi_w_m2))),
    ];
    let mut warmth = Panel::new("Temperature (°C)");
    warmth.height_px = 110.0;
    warmth.layers = vec![
        Layer::line("cells", Ink::Four, along(&mut day.lights.iter().map(|l| l.cell_temp_c))),
        Layer::line("air", Ink::Quiet, along(&mut day.lights.iter().map(|l| l.air_temp_c))),
    ];
    Chart {
        title: "Power, light and warmth through the day".into(),
        description: answer(told),
        x: XAxis::Time { zone: told.zone.clone() },
        panels: vec![power, light, warmth],
        spans: Vec::new(),
        marks: Vec::new(),
    }
}
