//! Whatever is written as a schedule is read or refused, and what is printed can be read again.

use proptest::prelude::*;
use rig::schedule::{Edge, Event, Moments, Span, When};

fn edge() -> impl Strategy<Value = Edge> {
    prop_oneof![
        (0..6usize, -180..=180i32)
            .prop_map(|(event, minutes)| Edge::Sky(Event::ALL[event], f64::from(minutes) * 60.0)),
        (0..1440u32).prop_map(|minute| Edge::Clock(f64::from(minute) * 60.0)),
    ]
}

fn span() -> impl Strategy<Value = Span> {
    prop_oneof![
        Just(Span::Always),
        Just(Span::Day),
        (edge(), edge())
            .prop_filter("not empty", |(from, to)| from != to)
            .prop_map(|(from, to)| Span::Between(from, to)),
        (edge(), 1..1440u32).prop_map(|(from, minutes)| Span::For(from, f64::from(minutes) * 60.0)),
    ]
}

fn when() -> impl Strategy<Value = When> {
    (prop::collection::vec(span(), 1..4), 1..=100u32)
        .prop_map(|(spans, percent)| When::of(spans, f64::from(percent) * 0.01))
}

proptest! {
    #[test]
    fn what_is_shown_is_read_again(when in when()) {
        let text = when.to_string();
        let again: When = text.parse().map_err(|error| TestCaseError::fail(format!("{error}")))?;
        prop_assert_eq!(&again.spans, &when.spans, "{}", text);
        prop_assert!((again.duty - when.duty).abs() < 1e-9, "{}", text);
    }

    #[test]
    fn any_text_is_read_or_refused(text in "\\PC{0,40}") {
        let _ = text.parse::<When>();
    }

    #[test]
    fn any_words_are_read_or_refused(
        words in prop::collection::vec(
            prop::sample::select(vec![
                "from", "to", "for", "dark", "dusk", "sunset", "end of dark", "+", "-", "30 min",
                "2 h", "21:30", "02:00", ",", "at", "50 %", "before", "after", "é–", "1,5 h",
            ]),
            0..8,
        )
    ) {
        let _ = words.join(" ").parse::<When>();
    }

    #[test]
    fn stretches_are_in_order_and_in_the_window(
        when in when(),
        events in prop::collection::vec(prop::option::of(0.0..86400.0), 6),
    ) {
        let moments = Moments {
            start_s: 0.0,
            end_s: 86400.0,
            sunset_s: events[0],
            dusk_s: events[1],
            dark_s: events[2],
            dark_end_s: events[3],
            dawn_s: events[4],
            sunrise_s: events[5],
            clock_s: &|second| (second + 43200.0) % 86400.0,
        };
        let mut last_s = -1.0;
        for (from_s, to_s) in when.intervals(&moments) {
            prop_assert!(last_s < from_s && from_s < to_s && from_s >= 0.0 && to_s <= 86400.0);
            last_s = to_s;
        }
    }
}
