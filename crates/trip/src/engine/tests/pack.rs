//! What the pack itself does in a trip: its protection, its warmth, the stages of its charge.

use ::pack::{Heater, Housing, Limits};
use source::Profile;

use super::super::{Cause, Cell, Keep, run};
use super::{Days, circuit, draw, limits_case};
use crate::draws::Draw;
use crate::ledger;
use crate::loads::Loads;
use crate::timeline::{Held, Step, Timeline};
use crate::trace::Trace;

/// The protection stays open through the nights until a source has brought the voltage back; each
/// night it is open is a failure of its own, and nothing is drawn.
#[test]
fn an_opened_protection_waits_for_a_source() {
    let days = Days {
        soc_start: 0.2,
        loads_w: [60.0, 60.0, 0.0],
        night_h: [0.0, 10.0],
        source_h: [35.0, 36.0],
        source_a: 0.0,
        source_v: 14.4,
        peak_w: None,
        cable_ohm: 0.0,
        least_v: None,
        file: "thevenin.json",
    };
    let circuit = circuit(days.file);
    let limits = Limits { undervoltage_v: Some(11.0), release_v: Some(12.5), ..Limits::default() };
    let (rig, mut timeline) = (days.rig(), days.timeline());
    // a source of 10 A for two hours on the second day only
    for block in &mut timeline.blocks {
        let hour = block.steps.start as f64 / 60.0;
        block.supplied = (36.0..38.0).contains(&hour);
        block.restart = (hour % 24.0 - 10.0).abs() < 1e-9;
        if block.supplied {
            for step in &mut timeline.steps[block.steps.clone()] {
                step.charger_a = 10.0;
            }
        }
    }
    let cell =
        Cell { circuit: &circuit, limits: &limits, soc_start: 0.2, idle_a: 0.0, housing: None };
    let mut loads = Loads::new((&rig, &[]), &timeline.sets, 8.0, 15.0, 0.0);
    let mut trace = Trace::default();
    let [outcome] =
        run(&timeline, &cell, &mut loads, &[draw(&circuit, 1)], Keep::Steps(&mut trace));
    let causes: Vec<_> = outcome.failures.iter().map(|stop| stop.map(|stop| stop.cause)).collect();
    assert_eq!(causes, [Some(Cause::Protection); 3]);
    let drawn_wh = |from_h: f64, to_h: f64| -> f64 {
        trace
            .moments
            .iter()
            .filter(|moment| (from_h..to_h).contains(&(moment.at_s / 3600.0)))
            .map(|moment| moment.voltage_v * moment.current_a.max(0.0) * moment.dt_s / 3600.0)
            .sum()
    };
    assert!(drawn_wh(0.0, 10.0) > 60.0, "the first night begins");
    assert!(drawn_wh(24.0, 34.0) < 1e-9, "the second can't");
    assert!(drawn_wh(48.0, 58.0) > 200.0, "the third begins on what the source gave");
    let ledger =
        ledger::close(&trace, &ledger::uses(&trace, &rig, &mut loads, &draw(&circuit, 1)), &cell);
    assert!((ledger.loads_wh - drawn_wh(0.0, 72.0)).abs() < 0.01 * ledger.loads_wh, "{ledger:?}");
}

/// In frost the air lets nothing in; a pack that its box keeps warm takes the sun's charge.
#[test]
fn a_box_keeps_a_pack_warm_enough_to_be_charged() {
    let (days, _) = limits_case("source-limited-in-power");
    let circuit = circuit(days.file);
    let (limits, rig, mut timeline) = (Limits::default(), days.rig(), days.timeline());
    for block in &mut timeline.blocks {
        // a mild evening, then frost
        block.air_c = if block.steps.start == 0 { 20.0 } else { -3.0 };
        block.no_charge_below_c = 0.0;
    }
    let taken_ah = |housing: Option<Housing>| -> f64 {
        let cell = Cell {
            circuit: &circuit,
            limits: &limits,
            soc_start: days.soc_start,
            idle_a: 0.0,
            housing,
        };
        let mut loads = Loads::new((&rig, &[]), &timeline.sets, 8.0, 15.0, 0.0);
        let mut trace = Trace::default();
        run(&timeline, &cell, &mut loads, &[draw(&circuit, 1)], Keep::Steps(&mut trace));
        let first_day = trace.moments.iter().take_while(|moment| moment.at_s < 86_400.0);
        first_day.map(|moment| (-moment.current_a).max(0.0) * moment.dt_s / 3600.0).sum()
    };
    assert_eq!(taken_ah(None), 0.0, "as warm as the air");
    let open = taken_ah(Some(Housing::open(5.0)));
    let boxed = taken_ah(Some(Housing::insulated(5.0, 0.05)));
    assert!(open < 0.5 && boxed > 5.0, "{open} Ah in the open, {boxed} Ah in a box");
}

#[test]
fn more_current_than_the_pack_lets_through_opens_its_protection() {
    let (days, _) = limits_case("source-limited-in-power");
    let circuit = circuit(days.file);
    let (rig, timeline) = (days.rig(), days.timeline());
    let outcome = |most_a: f64| {
        let limits = Limits { discharge_a: Some(most_a), ..Limits::default() };
        let cell = Cell {
            circuit: &circuit,
            limits: &limits,
            soc_start: 0.85,
            idle_a: 0.0,
            housing: None,
        };
        let mut loads = Loads::new((&rig, &[]), &timeline.sets, 8.0, 15.0, 0.0);
        let mut trace = Trace::default();
        let [outcome] =
            run(&timeline, &cell, &mut loads, &[draw(&circuit, 1)], Keep::Steps(&mut trace));
        (outcome, trace)
    };
    // 42 W at about 13.2 V are 3.2 A
    let (enough, _) = outcome(4.0);
    assert_eq!(enough.failures, [None; 3]);
    let (little, trace) = outcome(3.0);
    let first = little.failures[0].unwrap();
    assert_eq!((first.cause, first.device, first.at_s), (Cause::Protection, None, 0.0));
    let most_a = trace.moments.iter().map(|moment| moment.current_a).fold(0.0, f64::max);
    assert!(most_a <= 3.0, "{most_a} A went through");
}

/// Two sources of 3 A and 1 A, of which the first waits for a pack of 0 °C.
fn one_of_two_waits(timeline: &mut Timeline) {
    let with = |waiting_a: f64| -> Vec<Step> {
        let is_day = |step: &Step| (12.0..20.0).contains(&(step.at_s % 86_400.0 / 3600.0));
        let given_a = |step: &Step| if is_day(step) { 1.0 + waiting_a } else { 0.0 };
        let steps = timeline.steps.iter();
        steps.map(|s| Step { at_s: s.at_s, charger_a: given_a(s), ..Step::default() }).collect()
    };
    let (all, rest) = (with(3.0), with(0.0));
    for block in &mut timeline.blocks {
        let hour = block.steps.start as f64 / 60.0 % 24.0;
        // the pack is as warm as the air: above 0 °C from 14:00 on
        (block.supplied, block.air_c) = ((12.0..20.0).contains(&hour), hour - 13.99);
    }
    timeline.steps = all;
    timeline.held = vec![Held { below_c: 0.0, steps: rest }];
}

#[test]
fn a_source_waits_for_the_pack_to_be_warm_and_another_does_not() {
    let (mut days, _) = limits_case("source-limited-in-power");
    days.soc_start = 0.5;
    let (circuit, limits) = (circuit(days.file), Limits::default());
    let (rig, mut timeline) = (days.rig(), days.timeline());
    one_of_two_waits(&mut timeline);
    let cell =
        Cell { circuit: &circuit, limits: &limits, soc_start: 0.5, idle_a: 0.0, housing: None };
    let mut loads = Loads::new((&rig, &[]), &timeline.sets, 8.0, 15.0, 0.0);
    let mut trace = Trace::default();
    run(&timeline, &cell, &mut loads, &[draw(&circuit, 1)], Keep::Steps(&mut trace));
    let given_a = |hour: f64| {
        let at = |moment: &&crate::trace::Moment| moment.at_s >= 3600.0 * hour;
        trace.moments.iter().find(at).unwrap().source_a
    };
    for (hour, expected_a) in [(11.0, 0.0), (13.0, 1.0), (13.9, 1.0), (14.1, 4.0), (19.0, 4.0)] {
        let found_a = given_a(hour);
        // the one round of Newton's method leaves 3e-5 A of a jump of 3 A
        assert!((found_a - expected_a).abs() < 1e-4, "{found_a} A at {hour} h");
    }
    // each draw in its own air: some packs are warm enough while others are not
    let draws: [Draw; 16] = std::array::from_fn(|lane| {
        let mut one = draw(&circuit, 1);
        one.days.iter_mut().for_each(|day| day.air_k = 0.4 * lane as f64 - 3.0);
        one
    });
    let together = run(&timeline, &cell, &mut loads, &draws, Keep::Paths);
    for (draw, outcome) in draws.iter().zip(&together) {
        let [alone] = run(&timeline, &cell, &mut loads, std::array::from_ref(draw), Keep::Paths);
        assert!(format!("{alone:?}") == format!("{outcome:?}"), "{draw:?}");
    }
    // at the end of the first day the warmest holds what came from 12:00 to 17:00, when the coldest
    // begins; at its higher voltage the load has taken a little less
    let evening = |lane: usize| f64::from(together[lane].path[20 * 4 - 1][0]);
    let more_ah = (evening(15) - evening(0)) * circuit.capacity_ah;
    assert!((15.0..15.5).contains(&more_ah), "{more_ah} Ah more");
}

/// A pack with a heater of its own takes the sun's charge in frost, pays for it, and the ledger
/// closes.
#[test]
fn a_heater_keeps_a_pack_warm_enough_and_is_paid_for() {
    let (days, _) = limits_case("source-limited-in-power");
    let circuit = circuit(days.file);
    let limits = Limits { undervoltage_v: Some(10.6), ..Limits::default() };
    let (rig, mut timeline) = (days.rig(), days.timeline());
    for block in &mut timeline.blocks {
        block.air_c = -3.0;
        block.no_charge_below_c = 0.0;
    }
    let trip = |heater: Option<Heater>| {
        let housing = Some(Housing { heater, ..Housing::insulated(5.0, 0.03) });
        let cell = Cell {
            circuit: &circuit,
            limits: &limits,
            soc_start: days.soc_start,
            idle_a: 0.0,
            housing,
        };
        let mut loads = Loads::new((&rig, &[]), &timeline.sets, 8.0, 15.0, 0.0);
        let mut trace = Trace::default();
        run(&timeline, &cell, &mut loads, &[draw(&circuit, 1)], Keep::Steps(&mut trace));
        let uses = ledger::uses(&trace, &rig, &mut loads, &draw(&circuit, 1));
        let heater_wh: f64 =
            trace.moments.iter().map(|moment| moment.heater_w * moment.dt_s / 3600.0).sum();
        (ledger::close(&trace, &uses, &cell), heater_wh)
    };
    let (cold, none_wh) = trip(None);
    let heater = Heater { power_w: 10.0, on_below_c: 2.0, off_above_c: 5.0 };
    let (warm, heater_wh) = trip(Some(heater));
    assert_eq!(none_wh, 0.0);
    // the loads by day may still be fed in frost; the pack may not
    assert!(warm.harvest_wh > 3.0 * cold.harvest_wh, "{cold:?} {warm:?}");
    // what a box loses through 3 cm of foam, 5 to 8 K above the air, for three days
    let loss_w = Housing::insulated(5.0, 0.03).loss_w_per_k;
    let expected_wh = loss_w * 6.5 * 72.0;
    assert!((heater_wh / expected_wh - 1.0).abs() < 0.2, "{heater_wh} Wh, about {expected_wh}");
    for ledger in [cold, warm] {
        assert!(ledger.imbalance_wh.abs() < 1e-9 * ledger.stored_start_wh, "{ledger:?}");
    }
    // there is no cable: what is left is the step's one round of Newton's method
    assert!(warm.cables_wh.abs() < 1e-6 * warm.loads_wh, "{warm:?}");
}

/// Absorption is held until the pack takes no more than the tail, then float.
#[test]
fn a_charge_ends_on_float() {
    let (mut days, _) = limits_case("cc-cv");
    days.loads_w = [20.0, 20.0, 2.0];
    let circuit = circuit("thevenin.json");
    let (limits, rig, mut timeline) = (Limits::default(), days.rig(), days.timeline());
    let profile =
        Profile { absorb_v: 13.7, float_v: 13.45, tail_a: 1.0, rebulk_v: 12.0, ..Profile::LFP };
    timeline.blocks.iter_mut().for_each(|block| block.float = Some(profile));
    let cell =
        Cell { circuit: &circuit, limits: &limits, soc_start: 0.9, idle_a: 0.0, housing: None };
    let mut loads = Loads::new((&rig, &[]), &timeline.sets, 8.0, 15.0, 0.0);
    let mut trace = Trace::default();
    run(&timeline, &cell, &mut loads, &[draw(&circuit, 1)], Keep::Steps(&mut trace));
    let first_day =
        || trace.moments.iter().filter(|moment| (12.0..20.0).contains(&(moment.at_s / 3600.0)));
    let most_v = first_day().map(|moment| moment.voltage_v).fold(0.0, f64::max);
    assert!((most_v - 13.7).abs() < 0.01, "absorbed at {most_v} V");
    let last = first_day().next_back().unwrap();
    assert!(last.voltage_v < 13.55, "still at {} V in the evening", last.voltage_v);
    // the next day begins from the start
    let again =
        trace.moments.iter().filter(|moment| (36.0..44.0).contains(&(moment.at_s / 3600.0)));
    let most_v = again.map(|moment| moment.voltage_v).fold(0.0, f64::max);
    assert!((most_v - 13.7).abs() < 0.01, "absorbed at {most_v} V on the second day");
}

#[test]
fn heat_opens_the_protection_until_it_has_gone() {
    let (days, _) = limits_case("source-limited-in-power");
    let circuit = circuit(days.file);
    let limits = Limits { most_c: Some(55.0), ..Limits::default() };
    let (rig, mut timeline) = (days.rig(), days.timeline());
    for block in &mut timeline.blocks {
        // two hours of heat in the first night
        let hour = block.steps.start / 60;
        block.air_c = if (3..5).contains(&hour) { 60.0 } else { 25.0 };
    }
    let cell =
        Cell { circuit: &circuit, limits: &limits, soc_start: 0.85, idle_a: 0.0, housing: None };
    let mut loads = Loads::new((&rig, &[]), &timeline.sets, 8.0, 15.0, 0.0);
    let mut trace = Trace::default();
    let [outcome] =
        run(&timeline, &cell, &mut loads, &[draw(&circuit, 1)], Keep::Steps(&mut trace));
    let first = outcome.failures[0].unwrap();
    assert_eq!((first.cause, first.device), (Cause::Protection, None));
    assert!((first.at_s / 3600.0 - 3.25).abs() < 0.26, "at {} h", first.at_s / 3600.0);
    assert_eq!(&outcome.failures[1..], [None, None]);
    let flows = |hour: f64| {
        let at = |moment: &&crate::trace::Moment| moment.at_s >= 3600.0 * hour;
        trace.moments.iter().find(at).unwrap().current_a.abs()
    };
    assert!(flows(2.5) > 0.5 && flows(4.5) < 1e-9 && flows(6.5) > 0.5);
}

/// The cold of the night takes a pack that is nearly empty far below its curve; by day it is charged
/// again like any other.
#[test]
fn a_pack_emptied_and_then_cold_is_charged_again() {
    let (mut days, _) = limits_case("source-limited-in-power");
    (days.loads_w, days.soc_start) = ([20.0, 20.0, 1.0], 0.1);
    let mut circuit = circuit(days.file);
    circuit.warmth.capacity_per_k = 0.012;
    let limits =
        Limits { discharge_a: Some(40.0), undervoltage_v: Some(10.6), ..Limits::default() };
    let (rig, mut timeline) = (days.rig(), days.timeline());
    for block in &mut timeline.blocks {
        let hour = block.steps.start as f64 / 60.0 % 24.0;
        block.air_c = if hour < 12.0 { -15.0 } else { 5.0 };
    }
    let cell =
        Cell { circuit: &circuit, limits: &limits, soc_start: 0.1, idle_a: 0.0, housing: None };
    let mut loads = Loads::new((&rig, &[]), &timeline.sets, 8.0, 15.0, 0.0);
    let mut trace = Trace::default();
    let [outcome] =
        run(&timeline, &cell, &mut loads, &[draw(&circuit, 1)], Keep::Steps(&mut trace));
    assert_eq!(outcome.failures[0].unwrap().cause, Cause::Protection);
    let at = |hour: f64| {
        let at = |moment: &&crate::trace::Moment| moment.at_s >= 3600.0 * hour;
        *trace.moments.iter().find(at).unwrap()
    };
    // the cold takes half of the charge, and with 10 % held the curve ends
    let climate = circuit.climate(-15.0);
    assert!(1.0 - (1.0 - at(6.0).state.soc) * climate.stretch < -0.5);
    assert!(trace.moments.iter().all(|moment| moment.voltage_v > 0.0));
    assert!(at(6.0).current_a.abs() < 1e-9, "{:?}", at(6.0));
    assert!(at(15.0).current_a < -1.0, "{:?}", at(15.0));
    assert!(at(19.9).state.soc > at(12.0).state.soc + 0.1);
}

/// What a source could have given is told by what kept it out: frost, a wait for a warmer pack, the
/// pack's own limit, a full pack.
#[test]
fn what_is_not_used_is_counted() {
    let (mut days, _) = limits_case("source-limited-in-power");
    (days.loads_w, days.soc_start) = ([1.0, 1.0, 1.0], 0.5);
    let circuit = circuit(days.file);
    let rig = days.rig();
    let ledger = |limits: &Limits, soc_start: f64, change: &dyn Fn(&mut Timeline)| {
        let mut timeline = days.timeline();
        one_of_two_waits(&mut timeline);
        timeline.blocks.truncate(96);
        timeline.blocks.iter_mut().for_each(|block| block.hold_v = 14.4);
        change(&mut timeline);
        timeline.limit_charge(limits);
        let cell = Cell { circuit: &circuit, limits, soc_start, idle_a: 0.0, housing: None };
        let mut loads = Loads::new((&rig, &[]), &timeline.sets, 8.0, 15.0, 0.0);
        let mut trace = Trace::default();
        run(&timeline, &cell, &mut loads, &[draw(&circuit, 1)], Keep::Steps(&mut trace));
        let uses = ledger::uses(&trace, &rig, &mut loads, &draw(&circuit, 1));
        ledger::close(&trace, &uses, &cell)
    };
    let none = Limits::default();
    // 4 A for eight hours, of which 3 A wait for the first two, at some 13 V
    let offered_wh = 8.0 * 4.0 * 13.0;
    let waits = ledger(&none, 0.1, &|_| {});
    assert!((waits.offered_wh / offered_wh - 1.0).abs() < 0.04, "{waits:?}");
    assert!((waits.unused_temperature_wh / (2.0 * 3.0 * 13.0) - 1.0).abs() < 0.04, "{waits:?}");
    assert_eq!((waits.unused_full_wh, waits.unused_limit_wh), (0.0, 0.0));
    // in frost from noon to two the pack itself refuses all but what the gear takes
    let frost = Limits { refuses_frost: true, charge_least_c: Some(0.0), ..none };
    let refused = ledger(&frost, 0.1, &|timeline| timeline.held.clear());
    let expected_wh = 2.0 * (4.0 * 13.0 - 1.0);
    assert!((refused.unused_temperature_wh / expected_wh - 1.0).abs() < 0.04, "{refused:?}");
    let limited = Limits { charge_a: Some(2.0), ..none };
    let limited = ledger(&limited, 0.1, &|timeline| timeline.held.clear());
    let expected_wh = 8.0 * (2.0 * 13.0 - 1.0);
    assert!((limited.unused_limit_wh / expected_wh - 1.0).abs() < 0.04, "{limited:?}");
    let full = ledger(&none, 1.0, &|timeline| timeline.held.clear());
    assert!(full.unused_full_wh > 0.8 * full.offered_wh, "{full:?}");
    for ledger in [waits, refused, limited, full] {
        let unused_wh =
            ledger.unused_full_wh + ledger.unused_temperature_wh + ledger.unused_limit_wh;
        // less than a milliampere is not looked at
        let off_wh = ledger.offered_wh - ledger.harvest_wh - unused_wh;
        assert!(off_wh.abs() < 1e-9 * ledger.offered_wh, "{ledger:?}");
        assert!(ledger.imbalance_wh.abs() < 1e-9 * ledger.offered_wh, "{ledger:?}");
    }
}
