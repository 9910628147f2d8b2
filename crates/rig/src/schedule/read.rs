//! Reading a schedule.

use super::{Edge, Event, Span, When};
use quantity::Kind;
use std::str::FromStr;

/// Why a text is no schedule.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error(
    "{read:?} is no time to run: {problem}; write such as \"night\", \"dark to 02:00\", \"21:30 to 02:00\", \"sunset + 30 min to sunrise\", \"from dark for 3 h\" or \"dark at 50 %\""
)]
pub struct WhenError {
    /// The part that could not be read.
    pub read: String,
    /// What is wrong with it.
    pub problem: String,
}

impl FromStr for When {
    type Err = WhenError;

    fn from_str(text: &str) -> Result<When, WhenError> {
        let lower = text.to_lowercase();
        let mut spans = Vec::new();
        let mut duty = None;
        let mut parts = 0;
        for part in split_commas(&lower) {
            parts += 1;
            let part = part.trim();
            let (span, share) = split_share(part)?;
            if let Some(share) = share
                && duty.replace(share).is_some()
            {
                return Err(wrong(text, "it has more than one duty cycle"));
            }
            match span {
                "" if share.is_some() => {}
                "never" | "off" => {}
                _ => spans.push(read_span(span)?),
            }
        }
        if parts == 1 && spans.is_empty() && duty.is_some() {
            spans.push(Span::Always); // "50 %" alone
        }
        Ok(When::of(spans, duty.unwrap_or(1.0)))
    }
}

impl FromStr for Edge {
    type Err = WhenError;

    fn from_str(text: &str) -> Result<Edge, WhenError> {
        read_edge(&text.to_lowercase())
    }
}

fn wrong(read: &str, problem: impl Into<String>) -> WhenError {
    WhenError { read: read.trim().to_owned(), problem: problem.into() }
}

/// Splits at commas, except between digits, where one is a decimal comma ("1,5 h").
fn split_commas(text: &str) -> impl Iterator<Item = &str> {
    let bytes = text.as_bytes();
    let digit = |at: Option<usize>| at.and_then(|k| bytes.get(k)).is_some_and(u8::is_ascii_digit);
    let mut start = 0;
    let mut ends: Vec<usize> = (0..bytes.len())
        .filter(|&k| bytes[k] == b',' && !(digit(k.checked_sub(1)) && digit(Some(k + 1))))
        .collect();
    ends.push(bytes.len());
    ends.into_iter().map(move |end| {
        let part = &text[start..end];
        start = end + 1;
        part
    })
}

/// Takes "at 50 %" off the end.
fn split_share(part: &str) -> Result<(&str, Option<f64>), WhenError> {
    let Some(rest) = part.strip_suffix('%') else { return Ok((part, None)) };
    let (span, number) = match rest.rfind(" at ") {
        Some(at) => (&rest[..at], &rest[at + 4..]),
        None => ("", rest.trim_start().strip_prefix("at ").unwrap_or(rest)),
    };
    let share = Kind::Fraction
        .read(&format!("{}%", number.trim()))
        .map_err(|error| wrong(part, error.to_string()))?;
    Ok((span.trim(), Some(share)))
}

fn read_span(text: &str) -> Result<Span, WhenError> {
    let sky = |event| Edge::Sky(event, 0.0);
    match text {
        "" => return Err(wrong(text, "there is nothing there")),
        "always" | "all the time" => return Ok(Span::Always),
        "day" | "by day" => return Ok(Span::Day),
        "night" | "by night" => {
            return Ok(Span::Between(sky(Event::Sunset), sky(Event::Sunrise)));
        }
        "dark" => return Ok(Span::Between(sky(Event::Dark), sky(Event::DarkEnd))),
        _ => {}
    }
    let from_here = text.strip_prefix("from ").unwrap_or(text);
    if let Some((from, lasting)) = from_here.split_once(" for ") {
        let lasting_s = read_duration(text, lasting)?;
        if lasting_s <= 0.0 {
            return Err(wrong(text, "it lasts no time"));
        }
        return Ok(Span::For(read_edge(from)?, lasting_s));
    }
    let two = [" to ", " until ", " till ", "–"]
        .iter()
        .find_map(|word| from_here.split_once(word))
        .or_else(|| from_here.split_once('-').filter(|(from, _)| read_clock(from).is_some()));
    let Some((from, to)) = two else {
        return Err(match read_edge(from_here) {
            Ok(_) => wrong(text, "it says when it begins but not when it ends"),
            Err(error) => error,
        });
    };
    let (from, to) = (read_edge(from)?, read_edge(to)?);
    if from == to {
        return Err(wrong(text, "it ends when it begins"));
    }
    Ok(Span::Between(from, to))
}

fn read_edge(text: &str) -> Result<Edge, WhenError> {
    let text = text.trim();
    if let Some(second) = read_clock(text) {
        return Ok(Edge::Clock(second));
    }
    if let Some(event) = read_event(text) {
        return Ok(Edge::Sky(event, 0.0));
    }
    for (word, sign) in [("after", 1.0), ("before", -1.0)] {
        if let Some((offset, event)) = text.split_once(&format!(" {word} ")) {
            let event = read_event(event).ok_or_else(|| no_event(event))?;
            return Ok(Edge::Sky(event, sign * read_duration(text, offset)?));
        }
    }
    if let Some(at) = text.find(['+', '-', '−']) {
        let sign = if text[at..].starts_with('+') { 1.0 } else { -1.0 };
        let offset = text[at..].trim_start_matches(['+', '-', '−']);
        let event = read_event(&text[..at]).ok_or_else(|| no_event(&text[..at]))?;
        return Ok(Edge::Sky(event, sign * read_duration(text, offset)?));
    }
    Err(no_event(text))
}

fn no_event(text: &str) -> WhenError {
    let words: Vec<&str> = Event::ALL.iter().map(|event| event.word()).collect();
    let problem = format!("it is neither a clock time nor one of {}", words.join(", "));
    wrong(text, problem)
}

fn read_event(text: &str) -> Option<Event> {
    Some(match text.trim() {
        "sunset" => Event::Sunset,
        "dusk" | "civil dusk" => Event::Dusk,
        "dark" | "astronomical dusk" => Event::Dark,
        "end of dark" | "astronomical dawn" => Event::DarkEnd,
        "dawn" | "civil dawn" => Event::Dawn,
        "sunrise" => Event::Sunrise,
        _ => return None,
    })
}

/// "21:30" as seconds of the day; "24:00" is midnight.
fn read_clock(text: &str) -> Option<f64> {
    let text = text.trim();
    match text {
        "noon" => return Some(super::NOON_S),
        "midnight" => return Some(0.0),
        _ => {}
    }
    let (hours, minutes) = text.split_once(':')?;
    let number = |part: &str, most: u32| {
        let plain = (1..=2).contains(&part.len()) && part.bytes().all(|b| b.is_ascii_digit());
        plain.then(|| part.parse::<u32>().ok()).flatten().filter(|&n| n <= most)
    };
    let (hours, minutes) = (number(hours, 24)?, number(minutes, 59)?);
    if minutes > 0 && hours == 24 {
        return None;
    }
    Some(f64::from(hours % 24 * 3600 + minutes * 60))
}

fn read_duration(whole: &str, text: &str) -> Result<f64, WhenError> {
    Kind::Duration.read(text.trim()).map_err(|error| wrong(whole, error.to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn schedules_as_people_write_them() {
        let sky = |event, offset_s| Edge::Sky(event, offset_s);
        let between = |from, to| Span::Between(from, to);
        for (text, spans, duty) in [
            ("Always", vec![Span::Always], 1.0),
            ("50 %", vec![Span::Always], 0.5),
            ("dark at 50 %", When::dark().spans, 0.5),
            ("dark, 50%", When::dark().spans, 0.5),
            ("off", vec![], 1.0),
            ("21:30-02:00", vec![between(Edge::Clock(77400.0), Edge::Clock(7200.0))], 1.0),
            ("21:30–2:00", vec![between(Edge::Clock(77400.0), Edge::Clock(7200.0))], 1.0),
            ("noon until midnight", vec![between(Edge::Clock(43200.0), Edge::Clock(0.0))], 1.0),
            (
                "sunset+30min to sunrise - 1 h",
                vec![between(sky(Event::Sunset, 1800.0), sky(Event::Sunrise, -3600.0))],
                1.0,
            ),
            (
                "30 min after sunset to 1,5 h before sunrise",
                vec![between(sky(Event::Sunset, 1800.0), sky(Event::Sunrise, -5400.0))],
                1.0,
            ),
            ("from dark for 2h30", vec![Span::For(sky(Event::Dark, 0.0), 9000.0)], 1.0),
        ] {
            let found: When = text.parse().unwrap_or_else(|error| panic!("{text:?}: {error}"));
            assert_eq!(found, When::of(spans, duty), "{text}");
        }
    }

    #[test]
    fn slips_are_named() {
        for (text, says) in [
            ("", "nothing there"),
            ("dark,", "nothing there"),
            ("darkness", "neither a clock time nor one of sunset"),
            ("moonrise to dawn", "\"moonrise\""),
            ("sunset", "not when it ends"),
            ("21:30", "not when it ends"),
            ("25:00 to 02:00", "\"25:00\""),
            ("24:30 to 02:00", "\"24:30\""),
            ("dark for ever", "\"ever\""),
            ("dark for 0 min", "no time"),
            ("dark at 120 %", "120%"),
            ("dark at 50 %, night at 20 %", "more than one duty"),
            ("sunset + 30 to sunrise", "no unit"),
            ("dusk to dusk", "ends when it begins"),
        ] {
            let error = text.parse::<When>().expect_err(text).to_string();
            assert!(error.contains(says), "{text:?}: {error}");
        }
    }
}
