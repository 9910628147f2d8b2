//! How fast a record is measured, beside the least any measurement does: one pass that adds up.

use bench::{Settings, measure};
use divan::Bencher;
use divan::counter::ItemsCount;
use record::{Record, Resolution, Samples};

const ROWS: usize = 1_000_000;

fn main() {
    divan::main();
}

/// A discharge logged every second, with a rest before it.
fn record() -> Record {
    let mut samples = Samples::default();
    for at in 0..ROWS {
        let x = at as f64 / ROWS as f64;
        samples.elapsed_s.push(at as f64);
        samples.voltage_v.push((13.4 - 0.8 * x - 2.5 * x.powi(8)) as f32);
        samples.current_a.push(if at < 600 { 0.0 } else { 4.0 });
    }
    let resolution = Resolution { voltage_v: 1e-3, current_a: 1e-3, ..Resolution::default() };
    Record { samples, resolution, ..Record::default() }
}

#[divan::bench(sample_count = 10)]
fn measured(bencher: Bencher) {
    let record = record();
    bencher
        .counter(ItemsCount::new(ROWS))
        .bench(|| measure(divan::black_box(&record), &Settings::default()));
}

#[divan::bench(sample_count = 10)]
fn added_up(bencher: Bencher) {
    let record = record();
    bencher.counter(ItemsCount::new(ROWS)).bench(|| {
        let mut sum = [0.0_f64; 2];
        for sample in divan::black_box(&record).samples.iter() {
            sum[0] += sample.current_a;
            sum[1] += sample.current_a * sample.voltage_v;
        }
        sum
    });
}
