//! What to buy: weight against price, for the terminal and as a page.

use std::collections::HashSet;

use plan::{Catalogue, Plan};
use trip::{Amount, Choice, Piece, Settings, Sizing};

use crate::chart::{Chart, Ink, Layer, Note, Panel, XAxis};
use crate::page::{Block, Page, Provenance, Section, Tone, Verdict};
use crate::table::{NO_BREAK, Table, indented, paragraph};
use crate::words::{self, chance, day_and_clock, fixed, listed, sentence, short};

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

const METHOD: [&str; 4] = [
    "Each combination stands in the plan in place of its own pack, panels and charger, and is drawn at random like any trip, all with the same random trips. It carries when the weakest night reaches the confidence the plan asks for.",
    "Combinations are gone through from the cheapest on; one that is not lighter than a cheaper one that carries is beaten and passed over. Draws stop as soon as it is clear that a combination fails: when too few are left, or when the wanted confidence lies four standard deviations outside (Wilson 1927). Packs that fail even with more sun than any panel for sale gives are out with all their panels.",
    "Panels stand as the plan's first panel does, flat if it has none; equal panels are in parallel at one controller, and only where it bears their power, current and voltage. A cable stands in place of every thinner cable of the rig. Chargers work in the hours of the plan's charger.",
    "A chance says how the plan's numbers and the catalogue's labels work out, not whether the labels are right. A typical curve stands for each pack that was not measured.",
];

const CAUTIONS: [&str; 3] = [
    "Before anything is bought or joined, the makers' instructions count: whether pack, controller, charger and panel may work together, fuses at the pack, and local rules. What they leave open is for someone licensed for it.",
    "Packs in parallel are of one kind and age and equally charged when they are joined, each with its own fuse; otherwise a great current flows between them.",
    "Lead-acid batteries give off explosive gas while charging: air around them, no spark near them; emptied below half they age fast. Lithium batteries are not charged in frost, unless they see to that themselves.",
];

const PICTURE: &str = "Each dot is one combination. Green, numbered as in the table: those that carry every night and that none beats on weight and price; whatever lies to the upper right of the green line is beaten. Grey: drawn, and too weak; where many are close, one stands for them.";

/// What to buy, for a terminal of 80 columns.
#[must_use]
pub fn size_text(sized: &SizeAsked<'_>) -> String {
    let verdict = verdict(sized);
    let mut text = paragraph(&verdict.sentence);
    if !verdict.detail.is_empty() {
        text.push_str(&paragraph(&verdict.detail));
    }
    for table in choices(sized).into_iter().chain(misses(sized)) {
        text.push('\n');
        text.push_str(&table.terminal());
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
    let tables: Vec<Block> =
        choices(sized).into_iter().chain(misses(sized)).map(Block::Table).collect();
    Page {
        title: format!("{}: what to buy", sized.plan.site.name),
        subtitle: format!(
            "{} combinations of what {} offers",
            sized.sizing.combinations, sized.catalogue.file
        ),
        verdict: verdict(sized),
        sections: vec![
            Section::new("", vec![Block::Figure(chart(sized), PICTURE.into())]),
            Section::new("Choices and near misses", tables),
            Section::new("How it was found", vec![Block::List(remarks(sized))]),
            Section::new(
                "Method and uncertainty",
                vec![Block::List(METHOD.map(str::to_owned).to_vec())],
            ),
            Section::new("Cautions", vec![Block::Cautions(CAUTIONS.map(str::to_owned).to_vec())]),
        ],
        provenance,
    }
    .html()
}

/// So much of an item: "2 × small pack", "small pack", "6.5 m of twin cable".
fn piece(piece: &Piece) -> String {
    match piece.amount {
        Amount::Count(1) => piece.name.clone(),
        Amount::Count(count) => format!("{count}{NO_BREAK}× {}", piece.name),
        Amount::Metres(length_m) => {
            format!("{}{NO_BREAK}m of {}", short(length_m), piece.name)
        }
    }
}

fn pieces(choice: &Choice) -> String {
    match choice.pieces.as_slice() {
        [] => "nothing, the plan as it is".to_owned(),
        some => some.iter().map(piece).collect::<Vec<_>>().join(", "),
    }
}

fn kg(choice: &Choice) -> String {
    fixed(choice.kg, 1)
}

/// Prices to the whole unit, but small ones to the hundredth.
fn price(choice: &Choice) -> String {
    words::price(choice.price)
}

fn weakest(choice: &Choice) -> String {
    choice.weakest().map_or_else(|| chance(f64::NAN), |found| chance(found.share))
}

/// What fails first and when: "mount, Mon 12 Oct 03:14".
fn fails(choice: &Choice, plan: &Plan) -> String {
    choice.culprit.as_ref().map_or_else(String::new, |culprit| {
        let who = culprit.device.as_deref().unwrap_or("the pack's protection opens");
        format!("{who}, {}", day_and_clock(culprit.median_time, &plan.site.zone))
    })
}

fn verdict(sized: &SizeAsked<'_>) -> Verdict {
    let SizeAsked { plan, catalogue, sizing, .. } = sized;
    let wanted = chance(plan.dates.confidence);
    let currency = &catalogue.currency;
    let stopped = if sizing.complete {
        String::new()
    } else {
        "Stopped before all combinations were gone through: dearer ones may be lighter.".to_owned()
    };
    let told = |choice: &Choice| {
        format!("{} ({} {currency}, {} kg)", pieces(choice), price(choice), kg(choice))
    };
    match (sizing.choices.as_slice(), sizing.misses.first()) {
        ([], None) => Verdict {
            tone: Tone::Unsure,
            sentence: "No combination was settled before it was stopped.".to_owned(),
            detail: String::new(),
        },
        ([], Some(near)) => {
            let evening = near
                .weakest_evening
                .map_or_else(String::new, |date| date.strftime("%a %-d %b").to_string());
            let fails = fails(near, plan);
            let first = if fails.is_empty() {
                String::new()
            } else {
                format!(" What fails first that night is mostly: {fails}.")
            };
            Verdict {
                tone: Tone::Bad,
                sentence: format!(
                    "Nothing in the catalogue carries every night with {wanted}; the nearest miss is {}.",
                    told(near)
                ),
                detail: format!(
                    "With it the weakest night, {evening}, is carried in {} of trips.{first} {stopped}",
                    weakest(near)
                )
                .trim_end()
                .to_owned(),
            }
        }
        ([only], _) => Verdict {
            tone: Tone::Good,
            sentence: format!(
                "One combination carries every night with {wanted} and beats all others: {}.",
                told(only)
            ),
            detail: stopped,
        },
        ([cheapest, .., lightest], _) => Verdict {
            tone: Tone::Good,
            sentence: format!(
                "{} combinations carry every night with {wanted} and none beats them, from {} {currency} ({} kg) to {} kg ({} {currency}).",
                sizing.choices.len(),
                price(cheapest),
                kg(cheapest),
                kg(lightest),
                price(lightest),
            ),
            detail: stopped,
        },
    }
}

fn choices(sized: &SizeAsked<'_>) -> Option<Table> {
    let SizeAsked { plan, catalogue, sizing, .. } = sized;
    if sizing.choices.is_empty() {
        return None;
    }
    let mut table = Table::new("What to buy, from the cheapest to the lightest")
        .number("", "")
        .text("Choice")
        .number("Price", catalogue.currency.clone())
        .number("Weight", "kg")
        .number("Weakest night", "")
        .number("Left at dawn", "");
    for (at, choice) in sizing.choices.iter().take(MOST_ROWS).enumerate() {
        table.row([
            (at + 1).to_string(),
            pieces(choice),
            price(choice),
            kg(choice),
            weakest(choice),
            chance(choice.soc_dawn),
        ]);
    }
    if sizing.choices.len() > MOST_ROWS {
        table.note(format!("{} more are lighter and dearer.", sizing.choices.len() - MOST_ROWS));
    }
    table.note(format!(
        "Wanted: {}. Left at dawn is the least charge at any dawn of the typical trip.",
        chance(plan.dates.confidence)
    ));
    Some(table)
}

fn misses(sized: &SizeAsked<'_>) -> Option<Table> {
    let SizeAsked { plan, catalogue, sizing, .. } = sized;
    if sizing.misses.is_empty() {
        return None;
    }
    let caption = if sizing.choices.is_empty() {
        "The nearest misses, and what fails first"
    } else {
        "Why lighter and cheaper ones fail: the nearest misses"
    };
    let mut table = Table::new(caption)
        .text("Combination")
        .number("Price", catalogue.currency.clone())
        .number("Weight", "kg")
        .number("Weakest night", "")
        .text("Fails first, mostly");
    for choice in &sizing.misses {
        let cells = [price(choice), kg(choice), weakest(choice), fails(choice, plan)];
        table.row([pieces(choice)].into_iter().chain(cells));
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
    if !sized.catalogue.defaults.is_empty() {
        remarks.push(format!(
            "Taken as usual, since the catalogue does not say: {}.",
            sized.catalogue.defaults.join("; ")
        ));
    }
    if !sized.plan.defaults.is_empty() {
        remarks.push(format!(
            "Taken as usual, since the plan does not say: {}.",
            sized.plan.defaults.join("; ")
        ));
    }
    remarks
}

/// Dots nearer than this share of either axis are one.
const GRID: f64 = 60.0;

fn chart(sized: &SizeAsked<'_>) -> Chart {
    let SizeAsked { catalogue, sizing, .. } = sized;
    let front: Vec<(f64, f64)> =
        sizing.choices.iter().map(|choice| (choice.price, choice.kg)).collect();
    let most = |of: fn(&(f64, f64)) -> f64| {
        let failed = sizing.failed.iter().map(|(kg, price)| (*price, *kg));
        failed.chain(front.iter().copied()).map(|point| of(&point)).fold(1.0, f64::max)
    };
    let (most_price, most_kg) = (most(|point| point.0), most(|point| point.1));
    let mut seen = HashSet::new();
    let failed: Vec<(f64, f64)> = sizing
        .failed
        .iter()
        .map(|&(kg, price)| (price, kg))
        .filter(|(price, kg)| {
            let cell = |share: f64| (GRID * share).round() as i64;
            seen.insert((cell(price / most_price), cell(kg / most_kg)))
        })
        .collect();
    let mut panel = Panel::new("Weight (kg)");
    panel.height_px = 300.0;
    panel.layers = vec![Layer::dots("fails", Ink::Quiet, failed)];
    if !front.is_empty() {
        panel.layers.push(Layer::steps("", Ink::Three, front.clone()));
        panel.layers.push(Layer::dots("carries, not beaten", Ink::Three, front.clone()));
    }
    panel.notes = front
        .iter()
        .enumerate()
        .map(|(at, &at_point)| Note { at: at_point, text: (at + 1).to_string(), ink: Ink::Three })
        .collect();
    let told: Vec<String> = sizing
        .choices
        .iter()
        .map(|choice| format!("{} at {} kg", price(choice), kg(choice)))
        .collect();
    let description = if told.is_empty() {
        "No combination carries every night.".to_owned()
    } else {
        format!("Those that carry and are not beaten: {}.", listed(&told))
    };
    Chart {
        title: "Weight against price".to_owned(),
        description,
        x: XAxis::Number { title: format!("Price ({})", catalogue.currency) },
        panels: vec![panel],
        spans: Vec::new(),
        marks: Vec::new(),
    }
}
