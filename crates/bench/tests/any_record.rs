//! Whatever a record holds, measuring it ends, and what it says makes sense.

use bench::{Run, Settings, measure};
use proptest::prelude::*;
use record::{Record, Resolution, Samples};

fn record(rows: &[(f64, f32, f32)]) -> Record {
    let mut samples = Samples::default();
    let mut elapsed_s = 0.0;
    for &(step_s, voltage_v, current_a) in rows {
        samples.elapsed_s.push(elapsed_s);
        samples.voltage_v.push(voltage_v);
        samples.current_a.push(current_a);
        elapsed_s += step_s;
    }
    let resolution = Resolution { voltage_v: 0.01, current_a: 0.01, ..Resolution::default() };
    Record { samples, resolution, ..Record::default() }
}

/// Loads, charges and rests as they come, each for some readings; now and then a long time without.
fn plausible() -> impl Strategy<Value = Vec<(f64, f32, f32)>> {
    let current = prop_oneof![Just(0.0_f32), 0.5_f32..30.0, -20.0_f32..-0.5];
    let stretch = (current, 1_usize..40, 9.0_f32..15.0, -0.02_f32..0.02);
    let step = prop_oneof![9 => Just(10.0), 1 => 0.0..100_000.0];
    prop::collection::vec((stretch, step), 1..12).prop_map(|stretches| {
        let mut rows = Vec::new();
        for ((current_a, readings, voltage_v, slope_v), step_s) in stretches {
            for nth in 0..readings {
                let step_s = if nth + 1 == readings { step_s } else { 10.0 };
                rows.push((step_s, voltage_v + slope_v * nth as f32, current_a));
            }
        }
        rows
    })
}

fn sensible(run: &Run, rows: &[(f64, f32, f32)]) -> Result<(), TestCaseError> {
    let whole_s: f64 = rows.iter().map(|row| row.0).sum();
    let most_a = rows.iter().map(|row| f64::from(row.2.abs())).fold(0.0, f64::max);
    let most_ah = 1.05 * most_a * whole_s / 3600.0 + 1e-9;
    for phase in &run.phases {
        prop_assert!(phase.from_s <= phase.to_s, "{phase:?}");
        prop_assert!(phase.ah.is_finite() && phase.wh.is_finite(), "{phase:?}");
    }
    if let Some(got) = &run.discharge {
        let above = got.above_cutoff;
        prop_assert!((0.0..=1.0 + 1e-9).contains(&above.share), "{above:?}");
        prop_assert!(above.share_u >= 0.0, "{above:?}");
        prop_assert!(above.share_before_first_crossing <= above.share + 1e-9, "{above:?}");
        prop_assert!((0.0..=most_ah).contains(&got.capacity_ah), "{} {most_ah}", got.capacity_ah);
        prop_assert!(got.capacity_u_ah >= 0.0 && got.energy_u_wh >= 0.0);
        prop_assert!(got.duration_s <= whole_s + 1e-6);
        prop_assert!(got.curve.len() <= 1000);
    }
    if let Some(got) = &run.recharge {
        prop_assert!((0.0..=most_ah).contains(&got.charge_ah), "{}", got.charge_ah);
        prop_assert!(got.cc_current_a >= 0.0 && got.energy_wh.is_finite());
        prop_assert!(got.cc_s + got.cv_s <= got.duration_s + 1e-6);
        prop_assert!(got.time_to.windows(2).all(|two| two[0].duration_s <= two[1].duration_s));
    }
    prop_assert!(run.resistances.iter().all(|step| step.ohm > 0.0 && step.u_ohm >= 0.0));
    Ok(())
}

proptest! {
    #[test]
    fn plausible_records(rows in plausible()) {
        if let Ok(runs) = measure(&record(&rows), &Settings::default()) {
            prop_assert!(!runs.is_empty());
            for run in &runs {
                sensible(run, &rows)?;
            }
        }
    }

    #[test]
    fn any_numbers(rows in prop::collection::vec((any::<f64>(), any::<f32>(), any::<f32>()), 0..30)) {
        // refused or measured, without a panic
        let _ = measure(&record(&rows), &Settings::default());
    }

    #[test]
    fn a_higher_cutoff_never_leaves_more(rows in plausible(), cutoff_v in 9.0..15.0, more_v in 0.0..3.0) {
        let share = |cutoff_v| {
            let settings = Settings { cutoff_v, ..Settings::default() };
            let runs = measure(&record(&rows), &settings).ok()?;
            Some(runs.first()?.discharge.as_ref()?.above_cutoff.share)
        };
        if let (Some(low), Some(high)) = (share(cutoff_v), share(cutoff_v + more_v)) {
            prop_assert!(high <= low + 1e-9, "{low} {high}");
        }
    }

    #[test]
    fn readings_put_between_change_nothing(power_w in 5.0..200.0_f64, drop_v in 0.1..3.0_f64, parts in 2_usize..5) {
        // a straight voltage and current, told by 50 readings or by more of the same lines
        let rows = |readings: usize| -> Vec<(f64, f32, f32)> {
            (0..=readings)
                .map(|nth| {
                    let x = nth as f64 / readings as f64;
                    let current_a = power_w / 13.0 * (1.0 + 0.1 * x);
                    (36_000.0 / readings as f64, (13.5 - drop_v * x) as f32, current_a as f32)
                })
                .collect()
        };
        let of = |readings| {
            let runs = measure(&record(&rows(readings)), &Settings::default()).ok()?;
            let got = runs.first()?.discharge.clone()?;
            Some([got.capacity_ah, got.energy_wh, got.above_cutoff.share])
        };
        let (few, many) = (of(50), of(50 * parts));
        prop_assert!(few.is_some());
        for (few, many) in few.into_iter().flatten().zip(many.into_iter().flatten()) {
            // single precision of the samples
            prop_assert!((few - many).abs() <= 1e-6 * few.abs() + 1e-9, "{few} {many}");
        }
    }
}
