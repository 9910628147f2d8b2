//! A rig looked over: budget, wires, advice and cautions.

#![allow(clippy::expect_used, clippy::unwrap_used)]

use rig::schedule::{Moments, When};
use rig::{
    Branch, Cable, Caution, Conditions, Converter, Device, DewHeater, Follows, Fuse, Inspection,
    Load, Place, Rig, Section, Terms, Use, Wire, ampacity_a,
};

const AIR: Conditions = Conditions { air_c: 5.0, dew_point_c: 3.0, wind_m_s: 1.0, cloud: 0.0 };
const END_V: f64 = 12.4;

fn terms() -> Terms {
    Terms { air: vec![AIR], dusk_v: 13.2, end_v: END_V }
}

fn moments() -> Moments<'static> {
    let h = |hours: f64| Some(hours * 3600.0);
    Moments {
        start_s: 0.0,
        end_s: 86400.0,
        sunset_s: h(7.0),
        dusk_s: h(7.5),
        dark_s: h(9.0),
        dark_end_s: h(15.0),
        dawn_s: h(16.5),
        sunrise_s: h(17.0),
        clock_s: &|second| (second + 43200.0) % 86400.0,
    }
}

fn inspect(rig: &Rig) -> Inspection {
    rig.inspect(&rig.night(&moments()), &terms()).expect("stands")
}

fn wire(section: &str, length_m: f64, fuse: Option<(f64, f64)>) -> Wire {
    Wire {
        cable: Some(Cable::new(section.parse().unwrap(), length_m)),
        connectors_ohm: 0.0,
        fuse: fuse.map(|(rated_a, distance_m)| Fuse { rated_a, distance_m }),
    }
}

fn device(name: &str, load: Load, when: &str, least_v: f64, wire: Wire) -> Device {
    Device {
        least_voltage_v: Some(least_v),
        wire,
        ..Device::new(name, load, when.parse::<When>().unwrap())
    }
}

#[test]
fn a_sound_rig_draws_no_remark() {
    let mount =
        device("mount", Load::Power(9.0), "dark", 11.4, wire("16 AWG", 2.5, Some((5.0, 0.1))));
    let found = inspect(&Rig::new(vec![], vec![mount]).unwrap());
    assert_eq!(found.cautions, []);
    let check = &found.devices[0];
    assert!(check.ok && check.advice.is_empty(), "{check:?}");
    assert!(check.end_v.unwrap() < check.dusk_v.unwrap());
    let segment = &found.segments[0];
    assert!(segment.ok(), "{segment:?}");
    assert_eq!((segment.from.as_str(), segment.to.as_str()), ("pack", "mount"));
    // six hours of 9 W and the loss
    assert!((found.used_wh - 54.0 - found.cable_wh).abs() < 1e-6, "{found:?}");
    assert!((segment.loss_wh - found.cable_wh).abs() < 1e-9);
}

#[test]
fn advice_is_the_least_change_that_does() {
    let thin = wire("20 AWG", 6.0, Some((3.0, 0.1)));
    let camera = device("camera", Load::Power(30.0), "dark", 11.9, thin);
    let rig = Rig::new(vec![], vec![camera]).unwrap();
    let found = inspect(&rig);
    let check = &found.devices[0];
    assert!(!check.ok);
    let [advice] = check.advice[..] else { panic!("{check:?}") };
    assert_eq!(advice.place, Place::Device(0));

    let end_v = |cable: Cable| {
        let changed = Wire { cable: Some(cable), ..thin };
        let rig = rig.with_wire(Place::Device(0), changed).unwrap();
        rig.solve(END_V, &[Load::Power(30.0)]).unwrap().devices[0].voltage_v
    };
    let now = thin.cable.unwrap();
    let Some(Section::Awg(gauge)) = advice.section else { panic!("{advice:?}") };
    assert!(end_v(Cable { section: Section::Awg(gauge), ..now }) >= 11.9);
    assert!(end_v(Cable { section: Section::Awg(gauge + 2), ..now }) < 11.9);
    let length_m = advice.length_m.unwrap();
    assert!(end_v(Cable { length_m, ..now }) >= 11.9);
    assert!(end_v(Cable { length_m: length_m + 0.01, ..now }) < 11.9);
}

#[test]
fn a_shared_cable_is_advised_too_and_no_cable_helps_an_empty_pack() {
    let hub = Branch {
        name: "hub".to_owned(),
        feed: None,
        wire: wire("18 AWG", 3.0, Some((10.0, 0.1))),
        converter: None,
    };
    let fed = |device: Device| Device { feed: Some("hub".to_owned()), ..device };
    let camera = fed(device("camera", Load::Power(12.0), "dark", 12.0, wire("18 AWG", 1.0, None)));
    let heater = fed(device("heater", Load::Power(30.0), "dark", 11.0, wire("18 AWG", 1.0, None)));
    let greedy = fed(device("greedy", Load::Power(1.0), "dark", 12.41, Wire::default()));
    let found = inspect(&Rig::new(vec![hub], vec![camera, heater, greedy]).unwrap());
    let places: Vec<Place> = found.devices[0].advice.iter().map(|advice| advice.place).collect();
    assert!(places.contains(&Place::Branch(0)), "{:?}", found.devices[0]);
    assert!(found.devices[1].ok);
    assert!(!found.devices[2].ok && found.devices[2].advice.is_empty());
}

#[test]
fn cautions_are_raised_by_numbers() {
    let converter = Converter { least_input_v: 12.39, ..Converter::rated(230.0, 8.0, 20.0, 0.85) };
    let branches = vec![Branch {
        name: "inverter".to_owned(),
        feed: None,
        wire: wire("4 mm²", 1.0, Some((40.0, 0.6))),
        converter: Some(converter),
    }];
    let strip = Device {
        uses: vec![Use {
            follows: Some(Follows::Dew(DewHeater {
                aperture_m: 0.2,
                band_m: 0.05,
                margin_k: 2.0,
                sky_view: 1.0,
                controlled: true,
            })),
            ..Use::new(Load::Power(20.0), When::night())
        }],
        ..device("strip", Load::OFF, "night", 10.0, wire("16 AWG", 2.0, Some((1.0, 0.0))))
    };
    let screen = Device {
        feed: Some("inverter".to_owned()),
        ..device("screen", Load::Power(30.0), "dark", 200.0, Wire::default())
    };
    let bare = device("bare", Load::Power(90.0), "dark", 10.0, wire("22 AWG", 0.5, None));
    let hot =
        device("hot", Load::Power(60.0), "dark", 10.0, wire("0.75 mm²", 0.5, Some((5.0, 0.1))));
    let found = inspect(&Rig::new(branches, vec![strip, screen, bare, hot]).unwrap());
    let said: Vec<String> = found.cautions.iter().map(ToString::to_string).collect();
    for (what, times) in [
        ("\"inverter\" sits 0.6 m from the battery", 1),
        ("\"inverter\" is behind a fuse of 40 A but carries 25 A", 1),
        ("\"inverter\" would give 30 W but is rated for 20 W", 1),
        ("\"inverter\" gives 230 V", 1),
        ("no fuse between the pack and \"bare\"", 1),
        ("22 AWG for \"bare\" is thinner", 1),
        ("\"strip\" takes up to 1.6", 1),
        ("\"strip\" turns up to 20 W into heat", 1),
        ("\"hot\" takes up to 4.8", 0), // within the 6 A of 0.75 mm² and its fuse
        ("\"screen\"", 0),              // nothing is asked of wires behind a converter
    ] {
        let count = said.iter().filter(|text| text.contains(what)).count();
        assert_eq!(count, times, "{what}: {said:#?}");
    }
    let remarks: Vec<String> = found.remarks.iter().map(ToString::to_string).collect();
    assert!(remarks[0].contains("\"inverter\" gets 12.3"), "{remarks:#?}");
    assert!(remarks[1].contains("\"inverter\" loses "), "{remarks:#?}");
    // the heater follows the dew, and takes far less than its rating
    let strip_w =
        found.states[0].mean.devices[0].power_w.max(found.states[1].mean.devices[0].power_w);
    assert!((3.0..5.0).contains(&strip_w), "{strip_w} W");
}

#[test]
fn a_wire_too_thin_for_its_current_is_told_which_would_do() {
    let hot =
        device("hot", Load::Power(150.0), "dark", 10.0, wire("0.75 mm²", 0.3, Some((5.0, 0.1))));
    let found = inspect(&Rig::new(vec![], vec![hot]).unwrap());
    let over = found.cautions.iter().find_map(|caution| match caution {
        Caution::OverAmpacity { peak_a, section, .. } => Some((*peak_a, section.unwrap())),
        _ => None,
    });
    let (peak_a, section) = over.expect("raised");
    assert!(ampacity_a(section).unwrap() >= peak_a, "{section}");
    assert!(found.cautions.iter().any(|c| matches!(c, Caution::FuseTooSmall { .. })));
    assert!(!found.segments[0].ok());
}

#[test]
fn a_rig_that_only_collapses_when_empty_is_still_budgeted() {
    let mut strong = device("strong", Load::Power(85.0), "dark", 6.0, Wire::resistance(0.5));
    strong.uses[0].when.duty = 0.2;
    let found = inspect(&Rig::new(vec![], vec![strong]).unwrap());
    // 2·√(0.5 · 85) = 13.04 V lies between dusk and end
    let busy = found.states.iter().find(|state| state.name == "strong").unwrap();
    assert!(busy.greatest_at_dusk.is_ok() && busy.greatest_at_end.is_err());
    let check = &found.devices[0];
    assert!(!check.ok && check.end_v.is_none() && check.dusk_v.is_some(), "{check:?}");
}

#[test]
fn remarks_tell_what_the_weather_and_the_sky_do_not_allow() {
    let follows = |follows: Follows, load: Load| {
        vec![Use { follows: Some(follows), ..Use::new(load, When::dark()) }]
    };
    let plate =
        DewHeater { aperture_m: 0.3, band_m: 0.05, margin_k: 4.0, sky_view: 1.0, controlled: true };
    let sensor = rig::CooledSensor {
        set_c: -35.0,
        greatest_difference_k: 35.0,
        greatest_w: 20.0,
        steady_w: 3.0,
    };
    let strip = Device {
        uses: follows(Follows::Dew(plate), Load::Power(6.0)),
        ..Device::new("strip", Load::OFF, When::dark())
    };
    let camera = Device {
        uses: follows(Follows::Cooling(sensor), Load::Power(25.0)),
        ..Device::new("camera", Load::OFF, When::dark())
    };
    let rig = Rig::new(vec![], vec![strip, camera]).unwrap();
    let said: Vec<String> = inspect(&rig).remarks.iter().map(ToString::to_string).collect();
    assert!(
        said[0].contains("\"strip\" would need 10.") && said[0].contains("gives 6 W"),
        "{said:?}"
    );
    assert!(said[1].contains("at 5 °C: it can up to 0 °C"), "{said:?}");

    let bright = Moments { dark_s: None, dark_end_s: None, ..moments() };
    let found = rig.inspect(&rig.night(&bright), &terms()).unwrap();
    let said: Vec<String> = found.remarks.iter().map(ToString::to_string).collect();
    assert_eq!(said[0], "\"strip\" waits for dark, which this night does not have; it stays off");
    assert_eq!(said.len(), 2, "{said:?}");
}

#[test]
fn a_missing_fuse_is_proposed_where_one_fits() {
    for (watt, section, fitting_a) in [
        (9.0, "16 AWG", Some(1.0)), // 0.73 A at 12.4 V, a quarter to spare: 0.91 A
        (50.0, "16 AWG", Some(7.5)), // 4.1 A: 5.1 A
        (50.0, "0.75 mm²", None),   // carries 6 A, less than a fuse of 7.5 A lets through
        (50.0, "22 AWG", None),     // not in the table
    ] {
        let device = device("d", Load::Power(watt), "dark", 10.0, wire(section, 1.0, None));
        let found = inspect(&Rig::new(vec![], vec![device]).unwrap());
        let expect = Caution::NoFuse { wire: "d".to_owned(), fitting_a };
        assert!(found.cautions.contains(&expect), "{section}: {:?}", found.cautions);
        assert_eq!(found.converter_wh.to_string(), "0");
    }
}

#[test]
fn power_follows_the_air_hour_by_hour() {
    let sensor = rig::CooledSensor {
        set_c: -10.0,
        greatest_difference_k: 40.0,
        greatest_w: 20.0,
        steady_w: 2.0,
    };
    let camera = Device {
        uses: vec![Use {
            follows: Some(Follows::Cooling(sensor)),
            ..Use::new(Load::Power(22.0), "20:00 to 22:00".parse().unwrap())
        }],
        ..Device::new("camera", Load::OFF, When::never())
    };
    let rig = Rig::new(vec![], vec![camera]).unwrap();
    // 20 K above the set point in the first hour, 10 K in the second: 20·(1/4) and 20·(1/16) W
    let air = (0..24).map(|hour| Conditions { air_c: if hour == 8 { 10.0 } else { 0.0 }, ..AIR });
    let terms = Terms { air: air.collect(), ..terms() };
    let found = rig.inspect(&rig.night(&moments()), &terms).unwrap();
    let hours: Vec<f64> = [8.0, 9.0]
        .map(|hour| found.budget(hour * 3600.0, (hour + 1.0) * 3600.0).devices_wh[0])
        .to_vec();
    assert!((hours[0] - 7.0).abs() < 1e-9 && (hours[1] - 3.25).abs() < 1e-9, "{hours:?}");
    let on = found.states.iter().find(|state| state.name == "camera").unwrap();
    assert!((on.mean.load_w() - 5.125).abs() < 1e-9, "{}", on.mean.load_w());
    assert!((found.used_wh - 10.25 - found.cable_wh).abs() < 1e-9);
}

#[test]
fn a_heater_without_a_controller_takes_its_setting() {
    let heater = DewHeater {
        aperture_m: 0.2,
        band_m: 0.05,
        margin_k: 2.0,
        sky_view: 1.0,
        controlled: false,
    };
    let take = |load_w: f64| {
        let strip = Device {
            uses: vec![Use {
                follows: Some(Follows::Dew(heater)),
                ..Use::new(Load::Power(load_w), "dark at 50 %".parse().unwrap())
            }],
            ..Device::new("strip", Load::OFF, When::never())
        };
        inspect(&Rig::new(vec![], vec![strip]).unwrap())
    };
    // 3.9 W are needed (docs/rig.md)
    for (load_w, enough) in [(10.0, true), (6.0, false)] {
        let found = take(load_w);
        assert!(
            (found.used_wh - 3.0 * load_w).abs() < 1e-9,
            "six hours at half: {}",
            found.used_wh
        );
        assert_eq!(found.remarks.is_empty(), enough, "{:?}", found.remarks);
    }
}
