//! How much room words take, without a font at hand.

/// Width of a text (px), on the generous side for the usual sans-serif faces.
pub(super) fn width(text: &str, size_px: f64) -> f64 {
    let ems: f64 = text
        .chars()
        .map(|letter| match letter {
            ' ' | '.' | ',' | ':' | ';' | '\'' | '|' | '!' | 'i' | 'j' | 'l' | 'I' => 0.32,
            'f' | 't' | 'r' | '(' | ')' | '-' | '/' => 0.40,
            'm' | 'w' | 'M' | 'W' | '%' | '@' | '–' => 0.90,
            letter if letter.is_uppercase() => 0.70,
            letter if letter.is_ascii() => 0.59,
            letter if letter.is_alphabetic() => 0.65,
            _ => 0.80,
        })
        .sum();
    ems * size_px
}

/// Lines none of which is wider than `most_px`, as far as the spaces allow.
pub(super) fn wrapped(text: &str, size_px: f64, most_px: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if width(&format!("{line} {word}"), size_px) <= most_px => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_break_at_spaces_only() {
        let lines = wrapped("23:40 the camera sees less than 11.4 V", 10.0, 120.0);
        assert!(lines.len() >= 2);
        assert_eq!(lines.join(" "), "23:40 the camera sees less than 11.4 V");
        assert!(lines.iter().all(|line| width(line, 10.0) <= 120.0));
        assert_eq!(wrapped("unbreakable", 10.0, 5.0), ["unbreakable"]);
    }
}
