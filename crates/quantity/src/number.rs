//! A number at the front of a text, with a decimal point or a decimal comma.

/// Why no number could be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum NumberError {
    /// The text does not begin with one.
    Missing,
    /// "1,200" is twelve hundred to some and one point two to others.
    Ambiguous,
}

/// Splits a text into its leading number and the rest.
///
/// Takes "1.8", "1,8", "-3", "−3" (the typographic minus), "+2", ".5", "1e3", "1/2" is not one.
pub(crate) fn split(text: &str) -> Result<(f64, &str), NumberError> {
    let text = text.trim_start();
    let mut end = 0;
    let mut digits = 0;
    let mut marks = 0;
    let mut mark_at = None;
    for (at, c) in text.char_indices() {
        let taken = match c {
            '+' | '-' | '−' => at == 0,
            '0'..='9' => {
                digits += 1;
                true
            }
            '.' | ',' => {
                marks += 1;
                mark_at = Some((at, c));
                true
            }
            _ => false,
        };
        if !taken {
            break;
        }
        end = at + c.len_utf8();
    }
    if digits == 0 || marks > 1 {
        return Err(if digits == 0 { NumberError::Missing } else { NumberError::Ambiguous });
    }
    if let Some((at, ',')) = mark_at {
        let before = text[..at].trim_start_matches(['+', '-', '−']);
        let after = &text[at + 1..end];
        // "0,200" can only be a decimal comma
        if after.len() == 3 && !before.is_empty() && before.len() <= 3 && before != "0" {
            return Err(NumberError::Ambiguous);
        }
    }
    if let Some(more) = exponent(&text[end..]) {
        end += more;
    }
    let written: String = text[..end].replace(',', ".").replace('−', "-");
    let value: f64 = written.parse().map_err(|_| NumberError::Missing)?;
    Ok((value, &text[end..]))
}

/// The length of "e3", "E-05" at the front of a text; none for "eV" or "e".
fn exponent(text: &str) -> Option<usize> {
    let rest = text.strip_prefix(['e', 'E'])?;
    let unsigned = rest.strip_prefix(['+', '-']).unwrap_or(rest);
    let digits = unsigned.bytes().take_while(u8::is_ascii_digit).count();
    (digits > 0).then(|| text.len() - unsigned.len() + digits)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_with_what_follows() {
        for (text, value, rest) in [
            ("1.8 m", 1.8, " m"),
            ("1,8m", 1.8, "m"),
            ("−3 °C", -3.0, " °C"),
            (".5", 0.5, ""),
            ("1e3 W", 1000.0, " W"),
            ("1.5E-02", 0.015, ""),
            ("0,200 A", 0.2, " A"),
            ("12,5", 12.5, ""),
            ("3e", 3.0, "e"),
        ] {
            assert_eq!(split(text), Ok((value, rest)), "{text}");
        }
    }

    #[test]
    fn what_is_none() {
        for (text, error) in [
            ("", NumberError::Missing),
            ("W 3", NumberError::Missing),
            ("-", NumberError::Missing),
            ("1,200 W", NumberError::Ambiguous),
            ("1.2.3", NumberError::Ambiguous),
        ] {
            assert_eq!(split(text), Err(error), "{text}");
        }
    }
}
