//! What all layouts have in common: order, gaps, and what can't be.

use jiff::civil::Date;
use jiff::{SignedDuration, Timestamp, tz::TimeZone};

use super::{Draft, Findings, Layout, Reading, Weather};
use crate::{Error, Place, Track, extraterrestrial_w_m2};

/// The year typical readings are dated: an ordinary one.
pub(super) const TYPICAL_YEAR: i16 = 2001;
/// Light above this is light, not the offset of an instrument.
const LIGHT_W_M2: f64 = 10.0;
/// The sun is surely down below this altitude.
const DOWN_DEG: f64 = -1.5;

pub(super) fn checked(
    layout: Layout,
    draft: Draft,
    place: Option<Place>,
) -> Result<Weather, Error> {
    if draft.readings.is_empty() {
        return Err(Error::WeatherEmpty { layout: layout.name(), rows: draft.rows });
    }
    let place = place.or(draft.place).ok_or(Error::WeatherPlace { layout: layout.name() })?;
    let mut findings = Findings {
        rows: draft.rows,
        unreadable: draft.unreadable,
        doubtful: draft.doubtful,
        ..Findings::default()
    };
    let mut readings = draft.readings;
    if draft.typical {
        for reading in &mut readings {
            reading.start = in_typical_year(reading.start, draft.clock_h);
        }
    }
    readings.sort_by_key(|reading| reading.start);
    let before = readings.len();
    readings.dedup_by_key(|reading| reading.start);
    findings.repeated = before - readings.len();
    let interval_s = draft.interval_s.unwrap_or_else(|| usual_interval_s(&readings));
    findings.gaps = gaps(&readings, interval_s);
    judge_light(&place, &mut readings, interval_s, &mut findings)?;
    for reading in &readings {
        findings.missing_ghi += usize::from(reading.ghi_w_m2.is_none());
        findings.missing_dni += usize::from(reading.dni_w_m2.is_none());
        findings.missing_dhi += usize::from(reading.dhi_w_m2.is_none());
        findings.missing_air += usize::from(reading.air_c.is_none());
    }
    Ok(Weather {
        layout,
        station: draft.station,
        place,
        horizon: draft.horizon,
        clock_h: draft.clock_h,
        interval_s,
        typical: draft.typical,
        readings,
        findings,
    })
}

/// The same hour and date in the typical year, by the file's clock; 29 February becomes the 28th.
pub(super) fn in_typical_year(at: Timestamp, clock_h: f64) -> Timestamp {
    let ahead = SignedDuration::from_secs((clock_h * 3600.0) as i64);
    let shifted = |at: Timestamp| {
        let local = at.checked_add(ahead).ok()?.to_zoned_datetime(TimeZone::UTC).datetime();
        let day = if local.month() == 2 { local.day().min(28) } else { local.day() };
        let date = Date::new(TYPICAL_YEAR, local.month(), day).ok()?;
        let there = date.to_datetime(local.time()).to_zoned_datetime(TimeZone::UTC).ok()?;
        there.timestamp().checked_sub(ahead).ok()
    };
    shifted(at).unwrap_or(at)
}

/// The most common distance between neighbours, s.
fn usual_interval_s(readings: &[Reading]) -> f64 {
    let mut distances_ms: Vec<i64> = readings
        .windows(2)
        .filter_map(|pair| Some((pair.first()?, pair.get(1)?)))
        .map(|(a, b)| b.start.as_millisecond() - a.start.as_millisecond())
        .collect();
    distances_ms.sort_unstable();
    distances_ms.get(distances_ms.len() / 2).map_or(60.0, |ms| *ms as f64 / 1000.0)
}

fn gaps(readings: &[Reading], interval_s: f64) -> Vec<(Timestamp, Timestamp)> {
    readings
        .windows(2)
        .filter_map(|pair| Some((pair.first()?.start, pair.get(1)?.start)))
        .map(|(a, b)| (crate::time::later(a, interval_s), b))
        .filter(|(end, next)| next.duration_since(*end).as_secs_f64() > 0.5 * interval_s)
        .collect()
}

/// Sets aside light and warmth that can't be, counts light by night, and refuses a file whose
/// light as a whole can't be.
fn judge_light(
    place: &Place,
    readings: &mut [Reading],
    interval_s: f64,
    findings: &mut Findings,
) -> Result<(), Error> {
    let (Some(first), Some(last)) = (readings.first(), readings.last()) else { return Ok(()) };
    let start = first.start;
    let length_s = last.start.duration_since(start).as_secs_f64() + interval_s;
    let sun = Track::of_sun(place, start, length_s)?;
    let (mut lit, mut too_bright, mut most_w_m2) = (0, 0, 0.0_f64);
    let (mut high, mut global, mut parts) = (0_usize, 0.0, 0.0);
    for reading in readings {
        let begin_s = reading.start.duration_since(start).as_secs_f64();
        let [at_begin, at_middle, at_end] =
            [0.0, 0.5, 1.0].map(|part| sun.at(begin_s + part * interval_s).altitude_deg());
        high += usize::from(at_middle > 15.0);
        let ghi_w_m2 = reading.ghi_w_m2.unwrap_or(0.0);
        most_w_m2 = most_w_m2.max(ghi_w_m2);
        lit += usize::from(ghi_w_m2 > LIGHT_W_M2);
        if ghi_w_m2 > LIGHT_W_M2 && at_begin < DOWN_DEG && at_end < DOWN_DEG {
            findings.bright_night += 1;
        }
        let day = reading.start.to_zoned_datetime(TimeZone::UTC).day_of_year();
        let outside_w_m2 = extraterrestrial_w_m2(day.unsigned_abs());
        let height = at_begin.max(at_middle).max(at_end).to_radians().sin().max(0.0);
        if let (Some(ghi), Some(dni), Some(dhi)) =
            (reading.ghi_w_m2, reading.dni_w_m2, reading.dhi_w_m2)
            && at_middle > 15.0
        {
            global += ghi;
            parts += dni * at_middle.to_radians().sin() + dhi;
        }
        let before = findings.impossible;
        // The limits of what is physically possible in the tests of the Baseline Surface
        // Radiation Network (Long & Dutton 2002).
        let most_ghi = 1.5 * outside_w_m2 * height.powf(1.2) + 100.0;
        let most_dhi = 0.95 * outside_w_m2 * height.powf(1.2) + 50.0;
        set_aside(&mut reading.ghi_w_m2, (-50.0, most_ghi), &mut findings.impossible);
        set_aside(&mut reading.dhi_w_m2, (-50.0, most_dhi), &mut findings.impossible);
        set_aside(&mut reading.dni_w_m2, (-50.0, outside_w_m2), &mut findings.impossible);
        too_bright += usize::from(findings.impossible > before);
        set_aside(&mut reading.air_c, (-90.0, 60.0), &mut findings.impossible);
        set_aside(&mut reading.dew_point_c, (-90.0, 50.0), &mut findings.impossible);
        set_aside(&mut reading.wind_mps, (0.0, 80.0), &mut findings.impossible);
    }
    findings.closure = (parts > 0.0).then(|| global / parts);
    let wrong = |reason: String| Err(Error::WeatherLight { reason });
    if 5 * findings.bright_night > lit && findings.bright_night > 5 {
        return wrong(format!(
            "{} of {lit} readings with light have the sun below the horizon; the clock's hours \
             ahead of UTC or the longitude's sign is likely wrong",
            findings.bright_night
        ));
    }
    if 5 * too_bright > lit && too_bright > 5 {
        return wrong(format!(
            "{too_bright} of {lit} readings are brighter than can be (up to {most_w_m2:.0}); \
             expected W/m², perhaps they are kJ/m² or the hours are shifted"
        ));
    }
    // The darkest overcast lets more through in a whole day.
    if high as f64 * interval_s > 6.0 * 3600.0 && most_w_m2 <= 2.0 && most_w_m2 > 0.0 {
        return wrong(format!(
            "the brightest of {high} readings with the sun well up is {most_w_m2:.2}; expected \
             W/m², perhaps they are kW/m²"
        ));
    }
    Ok(())
}

fn set_aside(value: &mut Option<f64>, (least, most): (f64, f64), count: &mut usize) {
    if value.is_some_and(|value| value < least || value > most) {
        *value = None;
        *count += 1;
    }
}
