//! Whatever numbers a plan holds, the rig answers or refuses; it never breaks.

use proptest::prelude::*;
use rig::schedule::{Moments, When};
use rig::{
    Aggregator, Branch, Cable, Conditions, Converter, Device, DewHeater, Follows, Fuse, Load, Peak,
    Rig, Section, Terms, Use, Wire,
};

/// Numbers a person writes, and some that nobody should.
fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        80 => 0.01..100.0,
        1 => Just(0.0),
        1 => -10.0..0.0,
        1 => prop::sample::select(vec![f64::NAN, f64::INFINITY, 1e300, 1e-300]),
    ]
}

fn load() -> impl Strategy<Value = Load> {
    (0..3, number()).prop_map(|(kind, value)| match kind {
        0 => Load::Power(value),
        1 => Load::Current(value),
        _ => Load::Resistance(value),
    })
}

fn wire() -> impl Strategy<Value = Wire> {
    let cable = (prop::bool::ANY, -4..40i32, number(), number(), 20.0..60.0).prop_map(
        |(awg, gauge, mm2, length_m, copper_c)| Cable {
            section: if awg { Section::Awg(gauge) } else { Section::Mm2(mm2) },
            length_m,
            copper_c,
        },
    );
    let fuse = (number(), number()).prop_map(|(rated_a, distance_m)| Fuse { rated_a, distance_m });
    (prop::option::of(cable), 0.0..0.2, prop::option::of(fuse))
        .prop_map(|(cable, connectors_ohm, fuse)| Wire { cable, connectors_ohm, fuse })
}

/// Mostly the pack, or a branch there may be.
fn feed() -> impl Strategy<Value = Option<String>> {
    prop::option::of((0..3usize).prop_map(|k| format!("b{k}")))
}

fn branch() -> impl Strategy<Value = Branch> {
    let converter = (number(), number(), number(), 0.5..1.0, number()).prop_map(
        |(output_v, idle_w, rated_w, efficiency, least_input_v)| Converter {
            least_input_v,
            ..Converter::rated(output_v, idle_w, rated_w, efficiency)
        },
    );
    (feed(), wire(), prop::option::weighted(0.3, converter))
        .prop_map(|(feed, wire, converter)| Branch { name: String::new(), feed, wire, converter })
}

fn device() -> impl Strategy<Value = Device> {
    let heater = (number(), number(), number(), 0.0..1.0).prop_map(
        |(aperture_m, band_m, margin_k, sky_view)| {
            let controlled = aperture_m < 50.0;
            Follows::Dew(DewHeater { aperture_m, band_m, margin_k, sky_view, controlled })
        },
    );
    let peak = (load(), number()).prop_map(|(load, share)| Peak { load, share });
    let when = prop::sample::select(vec!["always", "dark", "night at 50 %", "from dusk for 2 h"])
        .prop_map(|text| text.parse().unwrap_or_else(|_| When::always()));
    let used =
        (load(), when, prop::option::weighted(0.2, peak), prop::option::weighted(0.2, heater))
            .prop_map(|(load, when, peak, follows)| Use {
                name: String::new(),
                load,
                when,
                peak,
                follows,
            });
    (prop::collection::vec(used, 1..3), prop::option::weighted(0.2, number()), feed(), wire())
        .prop_map(|(uses, least_voltage_v, feed, wire)| Device {
            name: String::new(),
            uses,
            least_voltage_v,
            after_brownout: rig::AfterBrownout::StaysOff,
            shed_order: None,
            feed,
            wire,
        })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4000))]

    #[test]
    fn any_rig_is_answered(
        mut branches in prop::collection::vec(branch(), 0..4),
        mut devices in prop::collection::vec(device(), 1..4),
        loads in prop::collection::vec(load(), 0..5),
        source_v in number(),
        end_v in number(),
    ) {
        branches.iter_mut().enumerate().for_each(|(k, branch)| branch.name = format!("b{k}"));
        devices.iter_mut().enumerate().for_each(|(k, device)| device.name = format!("d{k}"));
        let Ok(rig) = Rig::new(branches, devices) else { return Ok(()) };
        let _ = rig.solve(source_v, &loads);
        let mut aggregator = Aggregator::new(&rig, 0.8 * source_v, source_v);
        let _ = aggregator.aggregate(&loads);
        let _ = aggregator.split(&loads);
        let _ = rig.collapse_v(&loads);
        let moments = Moments {
            start_s: 0.0,
            end_s: 86400.0,
            sunset_s: Some(25000.0),
            dusk_s: Some(27000.0),
            dark_s: None,
            dark_end_s: None,
            dawn_s: Some(60000.0),
            sunrise_s: Some(62000.0),
            clock_s: &|second| (second + 43200.0) % 86400.0,
        };
        let conditions = Conditions { air_c: 5.0, dew_point_c: 3.0, wind_m_s: 1.0, cloud: 0.0 };
        let terms = Terms { air: vec![conditions], dusk_v: source_v, end_v };
        if let Ok(found) = rig.inspect(&rig.night(&moments), &terms) {
            for caution in &found.cautions {
                prop_assert!(!caution.to_string().is_empty());
            }
        }
    }
}
