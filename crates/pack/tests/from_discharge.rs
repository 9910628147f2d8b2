//! A pack measured from one run gives that run back.
#![allow(clippy::unwrap_used)] // a test may

mod common;
use common::{close, truth};
use pack::fit::{Run, fit};
use pack::{
    Chemistry, Climate, Load, Pack, PackError, Provenance, Sample, State, likely_runtime, runtime,
    samples,
};
use proptest::prelude::*;

// a curve averaged over thousandths of the capacity can be a fifth of that off in time
const OWN_RUN: f64 = 2e-3;

#[test]
fn its_own_run() {
    for (name, chemistry, rated_ah) in [
        ("pack-a-discharge-c20", Chemistry::Lfp, 40.0),
        ("pack-a-discharge-c5", Chemistry::Lfp, 40.0),
        ("pack-a-discharge-c2", Chemistry::Lfp, 40.0),
        ("pack-b-discharge-c20", Chemistry::Flooded, 17.0),
        ("pack-b-discharge-c5", Chemistry::Agm, 17.0),
    ] {
        let record = truth(&format!("bench/truth/{name}.csv"));
        let pack = Pack::from_discharge(name, Some(chemistry), Some(rated_ah), &record).unwrap();
        let last = record.last().unwrap();
        let load = Load::Current(last.current_a);
        // some millivolts above the record's end, where time still tells the voltage
        for cutoff_v in [last.voltage_v + 0.01, 11.0, 11.5, 12.0] {
            let run = runtime(&pack, load, 0.0, cutoff_v).unwrap();
            let row = record.iter().find(|s| s.voltage_v < cutoff_v).unwrap();
            let what = format!("{name} to {cutoff_v} V");
            close(&what, run.time_to_cutoff_s, row.elapsed_s, OWN_RUN + 30.0 / row.elapsed_s);
            close(&what, run.delivered_ah, row.delivered_ah, OWN_RUN + 30.0 / row.elapsed_s);
        }
        let Provenance::Measured { notes, .. } = &pack.provenance else { panic!() };
        assert!(notes.iter().any(|n| n.contains("no step")), "{notes:?}");
    }
}

#[test]
fn refuses_what_is_no_discharge() {
    for (name, rows, word) in [
        ("empty", samples(&[], &[], &[]), "no current"),
        ("charge", samples(&[0.0, 60.0, 120.0], &[13.0; 3], &[-4.0; 3]), "no current"),
        ("short", samples(&[0.0, 60.0], &[13.0; 2], &[4.0; 2]), "three rows"),
        ("back", samples(&[0.0, 60.0, 30.0], &[13.0; 3], &[4.0; 3]), "backwards"),
        ("nan", samples(&[0.0, 60.0, 90.0], &[13.0, f64::NAN, 12.0], &[4.0; 3]), "no number"),
    ] {
        let error = Pack::from_discharge(name, None, None, &rows).unwrap_err();
        assert!(matches!(&error, PackError::Record(text) if text.contains(word)), "{error}");
    }
}

#[test]
fn a_measured_curve_can_be_charged() {
    // a thousand pieces, not twenty: holding a voltage must still find the right one
    let record = truth("bench/truth/pack-a-discharge-c20.csv");
    let pack = Pack::from_discharge("a", Some(Chemistry::Lfp), Some(40.0), &record).unwrap();
    let circuit = &pack.circuit;
    let step = circuit.step(60.0, &Climate::MILD);
    for thousandths in 0..=1000 {
        let start = State::rested(f64::from(thousandths) / 1000.0);
        for wanted_v in [13.6, 14.0, 14.3] {
            let held_a = circuit.hold_a(&start, wanted_v, &step, &Climate::MILD);
            let mut end = start;
            circuit.advance_by(&mut end, held_a, &step);
            let got_v = circuit.terminal_v(&end, held_a, &Climate::MILD);
            assert!((got_v - wanted_v).abs() < 1e-3, "{wanted_v} from {thousandths}: {got_v} V");
        }
    }
}

#[test]
fn at_other_currents_the_interval_holds_the_truth() {
    let last = |name: &str| *truth(&format!("bench/truth/{name}.csv")).last().unwrap();
    for (from, to) in [
        ("pack-a-discharge-c5", "pack-a-discharge-c10"),
        ("pack-a-discharge-c2", "pack-a-discharge-c10"),
        ("pack-a-discharge-c10", "pack-a-discharge-c2"),
        ("pack-a-discharge-c10", "pack-a-discharge-c20"),
    ] {
        let record = truth(&format!("bench/truth/{from}.csv"));
        let pack = Pack::from_discharge(from, Some(Chemistry::Lfp), Some(40.0), &record).unwrap();
        let unseen = last(to);
        let load = Load::Current(unseen.current_a);
        let likely = likely_runtime(&pack, load, 0.0, unseen.voltage_v).unwrap();
        let (low, high) = (likely.time_low_s, likely.time_high_s);
        assert!(low < unseen.elapsed_s && unseen.elapsed_s < high, "{from} {to}: {likely:?}");
        assert!((high - low) / unseen.elapsed_s < 0.5, "{from} {to}: {likely:?}");
    }
}

#[test]
fn guesses_the_chemistry_where_none_is_given() {
    for (name, word, charge_v) in [
        ("truth/pack-a-discharge-c5", "LFP", 14.2),
        ("truth/pack-b-discharge-c20", "AGM", 14.4),
        ("truth/pack-b-discharge-1c", "AGM", 14.4),
        ("more/truth/pack-g-discharge-c10", "NMC", 16.8),
    ] {
        let record = truth(&format!("bench/{name}.csv"));
        let pack = Pack::from_discharge(name, None, None, &record).unwrap();
        assert_eq!(pack.chemistry, None);
        let Provenance::Measured { notes, .. } = &pack.provenance else { panic!() };
        assert!(notes[0].contains(&format!("treated as {word}")), "{name}: {notes:?}");
        assert!((pack.limits.charge_v.unwrap() - charge_v).abs() < 1e-6, "{name}");
    }
}

#[test]
fn takes_the_resistance_from_steps() {
    let record = truth("bench/truth/pack-a-pulses.csv");
    let pack = Pack::from_discharge("pulses", Some(Chemistry::Lfp), Some(40.0), &record).unwrap();
    // the reference's own steps are about 9.5 mΩ at once (R0 with its share of R1 here); the
    // typical pack of this size would have 25 mΩ
    let ohm = pack.circuit.r0_ohm + pack.circuit.r1_ohm;
    assert!((0.006..0.016).contains(&ohm), "{ohm}");
    let Provenance::Measured { notes, .. } = &pack.provenance else { panic!() };
    assert!(notes.iter().all(|n| !n.contains("no step")), "{notes:?}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]

    // whatever the rows, an answer or a reason
    #[test]
    fn never_panics(
        rows in prop::collection::vec(
            (0.0..1e5f64, -20.0..60.0f64, -50.0..50.0f64, -1.0..80.0f64), 0..60
        ),
        sorted in any::<bool>(),
        full in any::<bool>(),
    ) {
        let mut rows = rows;
        if sorted {
            rows.sort_by(|a, b| a.0.total_cmp(&b.0));
        }
        let record: Vec<Sample> = rows
            .iter()
            .map(|&(elapsed_s, voltage_v, current_a, delivered_ah)| Sample {
                elapsed_s, voltage_v, current_a, delivered_ah, temperature_c: Some(current_a),
            })
            .collect();
        let one = Pack::from_discharge("noise", None, None, &record);
        if let Ok(pack) = one {
            prop_assert!(pack.circuit.capacity_ah > 0.0);
            let run = runtime(&pack, Load::Power(10.0), 0.01, 9.0).unwrap();
            prop_assert!(run.time_to_cutoff_s.is_finite());
        }
        for chemistry in [Chemistry::Lfp, Chemistry::Agm] {
            let runs = [
                Run { name: "noise", samples: &record, from_full: true },
                Run { name: "again", samples: &record, from_full: full },
            ];
            if let Ok(fit) = fit("noise", chemistry, 20.0, &runs, &mut |_| {}) {
                prop_assert!(fit.pack.circuit.capacity_ah > 0.0);
            }
        }
    }
}

proptest! {
    // a fit takes a while unoptimised
    #![proptest_config(ProptestConfig::with_cases(4))]

    // rows that look like a discharge, in every way badly kept
    #[test]
    fn nor_on_bad_records(
        rows in prop::collection::vec(
            (prop_oneof![Just(0.0), 0.0..900.0f64], -0.6..0.6f64, prop_oneof![Just(0.0), -2.0..15.0f64]),
            8..80,
        ),
        temperature_c in prop_oneof![Just(25.0), -30.0..60.0f64],
    ) {
        let count = rows.len() as f64;
        let mut now_s = 0.0;
        let (mut times_s, mut volts, mut amperes) = (vec![], vec![], vec![]);
        for (i, (dt_s, noise_v, current_a)) in rows.into_iter().enumerate() {
            now_s += dt_s;
            times_s.push(now_s);
            volts.push(13.4 - 1.4 * i as f64 / count + noise_v);
            amperes.push(current_a);
        }
        let mut record = samples(&times_s, &volts, &amperes);
        for (i, row) in record.iter_mut().enumerate() {
            row.temperature_c = (i % 3 > 0).then_some(temperature_c);
        }
        if let Ok(pack) = Pack::from_discharge("bad", Some(Chemistry::Lfp), None, &record) {
            let run = runtime(&pack, Load::Power(10.0), 0.01, 9.0).unwrap();
            prop_assert!(run.time_to_cutoff_s.is_finite());
        }
        for from_full in [true, false] {
            let runs = [
                Run { name: "bad", samples: &record, from_full: true },
                Run { name: "again", samples: &record, from_full },
            ];
            if let Ok(fit) = fit("bad", Chemistry::Lfp, 20.0, &runs, &mut |_| {}) {
                let run = likely_runtime(&fit.pack, Load::Power(10.0), 0.01, 9.0).unwrap();
                prop_assert!(run.time_low_s.is_finite() && run.time_high_s.is_finite());
            }
        }
    }
}
