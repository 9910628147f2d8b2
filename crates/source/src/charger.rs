//! Mains, vehicle and generator chargers: a current, a profile, and when they are there.

use jiff::Timestamp;

use crate::{Error, Profile};
use quantity::within;

/// A charger of constant current, then constant voltage.
#[derive(Debug, Clone, PartialEq)]
pub struct Charger {
    current_a: f64,
    profile: Profile,
    present: Vec<(Timestamp, Timestamp)>,
}

impl Charger {
    /// A charger that gives a current and ends the charge by a profile, while mains or engine are
    /// there: stretches of time from one instant up to another.
    ///
    /// # Errors
    /// When the current can't be.
    pub fn new(
        current_a: f64,
        profile: Profile,
        mut present: Vec<(Timestamp, Timestamp)>,
    ) -> Result<Self, Error> {
        present.sort();
        Ok(Self {
            current_a: within("the charger's current", current_a, (0.0, 1e4), "A")?,
            profile,
            present,
        })
    }

    /// Current it offers at an instant, before the stage's voltage limit.
    #[must_use]
    pub fn output_a(&self, at: Timestamp) -> f64 {
        let there = self.present.iter().any(|(from, to)| (*from..*to).contains(&at));
        if there { self.current_a } else { 0.0 }
    }

    /// How it ends a charge.
    #[must_use]
    pub fn profile(&self) -> &Profile {
        &self.profile
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_charger_gives_only_while_it_is_there() {
        let at = |text: &str| text.parse::<Timestamp>().unwrap();
        let engine = vec![(at("2026-10-10T08:00Z"), at("2026-10-10T10:00Z"))];
        let charger = Charger::new(20.0, Profile::AGM, engine).unwrap();
        for (when, expect_a) in [
            ("2026-10-10T07:59:59Z", 0.0),
            ("2026-10-10T08:00Z", 20.0),
            ("2026-10-10T09:59:59Z", 20.0),
            ("2026-10-10T10:00Z", 0.0),
        ] {
            assert_eq!(charger.output_a(at(when)), expect_a, "{when}");
        }
        assert!(Charger::new(-1.0, Profile::AGM, Vec::new()).is_err());
    }
}
