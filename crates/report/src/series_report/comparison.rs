//! Several packs side by side.

use bench::{Discharge, Entry, Place, Run, RunKind};
use quantity::{Clock, significant, with_uncertainty};

use super::{closing, in_terminal};
use crate::bench_report::voltage;
use crate::chart::{Chart, Ink, Layer, Row, Rows, XAxis};
use crate::page::{Block, Page, Provenance, Section, Tone, Verdict};
use crate::table::Table;
use crate::words::{NONE, fixed, listed, short};

/// Packs, their places and their tests.
#[derive(Debug, Clone, Copy)]
pub struct Compared<'a> {
    /// The packs.
    pub entries: &'a [Entry],
    /// Their places, best first.
    pub places: &'a [Place],
    /// The tests of each pack, in the order of the entries.
    pub runs: &'a [Vec<Run>],
    /// The least voltage the gear accepts (V).
    pub cutoff_v: f64,
    /// What prices are in.
    pub currency: &'a str,
    /// Whether one meter recorded all of them.
    pub same_meter: bool,
}

/// Packs side by side for a terminal of 80 columns.
#[must_use]
pub fn comparison_text(compared: &Compared<'_>) -> String {
    in_terminal(&[
        Block::Table(measured(compared)),
        Block::Table(for_weight(compared)),
        Block::Table(for_price(compared)),
        Block::Text(ranking(compared)),
    ])
}

/// Packs side by side as a page.
#[must_use]
pub fn comparison_page(compared: &Compared<'_>, provenance: Provenance) -> String {
    let blocks = vec![
        Block::Rows(usable(compared), String::new()),
        Block::Figure(curves(compared), CURVES.into()),
        Block::Table(measured(compared)),
        Block::Table(for_weight(compared)),
        Block::Table(for_price(compared)),
    ];
    let mut sections = vec![Section::new("", blocks)];
    let meter = if compared.same_meter { ONE_METER } else { SEVERAL_METERS };
    let method: Vec<String> =
        METHOD.iter().chain([&meter]).map(|sentence| (*sentence).to_owned()).collect();
    sections.extend(closing(&method));
    let names: Vec<String> = compared.entries.iter().map(|entry| entry.name.clone()).collect();
    Page {
        title: "Packs side by side".into(),
        subtitle: listed(&names),
        verdict: Verdict {
            tone: Tone::Plain,
            sentence: ranking(compared),
            detail: behind(compared),
        },
        sections,
        provenance,
    }
    .html()
}

const CURVES: &str = "Of each pack the discharge nearest to its mean.";

const METHOD: [&str; 3] = [
    "Usable energy is the integral of voltage times current while the voltage at the terminals is at the cutoff or above it, the mean of the discharges of each pack.",
    "The figure after ± is the half-width of the 95 % interval, combined after JCGM 100:2008 (GUM): the spread of the runs, which more runs make smaller, and the meter, which they do not.",
    "Two packs can be told apart if their difference exceeds its own 95 % interval; packs that can't be share a rank.",
];

const ONE_METER: &str =
    "One meter recorded all packs: what it errs in alike falls out of their difference.";

const SEVERAL_METERS: &str =
    "Several meters recorded them: the error of each counts in full in their difference.";

fn in_order<'a>(compared: &Compared<'a>) -> impl Iterator<Item = (&'a Entry, &'a Place)> {
    let entries = compared.entries;
    compared.places.iter().filter_map(|place| Some((entries.get(place.entry)?, place)))
}

/// How far the second rank is behind, in one sentence.
fn behind(compared: &Compared<'_>) -> String {
    let next = in_order(compared).find(|(_, place)| place.rank > 1);
    let Some((entry, Some(behind))) = next.map(|(entry, place)| (entry, place.behind)) else {
        return String::new();
    };
    let less = with_uncertainty(behind.difference, behind.u_95, "Wh");
    format!("Next is {}, {less} behind.", entry.name)
}

/// Voltage against energy: of each pack the discharge nearest to its mean.
fn curves(compared: &Compared<'_>) -> Chart {
    let mut layers = Vec::new();
    for (at, (entry, runs)) in compared.entries.iter().zip(compared.runs).enumerate() {
        let away_wh =
            |discharge: &Discharge| (discharge.above_cutoff.energy_wh - entry.usable_wh.mean).abs();
        let discharges = runs.iter().filter(|run| run.kind == RunKind::Discharge);
        let nearest = discharges
            .filter_map(|run| run.discharge.as_ref())
            .min_by(|a, b| away_wh(a).total_cmp(&away_wh(b)));
        let ink = Ink::SERIES[at % Ink::SERIES.len()];
        layers.extend(nearest.map(|found| Layer::line(entry.name.clone(), ink, points(found))));
    }
    Chart {
        title: "The discharges over each other".into(),
        description: format!("Voltage against the energy delivered. {}", ranking(compared)),
        x: XAxis::Number { title: "Delivered (Wh)".into() },
        panels: vec![voltage(layers, Some(compared.cutoff_v))],
        spans: Vec::new(),
        marks: Vec::new(),
    }
}

fn points(discharge: &Discharge) -> Vec<(f64, f64)> {
    discharge.curve.iter().map(|point| (point.energy_wh, point.voltage_v)).collect()
}

fn ranking(compared: &Compared<'_>) -> String {
    let best: Vec<String> = in_order(compared)
        .filter(|(_, place)| place.rank == 1)
        .map(|(entry, _)| entry.name.clone())
        .collect();
    let cutoff = format!("at {} V or more", short(compared.cutoff_v));
    match best.as_slice() {
        [] => "There is nothing to compare.".to_owned(),
        [one] => format!("{one} gives the most energy {cutoff}."),
        several => format!(
            "{} give the most energy {cutoff} and can't be told apart by these tests.",
            listed(several)
        ),
    }
}

fn usable(compared: &Compared<'_>) -> Rows {
    let rows = in_order(compared).map(|(entry, place)| Row {
        label: format!("{}. {}", place.rank, entry.name),
        depth: 0,
        detail: String::new(),
        from: Some(0.0),
        at: entry.usable_wh.mean,
        least: None,
        value: with_uncertainty(entry.usable_wh.mean, entry.usable_wh.u_95, "Wh"),
        ink: Ink::One,
    });
    Rows {
        title: "Usable energy".into(),
        description: ranking(compared),
        axis: "Energy at the cutoff voltage or more (Wh)".into(),
        range: None,
        rows: rows.collect(),
    }
}

fn measured(compared: &Compared<'_>) -> Table {
    let mut table = Table::new("Measured")
        .text("Pack")
        .number("Rank", "")
        .number("Runs", "")
        .number("Usable", "Wh")
        .number("±", "Wh")
        .number("Behind", "Wh")
        .number("≥ cutoff", "%")
        .number("Recharge", "h:mm:ss");
    for (entry, place) in in_order(compared) {
        let behind = place.behind.map(|behind| {
            let (difference, u_95) = (fixed(behind.difference, 1), significant(behind.u_95, 2));
            format!("{difference} ± {u_95}")
        });
        table.row([
            entry.name.clone(),
            place.rank.to_string(),
            entry.usable_wh.n.to_string(),
            fixed(entry.usable_wh.mean, 1),
            significant(entry.usable_wh.u_95, 2),
            behind.unwrap_or_else(|| NONE.to_owned()),
            fixed(100.0 * entry.share_above_cutoff, 1),
            entry.recharge_s.map_or_else(|| NONE.to_owned(), |s| Clock(s).to_string()),
        ]);
    }
    table.note("Packs of one rank can't be told apart: they differ by less than chance and the meter explain.");
    table
}

/// "5", "2.5".
fn years(years: f64) -> String {
    let text = fixed(years, 1);
    text.strip_suffix(".0").map_or_else(|| text.clone(), str::to_owned)
}

fn shown(value: Option<f64>) -> String {
    value.map_or_else(|| NONE.to_owned(), |value| significant(value, 3))
}

fn for_weight(compared: &Compared<'_>) -> Table {
    let mut table = Table::new("For its weight and volume")
        .text("Pack")
        .number("Weight", "kg")
        .number("Per weight", "Wh/kg")
        .number("Volume", "l")
        .number("Per volume", "Wh/l");
    for (entry, place) in in_order(compared) {
        table.row([
            entry.name.clone(),
            shown(entry.mass_kg),
            shown(place.usable_wh_per_kg),
            shown(entry.volume_l),
            shown(place.usable_wh_per_l),
        ]);
    }
    table
}

fn for_price(compared: &Compared<'_>) -> Table {
    let currency = compared.currency;
    let (per_price, per_kwh) = match currency {
        "" => ("Wh".to_owned(), "per kWh".to_owned()),
        currency => (format!("Wh/{currency}"), format!("{currency}/kWh")),
    };
    let mut table = Table::new("For its price")
        .text("Pack")
        .number("Price", currency)
        .number("Per price", per_price)
        .number("Cycles", "promised")
        .number("Of its life", per_kwh)
        .number("Warranty", "years");
    for (entry, place) in in_order(compared) {
        table.row([
            entry.name.clone(),
            entry.price.map_or_else(|| NONE.to_owned(), |price| fixed(price, 0)),
            shown(place.usable_wh_per_price),
            entry.promised_cycles.map_or_else(|| NONE.to_owned(), |cycles| fixed(cycles, 0)),
            shown(place.price_per_wh_of_life.map(|per_wh| 1000.0 * per_wh)),
            entry.warranty_years.map_or_else(|| NONE.to_owned(), years),
        ]);
    }
    table.note("The price of its life is the price over all energy of the cycles its maker promises, each taken to give as much as the first.");
    table
}
