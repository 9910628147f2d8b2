//! Spans of time as people write them: "90 min", "2h30", "2 h 30 min", "1:30:00", "3 days".

use crate::number;

const NAMES: [(&str, f64); 22] = [
    ("s", 1.0),
    ("sec", 1.0),
    ("secs", 1.0),
    ("second", 1.0),
    ("seconds", 1.0),
    ("ms", 1e-3),
    ("m", 60.0),
    ("min", 60.0),
    ("mins", 60.0),
    ("minute", 60.0),
    ("minutes", 60.0),
    ("h", 3600.0),
    ("hr", 3600.0),
    ("hrs", 3600.0),
    ("hour", 3600.0),
    ("hours", 3600.0),
    ("d", 86400.0),
    ("day", 86400.0),
    ("days", 86400.0),
    ("week", 604_800.0),
    ("weeks", 604_800.0),
    ("years", 31_557_600.0),
];

/// Seconds, or none if the text is no span of time.
pub(crate) fn read_s(text: &str) -> Option<f64> {
    let text = text.trim();
    if text.contains(':') { colons_s(text) } else { words_s(text) }
}

/// "h:mm" or "h:mm:ss".
fn colons_s(text: &str) -> Option<f64> {
    let parts: Vec<&str> = text.split(':').collect();
    let plain = |part: &str| {
        part.bytes().all(|b| b.is_ascii_digit()) && !part.is_empty() && part.len() <= 6
    };
    let below_60 =
        |part: &str| plain(part) && part.len() <= 2 && part.parse::<f64>().is_ok_and(|v| v < 60.0);
    match parts[..] {
        [h, m] if plain(h) && below_60(m) => {
            Some(h.parse::<f64>().ok()? * 3600.0 + m.parse::<f64>().ok()? * 60.0)
        }
        [h, m, s] if plain(h) && below_60(m) => {
            let (seconds, rest) = number::split(s).ok()?;
            (rest.is_empty() && (0.0..60.0).contains(&seconds)).then_some(
                h.parse::<f64>().ok()? * 3600.0 + m.parse::<f64>().ok()? * 60.0 + seconds,
            )
        }
        _ => None,
    }
}

/// "2h30", "1 h 20 min 5 s": falling units, the last of which may be left out after hours or
/// minutes.
fn words_s(text: &str) -> Option<f64> {
    let mut rest = text;
    let mut total = 0.0;
    let mut last_scale = f64::INFINITY;
    while !rest.trim().is_empty() {
        let (value, after) = number::split(rest).ok()?;
        let after = after.trim_start();
        let word_len = after.find(|c: char| !c.is_alphabetic()).unwrap_or(after.len());
        let word = &after[..word_len];
        let scale = if word.is_empty() {
            // "2h30" means minutes, "5min30" seconds; "30" alone means nothing
            if last_scale == 3600.0 || last_scale == 60.0 {
                last_scale / 60.0
            } else {
                return None;
            }
        } else {
            NAMES.iter().find(|(name, _)| name.eq_ignore_ascii_case(word))?.1
        };
        if scale >= last_scale || (last_scale.is_finite() && value < 0.0) {
            return None;
        }
        total += value * scale;
        last_scale = scale;
        rest = &after[word_len..];
    }
    last_scale.is_finite().then_some(total)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans() {
        for (text, seconds) in [
            ("2h30", 9000.0),
            ("2 h 30 min", 9000.0),
            ("90 min", 5400.0),
            ("1:30:05", 5405.0),
            ("25:00", 90000.0),
            ("1.5 h", 5400.0),
            ("1,5h", 5400.0),
            ("5min30", 330.0),
            ("3 days", 259_200.0),
            ("15 S", 15.0),
        ] {
            assert_eq!(read_s(text), Some(seconds), "{text}");
        }
    }

    #[test]
    fn no_spans() {
        for text in ["", "30", "h", "2 x", "30 min 2 h", "1:75", "1:30:61", "2h30min10h", "a:b"] {
            assert_eq!(read_s(text), None, "{text}");
        }
    }
}
