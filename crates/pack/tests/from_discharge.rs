//! A pack measured from one run gives that run back.
#![allow(clippy::unwrap_used)] // a test may

mod common;
use common::{close, truth};
use pack::{Chemistry, Climate, Load, Pack, PackError, Provenance, State, runtime, samples};

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
