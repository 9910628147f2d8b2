//! Will it last till dawn: a plan simulated and judged, night by night.

use plan::Plan;
use quantity::Kind;

use crate::answer::{
    Chance, Failure, Forecast, MOST_DRAWS, NightForecast, Point, Restarts, Settings,
};
use crate::calendar::Calendar;
use crate::carries::Carries;
use crate::draws::Doubt;
use crate::engine::{self, Cell, Keep, Outcome, Stop};
use crate::error::TripError;
use crate::ledger::{self, Use};
use crate::loads::Loads;
use crate::prepare::prepare;
use crate::skies::Skies;
use crate::survey::survey;
use crate::tally::{Lottery, Tally};
use crate::timeline::Timeline;
use crate::trace::{Trace, Unused};

/// So many draws are made between two looks at the clock.
const AT_ONCE: usize = 2048;

/// Simulates a plan: its central case, and random draws over all that is uncertain.
///
/// `progress` is told how many draws are made and may say to stop; the forecast is then that of
/// the draws made so far.
///
/// # Errors
/// If the sky can't be worked out for its dates, or the rig is too large.
pub fn forecast(
    plan: &Plan,
    settings: Settings,
    progress: impl FnMut(usize) -> bool,
) -> Result<Forecast, TripError> {
    let (calendar, timeline) = prepare(plan)?;
    let cell = cell_of(plan);
    let mut loads = loads_of(plan, &timeline);
    let doubt = Doubt::of(plan, Skies::of_plan(plan)?, &timeline, &mut loads);

    let central = doubt.central();
    let mut trace = Trace::default();
    let [outcome] = engine::run(
        &timeline,
        &cell,
        &mut loads,
        std::array::from_ref(&central),
        Keep::Steps(&mut trace),
    );
    let uses = ledger::uses(&trace, &plan.gear.rig, &mut loads, &central);
    let ledger = ledger::close(&trace, &uses, &cell);

    let lottery = Lottery {
        timeline: &timeline,
        cell: &cell,
        loads: &loads,
        doubt: &doubt,
        load: 1.0,
        seed: settings.seed,
    };
    let tally = draw(&lottery, settings, progress)?;
    let nights = tally
        .nights()
        .into_iter()
        .enumerate()
        .map(|(night, chance)| {
            night_forecast(plan, &calendar, night, (&trace, &uses, &outcome), &tally, chance)
        })
        .collect();
    Ok(Forecast {
        nights,
        trip: tally.trip(),
        ledger,
        points: points(plan, &calendar, &trace, &uses),
        bands: tally.bands(&calendar, &timeline),
        remarks: remarks(plan, &calendar, &trace),
        survey: survey(plan).ok(),
        settings,
        draws: tally.draws(),
        carries: tally.into_carries(),
    })
}

/// What draws say of the nights alone, without all the rest of a [`forecast`].
#[derive(Debug, Clone)]
pub(crate) struct Trial {
    /// The chance of each night.
    pub(crate) nights: Vec<Chance>,
    /// Which draw carries which night.
    pub(crate) carries: Carries,
}

/// The draws of a plan, for their nights alone.
pub(crate) fn trial(plan: &Plan, settings: Settings) -> Result<Trial, TripError> {
    let (_, timeline) = prepare(plan)?;
    let cell = cell_of(plan);
    let mut loads = loads_of(plan, &timeline);
    let doubt = Doubt::of(plan, Skies::of_plan(plan)?, &timeline, &mut loads);
    let lottery = Lottery {
        timeline: &timeline,
        cell: &cell,
        loads: &loads,
        doubt: &doubt,
        load: 1.0,
        seed: settings.seed,
    };
    let tally = draw(&lottery, settings, |_| true)?;
    Ok(Trial { nights: tally.nights(), carries: tally.into_carries() })
}

/// Draws as many as are asked for, and more until the intervals are as narrow as asked.
fn draw(
    lottery: &Lottery<'_>,
    settings: Settings,
    mut progress: impl FnMut(usize) -> bool,
) -> Result<Tally, TripError> {
    if settings.draws == 0 {
        return Err(TripError::NoDraws);
    }
    let mut tally = Tally::new(lottery.timeline.nights);
    loop {
        let made = tally.draws();
        let wide = settings.within.is_some_and(|within| tally.widest() > within);
        let wanted = if wide { MOST_DRAWS } else { settings.draws };
        if made >= wanted || (made > 0 && !progress(made)) {
            return Ok(tally);
        }
        tally.draw(lottery, AT_ONCE.min(wanted - made));
    }
}

pub(crate) fn cell_of(plan: &Plan) -> Cell<'_> {
    let pack = &plan.battery.pack;
    Cell {
        circuit: &pack.circuit,
        limits: &pack.limits,
        soc_start: plan.battery.soc_start,
        idle_a: pack.idle_a,
        housing: plan.battery.housing,
    }
}

pub(crate) fn loads_of<'a>(plan: &'a Plan, timeline: &'a Timeline) -> Loads<'a> {
    // the rig is asked about voltages from well below any device's least to a charger's highest
    let least_v = plan
        .gear
        .rig
        .devices()
        .iter()
        .filter_map(|device| device.least_voltage_v)
        .fold(f64::MAX, f64::min);
    let full_v = plan.battery.pack.circuit.ocv.at(1.0);
    let high_v = timeline.blocks.iter().map(|block| block.hold_v).fold(full_v, f64::max) * 1.05;
    Loads::new(
        (&plan.gear.rig, &plan.gear.only_when_clear),
        &timeline.sets,
        0.9 * least_v.min(0.8 * full_v),
        high_v,
        standing_w(plan),
    )
}

/// What controllers draw all the time.
fn standing_w(plan: &Plan) -> f64 {
    let own = |supply: &plan::Supply| match supply {
        plan::Supply::Panel(panel) => panel.controller.own_draw_w(),
        plan::Supply::Charger(_) => 0.0,
    };
    plan.supplies.iter().map(own).sum()
}

fn night_forecast(
    plan: &Plan,
    calendar: &Calendar,
    night: usize,
    (trace, uses, central): (&Trace, &[Use], &Outcome),
    tally: &Tally,
    chance: Chance,
) -> NightForecast {
    let evening = &calendar.evenings[night];
    let devices = plan.gear.rig.devices();
    let name = |index: Option<usize>| index.map(|index| devices[index].name.clone());
    let failure = |stop: &Stop| Failure {
        time: calendar.instant(stop.at_s),
        device: name(stop.device),
        cause: stop.cause,
    };
    let (mut used_wh, mut harvest_wh) = (0.0, 0.0);
    let mut worst: Option<(usize, f64)> = None;
    let spare_v = |(index, v): &(usize, f64)| v - devices[*index].least_voltage_v.unwrap_or(0.0);
    for (moment, used) in trace.moments.iter().zip(uses).filter(|(moment, _)| moment.night == night)
    {
        used_wh += used.load_w * moment.dt_s / 3600.0;
        harvest_wh += moment.voltage_v * moment.source_a * moment.dt_s / 3600.0;
        worst = [worst, used.worst]
            .into_iter()
            .flatten()
            .min_by(|a, b| spare_v(a).total_cmp(&spare_v(b)));
    }
    NightForecast {
        evening: evening.date,
        night: evening.night.clone(),
        from: calendar.instant(evening.from_s),
        to: calendar.instant(evening.to_s),
        carried: central.failures[night].is_none(),
        chance,
        soc_dusk: central.soc[night][0],
        soc_dawn: central.soc[night][1],
        used_wh,
        harvest_wh,
        worst_device: worst.map(|(index, _)| devices[index].name.clone()),
        least_voltage_v: worst.map(|(_, v)| v),
        needed_v: worst.and_then(|(index, _)| devices[index].least_voltage_v),
        first_failure: central.failures[night].as_ref().map(failure),
        restarts: restarts(plan, night, trace),
        culprits: tally.culprits(night, calendar, &name),
    }
}

/// What came back by itself in a night of the central case, in the order of the rig.
fn restarts(plan: &Plan, night: usize, trace: &Trace) -> Vec<Restarts> {
    let its = |device: usize| {
        let restarts = trace.restarts.iter();
        restarts.filter(|restart| (restart.night, restart.device) == (night, device)).count()
    };
    let devices = plan.gear.rig.devices().iter().enumerate();
    devices
        .map(|(index, device)| Restarts { device: device.name.clone(), times: its(index) })
        .filter(|restarts| restarts.times > 0)
        .collect()
}

fn points(plan: &Plan, calendar: &Calendar, trace: &Trace, uses: &[Use]) -> Vec<Point> {
    let devices = plan.gear.rig.devices();
    trace
        .moments
        .iter()
        .zip(uses)
        .map(|(moment, used)| Point {
            time: calendar.instant(moment.at_s + moment.dt_s),
            soc: moment.soc,
            terminal_v: moment.voltage_v,
            worst_v: used.worst.map(|(_, v)| v),
            needed_v: used.worst.and_then(|(index, _)| devices[index].least_voltage_v),
            pack_w: moment.voltage_v * moment.current_a,
            load_w: used.load_w,
            harvest_w: moment.voltage_v * moment.source_a,
        })
        .collect()
}

/// More than this between packs that are joined is told (common practice, no source).
const JOINING_A: f64 = 1.0;

/// The highest voltage there ever is at the pack: full, or held by a source.
fn highest_v(plan: &Plan) -> f64 {
    let full_v = plan.battery.pack.circuit.ocv.at(1.0);
    plan.supplies.iter().map(crate::prepare::hold_v).fold(full_v, f64::max)
}

/// Devices that can't run, or whose schedule hangs on something the sky does not do, and a pack emptied further than
/// is good for it.
/// Less than this, and less than so much of what is offered on a day, is not worth a word.
const KEPT_OUT_WH: f64 = 5.0;
const KEPT_OUT: f64 = 0.05;

/// The days on which much is kept out of the pack by its temperature.
fn kept_out(calendar: &Calendar, trace: &Trace) -> Option<String> {
    let mut days = vec![(0.0, 0.0); calendar.evenings.len()];
    for moment in &trace.moments {
        let Unused { full_a, temperature_a, limit_a, waited_a } = moment.unused;
        let wh = |current_a: f64| current_a * moment.voltage_v * moment.dt_s / 3600.0;
        let Some((kept_wh, offered_wh)) = days.get_mut(moment.night) else { continue };
        *kept_wh += wh(temperature_a + waited_a);
        *offered_wh += wh(moment.source_a + full_a + temperature_a + limit_a + waited_a);
    }
    let much = |(kept_wh, offered_wh): (f64, f64)| kept_wh > KEPT_OUT_WH.max(KEPT_OUT * offered_wh);
    let told: Vec<String> = days
        .iter()
        .zip(&calendar.evenings)
        .filter(|(day, _)| much(**day))
        .map(|((kept_wh, offered_wh), evening)| {
            let date = evening.date.strftime("%-d %B");
            format!("{kept_wh:.0} of {offered_wh:.0} Wh on {date}")
        })
        .collect();
    (!told.is_empty()).then(|| {
        format!(
            "Too cold, or too hot, a pack takes no charge. In the typical trip that keeps out what the sources could have given: {}.",
            told.join(", ")
        )
    })
}

fn remarks(plan: &Plan, calendar: &Calendar, trace: &Trace) -> Vec<String> {
    let mut remarks = Vec::new();
    let least_soc = trace.moments.iter().map(|moment| moment.soc).fold(1.0, f64::min);
    if let Some(advised_soc) = plan.battery.pack.limits.advised_soc.filter(|soc| least_soc < *soc) {
        remarks.push(format!(
            "The pack is emptied to {}; below {} such a battery ages fast.",
            Kind::Fraction.show((100.0 * least_soc).round() / 100.0),
            Kind::Fraction.show(advised_soc)
        ));
    }
    remarks.extend(kept_out(calendar, trace));
    let inrush_a = plan.battery.inrush_a;
    if inrush_a > JOINING_A {
        remarks.push(format!(
            "Unlike packs are joined: about {} flow between them at that moment. Join packs only when their voltages are alike, each with its own fuse, as their makers allow; otherwise cables burn.",
            Kind::Current.show(inrush_a.round())
        ));
    }
    let highest_v = highest_v(plan);
    for (index, device) in plan.gear.rig.devices().iter().enumerate() {
        let never = device.least_voltage_v.filter(|least_v| *least_v > highest_v);
        if let Some(least_v) = never.filter(|_| !plan.gear.rig.is_behind_converter(index)) {
            remarks.push(format!(
                "The {} needs at least {}, and there is never more than {} at the pack: it can't run from it.",
                device.name,
                Kind::Voltage.show(least_v),
                Kind::Voltage.show(highest_v)
            ));
        }
        for used in &device.uses {
            let missing: Vec<String> = calendar
                .evenings
                .iter()
                .filter(|evening| {
                    !calendar.moments(evening, |moments| used.when.missing(moments)).is_empty()
                })
                .map(|evening| evening.date.to_string())
                .collect();
            if !missing.is_empty() {
                let (name, when) = (&device.name, &used.when);
                remarks.push(format!(
                    "{name} (\"{when}\") does not run on the evenings of {}: the sky does not do what its schedule hangs on",
                    missing.join(", ")
                ));
            }
        }
    }
    remarks
}
