//! Columns of values: numbers in base units, text as codes, rows as numbers.
//!
//! Holds values only; which columns exist and how they are computed is decided above.

mod names;
mod values;

pub use names::{Names, NamesView, NamesWriter, TextHash};
pub use values::{Value, Values};

/// The code of an absent text and the number of an absent row.
pub const ABSENT: u32 = u32::MAX;

/// The one bit pattern of an absent number.
///
/// The missing mask of a number column is carried in the values themselves: a stored number is
/// finite or exactly this. Arithmetic carries it along for free.
pub const MISSING: f64 = f64::NAN;

/// The flag that is neither yes nor no.
pub const NO_FLAG: u8 = 2;

/// A value fit to be stored: finite, or the one missing pattern.
#[inline(always)]
pub fn stored(value: f64) -> f64 {
    if value.is_finite() { value } else { MISSING }
}

/// A sheet by its position in the book of sheets.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct SheetId(pub u16);

/// A column by its position among the columns of all sheets.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct ColumnId(pub u32);

/// A row of a sheet by its place in storage; never reused inside a plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct RowId(pub u32);

/// An assumption by its position among the assumptions.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct ParamId(pub u16);

impl SheetId {
    /// The position as an index.
    pub fn at(self) -> usize {
        usize::from(self.0)
    }
}

impl ColumnId {
    /// The position as an index.
    pub fn at(self) -> usize {
        self.0 as usize
    }
}

impl RowId {
    /// The place as an index.
    pub fn at(self) -> usize {
        self.0 as usize
    }
}

impl ParamId {
    /// The position as an index.
    pub fn at(self) -> usize {
        usize::from(self.0)
    }
}

/// One column of values.
#[derive(Debug, Clone, PartialEq)]
pub enum Column {
    /// Numbers in base units; see [`MISSING`].
    Numbers(Values<f64>),
    /// Yes (1), no (0) or absent ([`NO_FLAG`]).
    Flags(Values<u8>),
    /// Codes of texts, or row numbers of another sheet; see [`ABSENT`].
    Codes(Values<u32>),
}

static NO_NUMBERS: Values<f64> = Values::Each(Vec::new());
static NO_FLAGS: Values<u8> = Values::Each(Vec::new());
static NO_CODES: Values<u32> = Values::Each(Vec::new());

impl Column {
    /// Numbers, one a row.
    pub fn of_numbers(numbers: Vec<f64>) -> Self {
        Self::Numbers(numbers.into())
    }

    /// Flags, one a row.
    pub fn of_flags(flags: Vec<u8>) -> Self {
        Self::Flags(flags.into())
    }

    /// Codes, one a row.
    pub fn of_codes(codes: Vec<u32>) -> Self {
        Self::Codes(codes.into())
    }

    /// How many rows the column has.
    pub fn len(&self) -> usize {
        match self {
            Self::Numbers(values) => values.len(),
            Self::Flags(flags) => flags.len(),
            Self::Codes(codes) => codes.len(),
        }
    }

    /// Whether the column has no rows.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Grows or shrinks to so many rows; new rows are absent.
    pub fn resize(&mut self, n_rows: usize) {
        match self {
            Self::Numbers(values) => values.resize(n_rows, MISSING),
            Self::Flags(flags) => flags.resize(n_rows, NO_FLAG),
            Self::Codes(codes) => codes.resize(n_rows, ABSENT),
        }
    }

    /// Grows to so many rows, whose values are computed at once; see [`Values::grow`].
    pub fn grow(&mut self, n_rows: usize) {
        match self {
            Self::Numbers(values) => values.grow(n_rows, MISSING),
            Self::Flags(flags) => flags.grow(n_rows, NO_FLAG),
            Self::Codes(codes) => codes.grow(n_rows, ABSENT),
        }
    }

    /// Whether the column keeps one value for all rows.
    pub fn is_one(&self) -> bool {
        match self {
            Self::Numbers(values) => values.one().is_some(),
            Self::Flags(flags) => flags.one().is_some(),
            Self::Codes(codes) => codes.one().is_some(),
        }
    }

    /// Whether both hold the same kind of values.
    pub fn is_kind(&self, other: &Self) -> bool {
        std::mem::discriminant(self) == std::mem::discriminant(other)
    }

    /// A column of the same kind with places for so many rows, to be written.
    #[must_use]
    pub fn alike(&self, n_rows: usize) -> Self {
        match self {
            Self::Numbers(_) => Self::of_numbers(vec![0.0; n_rows]),
            Self::Flags(_) => Self::of_flags(vec![0; n_rows]),
            Self::Codes(_) => Self::of_codes(vec![0; n_rows]),
        }
    }

    /// So many rows of the one value that the column keeps for all rows; none where it keeps more.
    #[must_use]
    pub fn of_one(&self, n_rows: usize) -> Option<Self> {
        Some(match self {
            Self::Numbers(values) => Self::Numbers(Values::same(values.one()?, n_rows)),
            Self::Flags(flags) => Self::Flags(Values::same(flags.one()?, n_rows)),
            Self::Codes(codes) => Self::Codes(Values::same(codes.one()?, n_rows)),
        })
    }

    /// Whether all rows have the one value that another column keeps for all of its rows.
    pub fn is_all(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Numbers(values), Self::Numbers(one)) => values.is_all(one),
            (Self::Flags(flags), Self::Flags(one)) => flags.is_all(one),
            (Self::Codes(codes), Self::Codes(one)) => codes.is_all(one),
            (Self::Numbers(_) | Self::Flags(_) | Self::Codes(_), _) => false,
        }
    }

    /// Writes the values of another column of the same kind over those from a row on.
    ///
    /// # Panics
    /// For rows beyond the last.
    pub fn overwrite(&mut self, first: usize, with: &Self) {
        match (self, with) {
            (Self::Numbers(values), Self::Numbers(with)) => values.overwrite(first, with),
            (Self::Flags(flags), Self::Flags(with)) => flags.overwrite(first, with),
            (Self::Codes(codes), Self::Codes(with)) => codes.overwrite(first, with),
            (Self::Numbers(_) | Self::Flags(_) | Self::Codes(_), _) => {}
        }
    }

    /// A column of the same kind with places for so many rows that are all written before they
    /// are read: the memory of this one, where it fits.
    #[must_use]
    pub fn room(self, n_rows: usize) -> Self {
        match self {
            Self::Numbers(Values::Each(each)) if each.len() == n_rows => Self::of_numbers(each),
            Self::Flags(Values::Each(each)) if each.len() == n_rows => Self::of_flags(each),
            Self::Codes(Values::Each(each)) if each.len() == n_rows => Self::of_codes(each),
            // Zeros come from the system untouched, so whoever writes first pays for the page.
            other => other.alike(n_rows),
        }
    }

    /// The same values, kept once where all rows have the same.
    #[must_use]
    pub fn narrowed(self) -> Self {
        match self {
            Self::Numbers(values) => Self::Numbers(values.narrowed()),
            Self::Flags(flags) => Self::Flags(flags.narrowed()),
            Self::Codes(codes) => Self::Codes(codes.narrowed()),
        }
    }

    /// The numbers; empty for another kind of column.
    pub fn numbers(&self) -> &Values<f64> {
        match self {
            Self::Numbers(values) => values,
            Self::Codes(_) | Self::Flags(_) => &NO_NUMBERS,
        }
    }

    /// The flags; empty for another kind of column.
    pub fn flags(&self) -> &Values<u8> {
        match self {
            Self::Flags(flags) => flags,
            Self::Numbers(_) | Self::Codes(_) => &NO_FLAGS,
        }
    }

    /// The codes; empty for another kind of column.
    pub fn codes(&self) -> &Values<u32> {
        match self {
            Self::Numbers(_) | Self::Flags(_) => &NO_CODES,
            Self::Codes(codes) => codes,
        }
    }
}

/// One value as the person sees it.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// A number in base units.
    Number(f64),
    /// A text, a choice or the name of a row.
    Text(String),
    /// Yes or no.
    Flag(bool),
    /// Nothing here: not entered, or an input of the formula is missing.
    Missing,
    /// All inputs are there, but the result is not a number.
    Failed,
}
