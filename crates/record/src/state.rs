//! Words for what an instrument was doing.

/// Which way charge was flowing by the word for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Flow {
    Out,
    In,
    Rest,
    Unknown,
}

/// The flow a word names: "discharging", "DCH", "CC charge", "Entladen", "rest".
pub(crate) fn flow(cell: &[u8]) -> Flow {
    let mut lower = [0; 24];
    let length = cell.len().min(lower.len());
    for (small, byte) in lower.iter_mut().zip(cell) {
        *small = byte.to_ascii_lowercase();
    }
    let word = lower.get(..length).unwrap_or_default();
    let any = |stems: &[&[u8]]| {
        stems.iter().any(|stem| word.windows(stem.len()).any(|piece| piece == *stem))
    };
    // "charge" is in "discharge", so that comes first
    if any(&[b"dis", b"dch", b"entlad", b"d\xc3\xa9ch", b"descarg"]) {
        Flow::Out
    } else if any(&[b"chg", b"charg", b"lade", b"carga", b"bulk", b"absorpt", b"float"])
        || matches!(word, b"ch" | b"cha")
    {
        Flow::In
    } else if any(&[b"rst", b"rest", b"idle", b"pause", b"stop", b"off", b"ocv", b"wait", b"ruhe"])
    {
        Flow::Rest
    } else {
        Flow::Unknown
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn flows() {
        for (word, expect) in [
            ("discharging", Flow::Out),
            ("DCH", Flow::Out),
            ("CC DChg", Flow::Out),
            ("Entladen", Flow::Out),
            ("CC-CV charge", Flow::In),
            ("CHG", Flow::In),
            ("Laden", Flow::In),
            ("RST", Flow::Rest),
            ("idle", Flow::Rest),
            ("CC", Flow::Unknown),
            ("CV", Flow::Unknown),
            ("7", Flow::Unknown),
            ("", Flow::Unknown),
        ] {
            assert_eq!(flow(word.as_bytes()), expect, "{word}");
        }
    }
}
