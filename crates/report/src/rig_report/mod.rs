//! What the gear draws and what reaches it through the wires.

mod night;
mod tables;
mod tree;

use jiff::tz::TimeZone;
use rig::{DEFERRAL, Inspection, Rig};
use trip::{NEARLY_EMPTY, Survey};

use crate::page::{Block, Page, Provenance, Section, Tone, Verdict};
use crate::table::{indented, paragraph};
use crate::words::{fixed, listed, sentence};

/// A rig and what was found when it was looked over.
#[derive(Debug, Clone, Copy)]
pub struct Inspected<'a> {
    /// The rig.
    pub rig: &'a Rig,
    /// The clock of the site.
    pub zone: &'a TimeZone,
    /// What was found.
    pub survey: &'a Survey,
    /// What the plan left open and was taken as usual, a sentence each.
    pub defaults: &'a [String],
}

/// The inspection as tables for a terminal of 80 columns.
#[must_use]
pub fn rig_text(inspected: &Inspected<'_>) -> String {
    let Inspected { rig, survey, .. } = inspected;
    let found = &survey.found;
    let verdict = answer(inspected);
    let mut text = paragraph(&verdict.sentence);
    text.push_str(&paragraph(&verdict.detail));
    text.push_str(&paragraph(&given(inspected)));
    let wires = (!found.segments.is_empty()).then(|| tables::wires(survey));
    for table in [tables::energy(survey), tables::budget(found), tables::devices(survey)]
        .into_iter()
        .chain(wires)
    {
        text.push('\n');
        text.push_str(&table.terminal());
    }
    text.push('\n');
    for advice in tables::advice(rig, found) {
        text.push_str(&indented(&advice, "> ", "  "));
    }
    let cautions = cautions(found);
    for caution in &cautions {
        text.push_str(&indented(&format!("Caution. {caution}"), "! ", "  "));
    }
    if !cautions.is_empty() {
        text.push_str(&indented(DEFERRAL, "  ", "  "));
    }
    for remark in remarks(inspected) {
        text.push_str(&indented(&remark, "- ", "  "));
    }
    text
}

/// The inspection as a page.
#[must_use]
pub fn rig_page(title: &str, inspected: &Inspected<'_>, provenance: Provenance) -> String {
    let mut sections = vec![Section::new("", rig_blocks(inspected))];
    let cautions = cautions(&inspected.survey.found);
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
    let Inspected { rig, survey, .. } = inspected;
    let found = &survey.found;
    let mut blocks =
        vec![Block::Text(given(inspected)), Block::Figure(night::power(inspected), POWER.into())];
    blocks.extend(tree::worst(rig, found).map(|rows| Block::Rows(rows, TREE.into())));
    blocks.push(Block::Table(tables::devices(survey)));
    let notes: Vec<String> =
        tables::advice(rig, found).into_iter().chain(remarks(inspected)).collect();
    if !notes.is_empty() {
        blocks.push(Block::List(notes));
    }
    if !found.segments.is_empty() {
        blocks.push(Block::Table(tables::wires(survey)));
    }
    blocks.extend([Block::Table(tables::budget(found)), Block::Table(tables::energy(survey))]);
    blocks
}

const POWER: &str = "Mean power of each device, duty cycles and peaks evened out, with the pack as at dusk; what follows the weather, hour by hour.";

const TREE: &str = "A line shows what is lost on the way from where a thing hangs; a dashed tick is the least voltage a device needs.";

fn answer(inspected: &Inspected<'_>) -> Verdict {
    let Survey { found, terms, .. } = inspected.survey;
    let short: Vec<String> = found
        .devices
        .iter()
        .filter(|device| !device.ok)
        .map(|device| device.name.clone())
        .collect();
    let end_v = fixed(terms.end_v, 1);
    let (tone, sentence) = if short.is_empty() {
        (
            Tone::Good,
            format!("Every device gets the voltage it needs, down to {end_v} V at the pack."),
        )
    } else {
        (Tone::Bad, format!("Too low a voltage, with {end_v} V at the pack: {}.", listed(&short)))
    };
    let count = tables::nights(inspected.survey);
    let detail = format!(
        "A night takes {} Wh out of the pack, {} Wh of them lost in wires and {} Wh in converters.",
        fixed(found.used_wh / count, 0),
        fixed(found.cable_wh / count, 1),
        fixed(found.converter_wh / count, 1)
    );
    Verdict { tone, sentence, detail }
}

/// At which voltages the rig was looked at.
fn given(Inspected { rig, survey, .. }: &Inspected<'_>) -> String {
    let mut text = format!(
        "The pack is taken at {} V at dusk, and at {} V with {:.0} % of its charge left; both under the rig's heaviest steady load, in the coldest air.",
        fixed(survey.terms.dusk_v, 2),
        fixed(survey.terms.end_v, 2),
        100.0 * NEARLY_EMPTY
    );
    let uses = rig.devices().iter().flat_map(|device| &device.uses);
    if uses.into_iter().any(|used| used.follows.is_some()) {
        text.push_str(" The night is taken as clear, when things cool most.");
    }
    text
}

/// What can hurt someone.
pub(crate) fn cautions(found: &Inspection) -> Vec<String> {
    found.cautions.iter().map(|caution| sentence(&caution.to_string())).collect()
}

fn remarks(inspected: &Inspected<'_>) -> Vec<String> {
    let found = &inspected.survey.found;
    let mut remarks: Vec<String> =
        found.remarks.iter().map(|remark| sentence(&remark.to_string())).collect();
    if !inspected.defaults.is_empty() {
        remarks.push(format!(
            "Taken as usual, since the plan does not say: {}.",
            inspected.defaults.join("; ")
        ));
    }
    remarks
}
