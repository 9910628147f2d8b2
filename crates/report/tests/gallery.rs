//! One page with every kind of picture: checked for form here, and left in the target folder to be
//! looked at.

#![allow(clippy::unwrap_used, reason = "a test")]

use std::path::Path;

use jiff::{Timestamp, tz::TimeZone};
use quick_xml::events::Event;
use report::chart::{
    Chart, Ink, Layer, Limit, Mark, Note, Panel, Point, Row, Rows, Shade, Span, XAxis,
};
use report::page::{Block, Page, Provenance, Section, Tone, Verdict};
use report::table::Table;

/// Three invented nights, a minute a step: what a trip's timeline looks like.
fn timeline() -> Chart {
    let start = "2026-10-09T16:00:00Z".parse::<Timestamp>().unwrap().as_second() as f64;
    let minutes = 64 * 60;
    let x = |minute: i32| start + f64::from(minute) * 60.0;
    let hour = |minute: i32| (16.0 + f64::from(minute) / 60.0) % 24.0;
    let is_night = |minute: i32| !(6.5..17.5).contains(&hour(minute));
    let mut soc = 96.0;
    let (mut center, mut band, mut volts) = (Vec::new(), Vec::new(), Vec::new());
    let (mut harvest, mut load) = (Vec::new(), Vec::new());
    for minute in 0..minutes {
        let sun = ((hour(minute) - 6.5) / 11.0 * std::f64::consts::PI).sin().max(0.0);
        let harvest_w = if is_night(minute) { 0.0 } else { 70.0 * sun };
        let load_w = if is_night(minute) { 34.0 + 9.0 * f64::from(minute / 7 % 3) } else { 2.0 };
        soc = (soc + (harvest_w - load_w) / 60.0 / 5.4).clamp(0.0, 100.0);
        let doubt = f64::from(minute) / 420.0;
        center.push((x(minute), soc));
        band.push((x(minute), (soc - doubt * 2.0).max(0.0), (soc + doubt).min(100.0)));
        volts.push((x(minute), 11.1 + 2.1 * (soc / 100.0).powf(0.3) - load_w * 0.006));
        harvest.push((x(minute), harvest_w));
        load.push((x(minute), load_w));
    }
    let mut soc = Panel::new("State of charge (%)");
    soc.range = Some((0.0, 100.0));
    soc.layers = vec![
        Layer::band("10–90 % of draws", Ink::One, band),
        Layer::line("typical", Ink::One, center),
    ];
    let mut voltage = Panel::new("Voltage at the camera (V)");
    voltage.limits = vec![Limit { at: 11.4, label: "camera needs 11.4 V".into() }];
    let least = volts.iter().copied().min_by(|a, b| a.1.total_cmp(&b.1)).unwrap();
    voltage.notes =
        vec![Note { at: least, text: format!("least {:.2} V", least.1), ink: Ink::Quiet }];
    voltage.layers = vec![Layer::line("", Ink::Two, volts)];
    let mut power = Panel::new("Power (W)");
    power.layers =
        vec![Layer::area("harvest", Ink::Five, harvest), Layer::steps("rig", Ink::Four, load)];
    let night = |from: f64, to: f64, shade, label: &str| Span {
        from: start + from * 3600.0,
        to: start + to * 3600.0,
        shade,
        label: label.into(),
    };
    let mut spans = Vec::new();
    for (day, label) in ["Fri night", "Sat night", "Sun night"].into_iter().enumerate() {
        let day = day as f64 * 24.0;
        spans.push(night(day + 1.4, day + 14.5, Shade::Night, label));
        spans.push(night(day + 3.2, day + 12.7, Shade::Dark, ""));
    }
    Chart {
        title: "Three nights".into(),
        description: "State of charge, voltage and power over three nights.".into(),
        x: XAxis::Time { zone: TimeZone::get("Europe/London").unwrap() },
        panels: vec![soc, voltage, power],
        spans,
        marks: vec![
            Mark { at: x(2890), text: "Sun 17:10 camera stops: 11.38 V".into(), ink: Ink::Alarm },
            Mark { at: x(3340), text: "Mon 00:40 pack cuts off".into(), ink: Ink::Alarm },
        ],
    }
}

/// An invented discharge: flat, with a knee, crossing the cutoff shortly before its end.
fn discharge(count: u32, dip_v: f64, capacity_ah: f64) -> Vec<Point> {
    (0..count)
        .map(|at| {
            let share = f64::from(at) / f64::from(count - 1);
            let volts = 13.2 - 0.35 * share + 0.2 * (-share * 60.0).exp()
                - 3.0 * ((share - 1.0) * 30.0).exp();
            (share * capacity_ah, volts - dip_v)
        })
        .collect()
}

fn curve() -> Chart {
    let mut panel = Panel::new("Voltage (V)");
    panel.height_px = 300.0;
    panel.limits = vec![Limit { at: 12.0, label: "cutoff 12.0 V".into() }];
    panel.layers = vec![Layer::line("", Ink::One, discharge(200_000, 0.0, 38.5))];
    let spans = vec![
        Span { from: 0.0, to: 37.4, shade: Shade::Good, label: "37.4 Ah at 12.0 V or more".into() },
        Span { from: 37.4, to: 38.5, shade: Shade::Bad, label: "1.1 Ah below".into() },
    ];
    Chart {
        title: "Voltage against capacity".into(),
        description: "The voltage stays above the cutoff for 97 % of the capacity.".into(),
        x: XAxis::Number { title: "Delivered (Ah)".into() },
        panels: vec![panel],
        spans,
        marks: vec![],
    }
}

fn comparison() -> Chart {
    let mut panel = Panel::new("Voltage (V)");
    panel.height_px = 280.0;
    panel.limits = vec![Limit { at: 12.0, label: "cutoff 12.0 V".into() }];
    panel.layers = Ink::SERIES
        .into_iter()
        .enumerate()
        .map(|(at, ink)| {
            let at = at as f64;
            Layer::line(format!("pack {at}"), ink, discharge(500, at * 0.13, 40.0 - 2.0 * at))
        })
        .collect();
    let mut parts = Panel::new("Where the energy goes (Wh)");
    let x: Vec<f64> = (0..=40).map(f64::from).collect();
    let part = |slope: f64| x.iter().map(|x| x * slope).collect::<Vec<_>>();
    parts.layers = Layer::stacked(
        &x,
        &[
            ("devices".into(), Ink::One, part(10.0)),
            ("cables".into(), Ink::Two, part(1.5)),
            ("converters".into(), Ink::Three, part(2.5)),
        ],
    );
    let mut dots = Panel::new("Resistance (mΩ)");
    dots.layers = vec![Layer::dots(
        "from steps",
        Ink::Six,
        (0..20).map(|at| (f64::from(at) * 2.0, 20.0 + f64::from(at * at) / 40.0)).collect(),
    )];
    let broken = (0..40).map(|at| (f64::from(at), if at == 20 { f64::NAN } else { 1.0 })).collect();
    let mut gap = Panel::new("With a gap");
    gap.layers = vec![Layer::line("", Ink::One, broken)];
    Chart {
        title: "Packs side by side <&>".into(),
        description: "Six packs.".into(),
        x: XAxis::Number { title: "Delivered (Ah)".into() },
        panels: vec![panel, parts, dots, gap, Panel::new("Empty")],
        spans: vec![],
        marks: vec![],
    }
}

/// What a search of a catalogue gives: all that carry the nights, and those not beaten.
fn front() -> Chart {
    let offers: Vec<Point> = (0..60)
        .map(|at| {
            let kg = 4.0 + f64::from(at * 37 % 60) / 6.0;
            (kg, 900.0 / (kg - 2.0).sqrt() + f64::from(at * 53 % 41) * 8.0)
        })
        .collect();
    let mut sorted = offers.clone();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut front: Vec<Point> = Vec::new();
    for offer in sorted {
        if front.last().is_none_or(|last| offer.1 < last.1) {
            front.push(offer);
        }
    }
    let mut panel = Panel::new("Price");
    panel.height_px = 300.0;
    panel.notes = front
        .iter()
        .enumerate()
        .map(|(at, offer)| Note { at: *offer, text: format!("pack {at} + panel"), ink: Ink::Three })
        .collect();
    panel.layers = vec![
        Layer::dots("carries every night", Ink::Quiet, offers),
        Layer::steps("not beaten", Ink::Three, front),
    ];
    Chart {
        title: "Weight against price".into(),
        description: "Sixty combinations and the front of those not beaten.".into(),
        x: XAxis::Number { title: "Weight (kg)".into() },
        panels: vec![panel],
        spans: vec![],
        marks: vec![],
    }
}

fn ladder() -> Rows {
    let row = |label: &str, to: f64| Row {
        label: label.into(),
        depth: 0,
        detail: "+0.4 kg".into(),
        from: Some(41.0),
        at: to,
        least: Some(90.0),
        value: format!("{to} %"),
        ink: Ink::Three,
    };
    Rows {
        title: "What mends it".into(),
        description: "Three changes and the weakest night with each.".into(),
        axis: "Weakest night carried (%)".into(),
        range: Some((0.0, 100.0)),
        rows: vec![
            row(
                "14 AWG instead of 16 AWG on the long way to the camera and to the small computer",
                93.0,
            ),
            row("switch the dew heater off after 02:00", 88.0),
            row("a second panel", 62.0),
        ],
    }
}

fn tree() -> Rows {
    let row = |label: &str, depth, from, at, least: Option<f64>| Row {
        label: label.into(),
        depth,
        detail: if depth > 0 { "2.5 m of 16 AWG, 1.2 A".into() } else { String::new() },
        from,
        at,
        least,
        value: format!("{at:.2} V"),
        ink: if least.is_some_and(|least| at < least) { Ink::Alarm } else { Ink::One },
    };
    Rows {
        title: "Wiring".into(),
        description: "The voltage at each device.".into(),
        axis: "Voltage (V)".into(),
        range: None,
        rows: vec![
            row("pack", 0, None, 12.4, None),
            row("hub", 1, Some(12.4), 12.2, None),
            row("mount", 2, Some(12.2), 12.1, Some(11.4)),
            row("camera with a long name", 2, Some(12.2), 11.5, Some(11.6)),
            row("small computer", 1, Some(12.4), 12.35, Some(11.5)),
        ],
    }
}

fn page() -> String {
    let mut table = Table::new("Nights")
        .text("Evening")
        .number("Used", "Wh")
        .number("Harvest", "Wh")
        .number("Least voltage", "V")
        .number("Carried in", "%")
        .text("First to fail");
    table.row(["Fri 9 Oct", "463", "0", "12.41", "100", "–"]);
    table.row(["Sat 10 Oct", "465", "402", "11.92", "93", "–"]);
    table.row(["Sun 11 Oct", "402", "398", "11.38", "41", "camera, Mon 00:10"]);
    Page {
        title: "Heather Ridge, three nights".into(),
        subtitle: "9 to 12 October 2026, 56.9 N 4.2 W".into(),
        verdict: Verdict {
            tone: Tone::Bad,
            sentence: "Two nights are carried; the third fails in 59 of 100 trips.".into(),
            detail: "First to fail is the camera, around 00:10 on Monday.".into(),
        },
        sections: vec![
            Section::new("", vec![Block::Figure(timeline(), "One typical trip.".into())]),
            Section::new("The nights", vec![Block::Table(table)]),
            Section::new(
                "The pack",
                vec![
                    Block::Figure(curve(), String::new()),
                    Block::Figure(comparison(), String::new()),
                ],
            ),
            Section::new(
                "Rows",
                vec![
                    Block::Rows(ladder(), String::new()),
                    Block::Rows(tree(), String::new()),
                    Block::Figure(front(), String::new()),
                ],
            ),
            Section::new(
                "Method",
                vec![
                    Block::Text("Trapezoids over the phase under load.".into()),
                    Block::Cautions(vec!["Never leave a discharge test alone.".into()]),
                ],
            ),
        ],
        provenance: Provenance {
            program: "tilldawn 0.1.0".into(),
            command: "tilldawn trip heather-ridge.toml --seed 1".into(),
            seed: Some(1),
            files: vec!["heather-ridge.toml".into(), "pack <1>.csv".into()],
            made: "2026-10-01".into(),
        },
    }
    .html()
}

fn whole(svg: &str) -> Result<usize, quick_xml::Error> {
    let mut reader = quick_xml::Reader::from_str(svg);
    let mut depth = 0_usize;
    let mut elements = 0;
    loop {
        match reader.read_event()? {
            Event::Start(_) => (depth, elements) = (depth + 1, elements + 1),
            Event::End(_) => depth -= 1,
            Event::Eof => break,
            _ => {}
        }
    }
    assert_eq!(depth, 0, "an element is left open");
    Ok(elements)
}

#[test]
fn every_picture_is_whole_and_holds_only_numbers() {
    let charts = [timeline(), curve(), comparison(), front()].map(|chart| chart.figure("f"));
    let rows = [ladder(), tree()].map(|rows| rows.figure("f"));
    for drawing in charts.into_iter().chain(rows) {
        let svg = drawing.into_string();
        let elements = whole(&svg).unwrap_or_else(|error| panic!("{error} in {svg}"));
        assert!(elements > 40, "{elements}");
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
        assert!(svg.contains("role=\"img\""));
        assert!(svg.len() < 400_000, "{} bytes", svg.len());
    }
}

#[test]
fn a_page_needs_nothing_from_outside() {
    let page = page();
    std::fs::write(Path::new(env!("CARGO_TARGET_TMPDIR")).join("gallery.html"), &page).unwrap();
    // the namespace of SVG is a name, not an address to fetch
    let page = page.replace("http://www.w3.org/2000/svg", "");
    for outside in ["http:", "https:", "url(", "@import", "<script", "<link", "src="] {
        assert!(!page.contains(outside), "{outside}");
    }
    assert!(page.contains("pack &lt;1&gt;.csv"));
    assert!(page.contains("Packs side by side &lt;&amp;&gt;"));
}
