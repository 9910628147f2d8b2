//! What is wrong with a rig is said by name.

#![allow(clippy::unwrap_used)]

use rig::schedule::When;
use rig::{
    Branch, Cable, Converter, CooledSensor, Device, Follows, Fuse, Load, Peak, Rig, Section, Wire,
};

fn branch(name: &str, feed: Option<&str>) -> Branch {
    Branch {
        name: name.to_owned(),
        feed: feed.map(str::to_owned),
        wire: Wire::cable(Section::Awg(16), 1.0),
        converter: None,
    }
}

fn device(name: &str, feed: Option<&str>) -> Device {
    Device { feed: feed.map(str::to_owned), ..Device::new(name, Load::Power(5.0), When::always()) }
}

#[track_caller]
fn check(branches: Vec<Branch>, devices: Vec<Device>, name: Option<&str>, says: &str) {
    let error = Rig::new(branches, devices).unwrap_err();
    assert!(error.to_string().contains(says), "{error}");
    assert_eq!(error.name(), name, "{error}");
}

#[test]
fn feeds_that_are_no_tree() {
    let d = || vec![device("mount", Some("hub"))];
    check(vec![], d(), Some("mount"), "no branch of that name (the rig has none)");
    check(vec![branch("hib", None)], d(), Some("mount"), "(there are: hib)");
    check(
        vec![branch("hub", Some("box")), branch("box", Some("hub"))],
        d(),
        Some("hub"),
        "hub and box feed each other in a loop",
    );
    check(vec![branch("hub", Some("hub"))], d(), Some("hub"), "\"hub\" is fed from itself");
    // the loop is told, not what hangs on it
    check(
        vec![branch("tail", Some("a")), branch("a", Some("b")), branch("b", Some("a"))],
        vec![],
        Some("a"),
        "a and b feed each other",
    );
    check(vec![branch("hub", None), branch("hub", None)], d(), Some("hub"), "two things called");
    check(
        vec![branch("hub", None), branch("box", None)],
        vec![device("mount", Some("hub")), device("mount", Some("box"))],
        Some("mount"),
        "has one name and one feed",
    );
}

#[test]
fn wires_that_can_not_be() {
    let with = |wire: Wire| vec![Device { wire, ..device("mount", None) }];
    for length_m in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        let wire = Wire::cable(Section::Awg(16), length_m);
        check(vec![], with(wire), Some("mount"), "length (one way) must be above zero");
    }
    for section in [Section::Awg(99), Section::Mm2(0.0), Section::Mm2(f64::NAN)] {
        check(vec![], with(Wire::cable(section, 1.0)), Some("mount"), "has a section of");
    }
    let hot = Cable { copper_c: 900.0, ..Cable::new(Section::Awg(16), 1.0) };
    let hot = Wire { cable: Some(hot), ..Wire::default() };
    check(vec![], with(hot), Some("mount"), "can't be at 900 °C");
    check(vec![], with(Wire::resistance(-0.1)), Some("mount"), "can't have -0.1 Ω");
    let fuse = Wire { fuse: Some(Fuse { rated_a: 0.0, distance_m: 0.0 }), ..Wire::default() };
    check(vec![], with(fuse), Some("mount"), "is rated 0 A");
}

#[test]
fn loads_and_needs_that_can_not_be() {
    let with = |change: fn(&mut Device)| {
        let mut device = device("mount", None);
        change(&mut device);
        vec![device]
    };
    for (change, says) in [
        ((|d| d.uses[0].load = Load::Power(-1.0)) as fn(&mut Device), "can't draw -1 W"),
        (|d| d.uses[0].load = Load::Resistance(0.0), "a resistance is above zero"),
        (|d| d.uses.clear(), "has no use"),
        (|d| d.least_voltage_v = Some(f64::NAN), "can't need at least NaN V"),
        (|d| d.uses[0].peak = Some(Peak { load: Load::Power(9.0), share: 1.5 }), "share of 1.5"),
        (|d| d.uses[0].peak = Some(Peak { load: Load::Current(9.0), share: 0.5 }), "same unit"),
        (
            |d| {
                d.uses[0].follows = Some(Follows::Cooling(CooledSensor {
                    set_c: -10.0,
                    greatest_difference_k: 0.0,
                    greatest_w: 20.0,
                    steady_w: 3.0,
                }));
            },
            "greatest difference from the air must be above zero",
        ),
    ] {
        check(vec![], with(change), Some("mount"), says);
    }
}

#[test]
fn converters_that_can_not_be() {
    let with =
        |converter: Converter| vec![Branch { converter: Some(converter), ..branch("5 V", None) }];
    let good = Converter::rated(5.0, 0.1, 15.0, 0.9);
    for (converter, says) in [
        (Converter { output_v: 0.0, ..good }, "output voltage must be above zero"),
        (Converter { least_input_v: -1.0, ..good }, "least input voltage can't be negative"),
        (Converter::rated(5.0, 0.1, 15.0, 0.0), "efficiency"),
        (Converter { rated_w: Some(0.0), ..good }, "rated power must be above zero"),
    ] {
        check(with(converter), vec![], Some("5 V"), says);
    }
    let hungry = Device { least_voltage_v: Some(12.0), ..device("mount", Some("5 V")) };
    check(with(good), vec![hungry], Some("mount"), "the converter \"5 V\" gives 5 V");
    // also where a plain branch lies between
    let behind = vec![with(good).remove(0), branch("usb", Some("5 V"))];
    let hungry = Device { least_voltage_v: Some(12.0), ..device("mount", Some("usb")) };
    check(behind, vec![hungry], Some("mount"), "gives 5 V");
}

#[test]
fn branches_may_come_in_any_order() {
    let rig = Rig::new(
        vec![branch("leaf", Some("hub")), branch("hub", None)],
        vec![device("mount", Some("leaf"))],
    )
    .unwrap();
    let names: Vec<&str> = rig.branches().iter().map(|b| b.name.as_str()).collect();
    assert_eq!(names, ["hub", "leaf"]);
    assert_eq!(rig.device("mount"), Some(0));
}
