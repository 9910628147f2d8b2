//! A trip looked back on: forecast against what a meter recorded.

mod advice;
mod picture;
mod tables;
mod told;

use plan::Plan;
use trip::{Forecast, Hindsight};

use crate::page::{Block, Section};
use crate::table::{indented, paragraph};

/// For a terminal of 80 columns.
#[must_use]
pub fn hindsight_text(plan: &Plan, looked_back: &Hindsight) -> String {
    let mut text = String::from("After the trip\n\n");
    let answer = told::answer(plan, looked_back);
    text.push_str(&answer.iter().map(|part| paragraph(part)).collect::<Vec<_>>().join("\n"));
    let tables = [
        Some(tables::nights(looked_back)),
        tables::partings(plan, looked_back),
        tables::explanations(plan, looked_back),
    ];
    for table in tables.into_iter().flatten() {
        text.push('\n');
        text.push_str(&table.terminal());
    }
    text.push('\n');
    for remark in told::remarks(plan, looked_back) {
        text.push_str(&indented(&remark, "- ", "  "));
    }
    text
}

/// For a page.
pub(super) fn section(plan: &Plan, forecast: &Forecast, looked_back: &Hindsight) -> Section {
    let chart = picture::chart(plan, forecast, looked_back);
    let mut blocks: Vec<Block> =
        told::answer(plan, looked_back).into_iter().map(Block::Text).collect();
    blocks.push(Block::Figure(chart, told::PICTURE.into()));
    blocks.extend(tables::partings(plan, looked_back).map(Block::Table));
    blocks.extend(tables::explanations(plan, looked_back).map(Block::Table));
    blocks.push(Block::Table(tables::nights(looked_back)));
    blocks.push(Block::List(told::remarks(plan, looked_back)));
    Section::new("After the trip", blocks)
}
