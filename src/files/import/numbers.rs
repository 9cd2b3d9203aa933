//! Numbers as people write them: decimal comma or point, thousands in groups, other digits, feet
//! and inches, short forms of speeds.
//!
//! Which sign is the decimal one is decided for a whole column, never for a cell. The result is
//! text that the units of a column read; what a number means is not known here.

use std::borrow::Cow;

/// The sign before the decimals.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Decimal {
    /// `1.5`.
    Point,
    /// `1,5`.
    Comma,
}

/// What the cells of a column show of their decimal sign, in numbers of cells.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Signs {
    /// Cells that only make sense with a comma.
    pub(super) comma: usize,
    /// Cells that only make sense with a point.
    pub(super) point: usize,
    /// Cells such as `1,234`, which may be either.
    pub(super) unclear: usize,
}

impl Signs {
    /// Looks at a cell.
    pub(super) fn see(&mut self, text: &str) {
        match sign_of(&usual(text)) {
            Some(Sign::Comma) => self.comma += 1,
            Some(Sign::Point) => self.point += 1,
            Some(Sign::Unclear) => self.unclear += 1,
            None => {}
        }
    }

    /// The sign that most cells have; none where no cell says.
    pub(super) fn most(self) -> Option<Decimal> {
        match self.comma.cmp(&self.point) {
            std::cmp::Ordering::Greater => Some(Decimal::Comma),
            std::cmp::Ordering::Less => Some(Decimal::Point),
            std::cmp::Ordering::Equal => None,
        }
    }

    /// The same with the cells of another column.
    pub(super) fn and(self, other: Self) -> Self {
        Self {
            comma: self.comma + other.comma,
            point: self.point + other.point,
            unclear: self.unclear + other.unclear,
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Sign {
    Comma,
    Point,
    Unclear,
}

/// Whether a cell may be a decimal or a thousand.
pub fn is_unclear(text: &str) -> bool {
    sign_of(&usual(text)) == Some(Sign::Unclear)
}

/// What the number at the start of a text shows.
fn sign_of(text: &str) -> Option<Sign> {
    let number = &text[..number_end(text)];
    let digits_after = |sign: char| {
        let rest = number.rsplit(sign).next()?;
        Some(rest.bytes().take_while(u8::is_ascii_digit).count())
    };
    let (commas, points) = (number.matches(',').count(), number.matches('.').count());
    match (commas, points) {
        (0, 0) => None,
        (0, 1) => Some(Sign::Point),
        (0, _) | (1.., 1..) if number.rfind(',') > number.rfind('.') || commas == 0 => {
            Some(Sign::Comma)
        }
        (1, 0) => {
            let before = number.split(',').next().unwrap_or_default();
            let before = before.trim_start_matches(['-', '+']);
            let is_group = digits_after(',') == Some(3)
                && (1..=3).contains(&before.len())
                && !before.starts_with('0');
            Some(if is_group { Sign::Unclear } else { Sign::Comma })
        }
        (_, _) => Some(Sign::Point),
    }
}

/// The end of a number with its groups and decimals.
fn number_end(text: &str) -> usize {
    let bytes = text.as_bytes();
    let mut at = usize::from(matches!(bytes.first(), Some(b'-' | b'+')));
    while let Some(byte) = bytes.get(at) {
        let takes = match byte {
            b'0'..=b'9' => true,
            b',' | b'.' => bytes.get(at + 1).is_some_and(u8::is_ascii_digit),
            // Between groups of three alone.
            b' ' | b'\'' => at > 0 && bytes[at - 1].is_ascii_digit() && is_group(&bytes[at + 1..]),
            _ => false,
        };
        if !takes {
            break;
        }
        at += 1;
    }
    at
}

/// Whether three digits and no fourth stand here.
fn is_group(bytes: &[u8]) -> bool {
    let n = bytes
        .iter()
        .take_while(|byte| byte.is_ascii_digit())
        .count();
    n == 3
}

/// A text with usual digits, signs and spaces.
pub fn usual(text: &str) -> Cow<'_, str> {
    if text.is_ascii() {
        return Cow::Borrowed(text);
    }
    let usual = text.chars().map(|c| match c {
        '\u{2212}' | '\u{2013}' | '\u{fe63}' | '\u{ff0d}' => '-',
        '\u{a0}' | '\u{202f}' | '\u{2009}' | '\u{2007}' | '\u{3000}' => ' ',
        '\u{2019}' => '\'',
        '\u{66b}' | '\u{ff0c}' => ',',
        '\u{ff0e}' => '.',
        '\u{660}'..='\u{669}' => digit(c, 0x660),
        '\u{6f0}'..='\u{6f9}' => digit(c, 0x6f0),
        '\u{ff10}'..='\u{ff19}' => digit(c, 0xff10),
        c => c,
    });
    Cow::Owned(usual.collect::<String>().trim().to_owned())
}

fn digit(c: char, zero: u32) -> char {
    char::from_digit(u32::from(c) - zero, 10).unwrap_or(c)
}

/// The number at the start of a text without groups and with a decimal point, and the rest.
pub fn plain(text: &str, decimal: Decimal) -> Cow<'_, str> {
    let text = usual(text);
    let is_plain =
        !text.contains([',', '\'', ' ']) && (decimal == Decimal::Point || !text.contains('.'));
    if is_plain {
        return text;
    }
    let end = number_end(&text);
    let number = text[..end].chars().filter_map(|c| match (c, decimal) {
        (',', Decimal::Comma) => Some('.'),
        (',' | '\'' | ' ', _) | ('.', Decimal::Comma) => None,
        (c, _) => Some(c),
    });
    let mut out: String = number.collect();
    // A space after the sign of a number is no part of it: `- 17`.
    let rest = &text[end..];
    if matches!(out.as_str(), "-" | "+") {
        let rest = plain(rest.trim_start(), decimal).into_owned();
        out.push_str(&rest);
        return Cow::Owned(out);
    }
    out.push_str(rest);
    Cow::Owned(out)
}

/// Feet and inches by their marks, as feet: `12'`, `12' 6"`, `12ft 6in`, `12 ft.`.
pub(super) fn feet(text: &str) -> Option<String> {
    let is_marked = |c: char| matches!(c, '\'' | 'f' | 'F' | '\u{2032}');
    if !text.contains(is_marked) {
        return None;
    }
    let lower = text.trim().trim_end_matches('.').to_lowercase();
    let lower = lower
        .replace("feet", "'")
        .replace("ft", "'")
        .replace('\u{2032}', "'");
    let lower = lower
        .replace("inches", "\"")
        .replace("in", "\"")
        .replace(['\u{2033}', '\u{201d}'], "\"");
    let (feet, inches) = lower.split_once('\'')?;
    let feet: f64 = feet.trim().parse().ok()?;
    let inches = inches.trim().trim_end_matches(['"', '.']).trim();
    let inches: f64 = match inches {
        "" => 0.0,
        text => text
            .parse()
            .ok()
            .filter(|inches| (0.0..12.0).contains(inches))?,
    };
    Some(format!("{} ft", feet + inches / 12.0))
}

/// A speed as people write it, in a form that units read, and how many lanes or cables it names.
///
/// A bare number is in Gb/s or in Mb/s as the usual speeds of Ethernet go; where both are usual,
/// `is_mega` decides.
pub(super) fn speed(text: &str, is_mega: bool) -> Option<(String, Option<u32>)> {
    let lower = text.trim().to_lowercase().replace('\u{d7}', "x");
    let compact: String = lower.chars().filter(|c| !c.is_whitespace()).collect();
    // `4x10G`, also behind the speed of the whole: `40G-4x10`.
    let lanes = compact.rsplit('-').next().unwrap_or(&compact);
    if let Some((n, each)) = lanes.split_once('x')
        && let Ok(n) = n.parse::<u32>()
        && (2..=64).contains(&n)
    {
        let each = speed(each, false)?.0;
        return Some((each, Some(n)));
    }
    let word = match compact.as_str() {
        "fe" | "fast" | "fastethernet" => Some("100 Mb/s"),
        "ge" | "gbe" | "gige" | "gig" | "gigabit" | "gigabitethernet" => Some("1 Gb/s"),
        _ => None,
    };
    if let Some(word) = word {
        return Some((word.to_owned(), None));
    }
    let n_digits = compact
        .bytes()
        .take_while(|byte| byte.is_ascii_digit() || *byte == b'.')
        .count();
    let (number, rest) = compact.split_at(n_digits);
    let value: f64 = number.parse().ok()?;
    let unit = match rest.split_once("base").map_or(rest, |(before, _)| before) {
        "" if rest.is_empty() => bare(value, is_mega),
        // `10000baseT` counts in Mb/s.
        "" => "Mb/s",
        "g" | "ge" | "gbe" | "gig" | "gige" | "gigabit" => "Gb/s",
        "m" | "meg" | "fe" | "megabit" => "Mb/s",
        _ => return None,
    };
    Some((format!("{number} {unit}"), None))
}

fn bare(value: f64, is_mega: bool) -> &'static str {
    match value {
        value if value >= 1000.0 => "Mb/s",
        value if is_mega && (value == 10.0 || value == 100.0) => "Mb/s",
        _ => "Gb/s",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_of_many_countries_are_made_plain() {
        use Decimal::{Comma, Point};
        for (text, decimal, expected) in [
            ("1.5", Point, "1.5"),
            ("1,5", Comma, "1.5"),
            ("1 234,5", Comma, "1234.5"),
            ("1\u{a0}234,5 m", Comma, "1234.5 m"),
            ("1\u{202f}234", Comma, "1234"),
            ("1'234.5", Point, "1234.5"),
            ("1.234,5", Comma, "1234.5"),
            ("1,234.5", Point, "1234.5"),
            ("1,234,567", Point, "1234567"),
            ("\u{2212}3,5 dBm", Comma, "-3.5 dBm"),
            ("\u{2013} 17", Point, "-17"),
            ("\u{ff11}\u{ff12}", Point, "12"),
            ("\u{661}\u{662}\u{66b}\u{665}", Comma, "12.5"),
            ("12 m", Point, "12 m"),
            ("12 300", Point, "12300"),
            ("field route, 3", Point, "field route, 3"),
            ("", Point, ""),
        ] {
            assert_eq!(plain(text, decimal), expected, "{text}");
        }
    }

    #[test]
    fn a_column_says_which_sign_it_has() {
        let signs = |texts: &[&str]| {
            let mut signs = Signs::default();
            texts.iter().for_each(|text| signs.see(text));
            signs
        };
        assert_eq!(signs(&["1,5", "2", "1.5"]).most(), None);
        assert_eq!(
            signs(&["1,5", "0,123", "1.234"]).most(),
            Some(Decimal::Comma)
        );
        assert_eq!(
            signs(&["1,234"]),
            Signs {
                unclear: 1,
                ..Signs::default()
            }
        );
        assert_eq!(
            signs(&["1,234,567", "1,234.5"]).most(),
            Some(Decimal::Point)
        );
        assert_eq!(
            signs(&["1.234.567", "1.234,5"]).most(),
            Some(Decimal::Comma)
        );
        assert_eq!(signs(&["abc", "12 m"]), Signs::default());
    }

    #[test]
    fn feet_have_marks() {
        for (text, expected) in [
            ("12'", Some("12 ft")),
            ("12' 6\"", Some("12.5 ft")),
            ("12ft 6in", Some("12.5 ft")),
            ("12 ft.", Some("12 ft")),
            ("12 m", None),
            ("12' 13\"", None),
            ("'", None),
        ] {
            assert_eq!(feet(text).as_deref(), expected, "{text}");
        }
    }

    #[test]
    fn speeds_are_read_as_people_write_them() {
        for (text, is_mega, expected) in [
            ("10G", false, Some("10 Gb/s")),
            ("10GE", false, Some("10 Gb/s")),
            ("10GbE", false, Some("10 Gb/s")),
            ("10 Gig", false, Some("10 Gb/s")),
            ("10000", false, Some("10000 Mb/s")),
            ("10000baseT", false, Some("10000 Mb/s")),
            ("10GBASE-SR", false, Some("10 Gb/s")),
            ("1000", false, Some("1000 Mb/s")),
            ("2500", false, Some("2500 Mb/s")),
            ("1", true, Some("1 Gb/s")),
            ("25", true, Some("25 Gb/s")),
            ("400", true, Some("400 Gb/s")),
            ("10", false, Some("10 Gb/s")),
            ("10", true, Some("10 Mb/s")),
            ("100", true, Some("100 Mb/s")),
            ("100M", false, Some("100 Mb/s")),
            ("GE", false, Some("1 Gb/s")),
            ("FE", false, Some("100 Mb/s")),
            ("2.5G", false, Some("2.5 Gb/s")),
            ("fast lane", false, None),
        ] {
            let found = speed(text, is_mega);
            assert_eq!(
                found.as_ref().map(|(text, _)| text.as_str()),
                expected,
                "{text}"
            );
        }
        for (text, n) in [("4x10G", 4), ("40G-4x10", 4), ("2 \u{d7} 25G", 2)] {
            assert_eq!(speed(text, false).and_then(|(_, n)| n), Some(n), "{text}");
        }
    }
}
