//! Capacity over the years: the tests, their trend, and when it comes down to 80 %.

use bench::{Ageing, CapacityTest, End};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use quantity::{significant, with_uncertainty};

use super::{closing, in_terminal};
use crate::chart::{Chart, Ink, Layer, Limit, Panel, XAxis};
use crate::page::{Block, Page, Provenance, Section, Tone, Verdict};
use crate::table::Table;
use crate::words::{NONE, file_name, fixed};

/// A capacity test and where it comes from.
#[derive(Debug, Clone, PartialEq)]
pub struct Past {
    /// Its record; none where the capacity was written down.
    pub file: Option<String>,
    /// What it gave, and when.
    pub test: CapacityTest,
    /// Half-width of the capacity's 95 % interval (Ah), where it is known.
    pub u_ah: Option<f64>,
}

/// The years of a pack for a terminal of 80 columns.
#[must_use]
pub fn ageing_text(past: &[Past], ageing: &Ageing, ends: &[End]) -> String {
    let mut blocks = vec![Block::Table(capacity_tests(past)), Block::Text(answer(ageing, ends))];
    blocks.extend(others(ageing, ends).map(Block::Text));
    in_terminal(&blocks)
}

/// The years of a pack as a page.
#[must_use]
pub fn ageing_page(past: &[Past], ageing: &Ageing, ends: &[End], provenance: Provenance) -> String {
    let details: Vec<String> = others(ageing, ends).collect();
    let blocks = vec![
        Block::Figure(over_years(past, ageing, ends), String::new()),
        Block::Table(capacity_tests(past)),
    ];
    let mut sections = vec![Section::new("", blocks)];
    sections.extend(closing(&METHOD.map(str::to_owned)));
    Page {
        title: "Ageing".into(),
        subtitle: subtitle(past),
        verdict: Verdict {
            tone: Tone::Plain,
            sentence: answer(ageing, ends),
            detail: details.join(" "),
        },
        sections,
        provenance,
    }
    .html()
}

const METHOD: [&str; 4] = [
    "Each capacity is the integral of current over one discharge, as the bench measures it. Tests at another load, temperature or end-of-discharge voltage than the others do not belong in one trend.",
    "The trend is a straight line by ordinary least squares over the dates (and cycles); its interval has Student's t for two tests fewer than there are.",
    "The date of a level is where the line reaches it; its 95 % interval is by inverse prediction of the line (Fieller 1954). Where the trend is too weak there is no latest date.",
    "Packs often fade faster towards their end than a straight line says: a date far beyond the last test is a guess. That 80 % counts as worn out is common practice, no source.",
];

fn subtitle(past: &[Past]) -> String {
    let dates = || past.iter().map(|past| past.test.at);
    match (dates().min(), dates().max()) {
        (Some(first), Some(last)) => {
            format!("{} capacity tests, {} to {}", past.len(), date(first), date(last))
        }
        _ => String::new(),
    }
}

fn date(at: Timestamp) -> String {
    TimeZone::UTC.to_datetime(at).strftime("%-d %B %Y").to_string()
}

/// When the pack is worn out, in one sentence.
fn answer(ageing: &Ageing, ends: &[End]) -> String {
    ends.first()
        .map_or_else(|| format!("{} It does not fade by these tests.", changes(ageing)), reaching)
}

/// What else is to be said.
fn others(ageing: &Ageing, ends: &[End]) -> impl Iterator<Item = String> {
    let changes = (!ends.is_empty()).then(|| changes(ageing));
    let by_cycle = ageing.by_cycle.as_ref().map(|trend| {
        let trend =
            with_uncertainty(100.0 * trend.slope_ah, 100.0 * trend.slope_u_ah, "Ah in 100 cycles");
        format!("Against cycles it changes by {trend}.")
    });
    let further: Vec<String> = ends.iter().skip(1).map(reaching).collect();
    changes.into_iter().chain(by_cycle).chain(further)
}

fn changes(ageing: &Ageing) -> String {
    let trend = with_uncertainty(ageing.by_year.slope_ah, ageing.by_year.slope_u_ah, "Ah a year");
    format!("The capacity changes by {trend}.")
}

fn reaching(end: &End) -> String {
    let reach = &end.reach;
    let between = match (reach.earliest, reach.latest) {
        (Some(earliest), Some(latest)) => {
            format!("between {} and {} (95 %)", date(earliest), date(latest))
        }
        (Some(earliest), None) => format!("not before {} (95 %)", date(earliest)),
        (None, Some(latest)) => format!("not after {} (95 %)", date(latest)),
        (None, None) => "but the trend is too weak to tell".to_owned(),
    };
    format!(
        "At this rate the pack comes down to 80 % of {} ({} Ah) around {}, {between}.",
        end.of,
        fixed(reach.level_ah, 1),
        date(reach.date),
    )
}

fn over_years(past: &[Past], ageing: &Ageing, ends: &[End]) -> Chart {
    const YEAR_S: f64 = 365.25 * 86_400.0;
    let x = |at: Timestamp| at.as_second() as f64;
    let first = past.iter().map(|past| x(past.test.at)).fold(f64::INFINITY, f64::min);
    let last = past.iter().map(|past| x(past.test.at)).fold(f64::NEG_INFINITY, f64::max);
    // the line is drawn on to where it reaches a level, if that is not far off
    let near: Vec<&End> =
        ends.iter().filter(|end| x(end.reach.date) - last < 2.0 * (last - first)).collect();
    let to = near.iter().map(|end| x(end.reach.date)).fold(last, f64::max);
    let trend = &ageing.by_year;
    let on_line = |at: f64| (at, trend.intercept_ah + trend.slope_ah * (at - first) / YEAR_S);
    let mut panel = Panel::new("Capacity (Ah)");
    panel.height_px = 240.0;
    panel.layers = vec![
        Layer::line("trend", Ink::Quiet, vec![on_line(first), on_line(to)]),
        Layer::dots(
            "tests",
            Ink::One,
            past.iter().map(|past| (x(past.test.at), past.test.capacity_ah)).collect(),
        ),
    ];
    panel.limits = near
        .iter()
        .map(|end| Limit { at: end.reach.level_ah, label: format!("80 % of {}", end.of) })
        .collect();
    Chart {
        title: "Capacity over the years".into(),
        description: format!("{} tests and their trend. {}", past.len(), changes(ageing)),
        x: XAxis::Time { zone: TimeZone::UTC },
        panels: vec![panel],
        spans: Vec::new(),
        marks: Vec::new(),
    }
}

fn capacity_tests(past: &[Past]) -> Table {
    let mut table = Table::new("Capacity tests")
        .text("Date")
        .text("Record")
        .number("Cycles", "")
        .number("Capacity", "Ah")
        .number("±", "Ah");
    for Past { file, test, u_ah } in past {
        table.row([
            date(test.at),
            file.as_deref().map_or("as stated", file_name).to_owned(),
            test.cycles.map_or_else(|| NONE.to_owned(), |cycles| fixed(cycles, 0)),
            fixed(test.capacity_ah, 2),
            u_ah.map_or_else(|| NONE.to_owned(), |u_ah| significant(u_ah, 2)),
        ]);
    }
    table
}
