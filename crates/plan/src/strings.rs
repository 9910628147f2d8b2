//! How a pack is used: several equal ones as one, and no longer new.

use pack::Pack;
use quantity::Kind;

use crate::error::PlanError;
use crate::section::Section;

/// Equal packs, or strings of them, side by side.
pub(crate) struct Strings {
    /// One of them.
    pub(crate) one: Pack,
    pub(crate) count: u32,
    /// All of them as one.
    pub(crate) all: Pack,
}

impl Strings {
    pub(crate) fn single(pack: Pack) -> Self {
        Strings { one: pack.clone(), count: 1, all: pack }
    }
}

/// What a plan says of it.
pub(crate) struct Used {
    in_series: u32,
    in_parallel: u32,
    /// Factors on capacity and resistances.
    aged: [f64; 2],
}

impl Used {
    /// More of them in a row or side by side is no 12 V equipment.
    const MOST: i64 = 100;

    pub(crate) fn read(section: &mut Section<'_>) -> Result<Self, PlanError> {
        let mut count = |key| {
            let count = section.maybe_count(key, 1..=Self::MOST)?.unwrap_or(1);
            Ok(u32::try_from(count).unwrap_or(1))
        };
        let (in_series, in_parallel) = (count("in_series")?, count("in_parallel")?);
        let mut aged = [1.0, 1.0];
        if let Some(mut table) = section.maybe_section("aged")? {
            aged[0] = table.maybe("capacity", Kind::Fraction)?.unwrap_or(1.0);
            aged[1] = table.maybe_number("resistance", 0.1..=100.0)?.unwrap_or(1.0);
            if aged[0] <= 0.0 {
                return Err(table.error("capacity", "some capacity is left, such as \"85 %\""));
            }
            table.finish()?;
        }
        Ok(Self { in_series, in_parallel, aged })
    }

    pub(crate) fn apply(&self, section: &Section<'_>, pack: Pack) -> Result<Strings, PlanError> {
        let [capacity, resistance] = self.aged;
        if (self.in_series, self.in_parallel, self.aged) == (1, 1, [1.0, 1.0]) {
            return Ok(Strings::single(pack));
        }
        let wired = |count: u32| {
            pack.aged(capacity, resistance).and_then(|aged| aged.bank(self.in_series, count))
        };
        wired(1)
            .and_then(|one| {
                Ok(Strings { one, count: self.in_parallel, all: wired(self.in_parallel)? })
            })
            .map_err(|error| section.error_here(error.to_string()))
    }
}
