//! Sixteen packs side by side equal the scalar step to the last bit.
#![allow(clippy::unwrap_used)] // a test may

use pack::lanes::{Demands, Flow, LANES, Lanes};
use pack::{Chemistry, Circuit, Climate, Demand, Pack, State};
use proptest::prelude::*;

struct Draw {
    circuit: Circuit,
    climate: Climate,
    state: State,
}

/// Draws that differ in everything a lane may differ in.
fn draws(chemistry: Chemistry, spread: &[f64]) -> Vec<Draw> {
    let circuit = Pack::typical(chemistry, 80.0).unwrap().circuit;
    spread
        .iter()
        .map(|x| Draw {
            circuit: circuit.drawn(1.0 + 0.1 * x, 1.0 + 0.3 * x, 0.05 * x),
            climate: circuit.climate(10.0 + 20.0 * x),
            state: State { soc: 0.6 + 0.35 * x, v1_v: 0.01 * x, gap: 0.02 * x },
        })
        .collect()
}

fn demand(x: f64) -> Demand {
    Demand { g_s: 0.02, a_a: -6.0 * x, m1_w: 30.0 + 10.0 * x, m2_wv2: 40.0, m3_wv4: 900.0 }
}

/// What a lane does in one step, in the scalar circuit's own words.
fn scalar(draw: &mut Draw, demand: &Demand, near_v: f64, dt_s: f64) -> (f64, f64) {
    let (circuit, climate) = (&draw.circuit, &draw.climate);
    let internal_v = circuit.internal_v(&draw.state, climate);
    let ohm = if demand.current_a(internal_v).0 < 0.0 {
        circuit.r0_charging_at(&draw.state, climate)
    } else {
        circuit.r0_at(&draw.state, climate)
    };
    let (voltage_v, current_a) = demand.solve(internal_v, ohm, near_v).unwrap_or((internal_v, 0.0));
    circuit.advance_by(&mut draw.state, current_a, &circuit.step(dt_s, climate));
    (voltage_v, current_a)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn bit_for_bit(
        spread in prop::collection::vec(-1.0..1.0f64, LANES),
        which in 0..5usize,
        dt_s in prop::sample::select(vec![60.0, 17.5, 600.0]),
    ) {
        let mut draws = draws(Chemistry::ALL[which], &spread);
        let start: Vec<_> = draws.iter().map(|d| (&d.circuit, d.state, d.climate)).collect();
        let mut lanes = Lanes::new(&start, dt_s).unwrap();
        let mut portable = lanes.clone();
        let mut demands = Demands::all(Demand::default());
        for (lane, x) in spread.iter().enumerate() {
            demands.set(lane, demand(*x));
        }
        let (mut flow, mut portable_flow) = (Flow::near(12.8), Flow::near(12.8));
        let mut near_v = [12.8; LANES];
        for _ in 0..50 {
            lanes.step(&demands, &mut flow);
            portable.step_portable(&demands, &mut portable_flow);
            prop_assert_eq!(&flow, &portable_flow);
            for (lane, draw) in draws.iter_mut().enumerate() {
                let (voltage_v, current_a) =
                    scalar(draw, &demands.lane(lane), near_v[lane], dt_s);
                near_v[lane] = voltage_v;
                prop_assert_eq!(lanes.state(lane), draw.state);
                prop_assert_eq!(flow.voltage_v[lane], voltage_v);
                prop_assert_eq!(flow.current_a[lane], current_a);
            }
        }
    }

    #[test]
    fn limited_too(
        spread in prop::collection::vec(-1.0..1.0f64, LANES),
        which in 0..5usize,
    ) {
        let mut draws = draws(Chemistry::ALL[which], &spread);
        let start: Vec<_> = draws.iter().map(|d| (&d.circuit, d.state, d.climate)).collect();
        let mut lanes = Lanes::new(&start, 60.0).unwrap();
        for _ in 0..20 {
            let mut held_a = [-8.0; LANES];
            lanes.limit(&[13.6; LANES], &mut held_a);
            lanes.advance(&held_a);
            for (lane, draw) in draws.iter_mut().enumerate() {
                let step = draw.circuit.step(60.0, &draw.climate);
                let one_a = draw.circuit.limit_a(&draw.state, -8.0, 13.6, &step, &draw.climate);
                prop_assert_eq!(held_a[lane], one_a);
                draw.circuit.advance_by(&mut draw.state, one_a, &step);
                prop_assert_eq!(lanes.state(lane), draw.state);
            }
        }
    }
}

#[test]
fn a_demand_without_solution_flows_nothing() {
    let draws = draws(Chemistry::Lfp, &[0.0; 3]);
    let start: Vec<_> = draws.iter().map(|d| (&d.circuit, d.state, d.climate)).collect();
    let mut lanes = Lanes::new(&start, 60.0).unwrap();
    let mut demands = Demands::all(Demand::power(30.0));
    demands.set(1, Demand::power(1e5));
    let mut flow = Flow::near(13.0);
    let before = lanes.state(1);
    lanes.step(&demands, &mut flow);
    assert_eq!((flow.met[0], flow.met[1], flow.current_a[1]), (1.0, 0.0, 0.0));
    assert_eq!(lanes.state(1).soc, before.soc);
    assert!(lanes.state(0).soc < draws[0].state.soc);
    assert!(Lanes::new(&[], 60.0).is_none());
}
