//! A year of nights at a glance, gathered by month or week.

use jiff::civil::{Date, Weekday};
use sky::{Phase, SeasonNight};

/// By what nights are gathered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Per {
    /// Weeks from Monday.
    Week,
    /// Calendar months.
    Month,
}

/// The nights of a month or week; hours and light are means over its nights.
#[derive(Debug, Clone, PartialEq)]
pub struct Stretch {
    /// Its first evening.
    pub from: Date,
    /// Its last.
    pub to: Date,
    /// From sunset to sunrise (h); 24 where the sun stays down, 0 where it stays up.
    pub night_h: f64,
    /// With the sun below −18° (h).
    pub dark_h: f64,
    /// Of these without the moon (h).
    pub moonless_h: f64,
    /// The evening with most hours dark and moonless, and how many; none where there are none.
    pub darkest: Option<(Date, f64)>,
    /// Clear-sky light of a day on the panel's plane, behind its cover (Wh/m²).
    pub clear_wh_m2: f64,
}

/// From sunset to sunrise (h); 24 where the sun stays down, 0 where it stays up.
#[must_use]
pub fn night_h(night: &SeasonNight) -> f64 {
    let window = &night.night;
    if window.darkest == Phase::Day {
        return 0.0;
    }
    let from = window.sunset.unwrap_or(window.start);
    let to = window.sunrise.unwrap_or(window.end);
    to.duration_since(from).as_secs_f64() / 3600.0
}

/// Nights, in order of their evenings, gathered.
#[must_use]
pub fn gathered(nights: &[SeasonNight], per: Per) -> Vec<Stretch> {
    nights.chunk_by(|a, b| key(a.evening, per) == key(b.evening, per)).filter_map(stretch).collect()
}

/// What the nights of one stretch share.
fn key(evening: Date, per: Per) -> (i16, i8, i8) {
    match per {
        Per::Month => (evening.year(), evening.month(), 0),
        Per::Week => {
            let back = i64::from(evening.weekday().since(Weekday::Monday));
            let monday = evening.saturating_sub(jiff::Span::new().days(back));
            (monday.year(), monday.month(), monday.day())
        }
    }
}

fn stretch(nights: &[SeasonNight]) -> Option<Stretch> {
    let (first, last) = (nights.first()?, nights.last()?);
    let mean =
        |of: &dyn Fn(&SeasonNight) -> f64| nights.iter().map(of).sum::<f64>() / nights.len() as f64;
    let moonless_h = |night: &SeasonNight| night.night.moon.moonless_dark_h;
    let darkest = nights.iter().max_by(|a, b| moonless_h(a).total_cmp(&moonless_h(b)));
    Some(Stretch {
        from: first.evening,
        to: last.evening,
        night_h: mean(&night_h),
        dark_h: mean(&|night| night.night.dark_h),
        moonless_h: mean(&moonless_h),
        darkest: darkest
            .map(|night| (night.evening, moonless_h(night)))
            .filter(|(_, hours)| *hours > 0.0),
        clear_wh_m2: mean(&|night| night.clear_wh_m2),
    })
}

#[cfg(test)]
mod tests {
    use sky::{Aim, Facing, Place, Surroundings, season};

    use super::*;

    #[test]
    fn every_night_is_in_one_stretch() {
        let around = Surroundings::at(Place::new(56.9, -4.2, 430.0).unwrap());
        // 1 October 2026 is a Thursday
        let nights =
            season(&around, &Aim::Fixed(Facing::FLAT), Date::constant(2026, 10, 1), 62).unwrap();
        let months = gathered(&nights, Per::Month);
        let ends: Vec<_> = months.iter().map(|month| (month.from, month.to)).collect();
        let date = |month, day| Date::constant(2026, month, day);
        assert_eq!(
            ends,
            [(date(10, 1), date(10, 31)), (date(11, 1), date(11, 30)), (date(12, 1), date(12, 1))]
        );
        let weeks = gathered(&nights, Per::Week);
        assert_eq!((weeks[0].to, weeks[1].from), (date(10, 4), date(10, 5)));
        assert!(weeks.windows(2).all(|pair| pair[0].to.tomorrow().unwrap() == pair[1].from));
        // new moon on 10 October and 9 November 2026
        let (darkest, hours) = months[0].darkest.unwrap();
        assert!(
            (date(10, 7)..=date(10, 17)).contains(&darkest) && hours > 9.0,
            "{darkest} {hours}"
        );
        assert!(months[1].night_h > months[0].night_h);
        assert!(months[0].moonless_h < months[0].dark_h);
        assert!(months[1].clear_wh_m2 < months[0].clear_wh_m2);
    }

    #[test]
    fn where_the_sun_stays_up_or_down() {
        let around = Surroundings::at(Place::new(78.2, 15.6, 0.0).unwrap());
        let of = |month| {
            let first = Date::constant(2026, month, 10);
            let nights = season(&around, &Aim::Fixed(Facing::FLAT), first, 3).unwrap();
            gathered(&nights, Per::Month)[0].clone()
        };
        assert_eq!((of(6).night_h, of(6).darkest), (0.0, None));
        assert_eq!((of(12).night_h, of(12).clear_wh_m2), (24.0, 0.0));
    }
}
