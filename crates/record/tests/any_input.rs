//! Whatever the bytes: no panic, every row accounted for, samples that can be used.

#![allow(clippy::unwrap_used)]

use std::path::PathBuf;

use proptest::collection::vec;
use proptest::prelude::*;
use record::{ColumnChoice, DateOrder, ReadOptions, Record, Role, Sign, Which};

/// Reads and checks what must hold of any record.
fn read(bytes: &[u8], options: &ReadOptions) -> Option<Record> {
    let record = record::read_bytes("any", bytes, options)
        .inspect_err(|error| assert!(!error.message.is_empty() && !error.help.is_empty()))
        .ok()?;
    let samples = &record.samples;
    let rows = &record.rows;
    assert_eq!(rows.read, rows.used + rows.set_aside.values().sum::<usize>());
    assert_eq!(rows.used, samples.len());
    assert!(rows.used > 0);
    assert_eq!(samples.voltage_v.len(), rows.used);
    assert_eq!(samples.current_a.len(), rows.used);
    for side in [&samples.temperature_c, &samples.counted_ah, &samples.counted_wh] {
        assert!(side.as_ref().is_none_or(|side| side.len() == rows.used));
    }
    assert_eq!(samples.elapsed_s[0], 0.0);
    assert!(samples.elapsed_s.is_sorted() && samples.elapsed_s.iter().all(|s| s.is_finite()));
    let finite = |column: &[f32]| column.iter().all(|value| value.is_finite());
    assert!(finite(&samples.voltage_v), "{samples:?}");
    if record.current_from == record::CurrentFrom::Nothing {
        assert!(samples.current_a.iter().all(|current_a| current_a.is_nan()), "{samples:?}");
    } else {
        assert!(finite(&samples.current_a), "{samples:?}");
    }
    let steps = record.resolution;
    assert!(
        [steps.time_s, steps.voltage_v, steps.current_a].iter().all(|s| s.is_finite() && *s >= 0.0)
    );
    record::write_bdf(&record, std::io::sink()).unwrap();
    Some(record)
}

fn options() -> impl Strategy<Value = ReadOptions> {
    let role = prop::sample::select(Role::ALL.as_slice());
    let which = prop_oneof![
        (0_usize..5).prop_map(Which::Number),
        prop::sample::select(vec!["V", "s", "time"])
            .prop_map(|text| Which::Heading(text.to_owned())),
    ];
    let unit = prop::option::of(prop::sample::select(vec!["mV", "min", "A", "x", ""]));
    let choice = (role, which, unit).prop_map(|(role, which, unit)| ColumnChoice {
        role,
        which,
        unit: unit.map(str::to_owned),
    });
    (
        vec(choice, 0..3),
        prop::option::of(prop::sample::select(vec![Sign::DischargePositive, Sign::ChargePositive])),
        prop::option::of(prop::sample::select(vec!["Europe/Riga", "+05:45", "x"])),
        prop::option::of(prop::sample::select(vec![
            DateOrder::MonthDayYear,
            DateOrder::YearMonthDay,
        ])),
        prop::option::of(prop::sample::select(vec![1.0, 0.0, f64::NAN, 1e300])),
        prop::option::of(prop::sample::select(vec![1.0, f64::INFINITY, -4.0])),
        any::<bool>(),
    )
        .prop_map(
            |(columns, sign, zone, date_order, interval_s, stated_current_a, voltage_alone)| {
                ReadOptions {
                    columns,
                    sign,
                    zone: zone.map(str::to_owned),
                    date_order,
                    interval_s,
                    stated_current_a,
                    sheet: None,
                    voltage_alone,
                }
            },
        )
}

/// Cells as they occur, and as they should not.
fn cell() -> impl Strategy<Value = String> {
    prop_oneof![
        4 => (0..100_000_u32).prop_map(|n| n.to_string()),
        4 => (0..20_000_i32, 0..1000_u32).prop_map(|(a, b)| format!("{}.{b:03}", a - 9000)),
        1 => (0..30_u32, 0..60_u32).prop_map(|(h, m)| format!("{h}:{m:02}:00")),
        1 => (1..32_u32, 1..13_u32).prop_map(|(d, m)| format!("{d:02}.{m:02}.2026 10:00")),
        1 => prop::sample::select(vec![
            "", "-", "NaN", "1e300", "1e-300", "-1e12", "13,2 V", "1,234,567", "99999999999999999999",
            "2026-10-25T02:30:00", "3000-01-01", "discharge", "CHG", "\"", "\"a,b\"", "\u{a0}", "0x1F",
            "1.2.3", "24:61", "inf", "12 mV", "1 h", "5 kg", "9999999 d", "s", "V",
        ])
        .prop_map(str::to_owned),
    ]
}

fn heading() -> impl Strategy<Value = String> {
    prop::sample::select(vec![
        "time",
        "s",
        "time (ms)",
        "h:min",
        "Date",
        "clock",
        "V",
        "U [mV]",
        "voltage",
        "A",
        "current",
        "charge_A",
        "I set [A]",
        "W",
        "power_kW",
        "Ah",
        "used_mAh",
        "Charge Capacity (Ah)",
        "Discharge Capacity (Ah)",
        "Wh",
        "Energy [kJ]",
        "T / K",
        "°F",
        "state",
        "Step",
        "",
        "x",
    ])
    .prop_map(str::to_owned)
}

fn table() -> impl Strategy<Value = String> {
    let delimiter = prop::sample::select(vec![",", ";", "\t", "|", " ", "  "]);
    let end = prop::sample::select(vec!["\n", "\r\n", "\r", "\n\n"]);
    (2_usize..7, delimiter, end).prop_flat_map(|(width, delimiter, end)| {
        (vec(heading(), width), vec(vec(cell(), width.saturating_sub(1)..=width), 0..40)).prop_map(
            move |(headings, rows)| {
                let lines = std::iter::once(headings).chain(rows);
                lines.map(|cells| cells.join(delimiter)).collect::<Vec<_>>().join(end)
            },
        )
    })
}

/// What can happen to a file.
#[derive(Debug, Clone)]
enum Harm {
    CutOff(prop::sample::Index),
    Drop(prop::sample::Index, usize),
    Put(prop::sample::Index, Vec<u8>),
    Twice(prop::sample::Index, usize),
    Swap(prop::sample::Index, prop::sample::Index),
    Turn,
}

fn harm() -> impl Strategy<Value = Harm> {
    let at = any::<prop::sample::Index>;
    prop_oneof![
        at().prop_map(Harm::CutOff),
        (at(), 1_usize..200).prop_map(|(at, count)| Harm::Drop(at, count)),
        (at(), vec(any::<u8>(), 1..20)).prop_map(|(at, bytes)| Harm::Put(at, bytes)),
        (at(), cell()).prop_map(|(at, cell)| Harm::Put(at, cell.into_bytes())),
        (at(), 1_usize..2000).prop_map(|(at, count)| Harm::Twice(at, count)),
        (at(), at()).prop_map(|(a, b)| Harm::Swap(a, b)),
        Just(Harm::Turn),
    ]
}

fn do_harm(bytes: &mut Vec<u8>, harm: &Harm) {
    if bytes.is_empty() {
        return;
    }
    match harm {
        Harm::CutOff(at) => bytes.truncate(at.index(bytes.len())),
        Harm::Drop(at, count) => {
            let from = at.index(bytes.len());
            bytes.drain(from..(from + count).min(bytes.len()));
        }
        Harm::Put(at, more) => {
            let at = at.index(bytes.len());
            bytes.splice(at..at, more.iter().copied());
        }
        Harm::Twice(at, count) => {
            let from = at.index(bytes.len());
            let piece = bytes[from..(from + count).min(bytes.len())].to_vec();
            bytes.splice(from..from, piece);
        }
        Harm::Swap(a, b) => {
            let (a, b) = (a.index(bytes.len()), b.index(bytes.len()));
            bytes.swap(a, b);
        }
        Harm::Turn => {
            let lines: Vec<&[u8]> = bytes.split(|byte| *byte == b'\n').rev().collect();
            *bytes = lines.join(&b'\n');
        }
    }
}

fn good_files() -> Vec<Vec<u8>> {
    let folder = |name: &str| {
        PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference")).join(name)
    };
    ["bench/logs", "bench/more/logs", "bench/climate/logs"]
        .iter()
        .flat_map(|name| std::fs::read_dir(folder(name)).unwrap())
        .map(|entry| std::fs::read(entry.unwrap().path()).unwrap())
        // the head is enough, and a short file is harmed more
        .map(
            |bytes| {
                if bytes.starts_with(b"PK") {
                    bytes
                } else {
                    bytes[..bytes.len().min(6000)].to_vec()
                }
            },
        )
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_bytes(bytes in vec(any::<u8>(), 0..600), options in options()) {
        read(&bytes, &options);
    }

    #[test]
    fn any_bytes_behind_a_known_beginning(
        beginning in prop::sample::select(vec![
            b"PK\x03\x04xl/workbook.xml".to_vec(), b"\x1f\x8b\x08\x00".to_vec(), b"\xff\xfe".to_vec(),
            b"\xfe\xff".to_vec(), b"\xef\xbb\xbf".to_vec(), b"s,V,A\n0,13.2,4\n".to_vec(),
        ]),
        bytes in vec(any::<u8>(), 0..300),
    ) {
        read(&[beginning, bytes].concat(), &ReadOptions::default());
    }

    #[test]
    fn any_table(text in table(), options in options()) {
        read(text.as_bytes(), &options);
        read(text.as_bytes(), &ReadOptions::default());
    }

    /// With the three columns that are needed, so that most of the rows are read.
    #[test]
    fn any_rows(rows in vec((0..500_i32, cell(), cell(), cell()), 1..60)) {
        let mut text = "s,V,A,Ah\n".to_owned();
        for (time, voltage, current, charge) in rows {
            text += &format!("{time},{voltage},{current},{charge}\n");
        }
        read(text.as_bytes(), &ReadOptions::default());
    }

    #[test]
    fn harmed_files(
        file in any::<prop::sample::Index>(),
        harms in vec(harm(), 1..6),
        options in prop::option::of(options()),
    ) {
        thread_local!(static GOOD: Vec<Vec<u8>> = good_files());
        let mut bytes = GOOD.with(|good| file.get(good).clone());
        for harm in &harms {
            do_harm(&mut bytes, harm);
        }
        read(&bytes, &options.unwrap_or_default());
    }
}
