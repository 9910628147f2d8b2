//! Which single cause explains a record best, and how sure that is.
//!
//! Each suspect is tried alone, with whatever ordinary scatter fits. What then is left, compared with
//! the others, and how far off such a thing usually is, say how sure that is: a posterior chance with
//! one hypothesis a suspect, and one for "several at once, or something else".

use rayon::prelude::*;

use super::Explanation;
use super::cause::Candidate;
use super::drawn::Drawn;
use super::fit::{Fit, Fitter};

/// How probable it is beforehand that none of the suspects alone is it (common practice, no source).
const ELSE: f64 = 1e-3;
/// What takes less away than this share of what the most telling takes can't be it.
const TELLING: f64 = 0.2;
/// Beyond so many standard deviations one amount is as improbable as another.
const SURPRISING: f64 = 5.0;
/// The suspects are fitted anew if the fit without them has become so much better.
const BETTER: f64 = 1.0;

/// The record without any suspect, and with each alone.
pub(super) fn fits<'c>(
    fitter: &Fitter<'_>,
    drawn: &Drawn,
    suspects: &'c [Candidate],
) -> (Fit<'static>, Vec<Fit<'c>>) {
    let alone = |ordinary: &Fit<'c>| -> Vec<Fit<'c>> {
        suspects.par_iter().map(|suspect| fitter.with_cause(suspect, ordinary)).collect()
    };
    let first = fitter.ordinary(drawn);
    let fits = alone(&first);
    let distance = first.distance;
    let ordinary = fitter.ordinary_again(first, &fits);
    // with a better beginning each suspect may do better too
    let fits = if ordinary.distance < distance - BETTER { alone(&ordinary) } else { fits };
    (ordinary, fits)
}

/// The suspects that explain anything, the surest first, and how probable it is that none alone is
/// it.
pub(super) fn ranked(
    fitter: &Fitter<'_>,
    alone: &[Fit<'_>],
    ordinary: &Fit<'_>,
) -> (Vec<Explanation>, f64) {
    let count = fitter.yardstick.count;
    let cause = |fit: &Fit<'_>| fit.place.causes.first().map(|cause| (cause.0.clone(), cause.1));
    // how good model and meter really are is known but roughly: what is left stands for the variance
    let log = |left: f64| -0.5 * count * (left / count).ln_1p();
    let weight = |fit: &Fit<'_>, candidate: &Candidate, amount: f64| {
        // wide tails: what surprises may do so by any amount
        let deviations = candidate.deviations(amount).abs().min(SURPRISING);
        log(fit.distance) - (deviations * deviations).ln_1p()
    };
    let takes = |fit: &Fit<'_>| ordinary.distance - fit.distance;
    let most_taken = alone.iter().map(takes).fold(0.0, f64::max);
    let telling: Vec<(Candidate, f64, f64)> = alone
        .iter()
        .filter(|fit| takes(fit) > TELLING * most_taken)
        .filter_map(|fit| {
            let (candidate, amount) = cause(fit)?;
            let weight = weight(fit, &candidate, amount);
            Some((candidate, amount, weight))
        })
        .collect();
    let other = log(count) + ELSE.ln();
    let most = telling.iter().map(|telling| telling.2).fold(other, f64::max);
    let share = |log: f64| (log - most).exp();
    let sum = telling.iter().map(|telling| share(telling.2)).sum::<f64>() + share(other);
    let all = fitter.bare(&[]);
    let mut explanations: Vec<Explanation> = telling
        .into_iter()
        .map(|(candidate, amount, weight)| Explanation {
            what: candidate.what.clone(),
            amount,
            explains: (1.0 - fitter.bare(&[(&candidate, amount)]) / all).max(0.0),
            chance: share(weight) / sum,
            deviations: candidate.deviations(amount),
            is_allowed_for: candidate.is_allowed_for,
        })
        .collect();
    explanations
        .sort_by(|a, b| b.chance.total_cmp(&a.chance).then(b.explains.total_cmp(&a.explains)));
    (explanations, share(other) / sum)
}

/// The best fit with one more suspect.
pub(super) fn beside<'c>(
    fitter: &Fitter<'_>,
    fit: &Fit<'c>,
    suspects: &'c [Candidate],
) -> Option<Fit<'c>> {
    let is_in = |suspect: &Candidate| fit.place.causes.iter().any(|(cause, _)| *cause == suspect);
    suspects
        .par_iter()
        .filter(|suspect| !is_in(suspect))
        .map(|suspect| fitter.with_another(fit, suspect))
        .min_by(|a, b| a.distance.total_cmp(&b.distance))
        .map(|both| fitter.again(both))
}
