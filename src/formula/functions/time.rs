//! Functions of latency.

use super::super::Ty;
use super::super::program::TextKernel;
use super::{ARITHMETIC, Body, Function, More, param};
use crate::units::{Dim, Measure};

/// The functions in the order of the manual.
pub(super) fn functions() -> Vec<Function> {
    vec![
        Function {
            name: "propagation",
            doc: "The time light takes along a fibre",
            params: vec![
                param(
                    "length",
                    "the length of the fibre",
                    Ty::Number(Measure::amount(Dim::LENGTH)),
                ),
                param(
                    "group_index",
                    "the speed of light in vacuum over that in the fibre",
                    Ty::Number(Measure::NUMBER),
                ),
            ],
            more: More::No,
            source: "SI (speed of light in vacuum, 299792458 m/s, exact)",
            example: ("propagation(299792458 m, 1.5)", "1.5 s"),
            workbook: "({1}*{2}/299792458)",
            body: Body::Formula("length * group_index / 299792458 m/s"),
        },
        Function {
            name: "serialize",
            doc: "The time it takes to put data on a line",
            params: vec![
                param(
                    "size",
                    "an amount of data, e.g. one frame",
                    Ty::Number(Measure::amount(Dim::DATA)),
                ),
                param(
                    "speed",
                    "the speed of the line",
                    Ty::Number(Measure::amount(Dim::RATE)),
                ),
            ],
            more: More::No,
            source: ARITHMETIC,
            example: ("serialize(1250 MB, 10 Gb/s)", "1 s"),
            workbook: "({1}/{2})",
            body: Body::Formula("size / speed"),
        },
        Function {
            name: "day_of",
            doc: "The days from the beginning of 1970 to a date written as 2031-05-28; missing where it is no date",
            params: vec![param("date", "a date, year first", Ty::Text)],
            more: More::No,
            source: "ISO 8601 (the form of the date), Gregorian calendar",
            example: ("0 d + day_of(\"1970-03-01\")", "59 d"),
            workbook: "IFERROR((DATEVALUE({1})-25569)*86400,\"\")",
            body: Body::Texts {
                kernel: TextKernel::Number {
                    kernel: day_of,
                    result: Measure::amount(Dim::TIME),
                },
            },
        },
    ]
}

/// The seconds from the beginning of 1970 to a date; not a number where the text is none.
fn day_of(args: &[&str]) -> f64 {
    days(args[0].trim()).map_or(f64::NAN, |days| days as f64 * 86_400.0)
}

/// Counts the days of a year from March on, so that the leap day comes last.
fn days(date: &str) -> Option<i64> {
    let mut parts = date.split('-');
    let mut part = |length: usize| {
        let digits = parts.next()?;
        let plain = digits.len() == length && digits.bytes().all(|byte| byte.is_ascii_digit());
        plain.then(|| digits.parse::<i64>().ok()).flatten()
    };
    let (year, month, day) = (part(4)?, part(2)?, part(2)?);
    let is_leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let in_month = match month {
        2 => 28 + i64::from(is_leap),
        4 | 6 | 9 | 11 => 30,
        1..=12 => 31,
        _ => return None,
    };
    if parts.next().is_some() || !(1..=in_month).contains(&day) {
        return None;
    }
    let (year, month) = if month > 2 {
        (year, month - 3)
    } else {
        (year - 1, month + 9)
    };
    let leap_days = year.div_euclid(4) - year.div_euclid(100) + year.div_euclid(400);
    let before = (153 * month + 2) / 5;
    // Counted from 1 March of the year 0; the beginning of 1970 is 719,468 days later.
    Some(365 * year + leap_days + before + day - 1 - 719_468)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_counted_one_by_one() {
        let mut expected = 0;
        for year in 1970..2110 {
            for month in 1..=12 {
                for day in 1..=31 {
                    if let Some(day) = days(&format!("{year}-{month:02}-{day:02}")) {
                        assert_eq!(day, expected);
                        expected += 1;
                    }
                }
            }
        }
        // 140 years with 34 leap days: 1972 to 2108 without 2100.
        assert_eq!(expected, 140 * 365 + 34);
        assert_eq!(days("2000-02-29"), Some(11_016));
    }

    #[test]
    fn what_is_no_date_is_missing() {
        for text in [
            "",
            "2031",
            "2031-5-2",
            "2031-02-29",
            "2031-13-01",
            "28.05.2031",
            "2031-05-28-1",
            "+031-05-28",
        ] {
            assert!(day_of(&[text]).is_nan(), "{text}");
        }
    }
}
