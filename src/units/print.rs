//! Numbers as text: exact for files, rounded for people.
//!
//! Reading is in `read.rs`.

use super::unit::{Unit, Units};

/// The shortest text in the unit that `read` gives back bit by bit.
///
/// Where no decimal in the unit does so, the value stands in base units with its symbol.
pub fn exact(base: f64, unit: &Unit) -> String {
    let value = unit.from_base(base);
    for digits in [15, 16, 17] {
        let text = significant(value, digits);
        if text
            .parse()
            .is_ok_and(|back| unit.to_base(back).to_bits() == base.to_bits())
        {
            return text;
        }
    }
    let plain = format!("{base}");
    if unit.to_base(base).to_bits() == base.to_bits() {
        return plain;
    }
    format!("{plain} {}", unit.measure.dim.symbol())
}

/// A number rounded to so many significant digits, without trailing zeros or exponent noise.
pub fn significant(value: f64, digits: usize) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    let rounded: f64 = format!("{value:.*e}", digits.max(1) - 1)
        .parse()
        .unwrap_or(value);
    let size = rounded.abs();
    if (1e-6..1e16).contains(&size) {
        format!("{rounded}")
    } else {
        format!("{rounded:e}")
    }
}

/// A value for a person: in the unit, with its symbol, at most `decimals` places after the point.
///
/// Without `decimals`, six significant digits.
pub fn shown(base: f64, unit: &Unit, decimals: Option<u8>) -> String {
    let number = bare(base, unit, decimals);
    if unit.symbol.is_empty() {
        number
    } else {
        format!("{number} {}", unit.symbol)
    }
}

/// A value for a person as [`shown`] writes it, without the symbol, where a heading has it.
pub fn bare(base: f64, unit: &Unit, decimals: Option<u8>) -> String {
    let value = unit.from_base(base);
    match decimals {
        Some(places) => fixed(value, usize::from(places)),
        None => significant(value, 6),
    }
}

/// Rounded to places after the point, trailing zeros and a negative zero removed.
fn fixed(value: f64, places: usize) -> String {
    let text = format!("{value:.places$}");
    let text = if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.')
    } else {
        &text
    };
    match text {
        "-0" | "" => "0".to_owned(),
        _ => text.to_owned(),
    }
}

impl Units {
    /// A value in the default unit of its measure, for messages.
    pub fn in_default(&self, base: f64, measure: super::Measure) -> String {
        shown(base, &self.default_for(measure), None)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_text_reads_back_to_the_same_bits() {
        let units = Units::builtin();
        for (unit, base) in [
            ("ns", 5e-9),
            ("Gb/s", 1e10),
            ("m", 76.2),
            ("°C", 293.15),
            ("dB/km", 0.35 / 1e3),
        ] {
            let unit = units.unit(unit).unwrap();
            let text = exact(base, &unit);
            assert_eq!(super::super::read(&text, &unit), Ok(base), "{text}");
        }
        assert_eq!(exact(5e-9, &units.unit("ns").unwrap()), "5");
        assert_eq!(exact(76.2, &units.unit("m").unwrap()), "76.2");
    }

    #[test]
    fn numbers_that_no_decimal_of_the_unit_gives_are_written_in_another() {
        let units = Units::builtin();
        let mut in_base_units = 0;
        for symbol in ["ft", "in", "ns", "km", "dB/km", "Gb/s", "yr"] {
            let unit = units.unit(symbol).unwrap();
            for n in 1..2_000 {
                let base = unit.to_base(f64::from(n).sqrt()).next_up();
                let text = exact(base, &unit);
                assert_eq!(
                    super::super::read(&text, &unit),
                    Ok(base),
                    "{text} {symbol}"
                );
                in_base_units += usize::from(text.contains(' '));
            }
        }
        assert!(in_base_units > 0);
    }

    #[test]
    fn messages_show_a_value_in_the_unit_of_its_measure() {
        let units = Units::builtin();
        for (symbol, value, text) in [
            ("ft", 250.0, "76.2 m"),
            ("dB/km", 0.35, "0.35 dB/km"),
            ("Mb/s", 100.0, "0.1 Gb/s"),
            ("°C", 20.0, "20 °C"),
            ("1/m", 3.0, "3 1/m"),
        ] {
            let unit = units.unit(symbol).unwrap();
            assert_eq!(units.in_default(unit.to_base(value), unit.measure), text);
        }
    }

    #[test]
    fn people_see_short_numbers() {
        let units = Units::builtin();
        let db = units.unit("dB").unwrap();
        assert_eq!(shown(2.550_000_000_1, &db, Some(2)), "2.55 dB");
        assert_eq!(shown(-0.000_01, &db, Some(2)), "0 dB");
        assert_eq!(shown(4.500_000_000_000_1, &db, None), "4.5 dB");
        assert_eq!(significant(1.0e-9, 6), "1e-9");
        assert_eq!(significant(1e-6, 6), "0.000001");
        assert_eq!(significant(9.999_999_9e-7, 3), "0.000001");
        assert_eq!(significant(1e16, 6), "1e16");
        assert_eq!(significant(-0.0, 6), "0");
        assert_eq!(significant(-1_234.56, 3), "-1230");
        assert_eq!(significant(12.0, 0), "10");
        let number = Unit::none();
        assert_eq!(shown(100.0, &number, Some(0)), "100");
        assert_eq!(shown(0.5, &db, Some(0)), "0 dB");
        assert_eq!(bare(-2.50, &db, Some(2)), "-2.5");
    }
}
