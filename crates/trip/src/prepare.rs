//! From a plan to the steps of its trip.

use plan::{Plan, Supply};
use rig::Conditions;
use sky::{AirCurve, AirTemperature, DayAir, Steps, Surroundings};
use source::Profile;

use crate::aim::responses;
use crate::calendar::{Calendar, Evening};
use crate::error::TripError;
use crate::harvest::surroundings;
use crate::loads::MOST_DEVICES;
use crate::suns::{PanelSun, Suns};
use crate::timeline::{Block, Held, SAME_S, STEP_S, Set, Step, Timeline, cut};

/// Lays out the nights and the steps of a plan.
pub(crate) fn prepare(plan: &Plan) -> Result<(Calendar, Timeline), TripError> {
    let ground = Ground::of(plan)?;
    let suns = ground.suns().of(&plan.supplies)?;
    let mut timeline = ground.under(&plan.supplies, &suns);
    timeline.limit_charge(&plan.battery.pack.limits);
    Ok((ground.calendar, timeline))
}

/// The nights of a plan and what its gear does in them: all that does not hang on what its sources
/// give.
pub(crate) struct Ground {
    pub(crate) calendar: Calendar,
    ends_s: f64,
    around: Surroundings,
    /// Its steps without any source, cut where chargers come and go.
    bare: Timeline,
}

impl Ground {
    pub(crate) fn of(plan: &Plan) -> Result<Self, TripError> {
        let found = plan.gear.rig.devices().len();
        if found > MOST_DEVICES {
            return Err(TripError::TooManyDevices { found });
        }
        let calendar = Calendar::new(&plan.site.place, &plan.site.zone, plan.dates.evenings())?;
        let uses = device_hours(plan, &calendar);
        let (begins_s, ends_s) = span(&calendar, &uses);
        let air = air_hours(plan, &calendar, ends_s)?;
        let evenings = calendar.evenings.iter().flat_map(|evening| [evening.from_s, evening.to_s]);
        let chargers = charger_hours(&plan.supplies, &calendar);
        let hours = uses.iter().flatten().chain(chargers.iter().map(|(hours, _)| hours));
        let events_s: Vec<f64> =
            evenings.chain(hours.flat_map(|hours| [hours.from_s, hours.to_s])).collect();
        let mut bare = Timeline { nights: calendar.evenings.len(), ..Timeline::default() };
        for (from_s, dt_s, count) in cut(begins_s, ends_s, &events_s) {
            let middle_s = from_s + 0.5 * dt_s * count as f64;
            let first = bare.steps.len();
            bare.steps.extend(
                (0..count)
                    .map(|index| Step { at_s: from_s + dt_s * index as f64, ..Step::default() }),
            );
            let on = on_at(&uses, middle_s);
            let night = calendar.night_of(middle_s);
            let waiting = on
                .iter()
                .zip(&plan.gear.only_when_clear)
                .any(|(used, waits)| *waits && used.is_some());
            let air_now = follows_air(plan, &on).then(|| conditions_in(plan, &air, middle_s));
            let night_of_set = (waiting || air_now.is_some()).then_some(night);
            let set = Set { uses: on, night: night_of_set, air: air_now };
            let known = bare.sets.iter().position(|known| *known == set);
            let set = known.unwrap_or_else(|| {
                bare.sets.push(set);
                bare.sets.len() - 1
            });
            let to_s = from_s + dt_s * count as f64;
            let starts = |evening: &Evening| (evening.from_s - from_s).abs() < 1.0;
            let ends = |evening: &Evening| (evening.to_s - to_s).abs() < 1.0;
            let ended = |evening: &Evening| (evening.to_s - from_s).abs() < 1.0;
            bare.blocks.push(Block {
                steps: first..first + count,
                dt_s,
                set,
                night,
                air_c: air_at(&air, middle_s),
                supplied: false,
                hold_v: 0.0,
                float: None,
                no_charge_below_c: f64::NEG_INFINITY,
                most_charge_a: f64::INFINITY,
                dusk_of: calendar.evenings.iter().position(starts),
                dawn_of: calendar.evenings.iter().position(ends),
                restart: calendar.evenings.iter().any(ended),
                aims: Vec::new(),
            });
        }
        let around = surroundings(plan, &AirTemperature::Hourly(air));
        Ok(Ground { calendar, ends_s, around, bare })
    }

    /// What panels may give here.
    pub(crate) fn suns(&self) -> Suns {
        let count = (self.ends_s / STEP_S).ceil() as usize + 1;
        let steps = Steps { start: self.calendar.noon, step_s: STEP_S, count };
        Suns::new(self.around.clone(), steps)
    }

    /// The steps with sources: `suns` are those of the panels among them, in order.
    pub(crate) fn under(&self, supplies: &[Supply], suns: &[PanelSun]) -> Timeline {
        let chargers = charger_hours(supplies, &self.calendar);
        let (hold_v, float) =
            (supplies.iter().map(Supply::absorb_v).fold(0.0, f64::max), float(supplies));
        let held = waits(supplies).into_iter().map(|below_c| Held { below_c, steps: Vec::new() });
        let moved: Vec<_> = suns.iter().map(PanelSun::moved).collect();
        let mut timeline = Timeline { held: held.collect(), ..self.bare.clone() };
        for block in &mut timeline.blocks {
            for step in &mut timeline.steps[block.steps.clone()] {
                let (at_s, dt_s) = (step.at_s, block.dt_s);
                *step = step_of((suns, &chargers), at_s, dt_s, f64::INFINITY);
                block.supplied |= step.is_supplied();
                for held in &mut timeline.held {
                    held.steps.push(step_of((suns, &chargers), at_s, dt_s, held.below_c));
                }
            }
            (block.hold_v, block.float) = (hold_v, float);
            if let (true, Some(first)) = (block.supplied, timeline.steps.get(block.steps.start)) {
                let middle_s = first.at_s + 0.5 * block.dt_s * block.steps.len() as f64;
                block.aims = responses(&moved, middle_s);
            }
        }
        timeline
    }
}

/// The temperatures of the pack that sources wait for, coldest first.
fn waits(supplies: &[Supply]) -> Vec<f64> {
    let mut waits: Vec<f64> = supplies.iter().filter_map(Supply::charges_above_c).collect();
    waits.sort_by(f64::total_cmp);
    waits.dedup();
    waits
}

/// What the sources give in a step, without those that wait for a pack as warm as this or warmer.
fn step_of(
    (suns, chargers): (&[PanelSun], &[(Hours, f64)]),
    at_s: f64,
    dt_s: f64,
    below_c: f64,
) -> Step {
    let middle_s = at_s + 0.5 * dt_s;
    let mut step = Step { at_s, ..Step::default() };
    for sun in suns.iter().filter(|sun| sun.waits_c() < below_c) {
        sun.add_to(&mut step, middle_s);
    }
    let there = |hours: &Hours| (hours.from_s..hours.to_s).contains(&middle_s);
    step.charger_a = chargers
        .iter()
        .filter(|(hours, waits_c)| *waits_c < below_c && there(hours))
        .map(|(hours, _)| hours.value)
        .sum();
    step
}

/// From the first sunset to the last sunrise, and out to the ends of what runs across them: a
/// radio that is on from 20:00 is not left out until the sun has set at 20:02.
fn span(calendar: &Calendar, uses: &[Vec<Hours>]) -> (f64, f64) {
    let across = |at_s: f64| {
        let nightly = |hours: &&Hours| hours.to_s - hours.from_s < LONGEST_NIGHTLY_S;
        // what only begins then does not run across
        let runs = move |hours: &&Hours| hours.from_s < at_s - SAME_S && at_s < hours.to_s;
        uses.iter().flatten().filter(nightly).filter(runs)
    };
    let (sunset_s, sunrise_s) = (calendar.begins_s(), calendar.ends_s());
    (
        across(sunset_s).map(|hours| hours.from_s).fold(sunset_s, f64::min),
        across(sunrise_s).map(|hours| hours.to_s).fold(sunrise_s, f64::max),
    )
}

/// What runs longer than this at a time is on by day too, and has no beginning or end of its own.
const LONGEST_NIGHTLY_S: f64 = 20.0 * 3600.0;

/// A stretch of time in which something is so.
struct Hours {
    from_s: f64,
    to_s: f64,
    /// Index of the use, or a charger's current.
    value: f64,
}

/// For each device the stretches of its uses; the last use in the list counts.
fn device_hours(plan: &Plan, calendar: &Calendar) -> Vec<Vec<Hours>> {
    let of_device = |device: &rig::Device| {
        let mut hours = Vec::new();
        for (index, used) in device.uses.iter().enumerate() {
            for evening in &calendar.evenings {
                let spans = calendar.moments(evening, |moments| used.when.intervals(moments));
                hours.extend(spans.into_iter().map(|(from_s, to_s)| Hours {
                    from_s,
                    to_s,
                    value: index as f64,
                }));
            }
        }
        hours
    };
    plan.gear.rig.devices().iter().map(of_device).collect()
}

/// When chargers are there, with the pack's temperature that each waits for.
fn charger_hours(supplies: &[Supply], calendar: &Calendar) -> Vec<(Hours, f64)> {
    let mut hours = Vec::new();
    for supply in supplies {
        let Supply::Charger(charger) = supply else { continue };
        let waits_c = charger.charges_above_c.unwrap_or(f64::NEG_INFINITY);
        for evening in &calendar.evenings {
            let spans = calendar.moments(evening, |moments| charger.when.intervals(moments));
            let value = charger.current_a * charger.when.duty;
            let there = |(from_s, to_s)| (Hours { from_s, to_s, value }, waits_c);
            hours.extend(spans.into_iter().map(there));
        }
    }
    hours
}

fn on_at(uses: &[Vec<Hours>], at_s: f64) -> Vec<Option<usize>> {
    let on = |hours: &&Hours| (hours.from_s..hours.to_s).contains(&at_s);
    uses.iter()
        .map(|device| device.iter().filter(on).map(|hours| hours.value as usize).max())
        .collect()
}

/// The profile by which a charge ends: that of the source with the highest voltage, where it goes
/// down to float.
fn float(supplies: &[Supply]) -> Option<Profile> {
    let profile = |supply: &Supply| match supply {
        Supply::Panel(panel) => *panel.controller.profile(),
        Supply::Charger(charger) => charger.profile,
    };
    supplies
        .iter()
        .map(profile)
        .max_by(|a, b| a.absorb_v.total_cmp(&b.absorb_v))
        .filter(|profile| profile.float_v < profile.absorb_v)
}

/// The air's usual temperature hour by hour from the first noon: the coldest at sunrise, the
/// warmest at 14:00 local mean time.
pub(crate) fn air_hours(
    plan: &Plan,
    calendar: &Calendar,
    ends_s: f64,
) -> Result<Vec<f64>, TripError> {
    let usual = DayAir { lowest_c: plan.air.night_c.value, highest_c: plan.air.day_c.value };
    let days = vec![usual; calendar.evenings.len() + 2];
    let curve = AirCurve::over(&plan.site.place, plan.dates.first_evening, &days)?;
    Ok(curve.hourly_c(calendar.noon, (ends_s / 3600.0).ceil() as usize + 2))
}

/// Whether anything in a set sets its power by the weather.
fn follows_air(plan: &Plan, set: &[Option<usize>]) -> bool {
    plan.gear.rig.devices().iter().zip(set).any(|(device, used)| {
        let used = used.and_then(|used| device.uses.get(used));
        used.and_then(|used| used.follows).is_some_and(|follows| follows.sets_power())
    })
}

/// The air around the gear in the hour of a time, as in its middle, under a clear sky. An hour is
/// fine enough for it, and each new air costs a new curve of the rig in every draw.
pub(crate) fn conditions_in(plan: &Plan, air: &[f64], at_s: f64) -> Conditions {
    let air_c = air_at(air, 3600.0 * ((at_s / 3600.0).floor() + 0.5));
    Conditions {
        air_c,
        dew_point_c: plan.air.dew_point_c.value.min(air_c),
        wind_m_s: plan.air.wind_mps,
        cloud: 0.0,
    }
}

fn air_at(air: &[f64], at_s: f64) -> f64 {
    let along = (at_s / 3600.0).clamp(0.0, (air.len() - 1) as f64);
    let left = (along as usize).min(air.len().saturating_sub(2));
    air[left] + (air[left + 1] - air[left]) * (along - left as f64)
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;

    const PLAN: &str = r#"
format = 1
[site]
latitude = "56.9 N"
longitude = "4.2 W"
zone = "Europe/London"
[trip]
first_evening = "2026-10-09"
nights = 2
[pack]
chemistry = "LFP"
rated = "40 Ah"
[rig.devices.camera]
uses.idle = { power = "3 W", when = "dusk to dawn" }
uses.exposing = { power = "14 W", when = "dark to 02:07" }
[sources.mains]
charger = "6 A"
absorb = "14.4 V"
when = "10:03 to 11:20"
"#;

    /// Sunset, dusk, a change of what a device does, a charger's hours: each lies where a step begins,
    /// and what it brings is there from that step on and not before.
    #[test]
    fn events_lie_where_steps_begin() {
        let plan = Plan::parse("plan.toml", Path::new(""), PLAN).unwrap();
        let (calendar, timeline) = prepare(&plan).unwrap();
        let on_at = |at_s: f64| {
            let block = timeline
                .blocks
                .iter()
                .rfind(|block| timeline.steps[block.steps.start].at_s <= at_s + 0.5);
            timeline.sets[block.unwrap().set].uses[0]
        };
        let given_a = |at_s: f64| {
            let steps = &timeline.steps;
            steps.iter().rfind(|step| step.at_s <= at_s + 0.5).unwrap().charger_a
        };
        let begins = |at_s: f64| timeline.steps.iter().any(|step| (step.at_s - at_s).abs() < 0.5);
        let on_clock = |text: &str| {
            let at: jiff::Timestamp = text.parse().unwrap();
            crate::calendar::seconds_between(calendar.noon, at)
        };
        for evening in &calendar.evenings {
            let night = &evening.night;
            let on_clock = |at: Option<jiff::Timestamp>| {
                crate::calendar::seconds_between(calendar.noon, at.unwrap())
            };
            let [dusk_s, dark_s] = [night.civil_dusk, night.astronomical_dusk].map(on_clock);
            assert!(begins(evening.from_s) && begins(dusk_s) && begins(dark_s), "{night:?}");
            let seen = [dusk_s - 1.0, dusk_s, dark_s - 1.0, dark_s].map(on_at);
            assert_eq!(seen, [None, Some(0), Some(0), Some(1)]);
        }
        // summer time: an hour ahead
        let stops_s = on_clock("2026-10-10T01:07:00Z");
        assert!(begins(stops_s));
        assert_eq!([stops_s - 1.0, stops_s].map(on_at), [Some(1), Some(0)]);
        let [from_s, to_s] = ["2026-10-10T09:03:00Z", "2026-10-10T10:20:00Z"].map(on_clock);
        assert!(begins(from_s) && begins(to_s));
        let given = [from_s - 1.0, from_s, to_s - 1.0, to_s].map(given_a);
        assert_eq!(given, [0.0, 6.0, 6.0, 0.0]);
    }

    /// The trip ends with its last night: what only runs by day does not draw it on to the next
    /// sunset, what runs across the sunrise does.
    #[test]
    fn a_trip_ends_at_sunrise_or_with_what_runs_across_it() {
        let ends_after_h = |when: &str| {
            let text = PLAN.replace("dusk to dawn", when);
            let plan = Plan::parse("plan.toml", Path::new(""), &text).unwrap();
            let (calendar, timeline) = prepare(&plan).unwrap();
            let last = timeline.blocks.last().unwrap();
            let ends_s = timeline.steps[last.steps.end - 1].at_s + last.dt_s;
            (ends_s - calendar.ends_s()) / 3600.0
        };
        assert!(ends_after_h("day").abs() < 0.01, "{} h", ends_after_h("day"));
        assert!(ends_after_h("sunset to sunrise").abs() < 0.01);
        let across_h = ends_after_h("1 h before sunrise to 1 h after sunrise");
        assert!((across_h - 1.0).abs() < 0.01, "{across_h} h");
    }
}
