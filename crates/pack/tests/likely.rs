//! How wide the interval of a runtime is, and that a draw from the pack's spread lies in it.
#![allow(clippy::unwrap_used)] // a test may

use pack::{Chemistry, Load, Pack, likely_runtime, runtime};

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
