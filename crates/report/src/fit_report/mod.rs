//! A pack fitted to records, for the terminal and as a page.

mod picture;
mod tables;
mod told;

use pack::Pack;
use pack::fit::Fit;

use crate::page::{Block, Page, Provenance, Section, Tone, Verdict};
use crate::table::{indented, paragraph};

/// A fit and the records it is from.
#[derive(Debug, Clone)]
pub struct Fitted<'a> {
    /// What was found.
    pub fit: &'a Fit,
    /// In the order of the fit's runs.
    pub records: Vec<FromRecord<'a>>,
}

/// What is told of a record.
#[derive(Debug, Clone, Copy)]
pub struct FromRecord<'a> {
    /// Its file.
    pub name: &'a str,
    /// Whether it began with the battery full.
    pub from_full: bool,
    /// How it was read, a sentence each.
    pub notices: &'a [String],
}

/// The fit for a terminal of 80 columns.
#[must_use]
pub fn fit_text(fitted: &Fitted<'_>) -> String {
    let mut text = paragraph(&told::answer(fitted.fit));
    text.push_str(&paragraph(&told::check(fitted.fit)));
    for table in [
        Some(tables::parameters(fitted.fit)),
        Some(tables::records(fitted)),
        tables::left_out(fitted.fit),
    ]
    .into_iter()
    .flatten()
    {
        text.push('\n');
        text.push_str(&table.terminal());
    }
    text.push('\n');
    for note in told::notes(&fitted.fit.pack) {
        text.push_str(&indented(&note, "! ", "  "));
    }
    for notice in told::notices(fitted) {
        text.push_str(&indented(&notice, " - ", "   "));
    }
    text
}

/// A data sheet's pack for a terminal of 80 columns.
#[must_use]
pub fn sheet_text(pack: &Pack) -> String {
    let mut text = tables::sheet(pack).terminal();
    text.push('\n');
    for note in told::notes(pack) {
        text.push_str(&indented(&note, "! ", "  "));
    }
    text
}

/// The fit as a page.
#[must_use]
pub fn fit_page(fitted: &Fitted<'_>, provenance: Provenance) -> String {
    let fit = fitted.fit;
    let mut met = vec![
        Block::Figure(picture::residuals(fit), told::RESIDUALS.into()),
        Block::Table(tables::records(fitted)),
    ];
    if let Some(table) = tables::left_out(fit) {
        met.push(Block::Table(table));
    }
    let mut found = vec![
        Block::Figure(picture::curve(&fit.pack), told::CURVE.into()),
        Block::Table(tables::parameters(fit)),
    ];
    let notes = told::notes(&fit.pack);
    if !notes.is_empty() {
        found.push(Block::List(notes));
    }
    let mut sections = vec![
        Section::new("How the model meets the records", met),
        Section::new("What was found", found),
    ];
    let notices = told::notices(fitted);
    if !notices.is_empty() {
        sections.push(Section::new("How the records were read", vec![Block::List(notices)]));
    }
    sections.push(Section::new(
        "Method and uncertainty",
        vec![Block::List(told::METHOD.map(str::to_owned).to_vec())],
    ));
    let cautions = told::CAUTIONS.map(str::to_owned).to_vec();
    sections.push(Section::new("Before you use it", vec![Block::Cautions(cautions)]));
    Page {
        title: "A measured pack".into(),
        subtitle: told::subtitle(&fit.pack),
        verdict: Verdict {
            tone: Tone::Plain,
            sentence: told::answer(fit),
            detail: told::check(fit),
        },
        sections,
        provenance,
    }
    .html()
}
