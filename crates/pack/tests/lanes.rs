//! Draws side by side against the scalar circuit.
#![allow(clippy::unwrap_used)] // a test may

use pack::lanes::{Inside, Lanes, States, Terminals};
use pack::{Chemistry, Circuit, Climate, Pack, State};
use proptest::prelude::*;

const LANES: usize = 16;

struct Draw {
    circuit: Circuit,
    climate: Climate,
    state: State,
}

/// Draws that differ in everything a lane may differ in.
fn draws(chemistry: Chemistry, spread: &[f64]) -> (Circuit, Vec<Draw>) {
    let circuit = Pack::typical(chemistry, 80.0).unwrap().circuit;
    let draws = spread.iter().map(|x| {
        let mut drawn = circuit.drawn(1.0 + 0.1 * x, 1.0 + 0.3 * x, 0.05 * x);
        if let Some(wells) = &mut drawn.wells {
            wells.at_hand *= 1.0 - 0.2 * x;
        }
        Draw {
            climate: circuit.climate(10.0 + 20.0 * x),
            circuit: drawn,
            state: State { soc: 0.7 + 0.25 * x, v1_v: 0.01 * x, gap: 0.02 * x },
        }
    });
    let draws = draws.collect();
    (circuit, draws)
}

fn lanes(circuit: &Circuit, draws: &[Draw], dt_s: f64) -> (Lanes<LANES>, States<LANES>) {
    let (mut lanes, mut states) = (Lanes::new(), States::all(State::rested(1.0)));
    for (lane, draw) in draws.iter().enumerate() {
        lanes.set(lane, &draw.circuit.figures(), &draw.climate);
        states.put(lane, draw.state);
    }
    lanes.set_length(circuit, dt_s);
    (lanes, states)
}

/// Draws a current of its own from each, and notes what it was shown.
struct Given {
    current_a: Vec<f64>,
    seen: Vec<Option<Inside>>,
}

impl Given {
    fn of(current_a: Vec<f64>) -> Self {
        Given { seen: vec![None; current_a.len()], current_a }
    }
}

impl Terminals for Given {
    const CHARGES: bool = true;

    fn charge(&self, lane: usize, _rest_v: f64) -> bool {
        self.current_a[lane] < 0.0
    }

    fn current_a(&mut self, lane: usize, inside: &Inside) -> f64 {
        self.seen[lane] = Some(*inside);
        self.current_a[lane]
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// The state after a step is that of the circuit, whatever flows; what the terminals were shown
    /// at its end is the circuit's voltage there, and on its mean the mean of the voltage in it.
    #[test]
    fn a_step_is_the_circuits(
        spread in prop::collection::vec(-1.0..1.0f64, LANES),
        which in 0..5usize,
        dt_s in prop::sample::select(vec![60.0, 17.5, 6.0]),
    ) {
        let (circuit, mut draws) = draws(Chemistry::ALL[which], &spread);
        let (lanes, mut states) = lanes(&circuit, &draws, dt_s);
        for round in 0..20 {
            let flow = |x: &f64| if round % 3 == 0 { -4.0 - 2.0 * x } else { 5.0 + 3.0 * x };
            let mut given = Given::of(spread.iter().map(flow).collect());
            lanes.step(&circuit, 0.0, &mut states, &mut given);
            for (lane, draw) in draws.iter_mut().enumerate() {
                let Draw { circuit, climate, state } = draw;
                let (current_a, inside) = (given.current_a[lane], given.seen[lane].unwrap());
                let (r0_ohm, before) = (inside.loss_ohm - slow_ohm(circuit, climate, dt_s), *state);
                let step = circuit.step(dt_s, climate);
                circuit.advance_by(state, current_a, &step);
                let found = states.lane(lane);
                prop_assert!((found.soc - state.soc).abs() < 1e-12);
                prop_assert!((found.v1_v - state.v1_v).abs() < 1e-12);
                prop_assert!((found.gap - state.gap).abs() < 1e-12);
                // the curve is a straight line within a cell of its grid, and charging gives back
                // a little less
                let room_v = 2e-3 + 0.02 * current_a.abs() * inside.ohm;
                let end_v = circuit.internal_v(state, climate) - r0_ohm * current_a;
                let shown_v = inside.end_emf_v - inside.end_ohm * current_a;
                prop_assert!((shown_v - end_v).abs() < room_v, "{shown_v} V, not {end_v} V");
                let parts = 200;
                let part = circuit.step(dt_s / f64::from(parts), climate);
                let (mut now, mut sum_v) = (before, 0.0);
                for _ in 0..parts {
                    let start_v = circuit.internal_v(&now, climate);
                    circuit.advance_by(&mut now, current_a, &part);
                    sum_v += 0.5 * (start_v + circuit.internal_v(&now, climate));
                }
                let mean_v = sum_v / f64::from(parts) - r0_ohm * current_a;
                let shown_v = inside.emf_v - inside.ohm * current_a;
                prop_assert!((shown_v - mean_v).abs() < room_v, "{shown_v} V, not {mean_v} V");
            }
        }
    }

    /// With the current that a pack has room for, a step ends full.
    #[test]
    fn room_is_what_is_missing(
        spread in prop::collection::vec(-1.0..1.0f64, LANES),
        which in 0..5usize,
    ) {
        let (circuit, draws) = draws(Chemistry::ALL[which], &spread);
        let (lanes, mut states) = lanes(&circuit, &draws, 60.0);
        struct Full;
        impl Terminals for Full {
            const CHARGES: bool = true;

            fn charge(&self, _lane: usize, _rest_v: f64) -> bool {
                true
            }
            fn current_a(&mut self, _lane: usize, inside: &Inside) -> f64 {
                inside.full_a
            }
        }
        lanes.step(&circuit, 0.0, &mut states, &mut Full);
        for soc in states.soc {
            prop_assert!((soc - 1.0).abs() < 1e-12, "{soc}");
        }
    }
}

/// R1 through a step, of which this much acts on the mean.
fn slow_ohm(circuit: &Circuit, climate: &Climate, dt_s: f64) -> f64 {
    let x = dt_s / (circuit.r1_ohm * circuit.c1_f);
    if x.is_finite() {
        circuit.r1_ohm * climate.resistance * (1.0 + (-x).exp_m1() / x)
    } else {
        0.0
    }
}

/// One lane alone gives the very bits it gives beside others.
#[test]
fn a_lane_alone_is_the_same_to_the_last_bit() {
    let spread: Vec<f64> = (0..LANES).map(|lane| lane as f64 / 8.0 - 1.0).collect();
    for chemistry in Chemistry::ALL {
        let (circuit, draws) = draws(chemistry, &spread);
        let (lanes, mut states) = lanes(&circuit, &draws, 60.0);
        let before = states;
        let mut given = Given::of(spread.iter().map(|x| 4.0 * x).collect());
        for _ in 0..30 {
            lanes.step(&circuit, 0.01, &mut states, &mut given);
        }
        for (lane, x) in spread.iter().enumerate() {
            let mut alone = States::<1>::all(before.lane(lane));
            let mut given = Given::of(vec![4.0 * x]);
            for _ in 0..30 {
                lanes.lane(lane).step(&circuit, 0.01, &mut alone, &mut given);
            }
            assert_eq!(alone.lane(0), states.lane(lane), "{chemistry:?}, lane {lane}");
        }
    }
}
