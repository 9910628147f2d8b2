//! Ways in which instruments and people write a log, each a few rows long.

#![allow(clippy::unwrap_used, clippy::panic)]

use std::io::Write;

use record::{
    ColumnChoice, CurrentFrom, DateOrder, ErrorKind, ReadOptions, Record, RecordError, Role, Sign,
    Which,
};

fn read(text: &str) -> Record {
    with(text, &ReadOptions::default()).unwrap_or_else(|error| panic!("{error}\n{text}"))
}

fn with(text: &str, options: &ReadOptions) -> Result<Record, RecordError> {
    record::read_bytes("log", text.as_bytes(), options)
}

fn column(role: Role, which: Which, unit: Option<&str>) -> ColumnChoice {
    ColumnChoice { role, which, unit: unit.map(str::to_owned) }
}

/// The same discharge in many hands: 13.2, 13.1 and 13.0 V at 4 A, a minute apart.
#[test]
fn one_discharge_in_many_hands() {
    for text in [
        "time_s,voltage_v,current_a\n0,13.2,4.0\n60,13.1,4.0\n120,13.0,4.0\n",
        "t [min];U [V];I [A]\n0;13,2;4,0\n1;13,1;4,0\n2;13,0;4,0\n",
        "Elapsed|Volts|Amps\n0:00:00|13.2|4\n0:01:00|13.1|4\n0:02:00|13.0|4\n",
        "mm:ss\tV\tmA\n00:00\t13.2\t4000\n01:00\t13.1\t4000\n02:00\t13.0\t4000\n",
        "time  V  A\n0:00  13.2  4.0\n0:01  13.1  4.0  fan on\n0:02  13.0  4.0\n",
        "h,mV,A\n0,13200,4\n0.016666666667,13100,4\n0.033333333333,13000,4\n",
        "Time,Voltage,Current\n0 s,\"13,2 V\",\"4,0 A\"\n60 s,\"13,1 V\",\"4,0 A\"\n120 s,\"13,0 V\",\"4,0 A\"\n",
        "Time,Voltage,Current\n0 min,13.2 V,4 A\n1 min,13.1 V,4 A\n2 min,13000 mV,4000 mA\n",
        "when,U/V,I/A\n2026-03-14 23:59:00,13.2,4\n2026-03-15 00:00:00,13.1,4\n2026-03-15 00:01:00,13,4\n",
        "Datum;Zeit;Spannung;Strom\n31.12.2026;23:59;13,2;4,0\n01.01.2027;00:00;13,1;4,0\n01.01.2027;00:01;13,0;4,0\n",
        "Date/Time,V,A\n12/31/2026 11:59:00 PM,13.2,4\n1/1/2027 12:00:00 AM,13.1,4\n1/1/2027 12:01:00 AM,13,4\n",
        "stamp,V,A\n14-Mar-2026 10:00,13.2,4\n14-Mar-2026 10:01,13.1,4\n14-Mar-2026 10:02,13.0,4\n",
        "unix time,V,A\n1773512400,13.2,4\n1773512460,13.1,4\n1773512520,13.0,4\n",
        "date,V,A\n46144.5,13.2,4\n46144.500694444,13.1,4\n46144.501388889,13.0,4\n",
        "time,V,W\n0d 0h 0m 0s,13.2,52.8\n0d 0h 1m 0s,13.1,52.4\n0d 0h 2m 0s,13.0,52\n",
        "time,V,mAh\n0:00:00,13.2,0\n0:01:00,13.1,66.667\n0:02:00,13.0,133.333\n",
        "s,V,A\n120,13.0,4\n60,13.1,4\n0,13.2,4\n",
        "s,A,W\n0,4,52.8\n60,4,52.4\n120,4,52.0\n",
        "Pack A\nMeter: shunt\n\nTime (s),,Voltage (V),Current (A)\n0,x,13.2,4\n60,x,13.1,4\n120,x,13.0,4\n",
        "time\tvoltage\tcurrent\n(s)\t(mV)\t(mA)\n0\t13200\t-4000\n60\t13100\t-4000\n120\t13000\t-4000\n",
        "s;V;A\n0;1,32E+01;4\n60;1,31E+01;4\n120;1,30E+01;4\n",
        "s V A\n0 13.2 4\n60 13.1 4\n120 13.0 4",
        "s,V,A\r0,13.2,4\r60,13.1,4\r120,13.0,4\r",
        "time,V,I set [A],I [A],panel_V\n0,13.2,5,4,20\n60,13.1,5,4,20\n120,13.0,5,4,20\n",
        "s,V,A\n0,13.2,4\ns,V,A\n60,13.1,4\n60,13.1,4\n,,\n120,13.0,4\n180,,\n240,nan,4\n",
    ] {
        let record = read(text);
        let samples = &record.samples;
        let close = |found: &[f32], expect: [f32; 3], tolerance: f32| {
            found.len() == 3 && found.iter().zip(expect).all(|(a, b)| (a - b).abs() < tolerance)
        };
        assert!(close(&samples.voltage_v, [13.2, 13.1, 13.0], 1e-5), "{samples:?}\n{text}");
        assert!(close(&samples.current_a, [4.0, 4.0, 4.0], 1e-3), "{samples:?}\n{text}");
        let elapsed: Vec<f32> = samples.elapsed_s.iter().map(|s| *s as f32).collect();
        assert!(close(&elapsed, [0.0, 60.0, 120.0], 2e-3), "{samples:?}\n{text}");
        let rows = &record.rows;
        assert_eq!(rows.read, rows.used + rows.set_aside.values().sum::<usize>(), "{text}");
    }
}

#[test]
fn set_aside_by_reason() {
    let text = "s,V,A\n0,13.2,4\ns,V,A\n60,13.1,4\n60,13.1,4\n,,\n\n120,13.0,4\n180,,\n240,nan,4\n\
                later,13,4\n300,x,4\n360\n420,12.8,4.00";
    let record = read(text);
    let aside: Vec<(&str, usize)> =
        record.rows.set_aside.iter().map(|(reason, count)| (reason.as_str(), *count)).collect();
    assert_eq!(
        aside,
        [
            ("blank", 1),
            ("cells missing", 1),
            ("heading again", 1),
            ("not a number", 1),
            ("repeated row", 1),
            ("time can't be read", 1),
            ("value can't be read", 1),
        ]
    );
    assert_eq!((record.rows.read, record.rows.used), (11, 4));
}

#[test]
fn last_line_cut_off() {
    for (end, used) in [
        ("\n180,12.900,4.0", 3),
        ("\n180,12.900,4.000", 4),
        ("\n180,12.9", 3),
        ("\n180,12.900,4.000\n", 4),
        ("\n180,12.900,4.000\n\0\0\0\0\0", 4),
    ] {
        let text = format!("s,V,A\n0,13.200,4.000\n60,13.100,4.000\n120,13.000,4.000{end}");
        let record = read(&text);
        assert_eq!(record.rows.used, used, "{end:?}");
        let aside = record.rows.read - used;
        assert_eq!(record.rows.set_aside.values().sum::<usize>(), aside, "{end:?}");
    }
}

#[test]
fn moments() {
    let start = |text: &str| read(text).start.map(|start| start.to_string());
    let rest = |times: [&str; 3]| {
        format!("time,V,A\n{},13.2,4\n{},13.1,4\n{},13.0,4\n", times[0], times[1], times[2])
    };
    let zoned = rest([
        "2026-03-14T21:05:07+01:00",
        "2026-03-14T21:05:08+01:00",
        "2026-03-14T21:05:09+01:00",
    ]);
    assert_eq!(start(&zoned).as_deref(), Some("2026-03-14T20:05:07Z"));
    let both = "Test Time / s,Voltage / V,Current / A,Unix Time / s\n0,12.9,-3,1780000000\n10,12.8,-3,1780000010\n20,12.7,-3,1780000020\n";
    assert_eq!(start(both).as_deref(), Some("2026-05-28T20:26:40Z"));
    let wall = rest(["05.10.2026 21:05", "05.10.2026 21:06", "05.10.2026 21:07"]);
    let record = read(&wall);
    assert_eq!(record.start, None);
    assert_eq!(record.local_start.unwrap().to_string(), "2026-10-05T21:05:00");
    let options = ReadOptions { zone: Some("Europe/Riga".to_owned()), ..ReadOptions::default() };
    let record = with(&wall, &options).unwrap();
    assert_eq!(record.start.unwrap().to_string(), "2026-10-05T18:05:00Z");
    let slashes = rest(["05/10/2026 21:05", "05/10/2026 21:06", "05/10/2026 21:07"]);
    let options =
        ReadOptions { date_order: Some(DateOrder::MonthDayYear), ..ReadOptions::default() };
    let record = with(&slashes, &options).unwrap();
    assert_eq!(record.local_start.unwrap().to_string(), "2026-05-10T21:05:00");
    assert!(read(&slashes).notices.iter().any(|notice| notice.contains("read as day.month.year")));
}

#[test]
fn hour_told_twice_with_zone() {
    let text = "time;V;A\n2026-10-25 03:30;13.2;4\n2026-10-25 03:50;13.1;4\n2026-10-25 03:10;13.0;4\n2026-10-25 03:30;12.9;4\n";
    let options = ReadOptions { zone: Some("Europe/Riga".to_owned()), ..ReadOptions::default() };
    let record = with(text, &options).unwrap();
    assert_eq!(record.samples.elapsed_s, [0.0, 1200.0, 2400.0, 3600.0]);
}

#[test]
fn clock_that_begins_anew() {
    let text =
        "step time (s),V,A\n0,13.2,4\n10,13.1,4\n20,13.0,4\n0,12.9,2\n10,12.8,2\n20,12.7,2\n";
    let record = read(text);
    assert_eq!(record.samples.elapsed_s, [0.0, 10.0, 20.0, 30.0, 40.0, 50.0]);
    assert!(record.notices.iter().any(|notice| notice.contains("begins anew")));
}

#[test]
fn told_by_a_person() {
    let bare = "0\t4.181\n1\t4.155\n2\t4.142\n";
    assert_eq!(with(bare, &ReadOptions::default()).unwrap_err().kind, ErrorKind::NoHeading);
    let options = ReadOptions {
        columns: vec![
            column(Role::Time, Which::Number(1), Some("min")),
            column(Role::Voltage, Which::Number(2), None),
        ],
        stated_current_a: Some(1.14),
        ..ReadOptions::default()
    };
    let record = with(bare, &options).unwrap();
    assert_eq!(record.samples.elapsed_s, [0.0, 60.0, 120.0]);
    assert_eq!(record.samples.current_a, [1.14, 1.14, 1.14]);
    assert_eq!(record.current_from, CurrentFrom::Stated);
    assert_eq!(record.rows.read, 3);

    let options = ReadOptions {
        columns: vec![column(Role::Current, Which::Heading("shunt".to_owned()), Some("mA"))],
        interval_s: Some(5.0),
        sign: Some(Sign::ChargePositive),
        ..ReadOptions::default()
    };
    let record =
        with("volts,shunt,A\n13.2,-4000,9\n13.1,-4000,9\n13.0,-4000,9\n", &options).unwrap();
    assert_eq!(record.samples.elapsed_s, [0.0, 5.0, 10.0]);
    assert_eq!(record.samples.current_a, [4.0, 4.0, 4.0]);
}

#[test]
fn a_voltage_alone() {
    let text = "time,voltage_v\n2026-10-09T18:00Z,13.21\n2026-10-09T18:05Z,13.20\n2026-10-09T18:10Z,13.19\n";
    assert_eq!(with(text, &ReadOptions::default()).unwrap_err().kind, ErrorKind::Current);
    let options = ReadOptions { voltage_alone: true, ..ReadOptions::default() };
    let record = with(text, &options).unwrap();
    assert_eq!(record.current_from, CurrentFrom::Nothing);
    assert_eq!(record.samples.voltage_v, [13.21, 13.20, 13.19]);
    assert!(record.samples.current_a.iter().all(|current_a| current_a.is_nan()));
    assert_eq!(record.start, "2026-10-09T18:00Z".parse().ok());
    // what is there is used
    let text = "s,V,A\n0,13.2,4\n60,13.1,4\n120,13.0,4\n";
    assert_eq!(with(text, &options).unwrap().current_from, CurrentFrom::Measured);
}

#[test]
fn what_a_person_says_wrongly() {
    let text = "s,V,A\n0,13.2,4\n60,13.1,4\n120,13.0,4\n";
    let choice = |which, unit| ReadOptions {
        columns: vec![column(Role::Current, which, unit)],
        ..ReadOptions::default()
    };
    for (options, kind) in [
        (choice(Which::Number(9), None), ErrorKind::Column),
        (choice(Which::Number(0), None), ErrorKind::Column),
        (choice(Which::Heading("amps".to_owned()), None), ErrorKind::Column),
        (choice(Which::Number(3), Some("kg")), ErrorKind::Unit),
        (
            ReadOptions { zone: Some("Nowhere".to_owned()), ..ReadOptions::default() },
            ErrorKind::Time,
        ),
        (ReadOptions { interval_s: Some(-1.0), ..ReadOptions::default() }, ErrorKind::Time),
    ] {
        let error = with(text, &options).unwrap_err();
        assert_eq!(error.kind, kind, "{error}");
        assert!(!error.help.is_empty());
    }
}

#[test]
fn which_way_the_current_flows() {
    // charging, and current positive
    let up = "s,V,A\n0,12.9,8\n60,13.1,8\n120,13.3,8\n180,13.5,7\n";
    assert!(read(up).samples.current_a.iter().all(|a| *a < 0.0));
    // discharging, negative
    let down = "s,V,A\n0,13.2,-8\n60,13.1,-8\n120,13.0,-8\n180,12.8,-8\n";
    assert!(read(down).samples.current_a.iter().all(|a| *a > 0.0));
    // a flat voltage leaves it to the heading
    let flat = "s,V,charge_A\n0,14.4,8\n60,14.4,8\n120,14.4,8\n";
    assert!(read(flat).samples.current_a.iter().all(|a| *a < 0.0));
    // and without one it is a guess that is told
    let flat = read("s,V,A\n0,14.4,8\n60,14.4,8\n120,14.4,8\n");
    assert!(flat.samples.current_a.iter().all(|a| *a > 0.0));
    assert!(flat.notices.iter().any(|notice| notice.contains("taken as discharge")));
    // the standard's own sign, where the voltage doesn't tell
    let standard = "Test Time / s,Voltage / V,Current / A\n0,14.4,8\n60,14.4,8\n120,14.4,8\n";
    assert!(read(standard).samples.current_a.iter().all(|a| *a < 0.0));
    // no sign, but words
    let words = "s;Zustand;V;A\n0;Entladen;13;4\n60;Entladen;12,9;4\n120;Pause;13;0\n180;Laden;13,4;5\n240;Laden;13,5;5\n";
    assert_eq!(read(words).samples.current_a, [4.0, 4.0, 0.0, -5.0, -5.0]);
}

#[test]
fn counters() {
    let text = "min,V,A,Ah,kWh\n0,13.2,6,100.0,1.0\n1,13.1,6,100.1,1.0013\n2,13.0,6,0.1,0.0013\n3,12.9,6,0.2,0.0026\n";
    let record = read(text);
    let ah = record.samples.counted_ah.unwrap();
    for (found, expect) in ah.iter().zip([0.0, 0.1, 0.2, 0.3]) {
        assert!((found - expect).abs() < 1e-4, "{ah:?}");
    }
    assert_eq!(record.resolution.counted_ah, Some(0.1));
    assert!((record.resolution.counted_wh.unwrap() - 0.1).abs() < 1e-9);
    assert!(record.notices.iter().any(|notice| notice.contains("reset")));
    // in and out apart
    let text = "s,V,A,Charge Capacity (Ah),Discharge Capacity (Ah)\n0,13.2,-36,0,0\n1000,13.0,-36,0,10\n\
                2000,12.8,-36,0,20\n2001,13.4,36,0,20\n3001,13.6,36,10,20\n4001,13.8,36,20,20\n";
    let record = read(text);
    assert_eq!(record.samples.counted_ah.unwrap(), [0.0, 10.0, 20.0, 20.0, 10.0, 0.0]);
}

#[test]
fn clock_without_unit_told_by_the_counter() {
    let text = "time,V,A,Ah\n0,13.2,6,0\n10,13.1,6,1.00\n20,13.0,6,2.00\n30,12.9,6,3.00\n";
    let record = read(text);
    assert_eq!(record.samples.elapsed_s, [0.0, 600.0, 1200.0, 1800.0]);
    let text =
        "time,V,A,Ah\n0:00,13.2,6,0\n10:00,13.1,6,1.00\n20:00,13.0,6,2.00\n30:00,12.9,6,3.00\n";
    let record = read(text);
    assert_eq!(record.samples.elapsed_s, [0.0, 600.0, 1200.0, 1800.0]);
    let text = "s,V,A,Ah\n0,13.2,6,0\n600,13.1,6,1.30\n1200,13.0,6,2.60\n1800,12.9,6,3.90\n";
    let record = read(text);
    assert!(record.notices.iter().any(|notice| notice.contains("the charge counter says")));
}

#[test]
fn units_nobody_stated() {
    let record = read("time,voltage,current\n0,13200,4000\n60,13100,4000\n120,13000,4000\n");
    assert_eq!(record.samples.voltage_v, [13.2, 13.1, 13.0]);
    assert_eq!(record.samples.current_a, [4.0, 4.0, 4.0]);
    assert!((record.resolution.voltage_v - 0.001).abs() < 1e-12);
    assert!(record.notices.iter().any(|notice| notice.contains("millivolts")));
}

#[test]
fn encodings_and_packing() {
    let text =
        "Zeit;Spannung [V];Strom [A];Temp. [°C]\n0:00;13,2;4;21\n0:01;13,1;4;22\n0:02;13,0;4;23\n";
    let latin1: Vec<u8> = text.chars().map(|c| c as u8).collect();
    let utf16: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
    let utf16_big: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
    let with_mark = [b"\xef\xbb\xbf".as_slice(), text.as_bytes()].concat();
    let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    packer.write_all(text.as_bytes()).unwrap();
    let packed = packer.finish().unwrap();
    for bytes in [text.as_bytes(), &latin1, &utf16, &utf16_big, &with_mark, &packed] {
        let record = record::read_bytes("log", bytes, &ReadOptions::default()).unwrap();
        assert_eq!(record.samples.temperature_c.unwrap(), [21.0, 22.0, 23.0]);
        assert_eq!(record.columns[2].heading, "Temp. [°C]");
    }
}

#[test]
fn gzip_cut_off() {
    let text: String = (0..50_000)
        .map(|row| format!("{row},{:.3},4.000\n", 13.2 - f64::from(row % 977) * 1e-3))
        .collect();
    let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    packer.write_all(format!("s,V,A\n{text}").as_bytes()).unwrap();
    let mut packed = packer.finish().unwrap();
    packed.truncate(packed.len() / 2);
    let record = record::read_bytes("log", packed.as_slice(), &ReadOptions::default()).unwrap();
    assert!((10_000..40_000).contains(&record.rows.used), "{:?}", record.rows);
    assert!(record.notices.iter().any(|notice| notice.contains("breaks off")));
}
