//! How long the rig takes: a solve, an aggregate, and the same arithmetic bare.

#![allow(clippy::unwrap_used)]

use divan::{Bencher, black_box};
use rig::schedule::When;
use rig::{Aggregator, Branch, Device, Load, Rig, Wire};

fn main() {
    divan::main();
}

fn devices(count: usize, feed: Option<&str>) -> Vec<Device> {
    (0..count)
        .map(|k| Device {
            feed: feed.map(str::to_owned),
            wire: Wire::resistance(0.02 + 0.003 * k as f64),
            least_voltage_v: Some(11.0 + 0.03 * k as f64),
            ..Device::new(format!("d{k}"), Load::OFF, When::always())
        })
        .collect()
}

fn loads(count: usize) -> Vec<Load> {
    (0..count).map(|k| Load::Power(2.0 + k as f64)).collect()
}

fn star(count: usize) -> Rig {
    Rig::new(vec![], devices(count, None)).unwrap()
}

/// A fused trunk to a hub, as most rigs have it.
fn trunk(count: usize) -> Rig {
    let wire = Wire::resistance(0.012);
    let hub = Branch { name: "hub".to_owned(), feed: None, wire, converter: None };
    Rig::new(vec![hub], devices(count, Some("hub"))).unwrap()
}

#[divan::bench]
fn solve_12_devices_behind_a_hub(bencher: Bencher) {
    let (rig, loads) = (trunk(12), loads(12));
    bencher.bench_local(|| rig.solve(black_box(12.6), &loads).unwrap());
}

#[divan::bench]
fn aggregate_star_of_10(bencher: Bencher) {
    let (rig, loads) = (star(10), loads(10));
    let mut aggregator = Aggregator::new(&rig, 10.5, 14.6);
    bencher.bench_local(|| aggregator.aggregate(black_box(&loads)).unwrap());
}

#[divan::bench]
fn aggregate_10_behind_a_hub(bencher: Bencher) {
    let (rig, loads) = (trunk(10), loads(10));
    let mut aggregator = Aggregator::new(&rig, 10.5, 14.6);
    bencher.bench_local(|| aggregator.aggregate(black_box(&loads)).unwrap());
}

/// The closed form of ten devices at four voltages, which no aggregate of a star can do without.
#[divan::bench]
fn bare_star_of_10(bencher: Bencher) {
    let terms: Vec<(f64, f64)> =
        (0..10).map(|k| (2.0 + f64::from(k), 0.02 + 0.003 * f64::from(k))).collect();
    let u: [f64; 4] = [0.005, 0.006, 0.007, 0.009];
    bencher.bench_local(|| {
        let mut sum = [0.0; 4];
        for &(watt, ohm) in black_box(&terms) {
            for k in 0..4 {
                sum[k] += 2.0 * watt / (1.0 + (1.0 - 4.0 * ohm * watt * u[k]).sqrt());
            }
        }
        sum
    });
}

#[divan::bench]
fn one_current_from_an_aggregate(bencher: Bencher) {
    let (rig, loads) = (trunk(10), loads(10));
    let found = Aggregator::new(&rig, 10.5, 14.6).aggregate(&loads).unwrap();
    bencher.bench_local(|| found.source.current_a(black_box(12.6)));
}
