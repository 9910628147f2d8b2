//! What would mend a trip: the ladder of single changes, and what to switch off.

use plan::Plan;
use quantity::significant;
use trip::{Fix, Forecast, Shedding};

use crate::chart::{Ink, Row, Rows};
use crate::table::{NO_BREAK, Table};
use crate::words::{NONE, chance, fixed, price};

/// Changes that were tried, and what to switch off.
#[derive(Debug, Clone, Copy)]
pub struct Mends<'a> {
    /// Single changes, best first.
    pub fixes: &'a [Fix],
    /// What to switch off, where the plan gives an order and there is need.
    pub shedding: Option<&'a Shedding>,
}

/// No list is longer than this.
const MOST_ROWS: usize = 20;

impl<'a> Mends<'a> {
    fn listed(&self) -> impl Iterator<Item = &'a Fix> {
        self.fixes.iter().filter(|fix| fix.is_listed).take(MOST_ROWS)
    }

    /// What to know of the list; one sentence where nothing helps.
    pub(super) fn note(&self, plan: &Plan) -> String {
        let tried = self.fixes.len();
        if self.listed().next().is_none() {
            return format!(
                "None of the changes that were tried ({tried}) makes a difference to the weakest night."
            );
        }
        let is_enough = |fix: &Fix| fix.weakest() >= plan.dates.confidence;
        let alone = if self.listed().any(is_enough) {
            String::new()
        } else {
            format!(" None of them alone brings it to {}.", chance(plan.dates.confidence))
        };
        let idle = self.fixes.iter().filter(|fix| !fix.makes_difference()).count();
        let make = if idle == 1 { "makes" } else { "make" };
        format!(
            "Each change alone, with the same random trips; ± is its 95 % interval. Weight and price are what it adds, as far as the plan tells, of a cable the copper alone. {tried} changes were tried; {idle} of them {make} no difference. Of each device the mildest that is enough is shown, or else the one that gains most.{alone}"
        )
    }

    /// What to heed before doing what is shown.
    pub(super) fn cautions(&self) -> Vec<String> {
        let mut cautions: Vec<String> = Vec::new();
        for caution in self.listed().filter_map(|fix| fix.caution) {
            if !cautions.iter().any(|known| known == caution) {
                cautions.push(caution.to_owned());
            }
        }
        cautions
    }

    pub(super) fn table(&self, plan: &Plan) -> Option<Table> {
        self.listed().next()?;
        let mut table = Table::new("What would mend it, by what it does for the weakest night")
            .text("Change")
            .number("Weakest night", "")
            .number("Gain", "points")
            .number("Adds", "kg")
            .number("Costs", plan.currency.as_deref().unwrap_or_default());
        for fix in self.listed() {
            table.row([
                fix.change.clone(),
                chance(fix.weakest()),
                gain(fix),
                fix.kg.map_or_else(|| NONE.to_owned(), kg),
                fix.price.map_or_else(|| NONE.to_owned(), price),
            ]);
        }
        table.note(self.note(plan));
        Some(table)
    }

    pub(super) fn ladder(&self, plan: &Plan, forecast: &Forecast) -> Option<Rows> {
        let before = forecast.nights.iter().map(|night| night.chance.share).fold(1.0, f64::min);
        let percent = |share: f64| 100.0 * share;
        let rows: Vec<Row> = self
            .listed()
            .map(|fix| Row {
                label: fix.change.clone(),
                depth: 0,
                detail: format!("{} points; {}", gain(fix), adds(fix, plan.currency.as_deref())),
                from: Some(percent(before)),
                at: percent(fix.weakest()),
                least: Some(percent(plan.dates.confidence)),
                value: chance(fix.weakest()),
                ink: if fix.weakest() >= plan.dates.confidence { Ink::Three } else { Ink::One },
            })
            .collect();
        let first = rows.first()?;
        let description = format!(
            "The chance of the weakest night is {}. Best of {} changes: {}, to {}.",
            chance(before),
            rows.len(),
            first.label,
            first.value
        );
        Some(Rows {
            title: "What each change does for the weakest night".to_owned(),
            description,
            axis: "chance of the weakest night (%)".to_owned(),
            range: Some((0.0, 100.0)),
            rows,
        })
    }

    pub(super) fn shed_table(&self) -> Option<Table> {
        let shedding = self.shedding?;
        let mut table = Table::new("What to switch off to reach dawn").text("Device").text("From");
        for step in &shedding.steps {
            let from = step
                .from
                .map_or_else(|| "dusk on".to_owned(), |from| from.strftime("%H:%M").to_string());
            table.row([step.device.clone(), from]);
        }
        let weakest = shedding.nights.iter().map(|chance| chance.share).fold(1.0, f64::min);
        table.note(if shedding.enough {
            format!("With that the weakest night is carried in {} of trips.", chance(weakest))
        } else {
            format!("Even so the weakest night is carried in only {} of trips.", chance(weakest))
        });
        Some(table)
    }
}

/// A gain in points of a percentage, with its interval: "+28 ± 3".
fn gain(fix: &Fix) -> String {
    let [low, high] = fix.gain_95;
    let half = 50.0 * (high - low);
    let decimals = usize::from(half < 0.95);
    let points = fixed(100.0 * fix.gain, decimals);
    // nothing has no sign
    let plus = if points.contains(|digit| ('1'..='9').contains(&digit)) && fix.gain > 0.0 {
        "+"
    } else {
        ""
    };
    format!("{plus}{points}{NO_BREAK}±{NO_BREAK}{half:.decimals$}")
}

/// A mass in kg: nothing is written as "0".
fn kg(mass_kg: f64) -> String {
    if mass_kg == 0.0 { "0".to_owned() } else { significant(mass_kg, 2) }
}

/// What a change adds, in words: "5.2 kg, 240 crowns".
fn adds(fix: &Fix, currency: Option<&str>) -> String {
    if fix.price == Some(0.0) {
        return "nothing to buy".to_owned();
    }
    let priced = |found: f64| format!("{} {}", price(found), currency.unwrap_or_default());
    match (fix.kg, fix.price) {
        (Some(mass_kg), Some(found)) => format!("{} kg, {}", kg(mass_kg), priced(found)),
        (Some(mass_kg), None) => format!("{} kg, price not known", kg(mass_kg)),
        (None, Some(found)) => format!("{}, weight not known", priced(found)),
        (None, None) => "weight and price not known".to_owned(),
    }
}
