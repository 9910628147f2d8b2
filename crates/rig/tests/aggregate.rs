//! The aggregate of a rig against the rig itself.

#![allow(clippy::expect_used)]

use proptest::prelude::*;
use rig::schedule::When;
use rig::{Aggregator, Branch, Converter, Device, Load, Rig, Wire};

const LOW_V: f64 = 10.5;
const HIGH_V: f64 = 14.6;
/// What is promised of the source current where every device gets at least 85 % of the source's
/// voltage: 0.1 %.
const CURRENT: f64 = 1e-3;

fn load() -> impl Strategy<Value = Load> {
    prop_oneof![
        6 => (0.0..40.0).prop_map(Load::Power),
        2 => (0.0..2.0).prop_map(Load::Current),
        2 => (4.0..100.0).prop_map(Load::Resistance),
        1 => Just(Load::OFF),
    ]
}

/// Branches that hang on an earlier one or on the pack, some with a converter.
fn rig_and_loads() -> impl Strategy<Value = (Rig, Vec<Load>)> {
    let branch = (any::<prop::sample::Index>(), 0.0..0.03, prop::bool::weighted(0.25));
    let device = (any::<prop::sample::Index>(), 0.0..0.15, prop::option::of(8.5..12.2), load());
    (prop::collection::vec(branch, 0..6), prop::collection::vec(device, 1..12)).prop_map(
        |(branches, devices)| {
            let feed = |index: &prop::sample::Index, among: usize| {
                let k = index.index(among + 1);
                (k > 0).then(|| format!("b{}", k - 1))
            };
            let branches: Vec<Branch> = branches
                .iter()
                .enumerate()
                .map(|(k, (index, ohm, converts))| Branch {
                    name: format!("b{k}"),
                    feed: feed(index, k),
                    wire: Wire::resistance(*ohm),
                    converter: converts.then(|| Converter {
                        least_input_v: 10.8,
                        loss_per_w: 2e-4,
                        ..Converter::rated(13.0, 0.5, 200.0, 0.9)
                    }),
                })
                .collect();
            let loads: Vec<Load> = devices.iter().map(|device| device.3).collect();
            let devices = devices
                .iter()
                .enumerate()
                .map(|(k, (index, ohm, least, _))| Device {
                    least_voltage_v: *least,
                    feed: feed(index, branches.len()),
                    wire: Wire::resistance(*ohm),
                    ..Device::new(format!("d{k}"), Load::OFF, When::always())
                })
                .collect();
            (Rig::new(branches, devices).expect("a tree"), loads)
        },
    )
}

/// Whether the rig is one a person could use: no device below 85 % of the source.
fn usable(rig: &Rig, loads: &[Load]) -> bool {
    rig.solve(LOW_V, loads).is_ok_and(|seen| {
        seen.wires.iter().all(|wire| wire.from_v - wire.to_v < 0.15 * LOW_V)
            && seen.branches.iter().all(|segment| segment.from_v - segment.to_v < 0.15 * LOW_V)
            && seen.devices.iter().all(|device| device.voltage_v > 0.85 * LOW_V)
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn current_and_power_are_those_of_the_rig((rig, loads) in rig_and_loads(), share in 0.0..=1.0) {
        prop_assume!(usable(&rig, &loads));
        let mut aggregator = Aggregator::new(&rig, LOW_V, HIGH_V);
        let found = aggregator.aggregate(&loads).expect("stands");
        let split = aggregator.split(&loads).expect("stands");
        let v = LOW_V + share * (HIGH_V - LOW_V);
        let seen = rig.solve(v, &loads).expect("stands");
        let off = (found.source.current_a(v) - seen.source_a).abs();
        prop_assert!(off <= CURRENT * seen.source_a, "{off} A of {} at {v}", seen.source_a);
        let room_w = CURRENT * seen.source_w() + 1e-9;
        prop_assert!((split.load.power_w(v) - seen.load_w()).abs() <= room_w);
        prop_assert!((split.cable.power_w(v) - seen.cable_w()).abs() <= room_w);
        prop_assert!((split.converter_w - seen.converter_w()).abs() <= 1e-6);
    }

    #[test]
    fn the_least_voltage_is_where_the_first_device_falls_short((rig, loads) in rig_and_loads()) {
        prop_assume!(usable(&rig, &loads));
        let found = Aggregator::new(&rig, LOW_V, HIGH_V).aggregate(&loads).expect("stands");
        let fine = |v: f64| rig.solve(v, &loads).is_ok_and(|seen| seen.devices.iter().all(|d| d.ok));
        if found.least_source_v == 0.0 {
            prop_assert!(fine(LOW_V));
        } else if found.least_source_v.is_infinite() {
            prop_assert!(!fine(2.0 * HIGH_V));
        } else if found.least_source_v < HIGH_V {
            let room_v = 0.002; // a step of what meters in the field show is 10 mV
            prop_assert!(fine(found.least_source_v + room_v), "{found:?}");
            prop_assert!(!fine(found.least_source_v - room_v), "{found:?}");
            let seen = rig.solve(found.least_source_v - room_v, &loads).expect("stands");
            prop_assert!(!seen.devices[found.worst.expect("named")].ok, "{found:?}");
        }
    }

    #[test]
    fn the_worst_device_sees_what_its_sag_says((rig, loads) in rig_and_loads(), share in 0.0..=1.0) {
        prop_assume!(usable(&rig, &loads));
        let found = Aggregator::new(&rig, LOW_V, HIGH_V).aggregate(&loads).expect("stands");
        let Some(worst) = found.worst else { return Ok(()) };
        // behind a converter the sag is that of the converter's input, which has no device
        let own = rig.devices()[worst].feed.as_ref().is_none_or(|feed| {
            let mut at = rig.branches().iter().find(|b| b.name == *feed);
            while let Some(branch) = at {
                if branch.converter.is_some() { return false; }
                at = rig.branches().iter().find(|b| Some(&b.name) == branch.feed.as_ref());
            }
            true
        });
        prop_assume!(own);
        let v = LOW_V + share * (HIGH_V - LOW_V);
        let seen = rig.solve(v, &loads).expect("stands").devices[worst].voltage_v;
        let off = (found.worst_sag.device_v(v) - seen).abs();
        prop_assert!(off < 0.002, "{off} V of {seen} at {v}");
    }
}

#[test]
fn a_rig_that_collapses_in_the_range_is_only_promised_above() {
    let mut device = Device::new("heater", Load::OFF, When::always());
    device.wire = Wire::resistance(0.5);
    let rig = Rig::new(vec![], vec![device]).unwrap();
    let mut aggregator = Aggregator::new(&rig, LOW_V, HIGH_V);
    // collapses at 2·√(0.5 · 72) = 12 V
    let found = aggregator.aggregate(&[Load::Power(72.0)]).unwrap();
    assert!((found.low_v - 12.36).abs() < 0.01 && found.least_source_v >= found.low_v, "{found:?}");
    let exact = rig.solve(13.5, &[Load::Power(72.0)]).unwrap().source_a;
    assert!((found.source.current_a(13.5) - exact).abs() < 0.01 * exact, "{found:?}");
    assert_eq!(aggregator.aggregate(&[Load::Power(200.0)]).unwrap_err().at, "heater");
    // and the next state is asked over the whole range again
    assert_eq!(aggregator.aggregate(&[Load::Power(10.0)]).unwrap().low_v, LOW_V);
}
