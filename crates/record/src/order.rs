//! Rows put in order of time.

use crate::clock::Notation;
use crate::error::{ErrorKind, Trouble};
use crate::rows::{Raw, reason};
use crate::zone::Zone;

const DAY_S: f64 = 86_400.0;
const HOUR_S: f64 = 3600.0;

/// Puts the rows in order of time and sets repeated ones aside.
pub(crate) fn arrange(
    raw: &mut Raw,
    notation: Option<Notation>,
    zone: Option<&Zone>,
    notices: &mut Vec<String>,
) -> Result<(), Trouble> {
    complain_of_standing_clock(&raw.time_s)?;
    let wall_clock = notation.is_some_and(Notation::is_wall_clock);
    if !(wall_clock && zone.is_some()) {
        if raw.time_s.is_sorted_by(|a, b| a < b) {
            return Ok(());
        }
        if raw.time_s.is_sorted() {
            raw.set_repeated_aside();
            return Ok(());
        }
    }
    let (forward, back) = steps(&raw.time_s);
    if back > forward {
        raw.turn_round();
        notices.push("the newest row stands first; the rows were turned round".to_owned());
    }
    if notation == Some(Notation::HoursMinutes) {
        past_midnight(&mut raw.time_s, notices);
    }
    match zone.filter(|_| wall_clock) {
        Some(zone) => zone.to_utc(&mut raw.time_s)?,
        None if wall_clock || notation == Some(Notation::HoursMinutes) => {
            clock_put_back(raw, notices);
        }
        None => {}
    }
    if notation.is_some_and(|notation| !notation.is_absolute()) {
        clock_started_again(raw, notices);
    }
    let (_, back) = steps(&raw.time_s);
    if back > 0 {
        notices.push(format!("{back} row(s) stood out of order; they were sorted by time"));
        raw.sort();
    }
    raw.set_repeated_aside();
    Ok(())
}

/// How often the time goes forward and back from row to row.
fn steps(time_s: &[f64]) -> (usize, usize) {
    let pairs = || time_s.iter().zip(time_s.iter().skip(1));
    (pairs().filter(|(a, b)| a < b).count(), pairs().filter(|(a, b)| a > b).count())
}

fn complain_of_standing_clock(time_s: &[f64]) -> Result<(), Trouble> {
    let Some(&first) = time_s.first() else { return Ok(()) };
    let second = time_s.iter().find(|time| **time != first);
    let third =
        second.and_then(|second| time_s.iter().find(|time| **time != first && *time != second));
    let different = 1 + usize::from(second.is_some()) + usize::from(third.is_some());
    if different < 3 && time_s.len() >= 10 || different < 2 && time_s.len() >= 2 {
        let message = format!(
            "the clock does not run: {} rows show only {different} different time(s)",
            time_s.len()
        );
        let help = "give a log whose time rises, or say which column is the time";
        return Err(Trouble::new(ErrorKind::Clock, message, help));
    }
    Ok(())
}

/// The usual step between rows: the median of those forward.
fn usual_step_s(time_s: &[f64]) -> f64 {
    let mut forward: Vec<f64> = time_s
        .iter()
        .zip(time_s.iter().skip(1))
        .take(100_000)
        .map(|(a, b)| b - a)
        .filter(|step| *step > 0.0)
        .collect();
    let middle = forward.len() / 2;
    if forward.is_empty() {
        return 0.0;
    }
    *forward.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// Adds a day where the time of day falls by more than half of one.
fn past_midnight(time_s: &mut [f64], notices: &mut Vec<String>) {
    if time_s.iter().any(|time| *time >= DAY_S) {
        return; // hours that run on are no time of day
    }
    let mut before_s = time_s.first().copied().unwrap_or(0.0);
    let mut days = 0.0;
    let mut passed = 0;
    for time in time_s {
        let step_s = *time - before_s;
        if step_s < -DAY_S / 2.0 {
            days += 1.0;
            passed += 1;
        } else if step_s > DAY_S / 2.0 && days > 0.0 {
            days -= 1.0; // a row of the evening behind one of the morning
        }
        before_s = *time;
        *time += days * DAY_S;
    }
    if passed > 0 {
        notices
            .push("the clock tells no date and passes midnight; a day was added there".to_owned());
    }
}

/// Adds an hour where a wall clock is put back from summer to winter time.
///
/// That is a step back by an hour less the usual step, with the same hour told twice, row by
/// row. Rows that only stand out of order don't go on like that.
fn clock_put_back(raw: &mut Raw, notices: &mut Vec<String>) {
    let usual_s = usual_step_s(&raw.time_s);
    let mut added_s = 0.0;
    let told: Vec<f64> = raw.time_s.clone();
    for at in 1..told.len() {
        let slice = |range: std::ops::Range<usize>| told.get(range).unwrap_or_default();
        let [before, now] = slice(at - 1..at + 1) else { break };
        let back_s = before - now;
        if back_s > 0.0
            && (back_s - HOUR_S).abs() <= 2.0 * usual_s + 1.0
            && rising(slice(at..told.len()), before - usual_s)
            && falling(slice(0..at), now + usual_s)
        {
            added_s += HOUR_S;
            notices.push(format!(
                "at line {} the clock goes back by an hour and tells that hour again; it was taken \
                 for the end of daylight saving time and the time runs on",
                raw.line(at)
            ));
        }
        if let Some(time) = raw.time_s.get_mut(at) {
            *time += added_s;
        }
    }
}

/// Whether the times rise without a step back until they reach a time.
fn rising(times: &[f64], until: f64) -> bool {
    let reached = times.iter().position(|time| *time >= until).unwrap_or(times.len());
    reached >= 2 && steps(times.get(..reached).unwrap_or_default()).1 == 0
}

/// Whether the times before go back evenly to a time.
fn falling(times: &[f64], down_to: f64) -> bool {
    let from = times.iter().rposition(|time| *time <= down_to);
    let hour = from.and_then(|from| times.get(from..)).unwrap_or_default();
    hour.len() >= 2 && steps(hour).1 == 0
}

/// Joins the parts of a record whose time begins anew with each.
fn clock_started_again(raw: &mut Raw, notices: &mut Vec<String>) {
    let usual_s = usual_step_s(&raw.time_s);
    let Some(&first_s) = raw.time_s.first() else { return };
    let starts: Vec<usize> = (1..raw.time_s.len())
        .filter(|at| {
            let Some([before, now]) = raw.time_s.get(at - 1..at + 1) else { return false };
            (now - first_s).abs() <= 2.0 * usual_s && before - now > 1.5 * usual_s
        })
        .collect();
    let (_, back) = steps(&raw.time_s);
    if starts.is_empty() || starts.len() < back || raw.tells_again(&starts) {
        return;
    }
    let mut added_s = 0.0;
    let mut starts_left = starts.as_slice();
    let mut before_s = first_s;
    for (at, time) in raw.time_s.iter_mut().enumerate() {
        if starts_left.first() == Some(&at) {
            added_s += before_s - *time + usual_s;
            starts_left = starts_left.get(1..).unwrap_or_default();
        }
        before_s = *time;
        *time += added_s;
    }
    let lines: Vec<String> =
        starts.iter().take(5).map(|start| raw.line(*start).to_string()).collect();
    notices.push(format!(
        "the clock begins anew {} time(s) (line {}); the parts were joined one usual step apart, \
         so a pause between them is lost",
        starts.len(),
        lines.join(", ")
    ));
}

impl Raw {
    /// The line of a row in the present order.
    pub(crate) fn line(&self, row: usize) -> u64 {
        let row = match &self.origin {
            None => row,
            Some(origin) => origin.get(row).map_or(row, |row| *row as usize),
        };
        self.lines.line(row)
    }

    fn turn_round(&mut self) {
        let count = u32::try_from(self.time_s.len()).unwrap_or(u32::MAX);
        self.take((0..count).rev().collect());
    }

    fn sort(&mut self) {
        let count = u32::try_from(self.time_s.len()).unwrap_or(u32::MAX);
        let mut order: Vec<u32> = (0..count).collect();
        let time = |row: &u32| self.time_s.get(*row as usize).copied().unwrap_or(f64::NAN);
        order.sort_by(|a, b| time(a).total_cmp(&time(b)));
        self.take(order);
    }

    /// Keeps these rows in this order.
    fn take(&mut self, order: Vec<u32>) {
        pick(&mut self.time_s, &order);
        pick(&mut self.voltage_v, &order);
        pick(&mut self.current, &order);
        let sides = [&mut self.temperature_c, &mut self.charge_ah, &mut self.energy_wh];
        let counters = self.counters.iter_mut().map(|counter| &mut counter.counts);
        for column in sides.into_iter().flatten().chain(counters) {
            pick(column, &order);
        }
        if let Some(flow) = &mut self.flow {
            pick(flow, &order);
        }
        self.origin = Some(match &self.origin {
            None => order,
            Some(origin) => {
                order.iter().filter_map(|row| origin.get(*row as usize).copied()).collect()
            }
        });
    }

    /// Drops rows and counts them under a reason.
    pub(crate) fn set_aside(&mut self, rows: &[usize], reason: &str) {
        if rows.is_empty() {
            return;
        }
        let mut aside = rows.iter().copied().peekable();
        let kept: Vec<u32> = (0..self.time_s.len())
            .filter(|row| aside.next_if_eq(row).is_none())
            .filter_map(|row| u32::try_from(row).ok())
            .collect();
        *self.set_aside.entry(reason.to_owned()).or_default() += self.time_s.len() - kept.len();
        self.take(kept);
    }

    /// Sets rows aside that tell the same at the same time as one shortly before.
    fn set_repeated_aside(&mut self) {
        let told = |row: usize| {
            (self.time_s.get(row), self.voltage_v.get(row), self.current.get(row), self.count(row))
        };
        let mut repeated = Vec::new();
        for row in 1..self.time_s.len() {
            let same_time = self.time_s.get(row) == self.time_s.get(row - 1);
            let first = row.saturating_sub(8);
            if same_time && (first..row).any(|earlier| told(earlier) == told(row)) {
                repeated.push(row);
            }
        }
        self.set_aside(&repeated, reason::REPEATED);
    }

    fn count(&self, row: usize) -> Option<u32> {
        // by bits, so that a missing count equals a missing count
        self.counters.first()?.counts.get(row).map(|count| count.to_bits())
    }

    /// Whether the rows from these starts on only repeat the first rows.
    fn tells_again(&self, starts: &[usize]) -> bool {
        starts.iter().all(|start| {
            (0..5).all(|ahead| {
                self.time_s.get(start + ahead) == self.time_s.get(ahead)
                    && self.voltage_v.get(start + ahead) == self.voltage_v.get(ahead)
            })
        })
    }
}

fn pick<T: Copy>(column: &mut Vec<T>, order: &[u32]) {
    *column = order.iter().filter_map(|row| column.get(*row as usize).copied()).collect();
}
