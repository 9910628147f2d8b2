//! What the gear draws and what reaches it through the wires.

mod night;
mod tables;
mod tree;

use jiff::Timestamp;
use jiff::tz::TimeZone;
use rig::{DEFERRAL, Inspection, Night, Rig, Terms};

use crate::page::{Block, Page, Provenance, Section, Tone, Verdict};
use crate::table::{indented, paragraph};
use crate::words::{fixed, listed, sentence};

/// A rig and what an inspection of it found.
#[derive(Debug, Clone, Copy)]
pub struct Inspected<'a> {
    /// The rig.
    pub rig: &'a Rig,
    /// The night it was looked over for.
    pub night: &'a Night,
    /// When the clock of that night shows nought.
    pub clock_start: Timestamp,
    /// The clock of the site.
    pub zone: &'a TimeZone,
    /// What was taken as given.
    pub terms: &'a Terms,
    /// What was found.
    pub found: &'a Inspection,
}

/// The inspection as tables for a terminal of 80 columns.
#[must_use]
pub fn rig_text(inspected: &Inspected<'_>) -> String {
    let mut text = paragraph(&answer(inspected).sentence);
    for table in [
        tables::budget(inspected.found),
        tables::devices(inspected.terms, inspected.found),
        tables::wires(inspected.found),
    ] {
        text.push('\n');
        text.push_str(&table.terminal());
    }
    text.push('\n');
    for advice in tables::advice(inspected.rig, inspected.found) {
        text.push_str(&indented(&advice, "> ", "  "));
    }
    let cautions = cautions(inspected.found);
    for caution in &cautions {
        text.push_str(&indented(&format!("Caution. {caution}"), "! ", "  "));
    }
    if !cautions.is_empty() {
        text.push_str(&indented(DEFERRAL, "  ", "  "));
    }
    for remark in remarks(inspected.found) {
        text.push_str(&indented(&remark, "- ", "  "));
    }
    text
}

/// The inspection as a page.
#[must_use]
pub fn rig_page(title: &str, inspected: &Inspected<'_>, provenance: Provenance) -> String {
    let mut sections = vec![Section::new("", rig_blocks(inspected))];
    let cautions = cautions(inspected.found);
    if !cautions.is_empty() {
        let blocks = vec![Block::Text(DEFERRAL.into()), Block::Cautions(cautions)];
        sections.push(Section::new("Cautions", blocks));
    }
    Page {
        title: title.to_owned(),
        subtitle: "The rig and its wires".into(),
        verdict: answer(inspected),
        sections,
        provenance,
    }
    .html()
}

/// Pictures and tables of an inspection, for a section of a page; the cautions are apart.
#[must_use]
pub fn rig_blocks(inspected: &Inspected<'_>) -> Vec<Block> {
    let Inspected { rig, terms, found, .. } = inspected;
    let mut blocks = vec![Block::Figure(night::power(inspected), String::new())];
    blocks.extend(tree::worst(rig, found).map(|rows| Block::Rows(rows, TREE.into())));
    blocks.push(Block::Table(tables::devices(terms, found)));
    let notes: Vec<String> = tables::advice(rig, found).into_iter().chain(remarks(found)).collect();
    if !notes.is_empty() {
        blocks.push(Block::List(notes));
    }
    blocks.extend([Block::Table(tables::wires(found)), Block::Table(tables::budget(found))]);
    blocks
}

const TREE: &str = "A line shows what is lost on the way from where a thing hangs; a dashed tick is the least voltage a device needs.";

fn answer(inspected: &Inspected<'_>) -> Verdict {
    let found = inspected.found;
    let short: Vec<String> = found
        .devices
        .iter()
        .filter(|device| !device.ok)
        .map(|device| device.name.clone())
        .collect();
    let end_v = fixed(inspected.terms.end_v, 1);
    let (tone, sentence) = if short.is_empty() {
        (
            Tone::Good,
            format!("Every device gets the voltage it needs, down to {end_v} V at the pack."),
        )
    } else {
        (Tone::Bad, format!("Too low a voltage, with {end_v} V at the pack: {}.", listed(&short)))
    };
    let detail = format!(
        "The night takes {} Wh out of the pack, {} Wh of them lost in wires and {} Wh in converters.",
        fixed(found.used_wh, 0),
        fixed(found.cable_wh, 1),
        fixed(found.converter_wh, 1)
    );
    Verdict { tone, sentence, detail }
}

/// What can hurt someone.
pub(crate) fn cautions(found: &Inspection) -> Vec<String> {
    found.cautions.iter().map(|caution| sentence(&caution.to_string())).collect()
}

fn remarks(found: &Inspection) -> Vec<String> {
    found.remarks.iter().map(|remark| sentence(&remark.to_string())).collect()
}
