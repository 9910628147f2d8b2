//! Whatever numbers and names a picture is given, what comes out is whole and holds only numbers.

#![allow(clippy::unwrap_used, reason = "a test")]

use jiff::tz::TimeZone;
use proptest::prelude::*;
use quick_xml::events::Event;
use report::chart::{Chart, Ink, Layer, Limit, Mark, Note, Panel, Row, Rows, Shade, Span, XAxis};

fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        6 => -100.0..100.0,
        1 => Just(f64::NAN),
        1 => Just(f64::INFINITY),
        1 => any::<f64>(),
        2 => 1.7e9..1.8e9,
        1 => Just(0.0),
    ]
}

fn name() -> impl Strategy<Value = String> {
    prop_oneof!["[ -~]{0,20}", "[<>&\"'a-zé°–😀]{0,12}"]
}

fn chart() -> impl Strategy<Value = Chart> {
    let points = prop::collection::vec((number(), number()), 0..40);
    let triples = prop::collection::vec((number(), number(), number()), 0..40);
    let layer =
        (name(), points, triples, 0..5).prop_map(|(name, points, triples, kind)| match kind {
            0 => Layer::line(name, Ink::One, points),
            1 => Layer::area(name, Ink::Two, points),
            2 => Layer::steps(name, Ink::Three, points),
            3 => Layer::band(name, Ink::Four, triples),
            _ => Layer::dots(name, Ink::Five, points),
        });
    let range = prop::option::of((number(), number()));
    let panel = (name(), 20.0..300.0, range, prop::collection::vec(layer, 0..4), number(), name())
        .prop_map(|(title, height_px, range, layers, at, text)| Panel {
            height_px,
            range,
            layers,
            limits: vec![Limit { at, label: text.clone() }],
            notes: vec![Note { at: (at, at), text, ink: Ink::Quiet }],
            ..Panel::new(title)
        });
    let marks = prop::collection::vec((number(), name()), 0..4);
    (prop::collection::vec(panel, 0..3), marks, any::<bool>(), number(), number()).prop_map(
        |(panels, marks, is_time, from, to)| Chart {
            title: "any".into(),
            description: String::new(),
            x: if is_time {
                XAxis::Time { zone: TimeZone::UTC }
            } else {
                XAxis::Number { title: "x".into() }
            },
            panels,
            spans: vec![Span { from, to, shade: Shade::Night, label: "span".into() }],
            marks: marks.into_iter().map(|(at, text)| Mark { at, text, ink: Ink::Alarm }).collect(),
        },
    )
}

fn rows() -> impl Strategy<Value = Rows> {
    let row = (name(), 0..4usize, name(), prop::option::of(number()), number(), number()).prop_map(
        |(label, depth, detail, from, at, least)| Row {
            label,
            depth,
            detail,
            from,
            at,
            least: Some(least),
            value: "value".into(),
            ink: Ink::One,
        },
    );
    (prop::collection::vec(row, 0..6), prop::option::of((number(), number()))).prop_map(
        |(rows, range)| Rows {
            title: "any".into(),
            description: String::new(),
            axis: "axis".into(),
            range,
            rows,
        },
    )
}

/// Fails where an element is left open or a number of an attribute is none.
fn check(drawing: &str) {
    let mut reader = quick_xml::Reader::from_str(drawing);
    let mut depth = 0_i32;
    loop {
        match reader.read_event().unwrap() {
            Event::Start(element) => {
                depth += 1;
                for attribute in element.attributes() {
                    let attribute = attribute.unwrap();
                    let value = attribute.value.into_owned();
                    let is_name = attribute.key.as_ref().starts_with("aria");
                    assert!(
                        is_name || !(value.contains("NaN") || value.contains("inf")),
                        "{value}"
                    );
                }
            }
            Event::End(_) => depth -= 1,
            Event::Eof => break,
            _ => {}
        }
    }
    assert_eq!(depth, 0);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn charts(chart in chart()) {
        check(&chart.figure("f").into_string());
    }

    #[test]
    fn rows_on_a_scale(rows in rows()) {
        check(&rows.figure("f").into_string());
    }
}
