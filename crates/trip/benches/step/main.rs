//! What a step of a draw costs, beside a bare loop of the same arithmetic.
//!
//! `cargo bench -p trip`. Items are steps of one draw: 100 Mitem/s is 10 ns a step. Everything runs
//! on one thread.

// a benchmark that can't set itself up says so and ends
#![allow(clippy::expect_used)]

mod bare;

use std::path::Path;

use divan::{Bencher, black_box, counter::ItemsCount};
use plan::Plan;
use trip::{Settings, forecast, steps_of_draws};

fn main() {
    divan::main();
}

const DRAWS: usize = 1024;

fn example() -> Plan {
    Plan::read(&Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/heather-ridge.toml"))
        .expect("the example can be read")
}

fn steps(bencher: Bencher<'_, '_>, portable: bool) {
    let time = |run: &mut dyn FnMut() -> usize| {
        let count = ItemsCount::new(run());
        bencher.counter(count).bench_local(run);
    };
    steps_of_draws(&example(), DRAWS, portable, time).expect("the example can be simulated");
}

/// The draws of the example trip with its rig, in portable code.
#[divan::bench(sample_count = 30)]
fn steps_portable(bencher: Bencher) {
    steps(bencher, true);
}

/// The same in the best code for the machine: with AVX2 where it has it.
#[divan::bench(sample_count = 30)]
fn steps_chosen(bencher: Bencher) {
    steps(bencher, false);
}

/// The whole forecast: clear sky, draws, counting, bands and all.
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

#[divan::bench(sample_count = 50)]
fn bare_loop(bencher: Bencher) {
    bencher.counter(ItemsCount::new(bare::STEPS * bare::LANES)).bench_local(bare::trip);
}

#[cfg(target_arch = "x86_64")]
#[divan::bench(sample_count = 50)]
fn bare_loop_avx2(bencher: Bencher) {
    if std::arch::is_x86_feature_detected!("avx2") {
        bencher.counter(ItemsCount::new(bare::STEPS * bare::LANES)).bench_local(bare::trip_avx2);
    }
}
