//! Will it last till dawn: the answer for the terminal, as a page, and as a card for the field.

mod card;
mod cautions;
mod hindsight;
mod mends;
mod tables;
mod timeline;
mod told;

use plan::Plan;
use trip::{Forecast, Hindsight};

use crate::page::{Block, Page, Provenance, Section};
use crate::table::{indented, paragraph};
use crate::words::sentence_case;

pub use card::field_card;
pub use hindsight::hindsight_text;
pub use mends::Mends;

/// The answer as tables for a terminal of 80 columns.
#[must_use]
pub fn trip_text(plan: &Plan, forecast: &Forecast, mends: Option<Mends<'_>>) -> String {
    let verdict = told::verdict(plan, forecast);
    let mut text = paragraph(&format!("{}: {}.", plan.site.name, told::dates(plan)));
    text.push('\n');
    text.push_str(&paragraph(&verdict.sentence));
    if !verdict.detail.is_empty() {
        text.push_str(&paragraph(&verdict.detail));
    }
    for table in [tables::nights(forecast), tables::voltages(plan, forecast)]
        .into_iter()
        .chain(tables::failures(plan, forecast))
        .chain(mends.iter().filter_map(|mends| mends.table(plan)))
        .chain(mends.iter().filter_map(Mends::shed_table))
    {
        text.push('\n');
        text.push_str(&table.terminal());
    }
    text.push('\n');
    if let Some(mends) = mends.filter(|mends| mends.table(plan).is_none()) {
        text.push_str(&paragraph(&mends.note(plan)));
        text.push('\n');
    }
    let mut cautions = cautions::of(plan, forecast);
    cautions.extend(mends.iter().flat_map(Mends::cautions));
    for caution in &cautions {
        text.push_str(&indented(&format!("Caution. {caution}"), "! ", "  "));
    }
    if !cautions.is_empty() {
        text.push_str(&indented(cautions::FIRST, "  ", "  "));
    }
    for remark in told::remarks(plan, forecast) {
        text.push_str(&indented(&remark, "- ", "  "));
    }
    text
}

/// The answer as a page.
#[must_use]
pub fn trip_page(
    plan: &Plan,
    forecast: &Forecast,
    mends: Option<Mends<'_>>,
    looked_back: Option<&Hindsight>,
    provenance: Provenance,
) -> String {
    let mut cautions = cautions::of(plan, forecast);
    cautions.extend(mends.iter().flat_map(Mends::cautions));
    let mut nights = vec![
        Block::Table(tables::nights(forecast)),
        Block::Table(tables::voltages(plan, forecast)),
    ];
    nights.extend(tables::failures(plan, forecast).map(Block::Table));
    let mut sections = vec![
        Section::new(
            "",
            vec![Block::Figure(timeline::chart(plan, forecast), told::PICTURE.into())],
        ),
        Section::new("Night by night", nights),
        Section::new("Where the energy goes", vec![Block::Table(tables::ledger(forecast))]),
        Section::new(
            "What it was worked out from",
            [Some(tables::pack(plan)), Some(tables::devices(plan)), tables::sources(plan)]
                .into_iter()
                .flatten()
                .map(Block::Table)
                .chain([Block::List(told::remarks(plan, forecast))])
                .collect(),
        ),
        Section::new(
            "Method and uncertainty",
            vec![Block::List(told::METHOD.map(str::to_owned).to_vec())],
        ),
        Section::new(
            "Cautions",
            vec![Block::Text(cautions::FIRST.into()), Block::Cautions(cautions)],
        ),
    ];
    if let Some(mends) = mends {
        // after the nights, before where it all came from
        sections.insert(2, mend_section(plan, forecast, mends));
    }
    if let Some(looked_back) = looked_back {
        sections.insert(0, hindsight::section(plan, forecast, looked_back));
    }
    Page {
        title: format!("{}: will it last till dawn?", plan.site.name),
        subtitle: sentence_case(&told::dates(plan)),
        verdict: told::verdict(plan, forecast),
        sections,
        provenance,
    }
    .html()
}

fn mend_section(plan: &Plan, forecast: &Forecast, mends: Mends<'_>) -> Section {
    let mut blocks = vec![match mends.ladder(plan, forecast) {
        Some(rows) => Block::Rows(rows, mends.note(plan)),
        None => Block::Text(mends.note(plan)),
    }];
    blocks.extend(mends.shed_table().map(Block::Table));
    Section::new("What would mend it", blocks)
}
