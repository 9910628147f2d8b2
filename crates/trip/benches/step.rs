//! What a step of a draw costs, beside a bare loop of the same arithmetic.
//!
//! `cargo bench -p trip`. Items are steps of one draw: 100 Mitem/s is 10 ns a step. Everything runs
//! on one thread.

// a benchmark that can't set itself up says so and ends
#![allow(clippy::expect_used)]

use std::path::Path;

use divan::{Bencher, black_box, counter::ItemsCount};
use plan::Plan;
use trip::{Settings, forecast};

fn main() {
    divan::main();
}

const DRAWS: usize = 1024;

fn example() -> Plan {
    Plan::read(&Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/heather-ridge.toml"))
        .expect("the example can be read")
}

/// The example trip: rig, clear sky, draws, counting and all.
#[divan::bench(sample_count = 20)]
fn trip_with_1024_draws(bencher: Bencher) {
    let plan = example();
    let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("a thread");
    let settings = Settings { draws: DRAWS, ..Settings::default() };
    let once = forecast(&plan, settings, |_| true).expect("a forecast");
    bencher
        .counter(ItemsCount::new(once.points.len() * DRAWS))
        .bench_local(|| one.install(|| forecast(black_box(&plan), settings, |_| true)));
}

/// The same with the central case alone, and sixteen draws: what does not grow with their number.
#[divan::bench(sample_count = 20)]
fn trip_with_16_draws(bencher: Bencher) {
    let plan = example();
    let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("a thread");
    let settings = Settings { draws: 16, ..Settings::default() };
    bencher.bench_local(|| one.install(|| forecast(black_box(&plan), settings, |_| true)));
}

const LANES: usize = 16;
type Row = [f64; LANES];

/// A pack of sixteen lanes, its load a curve of current against voltage, and nothing else.
struct Bare {
    soc: Row,
    v1: Row,
    v: Row,
    r0: Row,
    soc_per_a: Row,
    m0: Row,
    m1: Row,
}

impl Bare {
    fn new() -> Self {
        let lanes = |of: fn(f64) -> f64| std::array::from_fn(|lane| of(lane as f64 / 16.0));
        Bare {
            soc: [1.0; LANES],
            v1: [0.0; LANES],
            v: [13.3; LANES],
            r0: lanes(|x| 0.02 + 0.01 * x),
            soc_per_a: lanes(|x| (1.0 + 0.1 * x) * 60.0 / (3600.0 * 400.0)),
            m0: lanes(|x| 30.0 + 5.0 * x),
            m1: lanes(|x| 60.0 + 5.0 * x),
        }
    }

    #[inline(always)]
    fn step(&mut self, ocv: &[[f64; 2]; 1024]) {
        for lane in 0..LANES {
            let x = self.soc[lane] * 1000.0;
            let cell = x as usize & 1023;
            let [start, rise] = ocv[cell];
            let emf = start + rise * (x - cell as f64) - self.v1[lane];
            let ohm = self.r0[lane];
            let v = self.v[lane];
            let y = 1.0 / v;
            let y2 = y * y;
            let load = y * (self.m0[lane] + y2 * self.m1[lane]);
            let slope = -y2 * (self.m0[lane] + 3.0 * y2 * self.m1[lane]);
            let v = v + (emf - ohm * load - v) / (1.0 + ohm * slope);
            let current = (emf - v) / ohm;
            self.soc[lane] -= current * self.soc_per_a[lane];
            self.v1[lane] = self.v1[lane] * 0.3 + current * 0.01;
            self.v[lane] = v;
        }
    }
}

const STEPS: usize = 3700;

fn ocv() -> [[f64; 2]; 1024] {
    std::array::from_fn(|cell| [11.5 + 2.0 * (cell as f64 / 1000.0).sqrt(), 0.001])
}

#[divan::bench(sample_count = 50)]
fn bare_loop(bencher: Bencher) {
    let ocv = ocv();
    bencher.counter(ItemsCount::new(STEPS * LANES)).bench_local(|| {
        let mut bare = Bare::new();
        for _ in 0..STEPS {
            bare.step(black_box(&ocv));
        }
        bare.soc
    });
}

#[cfg(target_arch = "x86_64")]
#[divan::bench(sample_count = 50)]
fn bare_loop_avx2(bencher: Bencher) {
    #[target_feature(enable = "avx2")]
    fn steps(bare: &mut Bare, ocv: &[[f64; 2]; 1024]) {
        for _ in 0..STEPS {
            bare.step(black_box(ocv));
        }
    }
    if !std::arch::is_x86_feature_detected!("avx2") {
        return;
    }
    let ocv = ocv();
    bencher.counter(ItemsCount::new(STEPS * LANES)).bench_local(|| {
        let mut bare = Bare::new();
        #[allow(unsafe_code)] // the only way to choose an instruction set at run time
        // SAFETY: the processor was just found to have AVX2.
        unsafe {
            steps(&mut bare, &ocv);
        }
        bare.soc
    });
}
