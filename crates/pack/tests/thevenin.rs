//! Runtimes against a stiff solver's (see the README of `tests/reference/circuit`).
#![allow(clippy::unwrap_used)] // a test may

mod common;
use common::{circuit, close, json};
use pack::{
    Chemistry, Climate, Ended, Limits, Load, Pack, Provenance, Spread, State, runtime, runtime_from,
};
use proptest::prelude::*;

// as the references' README states them
const TIME: f64 = 1e-3;
const ENERGY: f64 = 5e-4;
const VOLTAGE_V: f64 = 2e-3;

fn pack() -> Pack {
    let circuit = circuit(&json("circuit/thevenin.json")["pack"]);
    Pack {
        name: "reference".into(),
        chemistry: None,
        rated_ah: circuit.capacity_ah,
        circuit,
        idle_a: 0.0,
        limits: Limits::default(),
        spread: Spread::default(),
        variants: Vec::new(),
        provenance: Provenance::Stated,
    }
}

#[test]
fn every_case() {
    let pack = pack();
    let mut seen = 0;
    for case in json("circuit/thevenin.json")["cases"].as_array().unwrap() {
        let number = |key: &str| case[key].as_f64();
        let kind = case["kind"].as_str().unwrap();
        let load = match (number("power_w"), number("current_a")) {
            (Some(power_w), _) => Load::Power(power_w),
            (_, Some(current_a)) => Load::Current(current_a),
            _ => panic!("{case}"),
        };
        let cable_ohm = number("cable_ohm").unwrap_or(0.0);
        let cutoff_v = number("cutoff_v").or(number("device_cutoff_v")).unwrap_or(0.0);
        let got = runtime(&pack, load, cable_ohm, cutoff_v).unwrap();
        let what = format!("{kind} {load:?} {cutoff_v} V");
        seen += 1;
        if kind == "collapse" {
            assert_eq!(got.ended_by, Ended::Collapse);
            close(&what, got.time_to_cutoff_s, number("collapse_at_s").unwrap(), TIME);
            let internal_v = pack.circuit.internal_v(&got.end, &Climate::MILD);
            let want_v = number("internal_v_at_collapse").unwrap();
            assert!((internal_v - want_v).abs() < VOLTAGE_V, "{internal_v} {want_v}");
            continue;
        }
        assert_eq!(got.ended_by, Ended::Cutoff, "{what}");
        close(&what, got.time_to_cutoff_s, number("time_to_cutoff_s").unwrap(), TIME);
        close(&what, got.delivered_ah, number("delivered_ah").unwrap(), TIME);
        if let Some(delivered_wh) = number("delivered_wh") {
            close(&what, got.delivered_wh, delivered_wh, ENERGY);
        }
        if let Some(soc) = number("soc_end") {
            assert!((got.end.soc - soc).abs() < 1e-3 * (1.0 - soc), "{what}");
        }
        for point in case["device_v_at"].as_array().into_iter().flatten() {
            let (at_s, want_v) = (point[0].as_f64().unwrap(), point[1].as_f64().unwrap());
            let device_v = device_v_at(&pack, load, cable_ohm, at_s);
            assert!((device_v - want_v).abs() < VOLTAGE_V, "{what}: {device_v} V, not {want_v}");
        }
    }
    assert_eq!(seen, 17);
}

/// Steps the circuit itself, a second at a time, current by current.
fn device_v_at(pack: &Pack, load: Load, cable_ohm: f64, at_s: f64) -> f64 {
    let circuit = &pack.circuit;
    let mut state = State::rested(1.0);
    let steps = at_s.ceil();
    let current_a = |state: &State| {
        let ohm = circuit.r0_at(state, &Climate::MILD) + cable_ohm;
        load.current_a(circuit.internal_v(state, &Climate::MILD), ohm).unwrap()
    };
    for _ in 0..steps as usize {
        let flow_a = current_a(&state);
        circuit.advance(&mut state, flow_a, at_s / steps, &Climate::MILD);
    }
    let flow_a = current_a(&state);
    circuit.terminal_v(&state, flow_a, &Climate::MILD) - cable_ohm * flow_a
}

#[test]
fn a_resistor_lies_between_its_currents() {
    let pack = pack();
    let hours = |load| runtime(&pack, load, 0.0, 12.0).unwrap().time_to_cutoff_s / 3600.0;
    let resistor_h = hours(Load::Resistance(6.0));
    assert!(hours(Load::Current(13.6 / 6.0)) < resistor_h);
    assert!(resistor_h < hours(Load::Current(12.0 / 6.0)));
}

#[test]
fn other_ends() {
    let mut pack = pack();
    let end = |pack: &Pack, load, cutoff_v| runtime(pack, load, 0.0, cutoff_v).unwrap().ended_by;
    assert_eq!(end(&pack, Load::Current(2.0), 5.0), Ended::Empty);
    pack.limits.undervoltage_v = Some(11.0);
    assert_eq!(end(&pack, Load::Current(2.0), 5.0), Ended::Protection);
    pack.limits.discharge_a = Some(40.0);
    let at_once = runtime(&pack, Load::Power(700.0), 0.0, 10.0).unwrap();
    assert_eq!((at_once.ended_by, at_once.time_to_cutoff_s), (Ended::Protection, 0.0));
    let collapsed = runtime(&pack, Load::Power(5000.0), 0.0, 10.0).unwrap();
    assert_eq!(collapsed.ended_by, Ended::Collapse);
}

#[test]
fn refuses_what_is_no_question() {
    let pack = pack();
    for (load, ohm, cutoff_v) in [
        (Load::Power(0.0), 0.0, 12.0),
        (Load::Current(-1.0), 0.0, 12.0),
        (Load::Power(f64::NAN), 0.0, 12.0),
        (Load::Power(1e-320), 0.0, 12.0),
        (Load::Resistance(f64::INFINITY), 0.0, 12.0),
        (Load::Resistance(0.0), 0.0, 12.0),
        (Load::Power(30.0), -0.1, 12.0),
        (Load::Power(30.0), 0.0, f64::INFINITY),
    ] {
        assert!(runtime(&pack, load, ohm, cutoff_v).is_err(), "{load:?} {ohm} {cutoff_v}");
    }
}

#[test]
fn from_a_worn_state_it_ends_sooner() {
    let pack = pack();
    let half = State::rested(0.5);
    let run = runtime_from(&pack, half, &Climate::MILD, Load::Current(2.0), 0.0, 12.0).unwrap();
    close("half", run.delivered_ah, 18.0 - 0.0405 * 36.0, 2e-3);
}

proptest! {
    #[test]
    fn any_question_has_an_answer(
        which in 0..5usize,
        rated_ah in 0.5..500.0f64,
        size in -5.0..4.0f64,
        kind in 0..3,
        behind_ohm in 0.0..2.0f64,
        cutoff_v in 0.0..16.0f64,
        soc in -0.1..1.1f64,
        temperature_c in -60.0..90.0f64,
    ) {
        let pack = Pack::typical(Chemistry::ALL[which], rated_ah).unwrap();
        let size = 10f64.powf(size);
        let load = match kind {
            0 => Load::Power(size),
            1 => Load::Current(size),
            _ => Load::Resistance(size),
        };
        let climate = pack.circuit.climate(temperature_c);
        let start = State::rested(soc);
        let run = runtime_from(&pack, start, &climate, load, behind_ohm, cutoff_v).unwrap();
        prop_assert!(run.time_to_cutoff_s.is_finite() && run.time_to_cutoff_s >= 0.0);
        // what was given came out of what was held, the pack's own draw included
        let idle_ah = pack.idle_a * run.time_to_cutoff_s / 3600.0;
        let taken_ah = (start.soc - run.end.soc) * pack.circuit.capacity_ah;
        prop_assert!((taken_ah - idle_ah - run.delivered_ah).abs() < 2e-3 * (taken_ah + 1e-3));
        // and a lower cutoff never ends sooner
        let lower = runtime_from(&pack, start, &climate, load, behind_ohm, 0.9 * cutoff_v).unwrap();
        prop_assert!(lower.time_to_cutoff_s >= run.time_to_cutoff_s * (1.0 - 1e-6) - 0.01);
    }
}
