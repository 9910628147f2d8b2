//! Will it last till dawn: a plan simulated and judged, night by night.

use plan::Plan;

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
use crate::remarks::remarks;
use crate::skies::Skies;
use crate::survey::survey;
use crate::tally::{Lottery, Tally};
use crate::timeline::Timeline;
use crate::trace::Trace;

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
        remarks: remarks(plan, &calendar, &trace, &uses),
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
            soc: moment.state.soc,
            terminal_v: moment.voltage_v,
            worst_v: used.worst.map(|(_, v)| v),
            needed_v: used.worst.and_then(|(index, _)| devices[index].least_voltage_v),
            pack_w: moment.voltage_v * moment.current_a,
            load_w: used.load_w,
            harvest_w: moment.voltage_v * moment.source_a,
        })
        .collect()
}
