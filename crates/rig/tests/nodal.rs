//! The sweep against a dense nodal solution, and against Kirchhoff.

#![allow(clippy::expect_used)]

use proptest::prelude::*;
use rig::schedule::When;
use rig::{Branch, Converter, Device, Load, Rig, Wire};

/// How close the sweep must come to the dense solution (V).
const VOLTS: f64 = 1e-6;

fn load(most_w: f64) -> impl Strategy<Value = Load> {
    prop_oneof![
        (0.0..most_w).prop_map(Load::Power),
        (0.0..most_w / 12.0).prop_map(Load::Current),
        (144.0 / most_w..1000.0).prop_map(Load::Resistance),
    ]
}

#[derive(Debug, Clone)]
struct Tree {
    /// Parent of each node but the root, which is the pack; node k+1 hangs on `parent[k]` ≤ k.
    parent: Vec<usize>,
    ohm: Vec<f64>,
    load: Vec<Load>,
    /// Whether it is a branch (with a load beside it) rather than a device.
    converter: Vec<bool>,
}

fn tree(most: usize, converters: f64) -> impl Strategy<Value = Tree> {
    (1..=most).prop_flat_map(move |count| {
        let node = (
            any::<prop::sample::Index>(),
            0.001..0.05,
            load(24.0 / (count as f64).sqrt()),
            prop::bool::weighted(converters),
        );
        prop::collection::vec(node, count).prop_map(|nodes| Tree {
            parent: nodes.iter().enumerate().map(|(k, node)| node.0.index(k + 1)).collect(),
            ohm: nodes.iter().map(|node| node.1).collect(),
            load: nodes.iter().map(|node| node.2).collect(),
            converter: nodes.iter().map(|node| node.3).collect(),
        })
    })
}

/// A branch and a device without a wire at every node.
fn rig(tree: &Tree) -> Rig {
    let name = |k: usize| (k > 0).then(|| format!("n{k}"));
    let branches = (0..tree.parent.len())
        .map(|k| Branch {
            name: format!("n{}", k + 1),
            feed: name(tree.parent[k]),
            wire: Wire::resistance(tree.ohm[k]),
            converter: tree.converter[k]
                .then(|| Converter { loss_per_w: 1e-3, ..Converter::rated(12.5, 0.1, 50.0, 0.9) }),
        })
        .collect();
    let devices = (0..tree.parent.len())
        .map(|k| Device {
            feed: name(k + 1),
            ..Device::new(format!("d{k}"), Load::OFF, When::always())
        })
        .collect();
    Rig::new(branches, devices).expect("a tree")
}

/// Node voltages by Newton's method on the full conductance matrix: G·v + i(v) = b.
fn dense(tree: &Tree, source_v: f64) -> Option<Vec<f64>> {
    let n = tree.parent.len();
    let mut g = vec![vec![0.0; n]; n];
    let mut fed = vec![0.0; n];
    for k in 0..n {
        let siemens = 1.0 / tree.ohm[k];
        g[k][k] += siemens;
        match tree.parent[k].checked_sub(1) {
            None => fed[k] += siemens * source_v,
            Some(p) => {
                g[p][p] += siemens;
                g[p][k] -= siemens;
                g[k][p] -= siemens;
            }
        }
    }
    let mut v = vec![source_v; n];
    for _ in 0..50 {
        let mut jacobian = g.clone();
        let residual: Vec<f64> = (0..n)
            .map(|k| {
                let row: f64 = g[k].iter().zip(&v).map(|(g, v)| g * v).sum();
                row + tree.load[k].current_a(v[k]) - fed[k]
            })
            .collect();
        for k in 0..n {
            jacobian[k][k] += match tree.load[k] {
                Load::Power(w) => -w / (v[k] * v[k]),
                Load::Current(_) => 0.0,
                Load::Resistance(ohm) => 1.0 / ohm,
            };
        }
        let step = gauss(jacobian, residual)?;
        let mut moved = 0.0_f64;
        for (v, step) in v.iter_mut().zip(&step) {
            *v -= step;
            moved = moved.max(step.abs());
        }
        if v.iter().any(|&v| v <= 0.0) {
            return None;
        }
        if moved < 1e-11 {
            return Some(v);
        }
    }
    None
}

fn gauss(mut a: Vec<Vec<f64>>, mut b: Vec<f64>) -> Option<Vec<f64>> {
    let n = b.len();
    for column in 0..n {
        let pivot =
            (column..n).max_by(|&i, &j| a[i][column].abs().total_cmp(&a[j][column].abs()))?;
        a.swap(column, pivot);
        b.swap(column, pivot);
        let (above, below) = a.split_at_mut(column + 1);
        let top = &above[column];
        for (row, lower) in below.iter_mut().enumerate() {
            let factor = lower[column] / top[column];
            if factor != 0.0 {
                for k in column..n {
                    lower[k] -= factor * top[k];
                }
                b[column + 1 + row] -= factor * b[column];
            }
        }
    }
    for row in (0..n).rev() {
        let known: f64 = (row + 1..n).map(|k| a[row][k] * b[k]).sum();
        b[row] = (b[row] - known) / a[row][row];
    }
    Some(b)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    #[test]
    fn sweep_is_the_dense_solution(tree in tree(200, 0.0), source_v in 10.0..15.0) {
        let Some(expect) = dense(&tree, source_v) else {
            prop_assert!(rig(&tree).solve(source_v, &tree.load).is_err());
            return Ok(());
        };
        let seen = rig(&tree).solve(source_v, &tree.load).expect("the dense solution exists");
        for (k, (device, expect)) in seen.devices.iter().zip(expect).enumerate() {
            let off = (device.voltage_v - expect).abs();
            prop_assert!(off < VOLTS, "node {}: {off} V", k + 1);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(500))]

    #[test]
    fn power_is_kept_and_currents_add_up(tree in tree(30, 0.2), source_v in 11.0..15.0) {
        let rig = rig(&tree);
        let Ok(seen) = rig.solve(source_v, &tree.load) else { return Ok(()) };
        let sum_w = seen.load_w() + seen.cable_w() + seen.converter_w();
        prop_assert!((seen.source_w() - sum_w).abs() < 1e-7, "{} W, {sum_w} W", seen.source_w());
        let from_pack = |feed: &Option<String>| feed.is_none();
        let sum_a: f64 = rig
            .branches()
            .iter()
            .zip(&seen.branches)
            .filter(|(branch, _)| from_pack(&branch.feed))
            .map(|(_, seen)| seen.current_a)
            .sum();
        prop_assert!((seen.source_a - sum_a).abs() < 1e-9);
        for (device, load) in seen.devices.iter().zip(&tree.load) {
            prop_assert!((device.current_a - load.current_a(device.voltage_v)).abs() < 1e-7);
        }
    }
}
