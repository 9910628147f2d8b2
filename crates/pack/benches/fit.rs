//! Fitting three records of 10,000 rows.
#![allow(missing_docs, clippy::unwrap_used)]

use divan::Bencher;
use pack::fit::{Run, fit};
use pack::{Chemistry, Climate, Pack, Sample, State, samples};

fn main() {
    divan::main();
}

const ROWS: usize = 10_000;

/// A typical pack discharged, with a rest every tenth of the way, and a little noise.
fn record(rate: f64) -> Vec<Sample> {
    let pack = Pack::typical(Chemistry::Agm, 100.0).unwrap();
    let mut state = State::rested(1.0);
    let dt_s = 0.9 * 3600.0 / rate / ROWS as f64;
    let step = pack.circuit.step(dt_s, &Climate::MILD);
    let (mut time_s, mut voltage_v, mut current_a) = (vec![], vec![], vec![]);
    for row in 0..ROWS {
        let flow_a = if row % 1000 < 20 { 0.0 } else { 100.0 * rate };
        pack.circuit.advance_by(&mut state, flow_a, &step);
        time_s.push(row as f64 * dt_s);
        let noise_v = ((row * 7919) % 11) as f64 * 4e-4 - 2e-3;
        voltage_v.push(pack.circuit.terminal_v(&state, flow_a, &Climate::MILD) + noise_v);
        current_a.push(flow_a);
    }
    samples(&time_s, &voltage_v, &current_a)
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn three_records(bencher: Bencher) {
    let records = [record(0.05), record(0.1), record(0.2)];
    let names = ["c20", "c10", "c5"];
    bencher.bench_local(|| {
        let runs: Vec<Run<'_>> = names
            .iter()
            .zip(&records)
            .map(|(name, samples)| Run { name, samples, from_full: true })
            .collect();
        fit("pack", Chemistry::Agm, 100.0, &runs, &mut |_| {}).unwrap()
    });
}
