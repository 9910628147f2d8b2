//! TMY3 (Wilcox & Marion 2008, NREL/TP-581-43156): line 1 the station, its hours ahead of UTC and
//! its place, line 2 the columns, then an hour a row, stamped with its end in standard time, 01:00
//! to 24:00. The months come from different years.

use super::midc::american_date;
use super::{Draft, Layout, Reading, text};
use crate::Error;

const MISSING: [f64; 2] = [-9900.0, -9999.0];

pub(super) fn read(file: &str) -> Result<Draft, Error> {
    let layout = Layout::Tmy3.name();
    let mut lines = file.lines();
    let first = lines.next().unwrap_or("");
    let cells: Vec<&str> = first.split(',').collect();
    // The name may have commas of its own: count from the end.
    let from_end =
        |back: usize| cells.len().checked_sub(back).and_then(|at| cells.get(at).copied());
    let unreadable = || Error::WeatherLine {
        line: 1,
        layout,
        read: text::short(first),
        expected: "station, name, state, hours ahead of UTC, latitude, longitude, height",
    };
    let clock_h = text::number(from_end(4)).ok_or_else(unreadable)?;
    let place = text::place(from_end(3), from_end(2), from_end(1)).ok_or_else(unreadable)??;
    let station = cells.get(1).unwrap_or(&"").trim_matches('"').to_owned();
    let names: Vec<&str> = lines.next().unwrap_or("").split(',').collect();
    let column = |name: &'static str| {
        let at = names.iter().position(|found| found.starts_with(name));
        at.ok_or(Error::WeatherColumn { layout, column: name })
    };
    let light = [column("GHI (W/m^2)")?, column("DNI (W/m^2)")?, column("DHI (W/m^2)")?];
    let air = [column("Dry-bulb (C)")?, column("Dew-point (C)")?, column("Wspd (m/s)")?];
    let mut draft = Draft {
        station,
        place: Some(place),
        clock_h,
        interval_s: Some(3600.0),
        typical: true,
        ..Draft::default()
    };
    for line in lines.filter(|line| !line.trim().is_empty()) {
        draft.rows += 1;
        match row(line, light, air, clock_h) {
            Some(reading) => draft.readings.push(reading),
            None => draft.unreadable += 1,
        }
    }
    Ok(draft)
}

fn row(line: &str, light: [usize; 3], air: [usize; 3], clock_h: f64) -> Option<Reading> {
    let cells: Vec<&str> = line.split(',').collect();
    let value = |at: usize| text::value(cells.get(at)?, &MISSING);
    let date = american_date(cells.first()?)?;
    let (hour, minute) = cells.get(1)?.split_once(':')?;
    let ends_min = 60 * text::whole(Some(hour))? + text::whole(Some(minute))?;
    Some(Reading {
        start: text::instant(date, ends_min - 60, clock_h)?,
        ghi_w_m2: value(light[0])?,
        dni_w_m2: value(light[1])?,
        dhi_w_m2: value(light[2])?,
        air_c: value(air[0])?,
        dew_point_c: value(air[1])?,
        wind_mps: value(air[2])?,
    })
}
