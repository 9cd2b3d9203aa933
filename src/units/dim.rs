//! Dimensions as eight small exponents, and the difference between an amount and a level.
//!
//! No unit names here; those are data in `sheets/units.toml`.

/// Exponents of length, time, power, decibel, data, money, temperature and current.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, PartialOrd, Ord)]
pub struct Dim([i8; 8]);

/// Names of the base dimensions in the order of the exponents, as `units.toml` writes them.
const NAMES: [&str; 8] = [
    "length",
    "time",
    "power",
    "decibel",
    "data",
    "money",
    "temperature",
    "current",
];

/// Symbols of the base units in the same order.
const SYMBOLS: [&str; 8] = ["m", "s", "W", "dB", "bit", "money", "K", "A"];

impl Dim {
    /// A plain number.
    pub const NONE: Self = Self([0; 8]);
    /// A length.
    pub const LENGTH: Self = Self([1, 0, 0, 0, 0, 0, 0, 0]);
    /// A time.
    pub const TIME: Self = Self([0, 1, 0, 0, 0, 0, 0, 0]);
    /// A power.
    pub const POWER: Self = Self([0, 0, 1, 0, 0, 0, 0, 0]);
    /// A loss or gain in dB; a base of its own, so that dB/km works by the product rule.
    pub const DECIBEL: Self = Self([0, 0, 0, 1, 0, 0, 0, 0]);
    /// An amount of data.
    pub const DATA: Self = Self([0, 0, 0, 0, 1, 0, 0, 0]);
    /// Money in the plan's own currency.
    pub const MONEY: Self = Self([0, 0, 0, 0, 0, 1, 0, 0]);
    /// A difference of temperature.
    pub const TEMPERATURE: Self = Self([0, 0, 0, 0, 0, 0, 1, 0]);
    /// Data per time.
    pub const RATE: Self = Self([0, -1, 0, 0, 1, 0, 0, 0]);
    /// One over a time.
    pub const FREQUENCY: Self = Self([0, -1, 0, 0, 0, 0, 0, 0]);

    /// The base dimension of a name such as `length`.
    pub fn named(name: &str) -> Option<Self> {
        let at = NAMES.iter().position(|known| *known == name)?;
        let mut exponents = [0; 8];
        exponents[at] = 1;
        Some(Self(exponents))
    }

    /// The product of two dimensions; `None` when an exponent leaves the range.
    pub fn times(self, other: Self) -> Option<Self> {
        self.zip(other, i8::checked_add)
    }

    /// The quotient of two dimensions; `None` when an exponent leaves the range.
    pub fn over(self, other: Self) -> Option<Self> {
        self.zip(other, i8::checked_sub)
    }

    /// The dimension raised to a whole power; `None` when an exponent leaves the range.
    pub fn power(self, by: i8) -> Option<Self> {
        self.zip(self, |a, _| a.checked_mul(by))
    }

    /// Half of every exponent, for a square root; `None` when one is odd.
    pub fn root(self) -> Option<Self> {
        self.zip(self, |a, _| (a % 2 == 0).then_some(a / 2))
    }

    fn zip(self, other: Self, f: impl Fn(i8, i8) -> Option<i8>) -> Option<Self> {
        let mut out = [0; 8];
        for (at, slot) in out.iter_mut().enumerate() {
            *slot = f(self.0[at], other.0[at])?;
        }
        Some(Self(out))
    }

    /// What a person calls a simple dimension, with its article: `a length`.
    pub fn word(self) -> Option<&'static str> {
        const WORDS: [(Dim, &str); 10] = [
            (Dim::NONE, "a plain number"),
            (Dim::LENGTH, "a length"),
            (Dim::TIME, "a time"),
            (Dim::POWER, "a power"),
            (Dim::DECIBEL, "a loss in dB"),
            (Dim::DATA, "an amount of data"),
            (Dim::MONEY, "money"),
            (Dim::TEMPERATURE, "a temperature difference"),
            (Dim::RATE, "a speed in bit/s"),
            (Dim::FREQUENCY, "a frequency"),
        ];
        WORDS
            .iter()
            .find(|(dim, _)| *dim == self)
            .map(|(_, word)| *word)
    }

    /// The dimension written with base units, e.g. `dB/m`; empty for a plain number.
    pub fn symbol(self) -> String {
        let part = |positive: bool| {
            let parts: Vec<String> = (0..8)
                .filter(|at| (self.0[*at] > 0) == positive && self.0[*at] != 0)
                .map(|at| match self.0[at].unsigned_abs() {
                    1 => SYMBOLS[at].to_owned(),
                    n => format!("{}^{n}", SYMBOLS[at]),
                })
                .collect();
            parts
        };
        let (above, below) = (part(true), part(false));
        match (above.is_empty(), below.is_empty()) {
            (_, true) => above.join("·"),
            (true, false) => format!("1/{}", below.join("/")),
            (false, false) => format!("{}/{}", above.join("·"), below.join("/")),
        }
    }
}

/// What a level is measured against.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Reference {
    /// dBm: decibels against one milliwatt.
    Milliwatt,
    /// °C: kelvins against the freezing point of water.
    Celsius,
}

/// Whether a number is a distance between points or a point on a scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, PartialOrd, Ord)]
pub enum Kind {
    /// A distance: dB, m, K. Amounts add up.
    #[default]
    Amount,
    /// A point: dBm, °C. Two levels cannot be added.
    Level(Reference),
}

/// The type of a number: its dimension, and amount or level.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, PartialOrd, Ord)]
pub struct Measure {
    /// The dimension; for a level, that of the difference of two of them.
    pub dim: Dim,
    /// Amount or level.
    pub kind: Kind,
}

impl Measure {
    /// A plain number.
    pub const NUMBER: Self = Self::amount(Dim::NONE);

    /// An amount of a dimension.
    pub const fn amount(dim: Dim) -> Self {
        Self {
            dim,
            kind: Kind::Amount,
        }
    }

    /// A level; its dimension follows from the reference.
    pub const fn level(reference: Reference) -> Self {
        let dim = match reference {
            Reference::Milliwatt => Dim::DECIBEL,
            Reference::Celsius => Dim::TEMPERATURE,
        };
        Self {
            dim,
            kind: Kind::Level(reference),
        }
    }

    /// Whether this is a level.
    pub fn is_level(self) -> bool {
        matches!(self.kind, Kind::Level(_))
    }
}
