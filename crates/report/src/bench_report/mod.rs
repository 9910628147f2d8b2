//! What records prove, for the terminal and as a page.

mod cautions;
mod facts;
mod picture;
mod tables;
mod together;
mod told;

use bench::{Run, RunKind, Settings};
use record::Record;

use crate::page::{Block, Page, Provenance, Section, Tone, Verdict};
use crate::table::{indented, paragraph};
use crate::words::file_name;

pub(crate) use picture::voltage;
use together::Together;

/// One record and the runs found in it.
#[derive(Debug, Clone, Copy)]
pub struct Tested<'a> {
    /// What was read.
    pub record: &'a Record,
    /// What it proves.
    pub runs: &'a [Run],
    /// What it was measured against.
    pub settings: &'a Settings,
}

/// The runs as tables for a terminal of 80 columns.
#[must_use]
pub fn bench_text(tested: &[Tested<'_>]) -> String {
    let mut text = String::new();
    for test in tested {
        for run in test.runs {
            text.push_str(&facts::facts(test, run).terminal());
            text.push('\n');
            text.push_str(&tables_in_terminal(run));
        }
        if !test.record.columns.is_empty() {
            let columns = told::columns(test.record);
            text.push_str(&indented(&format!("Columns: {columns}."), "", ""));
        }
        let rows = told::rows(test.record);
        if test.runs.is_empty() {
            text.push_str(&paragraph(&format!("{}: {}", test.record.file, told::NO_TEST)));
        }
        text.push_str(&indented(&format!("Rows: {rows}."), "", ""));
        for notice in told::notices(test) {
            text.push_str(&indented(&notice, "! ", "  "));
        }
        text.push('\n');
    }
    if runs(tested).count() > 1 {
        text.push_str(&tables::overview(tested).terminal());
    }
    if let Some(together) = Together::of(tested) {
        if together.are_several() {
            text.push('\n');
            text.push_str(&together.table().terminal());
            text.push('\n');
            text.push_str(&paragraph(&together.answer()));
            text.push_str(&paragraph(&together.objection()));
        }
        text.push_str(&paragraph(&together.verdict()));
    }
    text
}

/// What a terminal shows of a run beside its facts.
fn tables_in_terminal(run: &Run) -> String {
    let mut text = String::new();
    let mut add = |part: &str| {
        text.push_str(part);
        text.push('\n');
    };
    if let Some(field) = &run.field {
        add(&tables::nights(field).terminal());
        if !field.levels.is_empty() {
            add(&tables::levels(field).terminal());
            add(&paragraph(told::DEVICES));
            add(&plan::as_devices(field));
        }
    }
    if run.kind == RunKind::Pulses && !run.resistances.is_empty() {
        add(&tables::resistances(&run.resistances).terminal());
    }
    text
}

fn runs<'a>(tested: &'a [Tested<'a>]) -> impl Iterator<Item = (&'a Tested<'a>, &'a Run)> {
    tested.iter().flat_map(|test| test.runs.iter().map(move |run| (test, run)))
}

/// The runs as a page.
#[must_use]
pub fn bench_page(tested: &[Tested<'_>], provenance: Provenance) -> String {
    let is_only = runs(tested).count() == 1;
    let mut sections = Vec::new();
    if runs(tested).count() > 1 {
        let overlay = picture::overlay(tested);
        let overlay = overlay.map(|chart| Block::Figure(chart, String::new()));
        let overview = Block::Table(tables::overview(tested));
        let mut blocks: Vec<Block> = overlay.into_iter().chain([overview]).collect();
        if let Some(together) = Together::of(tested).filter(Together::are_several) {
            blocks.push(Block::Rows(together.picture(), together::PICTURE.into()));
            blocks.push(Block::Table(together.table()));
        }
        sections.push(Section::new("", blocks));
    }
    sections.extend(runs(tested).map(|(test, run)| run_section(test, run, is_only)));
    sections.extend([read_section(tested), method_section(tested), caution_section()]);
    let files: Vec<&str> = tested.iter().map(|test| file_name(&test.record.file)).collect();
    Page {
        title: "Bench test".into(),
        subtitle: files.join(", "),
        verdict: verdict(tested),
        sections,
        provenance,
    }
    .html()
}

/// More answers than this are left to the table of all runs.
const MOST_ANSWERS: usize = 3;

fn verdict(tested: &[Tested<'_>]) -> Verdict {
    let mut sentences: Vec<String> =
        runs(tested).filter_map(|(test, run)| told::answer(test, run)).collect();
    let Some(together) = Together::of(tested) else {
        let sentence = match sentences.len() {
            0 => "No test was found in it.".to_owned(),
            1 => sentences.remove(0),
            count => format!("{count} runs were measured."),
        };
        return Verdict { tone: Tone::Plain, sentence, detail: few(&sentences) };
    };
    let mut detail = vec![together.verdict()];
    detail.extend(Some(together.objection()).filter(|_| together.are_several()));
    let sentence = if sentences.len() == 1 {
        sentences.remove(0)
    } else if sentences.len() == together.count() {
        together.answer()
    } else {
        detail.push(few(&sentences));
        format!("{} runs were measured.", runs(tested).count())
    };
    Verdict { tone: together.tone(), sentence, detail: detail.join(" ").trim().to_owned() }
}

/// Few answers are told; of many the table of all runs tells.
fn few(sentences: &[String]) -> String {
    if sentences.len() > MOST_ANSWERS { String::new() } else { sentences.join(" ") }
}

fn run_section(test: &Tested<'_>, run: &Run, is_only: bool) -> Section {
    let heading = if is_only {
        format!("The {}", told::kind(run))
    } else {
        format!("{}: {}", test.record.file, told::kind(run))
    };
    let mut facts = facts::facts(test, run);
    facts.caption.clear();
    let mut blocks = vec![figure(test, run), Block::Table(facts)];
    if let Some(field) = &run.field {
        blocks.push(Block::Table(tables::nights(field)));
        if !field.levels.is_empty() {
            blocks.push(Block::Table(tables::levels(field)));
            blocks.push(Block::Text(told::DEVICES.to_owned()));
            blocks.push(Block::Markup(maud::html! { pre { code { (plan::as_devices(field)) } } }));
        }
    }
    if !run.resistances.is_empty() {
        let chart = picture::resistance(&run.resistances);
        blocks.extend(chart.map(|chart| Block::Figure(chart, String::new())));
        blocks.push(Block::Table(tables::resistances(&run.resistances)));
    }
    if run.phases.len() > 1 && run.field.is_none() {
        blocks.push(Block::Table(tables::phases(run)));
    }
    if let Some(discharge) = &run.discharge {
        let (charge_u_ah, energy_u_wh) = (discharge.capacity_u_ah, discharge.energy_u_wh);
        blocks.push(Block::Table(tables::doubts(&discharge.doubts, charge_u_ah, energy_u_wh)));
    }
    if let Some(recharge) = &run.recharge {
        let (charge_u_ah, energy_u_wh) = (recharge.charge_u_ah, recharge.energy_u_wh);
        blocks.push(Block::Table(tables::doubts(&recharge.doubts, charge_u_ah, energy_u_wh)));
    }
    Section::new(heading, blocks)
}

fn figure(test: &Tested<'_>, run: &Run) -> Block {
    match &run.discharge {
        Some(discharge) if run.kind == RunKind::Discharge => {
            Block::Figure(picture::curve(discharge), told::CURVE.into())
        }
        _ => Block::Figure(picture::over_time(test.record, run), String::new()),
    }
}

fn read_section(tested: &[Tested<'_>]) -> Section {
    let mut blocks = Vec::new();
    for test in tested {
        if !test.record.columns.is_empty() {
            blocks.push(Block::Table(tables::columns(test.record)));
        }
        blocks.push(Block::Text(format!("Rows: {}.", told::rows(test.record))));
        let notices = told::notices(test);
        if !notices.is_empty() {
            blocks.push(Block::List(notices));
        }
    }
    Section::new("How the record was read", blocks)
}

fn method_section(tested: &[Tested<'_>]) -> Section {
    let mut method = told::METHOD.map(str::to_owned).to_vec();
    let has_meter = tested.iter().all(|test| test.settings.instrument.is_some());
    method.push(if has_meter { told::METER_STATED } else { told::METER_NOT_STATED }.to_owned());
    Section::new("Method and uncertainty", vec![Block::List(method)])
}

pub(crate) fn caution_section() -> Section {
    let cautions = cautions::OF_A_DISCHARGE.map(str::to_owned).to_vec();
    Section::new(
        "Before you repeat it",
        vec![Block::Text(cautions::FIRST.to_owned()), Block::Cautions(cautions)],
    )
}
