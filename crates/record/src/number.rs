//! Numbers as instruments and people write them in cells.

/// How numbers are written in a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Marks {
    /// Before the decimals.
    pub(crate) decimal: u8,
    /// Between groups of three digits; a blank stands for every kind of blank.
    pub(crate) thousands: Option<u8>,
}

#[cfg(test)]
impl Marks {
    pub(crate) const POINT: Marks = Marks { decimal: b'.', thousands: None };
    pub(crate) const COMMA: Marks = Marks { decimal: b',', thousands: None };
}

/// A number at the front of a cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Number {
    pub(crate) value: f64,
    /// Power of ten of its last digit: -3 for "14.355", -3 for "1,4355E+01".
    pub(crate) last_digit: i32,
    /// Whether it is written with a power of ten.
    pub(crate) with_power: bool,
    /// Where the rest of the cell begins.
    pub(crate) end: usize,
}

/// Exactly representable, so that one division rounds once.
const POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
];

/// The same below one.
const PARTS: [f64; 16] = [
    1e0, 1e-1, 1e-2, 1e-3, 1e-4, 1e-5, 1e-6, 1e-7, 1e-8, 1e-9, 1e-10, 1e-11, 1e-12, 1e-13, 1e-14,
    1e-15,
];

/// What a step in the digit of this power of ten is worth.
#[inline]
pub(crate) fn step(last_digit: i32) -> f64 {
    match PARTS.get(last_digit.wrapping_neg() as usize) {
        Some(part) => *part,
        None => 10_f64.powi(last_digit.clamp(-300, 300)),
    }
}

/// Reads the number at the front of a cell; none if there is none.
#[inline]
pub(crate) fn read(cell: &[u8], marks: Marks) -> Option<Number> {
    let (negative, unsigned) = match cell {
        [b'-', rest @ ..] | [0xe2, 0x88, 0x92, rest @ ..] => (true, rest), // typographic minus
        [b'+', rest @ ..] => (false, rest),
        _ => (false, cell),
    };
    let mut mantissa = 0;
    let mut rest = take_digits(unsigned, &mut mantissa);
    let mut digits = unsigned.len() - rest.len();
    while let Some(width) = group_mark(rest, marks).filter(|_| digits > 0) {
        rest = take_digits(rest.get(width..).unwrap_or_default(), &mut mantissa);
        digits += 3;
    }
    let mut decimals = 0;
    if let [mark, after @ ..] = rest
        && *mark == marks.decimal
    {
        rest = take_digits(after, &mut mantissa);
        decimals = after.len() - rest.len();
        digits += decimals;
    }
    if digits == 0 {
        return None;
    }
    let (power, width) = match rest {
        [b'e' | b'E', ..] => power(rest),
        _ => (0, 0),
    };
    let last_digit = power - i32::try_from(decimals).unwrap_or(i32::MAX / 2);
    let value = match POWERS.get(last_digit.unsigned_abs() as usize) {
        // both are exact, so the division rounds once
        Some(scale) if digits <= 18 && mantissa < 1 << 53 => {
            if last_digit < 0 {
                mantissa as f64 / scale
            } else {
                mantissa as f64 * scale
            }
        }
        _ => {
            let written = unsigned.len() - rest.len();
            slowly(unsigned.get(..written).unwrap_or_default(), marks.decimal, power)?
        }
    };
    Some(Number {
        value: if negative { -value } else { value },
        last_digit,
        with_power: width > 0,
        end: cell.len() - rest.len() + width,
    })
}

/// Reads a cell that holds nothing but digits and perhaps a sign and a decimal mark, from its
/// first byte to the mark behind it or the end of the line; none for any other cell.
///
/// Agrees with [`read`] where it gives a number, at a third of the work.
#[inline]
pub(crate) fn read_plain(line: &[u8], decimal: u8, behind: u8) -> Option<Number> {
    let negative = line.first() == Some(&b'-');
    let from = usize::from(negative);
    let mut mantissa = 0;
    let mut at = from;
    let mut add_digits = |mut at: usize| {
        while let Some(digit) = line.get(at).map(|byte| byte.wrapping_sub(b'0'))
            && digit < 10
        {
            mantissa = 10_i64.wrapping_mul(mantissa).wrapping_add(i64::from(digit));
            at += 1;
        }
        at
    };
    at = add_digits(at);
    let mut digits = at - from;
    let mut decimals = 0;
    if line.get(at) == Some(&decimal) {
        let decimals_from = at + 1;
        at = add_digits(decimals_from);
        decimals = at - decimals_from;
        digits += decimals;
    }
    let ends = line.get(at).is_none_or(|byte| *byte == behind);
    if !ends || digits == 0 || digits > 15 {
        return None;
    }
    let value = mantissa as f64 / POWERS.get(decimals)?;
    Some(Number {
        value: if negative { -value } else { value },
        last_digit: -(decimals as i32),
        with_power: false,
        end: at,
    })
}

/// Adds the digits in front to a mantissa; beyond eighteen it overflows and isn't used.
#[inline]
fn take_digits<'a>(mut text: &'a [u8], mantissa: &mut u64) -> &'a [u8] {
    while let [digit @ b'0'..=b'9', rest @ ..] = text {
        *mantissa = mantissa.wrapping_mul(10).wrapping_add(u64::from(digit - b'0'));
        text = rest;
    }
    text
}

/// The width of a thousands mark that stands before exactly three digits.
#[inline]
fn group_mark(rest: &[u8], marks: Marks) -> Option<usize> {
    let thousands = marks.thousands?;
    let width = match (thousands, rest) {
        (b' ', [b' ' | 0xa0, ..]) => 1,
        (b' ', [0xc2, 0xa0, ..]) => 2,
        (b' ', [0xe2, 0x80, 0xaf | 0x89, ..]) => 3,
        (mark, [first, ..]) if mark == *first => 1,
        _ => return None,
    };
    let group = rest.get(width..width + 3)?;
    let whole = group.iter().all(u8::is_ascii_digit)
        && !rest.get(width + 3).is_some_and(u8::is_ascii_digit);
    whole.then_some(width)
}

/// "E+01" and how wide it is; 0 and 0 where there is none.
fn power(rest: &[u8]) -> (i32, usize) {
    let [b'e' | b'E', after @ ..] = rest else { return (0, 0) };
    let (sign, digits) = match after {
        [b'-', digits @ ..] => (-1, digits),
        [b'+', digits @ ..] => (1, digits),
        digits => (1, digits),
    };
    let count = digits.iter().take_while(|byte| byte.is_ascii_digit()).count();
    if count == 0 {
        return (0, 0);
    }
    let value = digits.iter().take(count).fold(0_i32, |sum, digit| {
        sum.saturating_mul(10).saturating_add(i32::from(digit - b'0')).min(9999)
    });
    (sign * value, rest.len() - digits.len() + count)
}

/// More digits than fit exactly.
fn slowly(digits: &[u8], decimal: u8, power: i32) -> Option<f64> {
    let plain: String = digits
        .iter()
        .filter_map(|&byte| match byte {
            b'0'..=b'9' => Some(char::from(byte)),
            _ if byte == decimal => Some('.'),
            _ => None,
        })
        .collect();
    format!("{plain}e{power}").parse().ok().filter(|value: &f64| value.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers() {
        let thousands = |decimal, mark| Marks { decimal, thousands: Some(mark) };
        for (cell, marks, value, last_digit, rest) in [
            ("14.355", Marks::POINT, 14.355, -3, ""),
            ("-0.000", Marks::POINT, 0.0, -3, ""),
            ("−3,5 °C", Marks::COMMA, -3.5, -1, " °C"),
            ("12.77 V", Marks::POINT, 12.77, -2, " V"),
            ("1,2738E+01", Marks::COMMA, 12.738, -3, ""),
            ("1.3889E-03", Marks::POINT, 0.001_388_9, -7, ""),
            ("12,920,000", thousands(b'.', b','), 12_920_000.0, 0, ""),
            ("1.234,56", thousands(b',', b'.'), 1234.56, -2, ""),
            ("12\u{a0}920", thousands(b'.', b' '), 12_920.0, 0, ""),
            ("13 920 mV", thousands(b'.', b' '), 13_920.0, 0, " mV"),
            ("1,2345", thousands(b'.', b','), 1.0, 0, ",2345"),
            (".5", Marks::POINT, 0.5, -1, ""),
            ("5.", Marks::POINT, 5.0, 0, ""),
            ("+7e3x", Marks::POINT, 7000.0, 3, "x"),
            ("3e", Marks::POINT, 3.0, 0, "e"),
            ("1773512400000", Marks::POINT, 1_773_512_400_000.0, 0, ""),
            ("2.10996257174233", Marks::POINT, 2.109_962_571_742_33, -14, ""),
            ("46144.39583333334123", Marks::POINT, 46_144.395_833_333_34, -14, ""),
        ] {
            let number = read(cell.as_bytes(), marks).unwrap();
            assert_eq!(number.value, value, "{cell}");
            assert_eq!(number.last_digit, last_digit, "{cell}");
            assert_eq!(&cell.as_bytes()[number.end..], rest.as_bytes(), "{cell}");
        }
    }

    #[test]
    fn no_numbers() {
        for cell in ["", "-", "V 3", "NaN", "later", ".", "e5", "1e999"] {
            assert_eq!(read(cell.as_bytes(), Marks::POINT), None, "{cell}");
        }
    }

    proptest::proptest! {
        #[test]
        fn same_as_the_standard_library(value in -1e9..1e9_f64, decimals in 0_usize..12) {
            let cell = format!("{value:.decimals$}");
            let number = read(cell.as_bytes(), Marks::POINT).unwrap();
            proptest::prop_assert_eq!(number.value, cell.parse::<f64>().unwrap());
            proptest::prop_assert_eq!(number.end, cell.len());
        }

        #[test]
        fn plain_as_any(line in "-?[0-9]{0,17}[.,]?[0-9]{0,4}[,;x]?[0-9.]{0,3}") {
            let line = line.as_bytes();
            if let Some(plain) = read_plain(line, b'.', b',') {
                proptest::prop_assert_eq!(Some(plain), read(line, Marks::POINT));
                proptest::prop_assert!(line.get(plain.end).is_none_or(|byte| *byte == b','));
            }
        }

        #[test]
        fn any_bytes(cell in proptest::collection::vec(proptest::num::u8::ANY, 0..40)) {
            for marks in [Marks::POINT, Marks { decimal: b',', thousands: Some(b' ') }] {
                if let Some(number) = read(&cell, marks) {
                    proptest::prop_assert!(number.value.is_finite() && number.end <= cell.len());
                }
            }
        }
    }
}
