//! Real discharges of single cells. Their current was not logged but follows from the stated rate,
//! so that shares and mean voltages are the measurement and the charge is not.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod common;

use bench::{Settings, measure};
use common::{assert_within, json, number, path};
use record::{ColumnChoice, ReadOptions, Role, Which, read_file};

#[test]
fn shares_and_means() {
    let all = json("measured-cells/measured.json");
    for (file, expected) in all.as_object().unwrap() {
        let stated_current_a = expected["current_a_from_rate"].as_f64();
        if file.contains("warming") || stated_current_a.is_none() {
            continue;
        }
        let choose = |role, number, unit: &str| ColumnChoice {
            role,
            which: Which::Number(number),
            unit: Some(unit.to_owned()),
        };
        let columns = vec![choose(Role::Time, 1, "s"), choose(Role::Voltage, 2, "V")];
        let options = ReadOptions { columns, stated_current_a, ..ReadOptions::default() };
        let path = path(&format!("measured-cells/{file}"));
        let record = read_file(std::path::Path::new(&path), &options, |_, _| {}).unwrap();
        for cutoff_v in [3.0, 3.5, 3.7] {
            let settings = Settings { cutoff_v, ..Settings::default() };
            let got = measure(&record, &settings).unwrap().remove(0).discharge.unwrap();
            let share = number(expected, &format!("share_above_{cutoff_v:.1}"));
            // one second at either end of two hours or half an hour
            assert_within(file, got.above_cutoff.share, share, 6e-4);
            assert_within(file, got.mean_voltage_v, number(expected, "mean_v"), 1e-4);
            let charge_ah = number(expected, "capacity_ah_from_rate");
            assert_within(file, got.capacity_ah, charge_ah, 1e-4 * charge_ah);
        }
    }
}
