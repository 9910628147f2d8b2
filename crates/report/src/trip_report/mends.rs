//! What would mend a trip: the ladder of single changes, and what to switch off.

use plan::Plan;
use trip::{Fix, Forecast, Shedding};

use crate::chart::{Ink, Row, Rows};
use crate::table::Table;
use crate::words::chance;

/// Changes that were tried, and what to switch off.
#[derive(Debug, Clone, Copy)]
pub struct Mends<'a> {
    /// Single changes, best first.
    pub fixes: &'a [Fix],
    /// What to switch off, where the plan gives an order and there is need.
    pub shedding: Option<&'a Shedding>,
}

/// So many rungs are shown; below them little is gained.
const RUNGS: usize = 12;
/// A change that gains less than this is not worth a rung.
const LEAST_GAIN: f64 = 0.005;

impl Mends<'_> {
    fn worth(&self) -> impl Iterator<Item = &Fix> {
        self.fixes.iter().filter(|fix| fix.gain >= LEAST_GAIN).take(RUNGS)
    }

    /// One sentence where nothing helps, or on what was left out.
    pub(super) fn note(&self) -> String {
        let shown = self.worth().count();
        if shown == 0 {
            return "None of the single changes that were tried makes the weakest night noticeably surer."
                .to_owned();
        }
        let others = self.fixes.len() - shown;
        format!(
            "Each change alone, with the same random trips. {others} more were tried and gain less."
        )
    }

    pub(super) fn table(&self) -> Option<Table> {
        self.worth().next()?;
        let mut table = Table::new("What would mend it, by what it does for the weakest night")
            .text("Change")
            .number("Weakest night", "")
            .number("Gain", "points");
        for fix in self.worth() {
            table.row([
                fix.change.clone(),
                chance(fix.weakest()),
                format!("{:+.0}", 100.0 * fix.gain),
            ]);
        }
        table.note(self.note());
        Some(table)
    }

    pub(super) fn ladder(&self, plan: &Plan, forecast: &Forecast) -> Option<Rows> {
        let before = forecast.nights.iter().map(|night| night.chance.share).fold(1.0, f64::min);
        let percent = |share: f64| 100.0 * share;
        let rows: Vec<Row> = self
            .worth()
            .map(|fix| Row {
                label: fix.change.clone(),
                depth: 0,
                detail: String::new(),
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
