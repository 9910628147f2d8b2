//! The step of a pack: one alone, sixteen side by side, beside the bare arithmetic.
//!
//! Each figure is for `STEPS` steps of sixteen packs under a constant power, so a pack's step
//! costs the figure over 16,000.
#![allow(missing_docs, clippy::unwrap_used)]

use divan::{Bencher, black_box, counter::ItemsCount};
use pack::lanes::{Inside, Lanes, States, Terminals};
use pack::{Chemistry, Circuit, Climate, Load, Pack, State};

fn main() {
    divan::main();
}

const LANES: usize = 16;
const STEPS: usize = 1000;
const POWER_W: f64 = 30.0;

fn draws() -> Vec<Circuit> {
    let pack = Pack::typical(Chemistry::Lfp, 100.0).unwrap();
    (0..LANES).map(|lane| pack.circuit.drawn(1.0 - 0.002 * lane as f64, 1.0, 0.0)).collect()
}

fn lanes(draws: &[Circuit]) -> Lanes<LANES> {
    let mut lanes = Lanes::new();
    for (lane, circuit) in draws.iter().enumerate() {
        lanes.set(lane, &circuit.figures(), &Climate::MILD);
    }
    lanes.set_length(&draws[0], 60.0);
    lanes
}

fn count() -> ItemsCount {
    ItemsCount::new(STEPS * LANES)
}

/// Nothing but the arithmetic: a table, one resistance, one exponential, a square root.
#[divan::bench]
fn bare_one_by_one(bencher: Bencher) {
    let table: Vec<f64> = (0..=1000).map(|i| 12.0 + 1.5 * f64::from(i) / 1000.0).collect();
    let (r0_ohm, keep, r1_ohm, soc_per_a) = (0.006, 0.37, 0.004, 60.0 / 3600.0 / 94.0);
    bencher.counter(count()).bench_local(|| {
        let mut sum = 0.0;
        for _ in 0..LANES {
            let (mut soc, mut v1_v) = (black_box(1.0), 0.0);
            for _ in 0..STEPS {
                let x: f64 = soc * 1000.0;
                let cell = (x.max(0.0) as usize).min(999);
                let e_v = table[cell] + (table[cell + 1] - table[cell]) * (x - cell as f64) - v1_v;
                let current_a = 2.0 * POWER_W / (e_v + (e_v * e_v - 4.0 * r0_ohm * POWER_W).sqrt());
                soc -= current_a * soc_per_a;
                v1_v = v1_v * keep + current_a * r1_ohm * (1.0 - keep);
            }
            sum += soc;
        }
        sum
    });
}

#[divan::bench]
fn one_by_one(bencher: Bencher) {
    let draws = draws();
    bencher.counter(count()).bench_local(|| {
        let mut sum = 0.0;
        for circuit in &draws {
            let step = circuit.step(60.0, &Climate::MILD);
            let mut state = State::rested(black_box(1.0));
            for _ in 0..STEPS {
                let ohm = circuit.r0_at(&state, &Climate::MILD);
                let internal_v = circuit.internal_v(&state, &Climate::MILD);
                let current_a = Load::Power(POWER_W).current_a(internal_v, ohm).unwrap_or(0.0);
                circuit.advance_by(&mut state, current_a, &step);
            }
            sum += state.soc;
        }
        sum
    });
}

/// The bare arithmetic with sixteen side by side.
#[divan::bench]
fn bare_side_by_side(bencher: Bencher) {
    let table: [f64; 1024] = std::array::from_fn(|i| 12.0 + 1.5 * i as f64 / 1000.0);
    let (r0_ohm, keep, r1_ohm, soc_per_a) = (0.006, 0.37, 0.004, 60.0 / 3600.0 / 94.0);
    bencher.counter(count()).bench_local(|| {
        let (mut soc, mut v1_v) = ([black_box(1.0f64); LANES], [0.0; LANES]);
        for _ in 0..STEPS {
            for lane in 0..LANES {
                let x = soc[lane] * 1000.0;
                let cell = (x.max(0.0) as usize) & 511;
                let e_v =
                    table[cell] + (table[cell + 1] - table[cell]) * (x - cell as f64) - v1_v[lane];
                let current_a = 2.0 * POWER_W / (e_v + (e_v * e_v - 4.0 * r0_ohm * POWER_W).sqrt());
                soc[lane] -= current_a * soc_per_a;
                v1_v[lane] = v1_v[lane] * keep + current_a * r1_ohm * (1.0 - keep);
            }
        }
        soc
    });
}

/// A constant power in closed form.
struct Power;

impl Terminals for Power {
    const CHARGES: bool = false;

    #[inline(always)]
    fn charge(&self, _lane: usize, _rest_v: f64) -> bool {
        false
    }

    #[inline(always)]
    fn current_a(&mut self, _lane: usize, inside: &Inside) -> f64 {
        let (e_v, ohm) = (inside.emf_v, inside.ohm);
        2.0 * POWER_W / (e_v + (e_v * e_v - 4.0 * ohm * POWER_W).sqrt())
    }
}

#[inline(always)]
fn steps(lanes: &Lanes<LANES>, circuit: &Circuit) -> States<LANES> {
    let mut states = States::all(State::rested(black_box(1.0)));
    for _ in 0..STEPS {
        lanes.step(circuit, 0.0, &mut states, &mut Power);
    }
    states
}

#[divan::bench]
fn side_by_side_portable(bencher: Bencher) {
    let draws = draws();
    let lanes = lanes(&draws);
    bencher.counter(count()).bench_local(|| steps(&lanes, &draws[0]));
}

#[cfg(target_arch = "x86_64")]
#[divan::bench]
fn side_by_side_avx2(bencher: Bencher) {
    #[target_feature(enable = "avx2")]
    fn steps_avx2(lanes: &Lanes<LANES>, circuit: &Circuit) -> States<LANES> {
        steps(lanes, circuit)
    }
    if !std::arch::is_x86_feature_detected!("avx2") {
        return;
    }
    let draws = draws();
    let lanes = lanes(&draws);
    bencher.counter(count()).bench_local(|| {
        #[allow(unsafe_code)] // the only way to choose an instruction set at run time
        // SAFETY: the processor was just found to have AVX2.
        unsafe {
            steps_avx2(&lanes, &draws[0])
        }
    });
}
