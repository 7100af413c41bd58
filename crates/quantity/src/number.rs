//! Numbers as people write them: grouped by blanks, with point or comma, with any kind of minus.

use crate::NotationError;
use crate::error::Piece;

/// A number that was read, and what followed it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Number<'a> {
    pub(crate) value: f64,
    /// Digits after the decimal sign.
    pub(crate) decimals: usize,
    /// The characters of the number.
    pub(crate) piece: Piece<'a>,
    pub(crate) rest: Piece<'a>,
}

/// Length in bytes of a minus or plus sign at the start of `text`, and whether it is a minus.
pub(crate) fn sign(text: &str) -> Option<(usize, bool)> {
    let c = text.chars().next()?;
    match c {
        '+' => Some((1, false)),
        '-' | '\u{2212}' | '\u{2013}' => Some((c.len_utf8(), true)),
        _ => None,
    }
}

fn is_group_blank(c: char) -> bool {
    matches!(c, ' ' | '\u{a0}' | '\u{202f}' | '\u{2009}' | '\u{2007}' | '\'' | '\u{2019}')
}

fn leading_digits(text: &str) -> usize {
    text.bytes().take_while(u8::is_ascii_digit).count()
}

/// Digits and the separators between them. `marks[i]` stands before `runs[i + 1]`.
#[derive(Default)]
struct Scan<'a> {
    runs: Vec<&'a str>,
    marks: Vec<char>,
    length: usize,
}

/// Takes digits, and separators as long as digits follow them; a blank only before a group of exactly three.
fn scan(text: &str) -> Scan<'_> {
    let mut scan = Scan::default();
    let mut at = leading_digits(text);
    scan.runs.push(&text[..at]);
    while let Some(mark) = text[at..].chars().next() {
        let next = at + mark.len_utf8();
        let digits = leading_digits(&text[next..]);
        let decimal = matches!(mark, '.' | ',') && digits > 0;
        let point_seen = scan.marks.iter().any(|m| matches!(m, '.' | ','));
        let group = is_group_blank(mark) && digits == 3 && !point_seen && scan.runs[0].len() <= 3;
        if !(decimal || group && !scan.runs[0].is_empty()) {
            break;
        }
        scan.runs.push(&text[next..next + digits]);
        scan.marks.push(if group { ' ' } else { mark });
        at = next + digits;
    }
    scan.length = at;
    scan
}

/// How many of the runs are the whole part; the last run is decimals if that is fewer than all.
fn whole_runs(scan: &Scan<'_>, piece: Piece<'_>) -> Result<usize, NotationError> {
    let Some(&last) = scan.marks.last() else { return Ok(1) };
    let all = scan.runs.len();
    let earlier = &scan.marks[..scan.marks.len() - 1];
    let groups_fit =
        |end: usize| (1..=3).contains(&scan.runs[0].len()) && scan.runs[1..end].iter().all(|r| r.len() == 3);
    let unreadable = || {
        piece.error(
            format!("the number {} cannot be read", piece.text),
            "write it with a point for the decimals and without other marks, e.g. 2200 or 9.26",
        )
    };
    if last == ' ' {
        return Ok(all);
    }
    if earlier.is_empty() {
        let leading = scan.runs[0];
        if last == ',' && scan.runs[1].len() == 3 && groups_fit(2) && !leading.starts_with('0') {
            let (whole, part) = (leading, scan.runs[1]);
            return Err(piece.error(
                format!("{whole},{part} may be {whole}.{part} or {whole}{part}"),
                format!("write {whole}.{part} for decimals or {whole} {part} for thousands"),
            ));
        }
        return Ok(1);
    }
    if earlier.iter().all(|&m| m == last) {
        return if groups_fit(all) { Ok(all) } else { Err(unreadable()) };
    }
    let one_kind = earlier.iter().all(|&m| m == earlier[0]);
    if one_kind && groups_fit(all - 1) { Ok(all - 1) } else { Err(unreadable()) }
}

/// Reads a number with or without sign from the start of `piece`.
///
/// A point is always the decimal sign where it stands alone (`1.234 kΩ` is what a meter shows); a comma before
/// exactly three digits is refused, since it means thousands to some and decimals to others.
pub(crate) fn number<'a>(piece: Piece<'a>, example: &str) -> Result<Number<'a>, NotationError> {
    let (skip, negative) = sign(piece.text).unwrap_or((0, false));
    let (_, body) = piece.split(skip);
    let blanks = body.text.len() - body.text.trim_start().len();
    let (_, body) = body.split(blanks);
    let scan = scan(body.text);
    let (digits, rest) = body.split(scan.length);
    if scan.runs[0].is_empty() && scan.marks.is_empty() {
        return Err(piece.error("a number is expected here", format!("write e.g. {example}")));
    }
    let whole = whole_runs(&scan, digits)?;
    let decimals = if whole < scan.runs.len() { scan.runs[whole].len() } else { 0 };
    let mut plain = scan.runs[..whole].concat();
    if decimals > 0 {
        plain.push('.');
        plain.push_str(scan.runs[whole]);
    }
    // Digits around at most one point always parse; the error stays an error should that ever change.
    let magnitude: f64 = plain
        .parse()
        .map_err(|_| digits.error("this number cannot be read", format!("write e.g. {example}")))?;
    let (piece, _) = piece.split(skip + blanks + scan.length);
    Ok(Number { value: if negative { -magnitude } else { magnitude }, decimals, piece, rest })
}
