//! The two wells against published lifetimes and a stiff solver's.
#![allow(clippy::unwrap_used)] // a test may

mod common;
use common::{close, json};
use pack::{Circuit, Climate, Ocv, State, Wells};
use serde_json::Value;

/// A battery of a reference case, in Ah and s where it has A·min and min.
fn battery(case: &Value) -> Circuit {
    let number = |key: &str| case[key].as_f64().unwrap();
    let ocv = Ocv::new(vec![(0.0, 1.0), (1.0, 2.0)]).unwrap();
    Circuit {
        wells: Some(Wells { at_hand: number("c"), rate_per_s: number("k_prime_per_min") / 60.0 }),
        ..Circuit::plain(number("capacity_a_min") / 60.0, ocv, 0.0, 0.0, 0.0)
    }
}

/// When the well at hand is empty, in minutes, under jobs of `(current_a, minutes)` in turn.
fn life_min(circuit: &Circuit, jobs: &[(f64, f64)]) -> f64 {
    let mut state = State::rested(1.0);
    let mut now_min = 0.0;
    for &(current_a, minutes) in jobs.iter().cycle() {
        let after = |minutes: f64| {
            let mut state = state;
            circuit.advance(&mut state, current_a, minutes * 60.0, &Climate::MILD);
            state
        };
        let left = |state: &State| circuit.available(state, &Climate::MILD);
        if left(&after(minutes)) <= 0.0 {
            let (mut low, mut high) = (0.0, minutes);
            for _ in 0..60 {
                let half = 0.5 * (low + high);
                *(if left(&after(half)) > 0.0 { &mut low } else { &mut high }) = half;
            }
            return now_min + low;
        }
        state = after(minutes);
        now_min += minutes;
    }
    f64::NAN
}

// the step is exact, so only the solver's own error is left
const SOLVER: f64 = 1e-8;

#[test]
fn constant_current() {
    let cases = json("circuit/wells.json");
    let cases = cases["kibam"].as_array().unwrap();
    assert_eq!(cases.len(), 7);
    for case in cases {
        let jobs = [(case["current_a"].as_f64().unwrap(), 1e4)];
        let got_min = life_min(&battery(case), &jobs);
        close(&case.to_string(), got_min, case["life_min"].as_f64().unwrap(), SOLVER);
    }
}

#[test]
fn switched_loads() {
    let cases = json("circuit/wells_switched.json");
    let cases = cases["cases"].as_array().unwrap();
    assert_eq!(cases.len(), 12);
    for case in cases {
        let jobs: Vec<(f64, f64)> = case["jobs_a_min"]
            .as_array()
            .unwrap()
            .iter()
            .map(|job| (job[0].as_f64().unwrap(), job[1].as_f64().unwrap()))
            .collect();
        let got_min = life_min(&battery(case), &jobs);
        close(&case.to_string(), got_min, case["life_min"].as_f64().unwrap(), SOLVER);
        // Jongerden & Haverkort 2009, quoted from memory, to its last printed digit
        let published_min = case["published_from_memory_min"].as_f64().unwrap();
        let digit = if published_min * 100.0 % 10.0 < 1e-9 { 0.05 } else { 0.005 };
        assert!((got_min - published_min).abs() <= digit + 1e-9, "{got_min} {published_min}");
    }
}
