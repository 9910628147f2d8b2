//! What several tests prove over the years, and of several packs.

use bench::{Ageing, CapacityTest, Entry, Place, Reach};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use quantity::{Clock, significant, with_uncertainty};

use crate::chart::{Chart, Ink, Layer, Limit, Panel, Row, Rows, XAxis};
use crate::page::Block;
use crate::table::Table;
use crate::words::{NONE, fixed, listed};

/// Capacity over the years: the tests, their trend, and when it comes down to a level.
#[must_use]
pub fn ageing_blocks(tests: &[CapacityTest], ageing: &Ageing, reach: Option<&Reach>) -> Vec<Block> {
    let trend = with_uncertainty(ageing.by_year.slope_ah, ageing.by_year.slope_u_ah, "Ah a year");
    let mut told = vec![format!("The capacity changes by {trend}.")];
    told.extend(reach.map(reaching));
    if let Some(by_cycle) = &ageing.by_cycle {
        let trend = with_uncertainty(
            1000.0 * by_cycle.slope_ah,
            1000.0 * by_cycle.slope_u_ah,
            "Ah in 1000 cycles",
        );
        told.push(format!("Against cycles it changes by {trend}."));
    }
    vec![
        Block::Text(told.join(" ")),
        Block::Figure(over_years(tests, ageing, reach), String::new()),
        Block::Table(capacity_tests(tests)),
    ]
}

/// The same for a terminal of 80 columns.
#[must_use]
pub fn ageing_text(tests: &[CapacityTest], ageing: &Ageing, reach: Option<&Reach>) -> String {
    in_terminal(&ageing_blocks(tests, ageing, reach))
}

/// The texts and tables among some blocks, for a terminal.
fn in_terminal(blocks: &[Block]) -> String {
    let parts: Vec<String> = blocks
        .iter()
        .filter_map(|block| match block {
            Block::Text(text) => Some(crate::table::paragraph(text)),
            Block::Table(table) => Some(table.terminal()),
            _ => None,
        })
        .collect();
    parts.join("\n")
}

fn date(at: Timestamp) -> String {
    TimeZone::UTC.to_datetime(at).strftime("%-d %B %Y").to_string()
}

fn reaching(reach: &Reach) -> String {
    let level = format!("{} Ah", fixed(reach.level_ah, 1));
    let between = match (reach.earliest, reach.latest) {
        (Some(earliest), Some(latest)) => {
            format!("between {} and {} (95 %)", date(earliest), date(latest))
        }
        (Some(earliest), None) => format!("not before {} (95 %)", date(earliest)),
        (None, Some(latest)) => format!("not after {} (95 %)", date(latest)),
        (None, None) => "but the trend is too weak to tell".to_owned(),
    };
    format!("At this rate it comes down to {level} around {}, {between}.", date(reach.date))
}

fn over_years(tests: &[CapacityTest], ageing: &Ageing, reach: Option<&Reach>) -> Chart {
    const YEAR_S: f64 = 365.25 * 86_400.0;
    let x = |at: Timestamp| at.as_second() as f64;
    let first = tests.iter().map(|test| x(test.at)).fold(f64::INFINITY, f64::min);
    let last = tests.iter().map(|test| x(test.at)).fold(f64::NEG_INFINITY, f64::max);
    // the line is drawn on to where it reaches the level, if that is not far off
    let end = reach
        .map(|reach| x(reach.date))
        .filter(|&end| end > last && end - last < 2.0 * (last - first));
    let trend = &ageing.by_year;
    let on_line = |at: f64| (at, trend.intercept_ah + trend.slope_ah * (at - first) / YEAR_S);
    let mut panel = Panel::new("Capacity (Ah)");
    panel.height_px = 220.0;
    panel.layers = vec![
        Layer::line("trend", Ink::Quiet, vec![on_line(first), on_line(end.unwrap_or(last))]),
        Layer::dots(
            "",
            Ink::One,
            tests.iter().map(|test| (x(test.at), test.capacity_ah)).collect(),
        ),
    ];
    let limit = reach.filter(|_| end.is_some());
    let level = |reach: &Reach| Limit {
        at: reach.level_ah,
        label: format!("{} Ah", fixed(reach.level_ah, 1)),
    };
    panel.limits = limit.map(level).into_iter().collect();
    Chart {
        title: "Capacity over the years".into(),
        description: format!("{} tests and their trend.", tests.len()),
        x: XAxis::Time { zone: TimeZone::UTC },
        panels: vec![panel],
        spans: Vec::new(),
        marks: Vec::new(),
    }
}

fn capacity_tests(tests: &[CapacityTest]) -> Table {
    let mut table =
        Table::new("Capacity tests").text("Date").number("Cycles", "").number("Capacity", "Ah");
    for test in tests {
        table.row([
            date(test.at),
            test.cycles.map_or_else(|| NONE.to_owned(), |cycles| fixed(cycles, 0)),
            fixed(test.capacity_ah, 2),
        ]);
    }
    table
}

/// Several packs side by side, ranked.
#[must_use]
pub fn comparison_blocks(entries: &[Entry], places: &[Place]) -> Vec<Block> {
    vec![
        Block::Text(ranking(entries, places)),
        Block::Rows(usable(entries, places), String::new()),
        Block::Table(measured(entries, places)),
        Block::Table(worth(entries, places)),
    ]
}

/// The same for a terminal of 80 columns.
#[must_use]
pub fn comparison_text(entries: &[Entry], places: &[Place]) -> String {
    in_terminal(&comparison_blocks(entries, places))
}

fn in_order<'a>(
    entries: &'a [Entry],
    places: &'a [Place],
) -> impl Iterator<Item = (&'a Entry, &'a Place)> {
    places.iter().filter_map(|place| Some((entries.get(place.entry)?, place)))
}

fn ranking(entries: &[Entry], places: &[Place]) -> String {
    let best: Vec<String> = in_order(entries, places)
        .filter(|(_, place)| place.rank == 1)
        .map(|(entry, _)| entry.name.clone())
        .collect();
    match best.as_slice() {
        [] => "There is nothing to compare.".to_owned(),
        [one] => format!("{one} gives the most usable energy."),
        several => format!(
            "{} give the most usable energy and can't be told apart by these tests.",
            listed(several)
        ),
    }
}

fn usable(entries: &[Entry], places: &[Place]) -> Rows {
    let rows = in_order(entries, places).map(|(entry, place)| Row {
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
        description: ranking(entries, places),
        axis: "Energy at the cutoff voltage or more (Wh)".into(),
        range: None,
        rows: rows.collect(),
    }
}

fn measured(entries: &[Entry], places: &[Place]) -> Table {
    let mut table = Table::new("Measured")
        .number("Rank", "")
        .text("Pack")
        .number("Usable", "Wh")
        .number("±", "Wh")
        .number("Behind", "Wh")
        .number("≥ cutoff", "%")
        .number("Recharge", "h:mm:ss");
    for (entry, place) in in_order(entries, places) {
        let behind = place.behind.map(|behind| {
            let (difference, u_95) = (fixed(behind.difference, 1), significant(behind.u_95, 2));
            format!("{difference} ± {u_95}")
        });
        table.row([
            place.rank.to_string(),
            entry.name.clone(),
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

fn worth(entries: &[Entry], places: &[Place]) -> Table {
    let mut table = Table::new("For its weight and its price")
        .text("Pack")
        .number("Weight", "kg")
        .number("Per weight", "Wh/kg")
        .number("Price", "")
        .number("Per price", "Wh")
        .number("Per volume", "Wh/l")
        .number("Price of life", "per kWh")
        .number("Warranty", "years");
    let shown =
        |value: Option<f64>| value.map_or_else(|| NONE.to_owned(), |value| significant(value, 3));
    for (entry, place) in in_order(entries, places) {
        table.row([
            entry.name.clone(),
            shown(entry.mass_kg),
            shown(place.usable_wh_per_kg),
            shown(entry.price),
            shown(place.usable_wh_per_price),
            shown(place.usable_wh_per_l),
            shown(place.price_per_wh_of_life.map(|per_wh| 1000.0 * per_wh)),
            shown(entry.warranty_years),
        ]);
    }
    table.note("The price of life is the price over all energy of the promised cycles, each taken as full as the first.");
    table
}
