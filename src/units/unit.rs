//! Units by name, single (`km`) and composed (`dB/km`), from `sheets/units.toml`.
//!
//! Reading numbers is in `read.rs`, printing in `print.rs`.

use super::dim::{Dim, Measure, Reference};
use crate::problem::Problem;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::sync::OnceLock;

/// A unit: `base = value * times / per + offset`.
///
/// Two whole factors keep `5 ns` exactly `5 / 1e9`, where one factor `1e-9` would be rounded twice.
#[derive(Debug, Clone, PartialEq)]
pub struct Unit {
    /// How it is written; empty for a plain number.
    pub symbol: String,
    /// What it measures.
    pub measure: Measure,
    times: f64,
    per: f64,
    offset: f64,
}

impl Unit {
    /// The unit of a plain number.
    pub fn none() -> Self {
        Self {
            symbol: String::new(),
            measure: Measure::NUMBER,
            times: 1.0,
            per: 1.0,
            offset: 0.0,
        }
    }

    /// A value in this unit as a value in base units.
    ///
    /// Near the least numbers there are, digits are lost, so that one could not be written and read
    /// again; nothing of a plan is that small, and it counts as 0.
    pub fn to_base(&self, value: f64) -> f64 {
        /// Times the scale of any unit still far above the least number with all its digits.
        const LEAST: f64 = 1e-250;
        let base = value * self.times / self.per + self.offset;
        let is_lost = base != 0.0 && base.abs() < LEAST;
        if is_lost { 0.0 } else { base }
    }

    /// A value in base units as a value in this unit.
    pub fn from_base(&self, base: f64) -> f64 {
        (base - self.offset) * self.per / self.times
    }
}

/// All units that a person may write.
#[derive(Debug)]
pub struct Units {
    exact: BTreeMap<String, Unit>,
    /// Lower-cased names with every unit they could mean.
    folded: BTreeMap<String, Vec<String>>,
    /// Short forms that count only in a column of the same measure: `10G`.
    loose: BTreeMap<String, Unit>,
    defaults: Vec<Unit>,
    /// Units of one measure, small to large.
    scales: Vec<Vec<Unit>>,
}

#[derive(Deserialize)]
struct File {
    unit: Vec<Entry>,
    default: Vec<String>,
    scales: Vec<Vec<String>>,
}

#[derive(Deserialize)]
struct Entry {
    symbol: String,
    #[serde(default)]
    names: Vec<String>,
    #[serde(default)]
    loose: Vec<String>,
    #[serde(default)]
    dim: BTreeMap<String, i8>,
    #[serde(default)]
    level: Option<String>,
    #[serde(default = "one")]
    times: f64,
    #[serde(default = "one")]
    per: f64,
    #[serde(default)]
    offset: f64,
}

fn one() -> f64 {
    1.0
}

impl Units {
    /// The built-in units.
    pub fn builtin() -> &'static Self {
        static UNITS: OnceLock<Units> = OnceLock::new();
        UNITS.get_or_init(|| {
            Self::load(include_str!("../../sheets/units.toml"))
                .expect("the built-in unit table is checked by a test")
        })
    }

    /// Reads a unit table.
    ///
    /// # Errors
    /// A text that is not TOML of this form, an unknown dimension or a name given twice.
    pub fn load(text: &str) -> Result<Self, Problem> {
        let file: File = toml::from_str(text)
            .map_err(|error| Problem::new("unit-table", error.message().to_owned()))?;
        let mut units = Self {
            exact: BTreeMap::new(),
            folded: BTreeMap::new(),
            loose: BTreeMap::new(),
            defaults: Vec::new(),
            scales: Vec::new(),
        };
        for entry in file.unit {
            units.add(entry)?;
        }
        for symbol in &file.default {
            let unit = units.unit(symbol)?;
            units.defaults.push(unit);
        }
        for scale in &file.scales {
            let scale = scale.iter().map(|symbol| units.unit(symbol));
            let scale = scale.collect::<Result<_, Problem>>()?;
            units.scales.push(scale);
        }
        Ok(units)
    }

    fn add(&mut self, entry: Entry) -> Result<(), Problem> {
        let unit = Unit {
            measure: measure(&entry)?,
            symbol: entry.symbol.clone(),
            times: entry.times,
            per: entry.per,
            offset: entry.offset,
        };
        for name in std::iter::once(&entry.symbol).chain(&entry.names) {
            if self.exact.insert(name.clone(), unit.clone()).is_some() {
                return Err(Problem::new(
                    "unit-table",
                    format!("unit `{name}` stands twice"),
                ));
            }
            self.folded
                .entry(name.to_lowercase())
                .or_default()
                .push(name.clone());
        }
        for name in entry.loose {
            self.loose.insert(name.to_lowercase(), unit.clone());
        }
        Ok(())
    }

    /// The unit of a text such as `km`, `dB/km` or `ps/nm/km`; the empty text is a plain number.
    ///
    /// # Errors
    /// An unknown or ambiguous name, or a level inside a product.
    pub fn unit(&self, text: &str) -> Result<Unit, Problem> {
        let text = text.trim();
        if text.is_empty() {
            return Ok(Unit::none());
        }
        if let Some(unit) = self.exact.get(text) {
            return Ok(unit.clone());
        }
        if !text.contains(['/', '·', '^', '*']) {
            return self.single(text).cloned();
        }
        self.composed(text)
    }

    /// A short form such as `G` where a column of this measure is meant.
    pub fn loose(&self, text: &str, measure: Measure) -> Option<&Unit> {
        self.loose
            .get(&text.trim().to_lowercase())
            .filter(|unit| unit.measure == measure)
    }

    /// Whether a word is a unit written exactly so.
    pub fn is_symbol(&self, word: &str) -> bool {
        self.exact.contains_key(word)
    }

    /// Names of all units, for suggestions.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.exact.keys().map(String::as_str)
    }

    /// The unit in which a measure is shown when nothing else is asked for.
    pub fn default_for(&self, measure: Measure) -> Unit {
        let found = self.defaults.iter().find(|unit| unit.measure == measure);
        found.cloned().unwrap_or_else(|| Unit {
            symbol: measure.dim.symbol(),
            measure,
            times: 1.0,
            per: 1.0,
            offset: 0.0,
        })
    }

    /// The unit in which a value is short to read: the largest of its scale that it reaches, or
    /// the default unit where the measure has no scale.
    pub fn fitting(&self, base: f64, measure: Measure) -> Unit {
        let scale = self
            .scales
            .iter()
            .find(|scale| scale.iter().all(|unit| unit.measure == measure));
        let reached = |unit: &&Unit| unit.from_base(base).abs() >= 1.0 - 1e-9;
        match scale {
            Some(scale) if base != 0.0 => {
                let unit = scale.iter().rev().find(reached).or(scale.first());
                unit.cloned().unwrap_or_else(|| self.default_for(measure))
            }
            Some(_) | None => self.default_for(measure),
        }
    }

    fn single(&self, name: &str) -> Result<&Unit, Problem> {
        if let Some(unit) = self.exact.get(name) {
            return Ok(unit);
        }
        let none: &[String] = &[];
        match self
            .folded
            .get(&name.to_lowercase())
            .map_or(none, Vec::as_slice)
        {
            [only] => Ok(&self.exact[only]),
            [] => Err(
                Problem::new("unit-unknown", format!("unknown unit `{name}`"))
                    .did_you_mean(name, self.names()),
            ),
            several => {
                let list = several.join("`, `");
                Err(
                    Problem::new("unit-ambiguous", format!("`{name}` could be several units"))
                        .help(format!("write one of `{list}` exactly so")),
                )
            }
        }
    }

    fn composed(&self, text: &str) -> Result<Unit, Problem> {
        let mut out = Unit {
            symbol: text.to_owned(),
            ..Unit::none()
        };
        for (at, divisor) in text.split('/').enumerate() {
            for factor in divisor
                .trim()
                .trim_matches(['(', ')'])
                .split(['·', '*', ' '])
            {
                if factor.is_empty() || factor == "1" {
                    continue;
                }
                self.multiply(&mut out, factor, at > 0)?;
            }
        }
        Ok(out)
    }

    /// Multiplies (or divides) a composed unit by one factor such as `nm^2`.
    fn multiply(&self, out: &mut Unit, factor: &str, below: bool) -> Result<(), Problem> {
        let (name, exponent) = match factor.split_once('^') {
            Some((name, digits)) => (name, digits.parse::<i8>().unwrap_or(0)),
            None => (factor, 1),
        };
        let unit = self.single(name)?;
        if unit.measure.is_level() || exponent == 0 {
            return Err(Problem::new(
                "unit-level",
                format!("`{factor}` cannot be part of a product of units"),
            )
            .help("a level such as dBm stands alone; a rate is written in dB, as in dB/km"));
        }
        let too_large = || {
            Problem::new(
                "unit-power",
                format!("the exponents of `{}` are too large", out.symbol),
            )
        };
        // The least exponent has no counterpart above the line.
        let exponent = if below {
            exponent.checked_neg().ok_or_else(too_large)?
        } else {
            exponent
        };
        let dim = unit.measure.dim.power(exponent);
        let dim = dim.and_then(|dim| out.measure.dim.times(dim));
        out.measure = Measure::amount(dim.ok_or_else(too_large)?);
        for _ in 0..exponent.unsigned_abs() {
            let (up, down) = if exponent > 0 {
                (unit.times, unit.per)
            } else {
                (unit.per, unit.times)
            };
            out.times *= up;
            out.per *= down;
        }
        Ok(())
    }
}

fn measure(entry: &Entry) -> Result<Measure, Problem> {
    let unknown = |word: &str| {
        Problem::new(
            "unit-table",
            format!("unit `{}` has an unknown dimension `{word}`", entry.symbol),
        )
    };
    match entry.level.as_deref() {
        Some("milliwatt") => return Ok(Measure::level(Reference::Milliwatt)),
        Some("celsius") => return Ok(Measure::level(Reference::Celsius)),
        Some(other) => return Err(unknown(other)),
        None => {}
    }
    let mut dim = Dim::NONE;
    for (name, exponent) in &entry.dim {
        let part = Dim::named(name).and_then(|base| base.power(*exponent));
        dim = part
            .and_then(|part| dim.times(part))
            .ok_or_else(|| unknown(name))?;
    }
    Ok(Measure::amount(dim))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_is_shown_in_the_largest_unit_it_reaches() {
        let units = Units::builtin();
        let time = Measure::amount(Dim::TIME);
        for (base, symbol) in [
            (5.4e-7, "ns"),
            (1e-6, "µs"),
            (0.0, "s"),
            (30.0, "s"),
            (2e8, "yr"),
            (1e-12, "ns"),
        ] {
            assert_eq!(units.fitting(base, time).symbol, symbol, "{base}");
        }
        assert_eq!(units.fitting(5.0, Measure::amount(Dim::LENGTH)).symbol, "m");
    }

    #[test]
    fn what_is_too_near_zero_to_be_written_again_counts_as_zero() {
        let (plain, least) = (Unit::none(), 1e-250_f64);
        for value in [least, -least, 2.0 * least] {
            assert_eq!(plain.to_base(value), value);
        }
        for value in [
            least.next_down(),
            -least.next_down(),
            1e-300,
            f64::MIN_POSITIVE,
        ] {
            assert_eq!(plain.to_base(value), 0.0, "{value}");
        }
    }

    #[test]
    fn composed_units_have_the_right_scale() {
        let units = Units::builtin();
        let base = |text: &str, value: f64| units.unit(text).unwrap().to_base(value);
        assert!((base("dB/km", 0.35) - 0.000_35).abs() < 1e-18);
        assert_eq!(base("ps/nm/km", 1.0), 1e-12 / 1e-9 / 1e3);
        assert_eq!(base("ps/(nm km)", 1.0), base("ps/nm/km", 1.0));
        assert_eq!(base("Gb/s", 10.0), 1e10);
        assert_eq!(base("ft", 250.0), 76.2);
        assert_eq!(base("ns", 5.0), 5e-9);
        assert_eq!(base("°C", 20.0), 293.15);
        assert!(units.unit("dBm/km").is_err());
        assert_eq!(units.unit("KM").unwrap().symbol, "km");
        assert_eq!(units.unit("mb/s").unwrap_err().code, "unit-ambiguous");
    }

    #[test]
    fn exponents_end_where_eight_bits_end() {
        let units = Units::builtin();
        let code = |text: &str| units.unit(text).map_err(|problem| problem.code);
        assert!(code("1/m^127").is_ok());
        assert!(code("m^-128").is_ok());
        for text in ["1/m^-128", "s/m^-128", "m^127·m", "1/m^127/m/m", "area^2"] {
            assert!(code(text).is_err(), "{text}");
        }
        assert_eq!(code("1/m^-128"), Err("unit-power"));
        for text in ["m^128", "m^0", "m^x"] {
            assert_eq!(code(text), Err("unit-level"), "{text}");
        }
    }

    #[test]
    fn powers_of_a_unit_scale_as_often_as_they_say() {
        let units = Units::builtin();
        let base = |text: &str| units.unit(text).unwrap().to_base(1.0);
        // The acre is 4,840 square yards, and 4,046.856 422 4 m2 by definition of the yard.
        assert!((4_840.0 * base("yd^2") - 4_046.856_422_4).abs() < 1e-9);
        assert_eq!(base("1/km^2"), 1e-6);
        assert_eq!(base("km^-2"), base("1/km^2"));
        assert_eq!(base("km^2"), 1e6);
        let square = units.unit("ft^2").unwrap().measure;
        assert_eq!(square, units.unit("m*m").unwrap().measure);
    }
}
