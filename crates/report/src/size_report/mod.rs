//! What to buy: weight against price, for the terminal and as a page.

mod picture;
mod told;

use maud::html;
use plan::{Catalogue, Plan};
use trip::{Settings, Sizing};

use crate::page::{Block, Page, Provenance, Section};
use crate::table::{Table, indented, paragraph};
use crate::words::{chance, listed, price, sentence};
use told::{could_turn, kg, misses, pieces, spare, verdict, weakest};

/// What was looked for, where, and what was found.
#[derive(Debug, Clone, Copy)]
pub struct SizeAsked<'a> {
    /// The plan to be carried.
    pub plan: &'a Plan,
    /// What could be bought.
    pub catalogue: &'a Catalogue,
    /// What was found.
    pub sizing: &'a Sizing,
    /// How.
    pub settings: Settings,
}

/// So many choices are told in full.
const MOST_ROWS: usize = 20;

const METHOD: [&str; 5] = [
    "Each combination stands in the plan in place of its own pack, panels and charger, and is drawn at random like any trip, all with the same random trips. It carries when the weakest night reaches the confidence the plan asks for.",
    "Combinations are gone through from the cheapest on; one that is not lighter than a cheaper one that carries is beaten and passed over. Draws stop as soon as it is clear that a combination fails: when too few are left, or when the wanted confidence lies four standard deviations outside (Wilson 1927). A pack that fails as clearly with more sun than any panel for sale gives and the thickest cables is out with all its combinations, and so are a pack and sources that fail with the thickest cables.",
    "Panels stand as the plan's first panel does, flat if it has none; equal panels are in parallel at one controller, and only where it bears their power, current and voltage. Chargers work in the hours of the plan's charger.",
    "Cables are considered run by run: the cheapest and the lightest that lower the voltage at which the gear stops, in some steps, and those that save 0.2 % of the energy or more. The others stay.",
    "A chance says how the plan's numbers and the catalogue's labels work out, not whether the labels are right. A typical curve stands for each pack that was not measured.",
];

const CAUTIONS: [&str; 3] = [
    "Before anything is bought or joined, the makers' instructions count: whether pack, controller, charger and panel may work together, fuses at the pack, and local rules. What they leave open is for someone licensed for it.",
    "Packs in parallel are of one kind and age and equally charged when they are joined, each with its own fuse; otherwise a great current flows between them.",
    "Lead-acid batteries give off explosive gas while charging: air around them, no spark near them; emptied below half they age fast. Lithium batteries are not charged in frost, unless they see to that themselves.",
];

const MISSES: &str = "Why others fail: the surest that are cheaper or lighter";

/// What to buy, for a terminal of 80 columns.
#[must_use]
pub fn size_text(sized: &SizeAsked<'_>) -> String {
    let verdict = verdict(sized);
    let mut text = paragraph(&verdict.sentence);
    if !verdict.detail.is_empty() {
        text.push_str(&paragraph(&verdict.detail));
    }
    if let Some(table) = choices(sized) {
        text.push('\n');
        text.push_str(&table.terminal());
    }
    let misses = misses(sized);
    if !misses.is_empty() {
        text.push_str(&format!("\n{MISSES}\n\n"));
        for miss in misses {
            text.push_str(&indented(&format!("{} {}", miss.what, miss.why), "- ", "  "));
        }
    }
    text.push('\n');
    for caution in CAUTIONS {
        text.push_str(&indented(&format!("Caution. {caution}"), "! ", "  "));
    }
    for remark in remarks(sized) {
        text.push_str(&indented(&remark, "- ", "  "));
    }
    text
}

/// What to buy, as a page.
#[must_use]
pub fn size_page(sized: &SizeAsked<'_>, provenance: Provenance) -> String {
    let mut sections = vec![Section::new("", vec![picture::figure(sized)])];
    if let Some(table) = choices(sized) {
        sections.push(Section::new("", vec![Block::Table(table)]));
    }
    let misses = misses(sized);
    if !misses.is_empty() {
        let list = html! {
            ul { @for miss in &misses { li { strong { (miss.what) } " " (miss.why) } } }
        };
        sections.push(Section::new(MISSES, vec![Block::Markup(list)]));
    }
    sections.extend([
        Section::new("How it was found", vec![Block::List(remarks(sized))]),
        Section::new(
            "Method and uncertainty",
            vec![Block::List(METHOD.map(str::to_owned).to_vec())],
        ),
        Section::new("Cautions", vec![Block::Cautions(CAUTIONS.map(str::to_owned).to_vec())]),
    ]);
    Page {
        title: format!("{}: what to buy", sized.plan.site.name),
        subtitle: format!(
            "{} combinations of what {} offers",
            sized.sizing.combinations, sized.catalogue.file
        ),
        verdict: verdict(sized),
        sections,
        provenance,
    }
    .html()
}

fn choices(sized: &SizeAsked<'_>) -> Option<Table> {
    let SizeAsked { plan, catalogue, sizing, .. } = sized;
    if sizing.choices.is_empty() {
        return None;
    }
    let wanted = chance(plan.dates.confidence);
    let mut table = Table::new("What to buy, from the cheapest to the lightest")
        .number("", "")
        .text("Choice")
        .number("Price", catalogue.currency.clone())
        .number("Weight", "kg")
        .number("Weakest\nnight", "")
        .number("Left at\ndawn", "")
        .number("Load to\nspare", "");
    for (at, choice) in sizing.choices.iter().take(MOST_ROWS).enumerate() {
        table.row([
            (at + 1).to_string(),
            pieces(&choice.pieces),
            price(choice.price),
            kg(choice.kg),
            weakest(choice),
            choice.soc_dawn.map_or_else(String::new, chance),
            choice.spare_load.map_or_else(String::new, spare),
        ]);
    }
    if sizing.choices.len() > MOST_ROWS {
        table.note(format!("{} more are lighter and dearer.", sizing.choices.len() - MOST_ROWS));
    }
    table.note(format!(
        "Wanted for each night: {wanted}. Left at dawn: the median charge at the emptiest dawn. Load to spare: with all loads greater by this share every night is still carried with {wanted}."
    ));
    let close: Vec<String> = sizing
        .choices
        .iter()
        .take(MOST_ROWS)
        .enumerate()
        .filter(|(_, choice)| could_turn(choice, plan.dates.confidence))
        .map(|(at, _)| (at + 1).to_string())
        .collect();
    if !close.is_empty() {
        table.note(format!(
            "So near to {wanted} that other draws may turn it: {}. More draws (--draws) tell.",
            listed(&close)
        ));
    }
    Some(table)
}

fn remarks(sized: &SizeAsked<'_>) -> Vec<String> {
    let Sizing { combinations, evaluated, rejected, beaten, .. } = sized.sizing;
    let mut remarks = vec![format!(
        "Of {combinations} combinations that go together {evaluated} were drawn, with up to {} trips each; {rejected} fail, {beaten} are beaten by one that carries and is neither heavier nor dearer.",
        sized.settings.draws
    )];
    remarks.extend(sized.sizing.remarks.iter().map(|remark| sentence(remark)));
    for (says, defaults) in
        [("the catalogue", &sized.catalogue.defaults), ("the plan", &sized.plan.defaults)]
    {
        if !defaults.is_empty() {
            let taken = defaults.join("; ");
            remarks.push(format!("Taken as usual, since {says} does not say: {taken}."));
        }
    }
    remarks
}
