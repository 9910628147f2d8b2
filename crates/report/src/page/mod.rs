//! Self-contained pages: the answer first, then pictures, tables, and how it was found.
//!
//! A page needs no network and no script. Its colours follow the reader's light or dark setting;
//! a box on the page turns them red for eyes used to the dark; paper is always light.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::chart::{self, Chart, Rows};
use crate::table::Table;

const STYLE: &str = include_str!("page.css");

/// A report as a page.
#[derive(Debug, Clone)]
pub struct Page {
    /// Of the page.
    pub title: String,
    /// Under the title: place and dates, or the file.
    pub subtitle: String,
    /// The answer.
    pub verdict: Verdict,
    /// What follows it.
    pub sections: Vec<Section>,
    /// What it was made from and how to make it again.
    pub provenance: Provenance,
}

/// The answer in one sentence.
#[derive(Debug, Clone)]
pub struct Verdict {
    /// Whether the answer is good news.
    pub tone: Tone,
    /// One sentence.
    pub sentence: String,
    /// What else must be known at once.
    pub detail: String,
}

/// How an answer or a remark is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    /// Good news.
    Good,
    /// Could go either way.
    Unsure,
    /// Bad news.
    Bad,
    /// Neither.
    Plain,
}

impl Tone {
    fn class(self) -> &'static str {
        match self {
            Tone::Good => "good",
            Tone::Unsure => "unsure",
            Tone::Bad => "bad",
            Tone::Plain => "plain",
        }
    }
}

/// A heading and what stands under it.
#[derive(Debug, Clone)]
pub struct Section {
    /// Shown above it.
    pub heading: String,
    /// In order.
    pub blocks: Vec<Block>,
}

impl Section {
    /// A section of these blocks.
    #[must_use]
    pub fn new(heading: impl Into<String>, blocks: Vec<Block>) -> Self {
        Section { heading: heading.into(), blocks }
    }
}

/// A part of a section.
#[derive(Debug, Clone)]
pub enum Block {
    /// A paragraph.
    Text(String),
    /// Points, each a sentence or two.
    List(Vec<String>),
    /// A picture and what to see in it.
    Figure(Chart, String),
    /// A picture of rows and what to see in it.
    Rows(Rows, String),
    /// A table.
    Table(Table),
    /// What can hurt someone, and what to do about it.
    Cautions(Vec<String>),
    /// Anything else.
    Markup(Markup),
}

/// What a report was made from.
#[derive(Debug, Clone, Default)]
pub struct Provenance {
    /// Name and version of the program.
    pub program: String,
    /// The command that makes the report again.
    pub command: String,
    /// Of the random draws, where there were any.
    pub seed: Option<u64>,
    /// Names of the files read.
    pub files: Vec<String>,
    /// When it was made, as the caller's clock says.
    pub made: String,
}

impl Page {
    /// The page as one HTML document.
    #[must_use]
    pub fn html(&self) -> String {
        let mut figures = 0;
        let body = html! {
            header {
                h1 { (self.title) }
                @if !self.subtitle.is_empty() { p class="subtitle" { (self.subtitle) } }
                label class="red" { input type="checkbox" id="red"; " red light" }
            }
            section class={ "verdict " (self.verdict.tone.class()) } {
                p class="sentence" { (self.verdict.sentence) }
                @if !self.verdict.detail.is_empty() { p { (self.verdict.detail) } }
            }
            @for section in &self.sections {
                section {
                    @if !section.heading.is_empty() { h2 { (section.heading) } }
                    @for block in &section.blocks { (block.markup(&mut figures)) }
                }
            }
            (self.provenance.markup())
        };
        document(&self.title, &body)
    }
}

/// A page with this title and content, in the style of all reports.
fn document(title: &str, body: &Markup) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                meta name="referrer" content="no-referrer";
                title { (title) }
                style { (PreEscaped(STYLE)) (PreEscaped(chart::STYLE)) }
            }
            body { main { (body) } }
        }
    }
    .into_string()
}

impl Block {
    fn markup(&self, figures: &mut usize) -> Markup {
        match self {
            Block::Text(text) => html! { p { (text) } },
            Block::List(points) => html! { ul { @for point in points { li { (point) } } } },
            Block::Figure(chart, caption) => {
                *figures += 1;
                figure(&chart.title, &chart.figure(&format!("figure{figures}")), caption)
            }
            Block::Rows(rows, caption) => {
                *figures += 1;
                figure(&rows.title, &rows.figure(&format!("figure{figures}")), caption)
            }
            Block::Table(table) => table.markup(),
            Block::Cautions(cautions) => html! {
                ul class="cautions" { @for caution in cautions { li { (caution) } } }
            },
            Block::Markup(markup) => markup.clone(),
        }
    }
}

fn figure(title: &str, drawing: &Markup, caption: &str) -> Markup {
    html! {
        figure {
            h3 { (title) }
            (drawing)
            @if !caption.is_empty() { figcaption { (caption) } }
        }
    }
}

impl Provenance {
    fn markup(&self) -> Markup {
        html! {
            footer {
                h2 { "How to repeat this" }
                dl {
                    @if !self.command.is_empty() { dt { "Command" } dd { code { (self.command) } } }
                    @if !self.files.is_empty() {
                        dt { "Files" }
                        dd { @for (at, file) in self.files.iter().enumerate() {
                            @if at > 0 { ", " }
                            code { (file) }
                        } }
                    }
                    @if let Some(seed) = self.seed { dt { "Seed of the draws" } dd { (seed) } }
                    @if !self.program.is_empty() { dt { "Program" } dd { (self.program) } }
                    @if !self.made.is_empty() { dt { "Made" } dd { (self.made) } }
                }
            }
        }
    }
}
