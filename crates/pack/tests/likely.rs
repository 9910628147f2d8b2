//! How wide the interval of a runtime is, and that a draw from the pack's spread lies in it.
#![allow(clippy::unwrap_used)] // a test may

use pack::{Chemistry, Load, Pack, Start, likely_runtime, likely_runtime_from, runtime};

#[test]
fn a_typical_pack_is_known_to_some_percent() {
    for (chemistry, most) in [(Chemistry::Lfp, 0.15), (Chemistry::Nmc, 0.5), (Chemistry::Agm, 0.5)]
    {
        let pack = Pack::typical(chemistry, 50.0).unwrap();
        let likely = likely_runtime(&pack, Load::Power(30.0), 0.0, 11.5).unwrap();
        let width = (likely.time_high_s - likely.time_low_s) / likely.central.time_to_cutoff_s;
        assert!(width > 0.05 && width < most, "{chemistry}: {width}");
        assert!(likely.time_low_s < likely.central.time_to_cutoff_s);
        // the spread of the capacity alone lies inside
        for factor in [-1.96, 1.96] {
            let circuit = pack.circuit.drawn(1.0 + factor * pack.spread.capacity, 1.0, 0.0);
            let drawn = Pack { circuit, ..pack.clone() };
            let time_s = runtime(&drawn, Load::Power(30.0), 0.0, 11.5).unwrap().time_to_cutoff_s;
            let inside = likely.time_low_s * 0.999..=likely.time_high_s * 1.001;
            assert!(inside.contains(&time_s), "{chemistry}: {time_s} of {likely:?}");
        }
    }
}

#[test]
fn what_is_known_exactly_has_no_width() {
    let mut pack = Pack::typical(Chemistry::Lfp, 50.0).unwrap();
    pack.spread = pack::Spread::default();
    let likely = likely_runtime(&pack, Load::Current(3.0), 0.1, 12.0).unwrap();
    let central_s = likely.central.time_to_cutoff_s;
    assert!((likely.time_high_s - central_s).abs() < 0.1, "{likely:?}");
    assert!((likely.time_low_s - central_s).abs() < 0.1, "{likely:?}");
}

#[test]
fn the_cold_shortens_it_and_makes_it_less_sure() {
    let pack = Pack::typical(Chemistry::Lfp, 40.0).unwrap();
    let at = |soc: f64, temperature_c: f64| {
        let start = Start { soc, temperature_c };
        likely_runtime_from(&pack, start, Load::Power(30.0), 0.0, 11.5)
    };
    let mild = at(1.0, 25.0).unwrap();
    assert_eq!(mild, likely_runtime(&pack, Load::Power(30.0), 0.0, 11.5).unwrap());
    let (cold, half) = (at(1.0, -10.0).unwrap(), at(0.5, 25.0).unwrap());
    let time_s = |likely: &pack::Likely| likely.central.time_to_cutoff_s;
    assert!(time_s(&cold) < 0.9 * time_s(&mild) && time_s(&half) < 0.55 * time_s(&mild));
    let width = |likely: &pack::Likely| (likely.time_high_s - likely.time_low_s) / time_s(likely);
    assert!(width(&cold) > 1.2 * width(&mild), "{} {}", width(&cold), width(&mild));
    for (soc, temperature_c) in [(0.0, 25.0), (1.1, 25.0), (f64::NAN, 25.0), (1.0, f64::NAN)] {
        assert!(at(soc, temperature_c).is_err(), "{soc} {temperature_c}");
    }
}
