//! Reads a quantity such as `3.5 dB` or `250 ft` for a column of a given unit.
//!
//! Only text in, number in base units out; printing is in `print.rs`.

use super::unit::{Unit, Units};
use crate::problem::Problem;
use std::borrow::Cow;

/// Reads a quantity; a number without a unit is in the unit of the column.
///
/// The result is in base units and finite.
///
/// # Errors
/// No number, an unknown unit, or a unit of another measure than the column's.
pub fn read(text: &str, column: &Unit) -> Result<f64, Problem> {
    let text = normal(text);
    let (number, rest) = split_quantity(&text)
        .filter(|(_, rest)| !rest.starts_with([',', '.']))
        .ok_or_else(|| not_a_quantity(&text, column))?;
    let units = Units::builtin();
    let unit = match rest {
        "" => Cow::Borrowed(column),
        word => match units.loose(word, column.measure) {
            Some(unit) => Cow::Borrowed(unit),
            None => Cow::Owned(
                units
                    .unit(word)
                    .map_err(|problem| with_example(problem, column))?,
            ),
        },
    };
    if unit.measure != column.measure {
        return Err(other_measure(&text, &unit, column));
    }
    let base = unit.to_base(number);
    if base.is_finite() {
        Ok(base)
    } else {
        Err(Problem::new(
            "number-too-large",
            format!("`{text}` is too large a number"),
        ))
    }
}

/// Splits text into a leading number and what follows it, trimmed; `None` without a number.
pub fn split_quantity(text: &str) -> Option<(f64, &str)> {
    let text = text.trim();
    let end = number_end(text)?;
    let number = text[..end].parse::<f64>().ok()?;
    Some((number, text[end..].trim()))
}

/// The end of the longest number at the start of a text.
fn number_end(text: &str) -> Option<usize> {
    let bytes = text.as_bytes();
    let digits = |mut at: usize| {
        while bytes.get(at).is_some_and(u8::is_ascii_digit) {
            at += 1;
        }
        at
    };
    let sign = usize::from(matches!(bytes.first(), Some(b'-' | b'+')));
    let whole = digits(sign);
    let end = match bytes.get(whole) {
        Some(b'.') => digits(whole + 1),
        _ => whole,
    };
    let n_digits = end - sign - usize::from(bytes.get(whole) == Some(&b'.'));
    if n_digits == 0 {
        return None;
    }
    Some(exponent_end(bytes, end, digits))
}

/// The end including an exponent, if a whole one follows.
fn exponent_end(bytes: &[u8], end: usize, digits: impl Fn(usize) -> usize) -> usize {
    if !matches!(bytes.get(end), Some(b'e' | b'E')) {
        return end;
    }
    let start = end + 1 + usize::from(matches!(bytes.get(end + 1), Some(b'-' | b'+')));
    let stop = digits(start);
    if stop > start { stop } else { end }
}

/// The true minus sign and hard spaces as their plain forms.
fn normal(text: &str) -> Cow<'_, str> {
    let text = text.trim();
    if text.is_ascii() {
        return Cow::Borrowed(text);
    }
    let plain = text.replace('\u{2212}', "-");
    Cow::Owned(plain.replace(['\u{a0}', '\u{202f}', '\u{2009}'], " "))
}

fn not_a_quantity(text: &str, column: &Unit) -> Problem {
    let problem = Problem::new("not-a-quantity", format!("`{text}` is not a number"));
    let comma = text.replacen(',', ".", 1);
    if text.contains(',') && split_quantity(&comma).is_some() {
        return problem.help(format!("write the decimal point as a point: `{comma}`"));
    }
    with_example(problem, column)
}

fn with_example(problem: Problem, column: &Unit) -> Problem {
    if problem.help.is_empty() && !column.symbol.is_empty() {
        return problem.help(format!(
            "write a number with its unit, for example `10 {}`",
            column.symbol
        ));
    }
    problem
}

fn other_measure(text: &str, unit: &Unit, column: &Unit) -> Problem {
    let wanted = if column.symbol.is_empty() {
        "a plain number"
    } else {
        &column.symbol
    };
    Problem::new(
        "unit-differs",
        format!("`{text}` is in {}, this column is in {wanted}", unit.symbol),
    )
    .help(format!(
        "write it in {wanted} or in another unit of the same kind"
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn column(unit: &str) -> Unit {
        Units::builtin().unit(unit).unwrap()
    }

    #[test]
    fn quantities_are_read_in_any_unit_of_the_same_kind() {
        let cases = [
            ("250 ft", "m", 76.2),
            ("0.3km", "m", 300.0),
            ("10G", "Gb/s", 1e10),
            ("10GE", "Gb/s", 1e10),
            ("100M", "Gb/s", 1e8),
            ("2.5 Gbit/s", "Gb/s", 2.5e9),
            ("10Gbps", "Gb/s", 1e10),
            ("\u{2212}3.5 dBm", "dBm", -3.5),
            ("5 %", "", 0.05),
            ("1e3", "m", 1000.0),
            ("12", "ns", 12e-9),
        ];
        for (text, unit, base) in cases {
            assert_eq!(read(text, &column(unit)), Ok(base), "{text}");
        }
    }

    #[test]
    fn wrong_quantities_say_what_to_write() {
        let cases = [
            ("about 30", "m", "not-a-quantity"),
            ("1,5", "m", "not-a-quantity"),
            ("3 dB", "dBm", "unit-differs"),
            ("3 parsec", "m", "unit-unknown"),
            ("1e999", "m", "number-too-large"),
            ("", "m", "not-a-quantity"),
            ("-", "m", "not-a-quantity"),
        ];
        for (text, unit, code) in cases {
            let problem = read(text, &column(unit)).unwrap_err();
            assert_eq!(problem.code, code, "{text}");
        }
    }

    #[test]
    fn an_exponent_needs_digits() {
        for (text, split) in [
            ("5e", Some((5.0, "e"))),
            ("2e- m", Some((2.0, "e- m"))),
            ("2e-3 m", Some((0.002, "m"))),
            ("+.5E1x", Some((5.0, "x"))),
            ("4.", Some((4.0, ""))),
            ("-.", None),
            (".e1", None),
        ] {
            assert_eq!(split_quantity(text), split, "{text}");
        }
    }

    #[test]
    fn a_comma_is_called_a_point_only_where_a_number_would_come_of_it() {
        for (text, help) in [
            ("1,5", "write the decimal point as a point: `1.5`"),
            ("1.2.3", "write a number with its unit, for example `10 m`"),
            ("a,b", "write a number with its unit, for example `10 m`"),
        ] {
            let problem = read(text, &column("m")).unwrap_err();
            assert_eq!(problem.help, [help], "{text}");
        }
    }
}
