//! Another charger, against a pack simple enough to know what it would do.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod common;

use bench::{Recharge, Settings, measure};
use common::assert_within;
use record::{Record, Resolution, Samples};

const OHM: f64 = 0.05;
const LIMIT_V: f64 = 14.4;

/// A pack whose open-circuit voltage rises from 12 V to 14.2 V over 40 Ah, behind 50 mΩ, charged at
/// a current to 14.4 V and there until 1 A is left.
fn charged_at(current_a: f64) -> Recharge {
    let step_s = 5.0;
    let mut samples = Samples::default();
    let mut charge_ah = 0.0;
    loop {
        let open_v = 12.0 + 2.2 * charge_ah / 40.0;
        let given_a = current_a.min((LIMIT_V - open_v) / OHM);
        if given_a < 1.0 {
            break;
        }
        samples.elapsed_s.push(samples.len() as f64 * step_s);
        samples.voltage_v.push((open_v + given_a * OHM) as f32);
        samples.current_a.push(-given_a as f32);
        charge_ah += given_a * step_s / 3600.0;
    }
    let resolution = Resolution { voltage_v: 1e-4, current_a: 1e-4, ..Resolution::default() };
    let record = Record { samples, resolution, ..Record::default() };
    measure(&record, &Settings::default()).unwrap().remove(0).recharge.unwrap()
}

/// A thousand points of a curve stand for all readings.
const THINNED: f64 = 0.01;

#[test]
fn weaker_and_stronger() {
    let recorded = charged_at(10.0);
    assert_within("limit", recorded.cv_voltage_v.unwrap(), LIMIT_V, 1e-3);
    let own_s = recorded.with_charger_s(10.0, None).unwrap();
    assert_within("its own", own_s, recorded.duration_s, THINNED * recorded.duration_s);
    for (current_a, ohm) in [(5.0, None), (5.0, Some(OHM)), (20.0, Some(OHM))] {
        let other = charged_at(current_a);
        let got_s = recorded.with_charger_s(current_a, ohm).unwrap();
        assert_within(
            &format!("{current_a} A"),
            got_s,
            other.duration_s,
            THINNED * other.duration_s,
        );
    }
    assert_eq!(recorded.with_charger_s(20.0, None), None);
    assert_eq!(recorded.with_charger_s(0.0, None), None);
}
