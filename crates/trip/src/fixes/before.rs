//! A plan as it is, and how changes to it are judged: draw by draw against the same random numbers.

use plan::Plan;

use super::{Change, Fix, weakest};
use crate::answer::{Chance, Forecast, Settings};
use crate::calendar::{Calendar, Evening, FullHour};
use crate::error::TripError;
use crate::forecast::{Trial, trial};

/// The plan as it is, against which changes are judged.
pub(super) struct Before<'a> {
    pub(super) plan: &'a Plan,
    pub(super) settings: Settings,
    pub(super) calendar: Calendar,
    trial: Trial,
}

impl<'a> Before<'a> {
    pub(super) fn new(
        plan: &'a Plan,
        forecast: &Forecast,
        settings: Settings,
    ) -> Result<Self, TripError> {
        let calendar = Calendar::new(&plan.site.place, &plan.site.zone, plan.dates.evenings())?;
        let trial = Trial {
            nights: forecast.nights.iter().map(|night| night.chance).collect(),
            carries: forecast.carries.clone(),
        };
        Ok(Before { plan, settings, calendar, trial })
    }

    pub(super) fn judge(&self, change: Change) -> Result<Fix, TripError> {
        let after = trial(&change.plan, self.settings)?;
        Ok(self.compare(change, after))
    }

    pub(super) fn compare(&self, change: Change, after: Trial) -> Fix {
        let (before, after_at) = (weakest_at(&self.trial.nights), weakest_at(&after.nights));
        let gain = weakest(&after.nights) - weakest(&self.trial.nights);
        let (low, high) =
            after.carries.pairs(after_at, &self.trial.carries, before).difference_95();
        let mut fix = Fix {
            change: change.text,
            nights: after.nights,
            gain,
            gain_95: [low, high],
            kg: change.kg,
            price: change.price,
            is_listed: change.spares_pack,
            caution: change.caution,
        };
        fix.is_listed |= fix.makes_difference();
        fix
    }

    pub(super) fn weakest_evening(&self) -> Option<&Evening> {
        self.calendar.evenings.get(weakest_at(&self.trial.nights))
    }

    /// The latest of some hours, in order, from which on it is enough to ease something, if any is:
    /// later is never surer.
    pub(super) fn latest_enough(
        &self,
        hours: &[FullHour],
        ease: impl Fn(FullHour) -> Option<Plan>,
    ) -> Result<Option<Late>, TripError> {
        let few = Settings { draws: self.settings.draws.min(FEW_DRAWS), ..self.settings };
        let try_from = |hour: FullHour, settings: Settings| -> Result<Option<Late>, TripError> {
            let Some(plan) = ease(hour) else { return Ok(None) };
            let trial = trial(&plan, settings)?;
            let is_enough = weakest(&trial.nights) >= self.wanted();
            Ok(is_enough.then_some(Late { hour, plan, trial }))
        };
        let (mut enough, mut too_late) = (0, hours.len());
        while enough < too_late {
            let middle = (enough + too_late) / 2;
            match try_from(hours[middle], few)? {
                Some(_) => enough = middle + 1,
                None => too_late = middle,
            }
        }
        // where few draws were too kind, an hour earlier
        for hour in hours[..enough].iter().rev() {
            if let Some(late) = try_from(*hour, self.settings)? {
                return Ok(Some(late));
            }
        }
        Ok(None)
    }

    pub(super) fn wanted(&self) -> f64 {
        self.plan.dates.confidence
    }

    pub(super) fn is_enough(&self, fix: &Fix) -> bool {
        fix.weakest() >= self.wanted()
    }

    /// Whether there is need of mending at all.
    pub(super) fn falls_short(&self) -> bool {
        weakest(&self.trial.nights) < self.wanted()
    }
}

/// Something eased from an hour on, and what that does.
pub(super) struct Late {
    pub(super) hour: FullHour,
    pub(super) plan: Plan,
    pub(super) trial: Trial,
}

/// An hour is looked for with so many draws; what is done from then on is judged by all.
const FEW_DRAWS: usize = 256;

/// The first of the nights that are least sure.
fn weakest_at(nights: &[Chance]) -> usize {
    let share = |night: &usize| nights[*night].share;
    (0..nights.len()).min_by(|a, b| share(a).total_cmp(&share(b))).unwrap_or(0)
}
