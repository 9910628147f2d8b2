//! What stands between cells, before decimals and between thousands.

use super::Row;
use crate::cells::{self, Delimiter};
use crate::lines::Line;
use crate::number::Marks;

/// The delimiter that splits the most lines into the same number of cells, the rarer in other
/// uses first.
pub(crate) fn delimiter(lines: &[Line]) -> Delimiter {
    let mut cells = Vec::new();
    let candidates = [
        Delimiter::Byte(b'\t'),
        Delimiter::Byte(b';'),
        Delimiter::Byte(b'|'),
        Delimiter::Byte(b','),
        Delimiter::Blanks(2),
        Delimiter::Blanks(1),
    ];
    for candidate in candidates {
        let mut counts: Vec<usize> = lines
            .iter()
            .map(|line| {
                cells::split(line.bytes, candidate, &mut cells);
                cells.len()
            })
            .collect();
        counts.sort_unstable();
        let split = counts.iter().filter(|count| **count > 1).count();
        let alike = counts.chunk_by(|a, b| a == b).filter(|same| same.first() > Some(&1));
        let alike = alike.map(<[usize]>::len).max().unwrap_or(0);
        // rows with remarks have more cells, metadata fewer
        if split * 5 >= lines.len() * 3 && alike * 2 >= lines.len() {
            return candidate;
        }
    }
    Delimiter::Byte(b',')
}

/// What was seen of one mark.
#[derive(Default)]
struct Seen {
    decimal: usize,
    group: usize,
    either: usize,
}

/// How the numbers of these rows are written.
pub(crate) fn numbers(rows: &[Row], delimiter: Delimiter) -> Marks {
    let (mut comma, mut point) = (Seen::default(), Seen::default());
    let (mut apostrophe, mut blank) = (0, 0);
    for cell in rows.iter().flat_map(Row::iter) {
        if cell.contains(&b':') || cell.len() > 40 {
            continue; // a time
        }
        look(cell, b',', b'.', &mut comma);
        look(cell, b'.', b',', &mut point);
        apostrophe += usize::from(grouped(cell, &|byte| byte == b'\''));
        blank += usize::from(grouped(cell, &|byte| matches!(byte, b' ' | 0xa0)));
    }
    let comma_is_decimal = if comma.group > 0 {
        false
    } else if comma.decimal > 0 {
        comma.decimal >= point.decimal
    } else if comma.either > 0 {
        // "14,355": where commas part the cells, a comma inside quotes parts thousands
        point.decimal == 0 && delimiter != Delimiter::Byte(b',')
    } else {
        point.group > 0 && point.decimal == 0
    };
    let (decimal, other) = if comma_is_decimal { (b',', &point) } else { (b'.', &comma) };
    let other_mark = if comma_is_decimal { b'.' } else { b',' };
    let thousands = if other.group + other.either > 0 {
        Some(other_mark)
    } else if apostrophe > 0 {
        Some(b'\'')
    } else {
        (blank > 0).then_some(b' ')
    };
    Marks { decimal, thousands }
}

/// Counts what a mark is in a cell such as "13,849", "12.5 V", "1.234,56".
fn look(cell: &[u8], mark: u8, other: u8, seen: &mut Seen) {
    let number = leading(cell, &|byte| byte == mark || byte == other);
    let places: Vec<usize> =
        number.iter().enumerate().filter(|(_, byte)| **byte == mark).map(|(at, _)| at).collect();
    let other_at = number.iter().rposition(|byte| *byte == other);
    match places[..] {
        [] => {}
        [at] => {
            let after = number.get(at + 1..).unwrap_or_default();
            let digits_after = after.iter().take_while(|byte| byte.is_ascii_digit()).count();
            if other_at.is_some_and(|other| other > at) {
                seen.group += usize::from(digits_after == 3);
            } else if digits_after == 3
                && (1..=3).contains(&at)
                && !number.starts_with(b"0")
                && other_at.is_none()
            {
                seen.either += 1;
            } else {
                seen.decimal += 1;
            }
        }
        _ => seen.group += usize::from(grouped(number, &|byte| byte == mark)),
    }
}

/// The digits and marks at the front, without the sign.
fn leading<'a>(cell: &'a [u8], mark: &dyn Fn(u8) -> bool) -> &'a [u8] {
    let cell = cell.strip_prefix(b"-").or(cell.strip_prefix(b"+")).unwrap_or(cell);
    let end = cell.iter().position(|byte| !byte.is_ascii_digit() && !mark(*byte));
    let number = cell.get(..end.unwrap_or(cell.len())).unwrap_or_default();
    if number.first().is_some_and(u8::is_ascii_digit) { number } else { &[] }
}

/// Whether a number is written in groups: "12 920 000".
fn grouped(cell: &[u8], mark: &dyn Fn(u8) -> bool) -> bool {
    let plain: Vec<u8> = cell.iter().copied().filter(|byte| *byte != 0xc2).collect();
    let number = leading(&plain, mark);
    let mut groups = number.split(|byte| mark(*byte));
    let first = groups.next().is_some_and(|group| (1..=3).contains(&group.len()));
    let mut count = 0;
    let rest = groups.all(|group| {
        count += 1;
        group.len() == 3
    });
    first && rest && count > 0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(text: &str) -> Vec<Line<'_>> {
        text.lines()
            .zip(1..)
            .map(|(line, number)| Line { bytes: line.as_bytes(), number, ended: true })
            .collect()
    }

    #[test]
    fn delimiters() {
        for (text, expect) in [
            ("t,V\n0,14.355\n1,14.2", Delimiter::Byte(b',')),
            ("Zeit;U\n0;14,355\n1;14,2", Delimiter::Byte(b';')),
            ("Device: x\na\tb\n1\t2\n2\t3", Delimiter::Byte(b'\t')),
            ("s U I\n0 1 2\n1 2 3", Delimiter::Blanks(1)),
            ("Pack, bench, 22 C\ntime  V\n0:00  13.9\n0:10  13.8  fan on", Delimiter::Blanks(2)),
        ] {
            assert_eq!(delimiter(&lines(text)), expect, "{text}");
        }
    }

    #[test]
    fn marks() {
        let with = |decimal, thousands| Marks { decimal, thousands };
        for (text, delimiter, expect) in [
            ("0;14,355;3,995", Delimiter::Byte(b';'), Marks::COMMA),
            ("0,14.355,4.000", Delimiter::Byte(b','), Marks::POINT),
            (r#"1,"10,000","13,849""#, Delimiter::Byte(b','), with(b'.', Some(b','))),
            (r#"1,"12,920,000","0,5""#, Delimiter::Byte(b','), with(b'.', Some(b','))),
            (r#""13,21 V","4,8 A""#, Delimiter::Byte(b','), Marks::COMMA),
            ("1.234,56;12,5", Delimiter::Byte(b';'), with(b',', Some(b'.'))),
            ("1,3919E+01;2,7315E+02", Delimiter::Byte(b';'), Marks::COMMA),
            ("24.10.2026 19:30,12.93,1.20", Delimiter::Byte(b','), Marks::POINT),
            ("13'849;4'000", Delimiter::Byte(b';'), with(b'.', Some(b'\''))),
            ("13 849;4 000", Delimiter::Byte(b';'), with(b'.', Some(b' '))),
        ] {
            let rows: Vec<Row> =
                lines(text).into_iter().map(|line| Row::new(line, delimiter)).collect();
            assert_eq!(numbers(&rows, delimiter), expect, "{text}");
        }
    }
}
