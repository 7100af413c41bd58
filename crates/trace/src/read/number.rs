//! Numbers as meters write them, fast.

/// Powers of ten that an `f64` holds exactly.
const POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18,
    1e19, 1e20, 1e21, 1e22,
];

/// Digits up to here keep the mantissa below 2^53, so that one division rounds once and right (Clinger 1990).
const EXACT_DIGITS: usize = 15;

/// Reads a plain decimal (`-12.5`) at the start of `text`: its value and its length. None where there is none, or
/// where it has an exponent or too many digits for the exact short way.
#[inline]
pub(super) fn scan(text: &[u8], point: u8) -> Option<(f64, usize)> {
    let mut at = usize::from(matches!(text.first(), Some(b'-' | b'+')));
    let first = at;
    let mut mantissa = 0u64;
    while let Some(digit) = text.get(at).map(|b| b.wrapping_sub(b'0')).filter(|d| *d < 10) {
        mantissa = mantissa.wrapping_mul(10).wrapping_add(u64::from(digit));
        at += 1;
    }
    let mut digits = at - first;
    let mut decimals = 0;
    if text.get(at) == Some(&point) {
        let start = at + 1;
        at = start;
        while let Some(digit) = text.get(at).map(|b| b.wrapping_sub(b'0')).filter(|d| *d < 10) {
            mantissa = mantissa.wrapping_mul(10).wrapping_add(u64::from(digit));
            at += 1;
        }
        decimals = at - start;
        digits += decimals;
    }
    if digits == 0 || digits > EXACT_DIGITS || matches!(text.get(at), Some(b'e' | b'E')) {
        return None;
    }
    let value = if decimals == 0 { mantissa as f64 } else { mantissa as f64 / POWERS[decimals] };
    Some((if text[0] == b'-' { -value } else { value }, at))
}

/// Reads a whole cell as a finite number. Thousands separators (the other mark, blanks, apostrophes) are allowed.
pub(super) fn whole(text: &[u8], point: u8) -> Option<f64> {
    match scan(text, point) {
        Some((value, used)) if used == text.len() => Some(value),
        _ => slow(text, point),
    }
}

fn slow(text: &[u8], point: u8) -> Option<f64> {
    if text.len() > 40 || !text.iter().any(u8::is_ascii_digit) {
        return None;
    }
    let grouping = if point == b',' { b'.' } else { b',' };
    let mut plain = String::with_capacity(text.len());
    for &byte in text {
        match byte {
            b if b == point => plain.push('.'),
            b if b == grouping || b == b' ' || b == b'\'' => {
                if !grouped_right(text, byte) {
                    return None;
                }
            }
            b'0'..=b'9' | b'+' | b'-' | b'e' | b'E' => plain.push(byte as char),
            _ => return None,
        }
    }
    plain.parse().ok().filter(|v: &f64| v.is_finite())
}

/// Whether every group after a thousands mark has three digits.
fn grouped_right(text: &[u8], mark: u8) -> bool {
    text.split(|&b| b == mark)
        .skip(1)
        .all(|group| group.iter().take_while(|b| b.is_ascii_digit()).count() == 3)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spellings() {
        for (text, point, expected) in [
            ("151", b'.', Some(151.0)),
            ("-0.5", b'.', Some(-0.5)),
            ("+3,25", b',', Some(3.25)),
            (".5", b'.', Some(0.5)),
            ("7.", b'.', Some(7.0)),
            ("1.5e3", b'.', Some(1500.0)),
            ("1,234.5", b'.', Some(1234.5)),
            ("1.234,5", b',', Some(1234.5)),
            ("1 234", b'.', Some(1234.0)),
            ("12345678901234567890", b'.', Some(12_345_678_901_234_567_890.0)),
            ("1e999", b'.', None),
            ("12,5", b'.', None),
            ("", b'.', None),
            ("-", b'.', None),
            ("1.2.3", b'.', None),
            ("abc", b'.', None),
        ] {
            assert_eq!(whole(text.as_bytes(), point), expected, "{text}");
        }
    }
}
