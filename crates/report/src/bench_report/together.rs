//! The discharges of a bench taken together, as repeats of one test, and what they say about the
//! label.

use bench::{Claim, Discharge, Repeats, RunKind};
use quantity::uncertainty::Verdict;
use quantity::{significant, with_uncertainty};

use super::{Tested, runs};
use crate::chart::{Ink, Row, Rows};
use crate::page::Tone;
use crate::table::Table;
use crate::words::{NONE, chance, file_name, fixed, percent, short};

/// Discharges as repeats; one alone is a repeat of none.
pub(super) struct Together<'a> {
    names: Vec<&'a str>,
    discharges: Vec<&'a Discharge>,
    repeats: Repeats,
    claim: Option<Claim>,
    /// Whether every record's meter is known; where one is not, its gain is no part of what is said.
    has_meters: bool,
}

impl<'a> Together<'a> {
    pub(super) fn of(tested: &'a [Tested<'a>]) -> Option<Together<'a>> {
        let (names, discharges): (Vec<&str>, Vec<&Discharge>) = runs(tested)
            .filter(|(_, run)| run.kind == RunKind::Discharge)
            .filter_map(|(test, run)| Some((file_name(&test.record.file), run.discharge.as_ref()?)))
            .unzip();
        let repeats = Repeats::of_capacity(&discharges)?;
        let rated_ah = tested.iter().find_map(|test| test.settings.rated_ah);
        let claim = rated_ah.map(|rated_ah| repeats.claim(rated_ah));
        let has_meters = tested.iter().all(|test| test.settings.instrument.is_some());
        Some(Together { names, discharges, repeats, claim, has_meters })
    }

    /// How many there are.
    pub(super) fn count(&self) -> usize {
        self.discharges.len()
    }

    /// Whether there is more than one.
    pub(super) fn are_several(&self) -> bool {
        self.count() > 1
    }

    pub(super) fn tone(&self) -> Tone {
        match self.claim.map(|claim| claim.verdict) {
            Some(Verdict::Meets) => Tone::Good,
            Some(Verdict::FallsShort) => Tone::Bad,
            Some(Verdict::NotSettled) => Tone::Unsure,
            None => Tone::Plain,
        }
    }

    /// The mean, in one sentence.
    pub(super) fn answer(&self) -> String {
        let mean = with_uncertainty(self.repeats.mean, self.repeats.u_95, "Ah");
        let label = self.claim.map_or_else(String::new, |claim| {
            format!(", {} of the label", percent(self.repeats.mean / claim.claimed))
        });
        format!("{} discharges delivered {mean} on average{label}.", self.repeats.n)
    }

    /// What speaks against taking them as repeats; empty if nothing does.
    pub(super) fn objection(&self) -> String {
        let Some([least_w, most_w]) = Repeats::unlike_loads_w(&self.discharges) else {
            return String::new();
        };
        format!(
            "The loads were not alike ({} to {} W on average), and a pack gives less at a heavier one: as repeats of one test they say little.",
            significant(least_w, 3),
            significant(most_w, 3)
        )
    }

    /// What that says about the label, in one sentence; empty without a label.
    pub(super) fn verdict(&self) -> String {
        let Some(claim) = self.claim else { return String::new() };
        let label = format!("{} Ah", short(claim.claimed));
        let sure = if self.has_meters {
            "with 95 % confidence"
        } else {
            "if the meter is right: its accuracy is not given"
        };
        match claim.verdict {
            Verdict::Meets => format!("It meets its label of {label} ({sure})."),
            Verdict::FallsShort => format!("It falls short of its label of {label} ({sure})."),
            Verdict::NotSettled => {
                let how = match claim.more_runs {
                    Some(1) => "one more run like these would settle it".to_owned(),
                    Some(more) => format!("{more} more runs like these would settle it"),
                    None if self.repeats.spread.is_none() => {
                        "a second run would tell how far it spreads".to_owned()
                    }
                    None => "no number of runs with this meter would settle it, since its own error is wider than what is missing".to_owned(),
                };
                format!("Whether it meets its label of {label} is not settled: {how}.")
            }
        }
    }

    /// The figures behind the mean and the verdict.
    pub(super) fn table(&self) -> Table {
        let repeats = &self.repeats;
        let ah = |value: f64| format!("{} Ah", significant(value, 2));
        let mut table = Table::facts("All discharges together, as repeats of one test").text("");
        let mut row = |name: &str, value: String, remark: String| {
            table.row([name.to_owned(), value, remark]);
        };
        row("Discharges", repeats.n.to_string(), String::new());
        let mean = with_uncertainty(repeats.mean, repeats.u_95, "Ah");
        row("Mean", mean, "95 % interval".to_owned());
        row(
            "Spread",
            repeats.spread.map_or_else(|| NONE.to_owned(), ah),
            "standard deviation".into(),
        );
        row("From the runs", ah(repeats.u_runs), "standard uncertainty of the mean".into());
        row("From the meter", ah(repeats.u_meter), "the same in all runs".into());
        if let Some(furthest) = repeats.furthest {
            let name = self.names.get(furthest.at).copied().unwrap_or(NONE).to_owned();
            let remark = if furthest.is_outlier() {
                "further out than chance explains; it is kept"
            } else {
                "no further out than chance explains"
            };
            row("Furthest from the mean", name, remark.to_owned());
        }
        if let Some(claim) = self.claim {
            let label = format!("label {} Ah", short(claim.claimed));
            row("Verdict on the label", claim.verdict.to_string(), label);
            row("Chance that it is met", chance(claim.probability), String::new());
            row("Guard band", ah(claim.guard_band), "JCGM 106".to_owned());
        }
        table
    }

    /// Each discharge against the mean and the label.
    pub(super) fn picture(&self) -> Rows {
        let rows = self.names.iter().zip(&self.discharges).map(|(name, discharge)| Row {
            label: (*name).to_owned(),
            depth: 0,
            detail: String::new(),
            from: Some(self.repeats.mean),
            at: discharge.capacity_ah,
            least: self.claim.map(|claim| claim.claimed),
            value: format!("{} Ah", fixed(discharge.capacity_ah, 2)),
            ink: Ink::One,
        });
        Rows {
            title: "Each discharge".into(),
            description: self.answer(),
            axis: "Charge delivered (Ah)".into(),
            range: None,
            rows: rows.collect(),
        }
    }
}

pub(super) const PICTURE: &str =
    "A line leads from the mean of all to each discharge; a dashed tick is the label.";
