//! Reference logs, read and integrated plainly, against the exact integrals of the runs they show;
//! each at the tolerance stated beside it. Provenance: README.md in each reference folder.

#![allow(clippy::unwrap_used, clippy::panic)]

use std::path::PathBuf;

use record::{ReadOptions, Record, RecordError};

fn folder(name: &str) -> PathBuf {
    PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference")).join(name)
}

fn json(folder_name: &str, file: &str) -> serde_json::Value {
    serde_json::from_str(&std::fs::read_to_string(folder(folder_name).join(file)).unwrap()).unwrap()
}

fn read(folder_name: &str, file: &str, options: &ReadOptions) -> Result<Record, RecordError> {
    record::read_file(&folder(folder_name).join(file), options, |_, _| {})
}

/// What a plain integration over the load-on phase gives.
#[derive(Debug)]
struct Measured {
    ah: f64,
    wh: f64,
    duration_s: f64,
    share_above: f64,
}

/// From the first to the last row of the first phase in which charge flows out (or, with
/// `sign` -1, in) without a pause, by trapezoids; by the counters where the current's own step is
/// the coarser of the two over the phase.
fn measure(record: &Record, sign: f64, cutoff_v: f64) -> Measured {
    let samples = &record.samples;
    let largest = samples.current_a.iter().fold(0.0_f64, |most, i| most.max(sign * f64::from(*i)));
    let on = |at: usize| sign * f64::from(samples.current_a[at]) > 0.05 * largest;
    let first = (0..samples.len()).find(|at| on(*at)).unwrap();
    let last = (first..samples.len()).take_while(|at| on(*at)).last().unwrap();
    let hours = (samples.elapsed_s[last] - samples.elapsed_s[first]) / 3600.0;
    let (mut ah, mut wh, mut above) = (0.0, 0.0, 0.0);
    let all: Vec<_> = samples.iter().collect();
    for pair in all[first..=last].windows(2) {
        let dt_h = (pair[1].elapsed_s - pair[0].elapsed_s) / 3600.0;
        let step_ah = sign * (pair[0].current_a + pair[1].current_a) / 2.0 * dt_h;
        ah += step_ah;
        wh += sign
            * (pair[0].current_a * pair[0].voltage_v + pair[1].current_a * pair[1].voltage_v)
            / 2.0
            * dt_h;
        let (high, low) =
            (pair[0].voltage_v.max(pair[1].voltage_v), pair[0].voltage_v.min(pair[1].voltage_v));
        above += step_ah
            * if low >= cutoff_v {
                1.0
            } else if high < cutoff_v {
                0.0
            } else {
                (high - cutoff_v) / (high - low)
            };
    }
    let share_above = above / ah;
    let by_counter = |counts: &Option<Vec<f32>>, step: Option<f64>, shown: f64| -> Option<f64> {
        let counts = counts.as_ref()?;
        let ends = (counts[first], counts[last]);
        let counted = sign * f64::from(ends.1 - ends.0);
        (counted.is_finite() && counted > 0.0 && step? < shown).then_some(counted)
    };
    let shown_ah = record.resolution.current_a * hours;
    let counted_ah = by_counter(&samples.counted_ah, record.resolution.counted_ah, shown_ah);
    let counted_wh = by_counter(&samples.counted_wh, record.resolution.counted_wh, shown_ah * 12.0);
    Measured {
        ah: counted_ah.unwrap_or(ah),
        wh: counted_wh.unwrap_or(wh),
        duration_s: hours * 3600.0,
        share_above,
    }
}

fn check_folder(name: &str) {
    let expected = json(name, "expected.json");
    let mut wrong = Vec::new();
    for (file, expect) in expected.as_object().unwrap() {
        let record = match read(name, &format!("logs/{file}"), &ReadOptions::default()) {
            Ok(record) => record,
            Err(error) => {
                wrong.push(format!("{file}: {error}"));
                continue;
            }
        };
        let rows = &record.rows;
        assert_eq!(rows.read, rows.used + rows.set_aside.values().sum::<usize>(), "{file}");
        assert_eq!(rows.used, record.samples.len(), "{file}");
        let number = |key: &str| expect[key].as_f64();
        let sign = if expect["kind"] == "recharge" { -1.0 } else { 1.0 };
        let found = measure(&record, sign, number("cutoff_v").unwrap_or(12.0));
        let mut compare = |what: &str, found: f64, key: &str, tolerance: &str| {
            if let (Some(expect), Some(tolerance)) = (number(key), number(tolerance))
                && (found - expect).abs() > tolerance
            {
                wrong.push(format!("{file}: {what} {found:.4}, not {expect} ± {tolerance}"));
            }
        };
        // a zero offset is the meter's error, not the reading's: it stays in the record
        if file != "c07-zero-offset.csv" {
            compare("Ah", found.ah, "capacity_ah", "capacity_tol_ah");
            compare("Wh", found.wh, "energy_wh", "energy_tol_wh");
        }
        compare("s", found.duration_s, "duration_s", "duration_tol_s");
        compare("share", found.share_above, "share_above_cutoff", "share_tol");
        if let Some(start) = expect["start"].as_str()
            && record.start.map(|start| start.to_string()).as_deref() != Some(start)
        {
            wrong.push(format!("{file}: start {:?}, not {start}", record.start));
        }
        if let (Some(expect), Some(column)) =
            (number("mean_temperature_c"), &record.samples.temperature_c)
        {
            let mean = column.iter().map(|t| f64::from(*t)).sum::<f64>() / column.len() as f64;
            // the record's last digit is 0.1 °F
            if (mean - expect).abs() > 0.06 {
                wrong.push(format!("{file}: {mean} °C, not {expect}"));
            }
        }
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

#[test]
fn logs() {
    check_folder("bench");
}

#[test]
fn more_logs() {
    check_folder("bench/more");
}

#[test]
fn logs_of_cold_and_heat() {
    check_folder("bench/climate");
}

#[test]
fn series() {
    check_folder("bench/series");
}

/// What was odd is said, and rows are set aside under the right reason.
#[test]
fn oddities_are_told() {
    for (name, file, aside, told) in [
        ("bench", "a10-mess.csv", &[("blank", 9), ("repeated row", 13)][..], &["out of order"][..]),
        ("bench", "a11-reset.csv", &[], &["charge counter was reset 1 time(s) (line 753)"]),
        ("bench", "a13-lead-acid-truncated.csv", &[("cut off", 1)], &[]),
        ("bench", "a05-wall-clock.csv", &[], &["midnight"]),
        ("bench", "a16-sheet.xlsx", &[], &["last digit of the current"]),
        ("bench/more", "c02-cycle-unsigned.csv", &[], &["state column"]),
        ("bench/more", "c06-clock-back.csv", &[], &["line 452 the clock goes back"]),
        (
            "bench/more",
            "c09-notebook.txt",
            &[("out of line with its neighbours", 1)],
            &["line 20 was set aside: 130.3000 V"],
        ),
        ("bench/climate", "l01-newest-first.csv", &[], &["newest row stands first"]),
        ("bench/climate", "l04-halves-swapped.txt", &[], &["out of order"]),
        (
            "bench/climate",
            "l05-slips-of-the-pen.csv",
            &[("out of line with its neighbours", 2)],
            &["line 11 was set aside: 51.5400 V", "line 19 was set aside: 42.0000 A"],
        ),
    ] {
        let record = read(name, &format!("logs/{file}"), &ReadOptions::default()).unwrap();
        let found: Vec<(&str, usize)> =
            record.rows.set_aside.iter().map(|(reason, count)| (reason.as_str(), *count)).collect();
        assert_eq!(found, aside, "{file}");
        for told in told {
            let said = record.notices.iter().any(|notice| notice.contains(told));
            assert!(said, "{file}: {:?}", record.notices);
        }
    }
}

/// What the message must name, by file.
const REASONS: [(&str, &str, &str); 22] = [
    ("bench", "empty.csv", "empty"),
    ("bench", "header-only.csv", "no rows"),
    ("bench", "no-voltage.csv", "voltage"),
    ("bench", "all-blank.csv", "blank"),
    ("bench", "nonsense-time.csv", "time"),
    ("bench", "zip-named.csv", "archive"),
    ("bench", "binary.csv", "no text"),
    ("bench", "wide.csv", "(500)"),
    ("bench", "one-line.csv", "longer"),
    ("bench", "no-current.csv", "current"),
    ("bench", "picture.csv", "picture"),
    ("bench", "volts-thousands.csv", "mV"),
    ("bench/more", "mixed-encodings.csv", "encoding"),
    ("bench/more", "nan-words.csv", "not a number"),
    ("bench/more", "negative-volts-mv.csv", "reversed"),
    ("bench/more", "two-voltages-no-time.csv", "time"),
    ("bench/climate", "two-instants.csv", "clock does not run"),
    ("bench/climate", "blanks.csv", "blanks"),
    ("bench/climate", "error-reply.csv", "JSON"),
    ("bench/climate", "headings-only.csv", "heading again"),
    ("bench/climate", "air-only.csv", "voltage"),
    ("bench/climate", "picture.csv.gz", "picture"),
];

#[test]
fn bad_files_are_refused_with_the_reason() {
    let mut listed = 0;
    for (name, file, word) in REASONS {
        let error = read(name, &format!("bad/{file}"), &ReadOptions::default()).unwrap_err();
        let told = error.to_string();
        // the name of the file gives some reasons away, so it doesn't count
        let said = format!("{} {}", error.message, error.help);
        assert!(said.contains(word), "{file}: {told}");
        assert!(!error.help.is_empty() && told.starts_with(&error.file), "{file}: {told}");
        listed += 1;
    }
    let there: usize = ["bench", "bench/more", "bench/climate"]
        .iter()
        .map(|name| std::fs::read_dir(folder(name).join("bad")).unwrap().count())
        .sum();
    assert_eq!(listed, there);
}
