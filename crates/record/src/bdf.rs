//! Records written with the column labels of the open Battery Data Format.
//!
//! Labels and the sign of the current (positive charges) follow the specification of the Battery
//! Data Alliance, version 1.3.0 of 2026, <https://w3id.org/battery-data-alliance/ontology/battery-data-format>.

use std::io::{self, Write};

use crate::Record;

/// Labels that every file in the format has.
pub(crate) const REQUIRED: [&str; 3] = ["Test Time / s", "Voltage / V", "Current / A"];

/// Writes the samples of a record as comma-separated text in the Battery Data Format.
///
/// Beside time, voltage and current it holds the Unix time where the record tells the moment, the
/// temperature and the counters where it has them; a sample that lacks one of these has an empty
/// cell.
///
/// # Errors
/// If writing fails.
pub fn write_bdf(record: &Record, mut to: impl Write) -> io::Result<()> {
    let samples = &record.samples;
    let start_s = record.start.map(|start| start.as_microsecond() as f64 / 1e6);
    let sides = [
        ("Ambient Temperature / degC", &samples.temperature_c, 1.0),
        // net of what went in, while ours is net of what went out
        ("Net Capacity / Ah", &samples.counted_ah, -1.0),
        ("Net Energy / Wh", &samples.counted_wh, -1.0),
    ];
    let sides =
        sides.iter().filter_map(|(label, column, sign)| Some((label, column.as_ref()?, sign)));
    let sides: Vec<(&&str, &Vec<f32>, &f32)> = sides.collect();
    write!(to, "{}", REQUIRED.join(","))?;
    if start_s.is_some() {
        write!(to, ",Unix Time / s")?;
    }
    for (label, _, _) in &sides {
        write!(to, ",{label}")?;
    }
    writeln!(to)?;
    let decimals = decimals(record.resolution.time_s);
    for (at, sample) in samples.iter().enumerate() {
        let (elapsed_s, voltage_v) = (sample.elapsed_s, sample.voltage_v as f32);
        let into_a = 0.0 - sample.current_a as f32;
        write!(to, "{elapsed_s:.decimals$},{voltage_v},{into_a}")?;
        if let Some(start_s) = start_s {
            write!(to, ",{:.decimals$}", start_s + elapsed_s)?;
        }
        for (_, column, sign) in &sides {
            match column.get(at) {
                Some(value) if value.is_finite() => write!(to, ",{}", 0.0 + value * **sign)?,
                _ => write!(to, ",")?,
            }
        }
        writeln!(to)?;
    }
    to.flush()
}

/// How many decimals show a step of the clock.
fn decimals(step_s: f64) -> usize {
    (0..7)
        .find(|decimals| step_s * 10_f64.powi(*decimals) >= 0.999)
        .map_or(6, |decimals| decimals as usize)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn written(log: &str) -> String {
        let record =
            crate::read_bytes("log", log.as_bytes(), &crate::ReadOptions::default()).unwrap();
        let mut text = Vec::new();
        write_bdf(&record, &mut text).unwrap();
        String::from_utf8(text).unwrap()
    }

    #[test]
    fn labels_and_sign() {
        let text = written(
            "time,V,A,Ah,°C\n2026-03-14T20:00:00Z,13.2,4,0,21\n2026-03-14T20:00:30Z,13.1,4,0.033,\n\
             2026-03-14T20:01:00Z,13.0,0,0.067,22\n",
        );
        assert_eq!(
            text,
            "Test Time / s,Voltage / V,Current / A,Unix Time / s,Ambient Temperature / degC,Net Capacity / Ah\n\
             0,13.2,-4,1773518400,21,0\n30,13.1,-4,1773518430,,-0.033\n60,13,0,1773518460,22,-0.067\n"
        );
    }

    #[test]
    fn read_again() {
        let log = "s,V,A,Wh\n0.0,13.2,4.00,0\n0.5,13.1,4.01,0.1\n1.0,13.0,4.00,0.2\n";
        let options = crate::ReadOptions::default();
        let first = crate::read_bytes("log", log.as_bytes(), &options).unwrap();
        let again = crate::read_bytes("log", written(log).as_bytes(), &options).unwrap();
        assert_eq!(again.samples, first.samples);
        assert_eq!(again.resolution.time_s, first.resolution.time_s);
    }
}
