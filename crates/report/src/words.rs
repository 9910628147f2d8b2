//! Values and moments as all reports write them.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::table::NO_BREAK;

/// What stands where there is no value.
pub(crate) const NONE: &str = "–";

/// A share as a percentage with one decimal: "97.2 %".
pub(crate) fn percent(share: f64) -> String {
    if share.is_finite() { format!("{:.1}{NO_BREAK}%", 100.0 * share) } else { NONE.to_owned() }
}

/// A share and its uncertainty: "97.2 ± 0.4 %"; without one that would show, as [`percent`].
pub(crate) fn percent_within(share: f64, plus_minus: f64) -> String {
    if share.is_finite() && plus_minus.is_finite() && plus_minus >= 5e-4 {
        let decimals = if plus_minus < 0.02 { 1 } else { 0 };
        let number = format!("{:.decimals$} ± {:.decimals$}", 100.0 * share, 100.0 * plus_minus);
        format!("{number}{NO_BREAK}%")
    } else {
        percent(share)
    }
}

/// A label's number without zeros that say nothing, but "12.0" for a voltage of 12.
pub(crate) fn short(value: f64) -> String {
    let text = quantity::significant(value, 4);
    let Some((whole, decimals)) = text.split_once('.') else { return text };
    match decimals.trim_end_matches('0') {
        "" if value < 25.0 => format!("{whole}.0"),
        "" => whole.to_owned(),
        decimals => format!("{whole}.{decimals}"),
    }
}

/// A probability in whole percent; what is not certain is never shown as 0 or 100.
pub(crate) fn chance(probability: f64) -> String {
    let number = match probability {
        p if !p.is_finite() => return NONE.to_owned(),
        p if p <= 0.0 => "0".to_owned(),
        p if p >= 1.0 => "100".to_owned(),
        p if p < 0.01 => format!("<{NO_BREAK}1"),
        p if p > 0.99 => format!(">{NO_BREAK}99"),
        p => format!("{:.0}", 100.0 * p),
    };
    format!("{number}{NO_BREAK}%")
}

/// A number with so many decimals; nothing is not written as "-0.0".
pub(crate) fn fixed(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return NONE.to_owned();
    }
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if !rest.contains(|digit: char| digit.is_ascii_digit() && digit != '0') => {
            rest.to_owned()
        }
        _ => text,
    }
}

/// A price, to the hundredth where that counts.
pub(crate) fn price(price: f64) -> String {
    fixed(price, if price > 0.0 && price < 20.0 { 2 } else { 0 })
}

/// A moment by the site's clock: "Fri 14 Aug 21:03".
pub(crate) fn day_and_clock(at: Timestamp, zone: &TimeZone) -> String {
    zone.to_datetime(at).strftime("%a %-d %b %H:%M").to_string()
}

/// A moment as records have it: "2026-08-14 21:03 UTC".
pub(crate) fn in_utc(at: Timestamp) -> String {
    TimeZone::UTC.to_datetime(at).strftime("%Y-%m-%d %H:%M UTC").to_string()
}

/// The last part of a path, which is what people call a file.
pub(crate) fn file_name(path: &str) -> &str {
    path.rsplit(['/', '\\']).next().unwrap_or(path)
}

/// Words joined as in a sentence: "a, b and c".
pub(crate) fn listed(words: &[String]) -> String {
    match words {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// With a capital at its beginning.
pub(crate) fn sentence_case(text: &str) -> String {
    let mut letters = text.trim().chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// With a capital at its beginning and a stop at its end.
pub(crate) fn sentence(text: &str) -> String {
    let mut whole = sentence_case(text);
    if !whole.is_empty() && !whole.ends_with(['.', '!', '?']) {
        whole.push('.');
    }
    whole
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_certain_is_not_called_certain() {
        for (probability, text) in [
            (1.0, "100 %"),
            (0.9996, "> 99 %"),
            (0.934, "93 %"),
            (0.002, "< 1 %"),
            (0.0, "0 %"),
            (f64::NAN, "–"),
        ] {
            assert_eq!(chance(probability).replace(NO_BREAK, " "), text);
        }
    }

    #[test]
    fn shares_and_labels() {
        assert_eq!(percent_within(0.9724, 0.004).replace(NO_BREAK, " "), "97.2 ± 0.4 %");
        assert_eq!(percent_within(0.9724, 1e-6).replace(NO_BREAK, " "), "97.2 %");
        for (value, text) in [(12.0, "12.0"), (40.0, "40"), (10.8, "10.8"), (512.5, "512.5")] {
            assert_eq!(short(value), text);
        }
    }

    #[test]
    fn nothing_has_no_sign() {
        for (value, text) in [(-0.0, "0.0"), (-0.04, "0.0"), (-0.06, "-0.1"), (f64::NAN, "–")] {
            assert_eq!(fixed(value, 1), text);
        }
    }

    #[test]
    fn lists_and_sentences() {
        let words = ["one", "two", "three"].map(str::to_owned);
        assert_eq!(listed(&words), "one, two and three");
        assert_eq!(listed(&words[..1]), "one");
        assert_eq!(sentence("the voltage crosses"), "The voltage crosses.");
        assert_eq!(sentence(""), "");
    }
}
