//! What a look back comes to: as forecast, one cause, several, or none alone.

use super::cause::Candidate;
use super::explain;
use super::fit::{Fit, Fitter};
use super::outlying::Outlying;
use super::{Explanation, Finding, Together};

/// A record that parts further from the typical trip than this share of drawn trips did not go as
/// forecast.
const FURTHER: f64 = 0.95;
/// Of the trips that go as the plan allows and yet are called otherwise, so many owe it to a cause
/// that seems to explain them, the rest to their distance.
const BY_CAUSE: f64 = 0.8;
/// A second cause is needed if it takes more away than any would of this share of drawn trips.
const SECOND: f64 = 0.99;
/// A cause is nothing unusual within so many standard deviations.
const UNUSUAL: f64 = 2.0;
/// An explanation is alone if the next is less probable than this share of it.
const RIVAL: f64 = 0.25;

/// What was found of causes.
pub(super) struct Judged {
    pub(super) further_than: f64,
    pub(super) finding: Finding,
    pub(super) explanations: Vec<Explanation>,
    pub(super) other_chance: f64,
    pub(super) together: Option<Together>,
}

/// The explanations that fit about as well as the first.
pub(super) fn rivals(explanations: &[Explanation]) -> impl Iterator<Item = &Explanation> {
    let first = explanations.first().map_or(f64::INFINITY, |first| first.chance);
    explanations.iter().skip(1).filter(move |next| next.chance > RIVAL * first)
}

/// How far out a record is, by its distance or by what the most telling cause takes of it, whichever
/// sets it further apart; an explanation that is nothing unusual sets nothing apart.
fn further_than(
    outlying: &Outlying,
    (ordinary, alone): (&Fit<'_>, &[Fit<'_>]),
    first: Option<&Explanation>,
) -> f64 {
    let is_unusual = first.is_some_and(|first| first.deviations.abs() >= UNUSUAL);
    let taken = alone.iter().map(|fit| ordinary.distance - fit.distance).fold(0.0, f64::max);
    let by_cause = if is_unusual { outlying.takes_less(taken) } else { 0.0 };
    // of two looks one is easily far out: each has its part of what may be
    let share = |nearer: f64, part: f64| 1.0 - (1.0 - nearer) / part;
    share(by_cause, BY_CAUSE)
        .max(share(outlying.nearer(ordinary.distance), 1.0 - BY_CAUSE))
        .max(0.0)
}

fn finding(further_than: f64, explanations: &[Explanation], other_chance: f64) -> Finding {
    let first = explanations.first().filter(|first| first.chance > other_chance);
    match (first, rivals(explanations).next()) {
        _ if further_than < FURTHER => Finding::AsForecast,
        (Some(_), Some(_)) => Finding::Several,
        (Some(_), None) => Finding::Explained,
        (None, _) => Finding::Nothing,
    }
}

impl Judged {
    /// By the record without any cause, `ordinary`, and with each of the suspects alone.
    pub(super) fn of<'c>(
        fitter: &Fitter<'_>,
        (ordinary, alone): (&Fit<'_>, &[Fit<'c>]),
        suspects: &'c [Candidate],
    ) -> Self {
        let (explanations, other_chance) = explain::ranked(fitter, alone, ordinary);
        let outlying = Outlying::new(fitter, ordinary, alone);
        let further_than = further_than(&outlying, (ordinary, alone), explanations.first());
        let finding = finding(further_than, &explanations, other_chance);
        let mut judged =
            Judged { further_than, finding, explanations, other_chance, together: None };
        if finding != Finding::AsForecast {
            judged.look_for_a_second(fitter, &outlying, alone, suspects);
        }
        judged
    }

    /// Whether a second cause is needed beside the first, and which.
    fn look_for_a_second<'c>(
        &mut self,
        fitter: &Fitter<'_>,
        outlying: &Outlying,
        alone: &[Fit<'c>],
        suspects: &'c [Candidate],
    ) {
        let is_first = |fit: &&Fit<'_>| {
            self.explanations.first().is_none_or(|first| {
                fit.place.causes.iter().any(|(cause, _)| cause.what == first.what)
            })
        };
        let nearest = |a: &&Fit<'_>, b: &&Fit<'_>| a.distance.total_cmp(&b.distance);
        let Some(first) = alone.iter().filter(is_first).min_by(nearest) else { return };
        let Some(both) = explain::beside(fitter, first, suspects) else { return };
        let needed = outlying.takes_less(first.distance - both.distance);
        if needed < SECOND {
            return;
        }
        // it is not one alone
        self.finding = Finding::Nothing;
        let left = 1.0 - needed.max(self.other_chance);
        let all = 1.0 - self.other_chance;
        for explanation in &mut self.explanations {
            explanation.chance *= if all > 0.0 { left / all } else { 0.0 };
        }
        self.other_chance = 1.0 - left;
        let is_enough = outlying.nearer(both.distance) < FURTHER;
        if let ([(a, a_amount), (b, b_amount)], true) = (both.place.causes.as_slice(), is_enough) {
            let causes = [(a.what.clone(), *a_amount), (b.what.clone(), *b_amount)];
            let explains = 1.0 - fitter.bare(&both.place.causes) / fitter.bare(&[]);
            self.together = Some(Together { causes, explains });
        }
    }
}
