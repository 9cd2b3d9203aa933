//! Columns of values: numbers in base units, text as codes, rows as numbers.
//!
//! Holds values only; which columns exist and how they are computed is decided above.

mod names;

pub use names::{Names, NamesView, NamesWriter};

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
    Numbers(Vec<f64>),
    /// Yes (1), no (0) or absent ([`NO_FLAG`]).
    Flags(Vec<u8>),
    /// Codes of texts, or row numbers of another sheet; see [`ABSENT`].
    Codes(Vec<u32>),
}

impl Column {
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

    /// The numbers; empty for another kind of column.
    pub fn numbers(&self) -> &[f64] {
        match self {
            Self::Numbers(values) => values,
            Self::Codes(_) | Self::Flags(_) => &[],
        }
    }

    /// The codes; empty for another kind of column.
    pub fn codes(&self) -> &[u32] {
        match self {
            Self::Numbers(_) | Self::Flags(_) => &[],
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
