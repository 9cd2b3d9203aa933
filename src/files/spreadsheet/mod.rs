//! Spreadsheets of other programs as pages of cells: xlsx, xlsb, xls and ods.
//!
//! The libraries that read such files can be brought down by a file of a few kilobytes, so they
//! run in a process of their own (`apart.rs` here, `serve.rs` there), with limits on memory, time
//! and files. What comes back is a [`Book`]. What its cells mean is decided elsewhere; a table of
//! text is no spreadsheet and is read in `files::import`.

mod apart;
mod grid;
mod limits;
mod ods;
mod package;
mod serve;
mod wire;
mod xls;
mod xls_size;
mod xlsx;

pub use apart::{Reader, Wanted};
pub use grid::{Cell, Grid, Kind, RowView};
pub use serve::serve;

use std::fmt;

/// The name under which the program runs itself to read a spreadsheet.
pub const SERVE: &str = "read-apart";

/// The most cells that are read, of all pages together.
pub const MAX_CELLS: usize = 10_000_000;

/// So many rows of each page are looked at to find the one that is meant.
pub const N_LOOKED_AT: usize = 120;

/// The longest text of one cell, in bytes.
const MAX_CELL_TEXT: usize = 1_000_000;

/// What kind of file a spreadsheet is, by its content.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// Office Open XML (ISO/IEC 29500), pages as XML.
    Xlsx,
    /// The same with pages in binary.
    Xlsb,
    /// The binary form before it, in a compound file.
    Xls,
    /// OpenDocument (ISO/IEC 26300).
    Ods,
    /// One page as a table of text; never read apart.
    Text,
}

impl fmt::Display for Form {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Xlsx => "xlsx",
            Self::Xlsb => "xlsb",
            Self::Xls => "xls",
            Self::Ods => "ods",
            Self::Text => "text",
        })
    }
}

/// A spreadsheet, or as much of it as was wanted.
#[derive(Debug, Clone)]
pub struct Book {
    /// What kind of file it is.
    pub form: Form,
    /// Its pages in order.
    pub pages: Vec<Page>,
    /// Custom properties of the document, name and value.
    pub properties: Vec<(String, String)>,
    /// What is to be known of the file: macros that were not run, links that were not followed.
    pub notes: Vec<String>,
    /// Whether serial days count from 1904 instead of 1900.
    pub from_1904: bool,
}

/// A page of a spreadsheet.
#[derive(Debug, Clone, Default)]
pub struct Page {
    /// Its name.
    pub name: String,
    /// Whether it was hidden.
    pub is_hidden: bool,
    /// Its cells.
    pub grid: Grid,
    /// Cells that are merged into one.
    pub merged: Vec<Area>,
    /// Whether all of its rows were read, not the first ones alone.
    pub is_whole: bool,
    /// Why no more of it could be read.
    pub trouble: Option<String>,
}

/// A rectangle of cells: rows by number, columns from zero, both ends included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Area {
    /// The first row.
    pub top: u32,
    /// The last row.
    pub bottom: u32,
    /// The first column.
    pub left: u32,
    /// The last column.
    pub right: u32,
}

/// A cell as people name it: column letters and row number, both from one on.
pub fn address(column: usize, row: usize) -> String {
    let (mut letters, mut rest) = (Vec::new(), column + 1);
    while rest > 0 {
        let digit = u8::try_from((rest - 1) % 26).unwrap_or(0);
        letters.push(char::from(b'A' + digit));
        rest = (rest - 1) / 26;
    }
    let letters: String = letters.into_iter().rev().collect();
    format!("{letters}{row}")
}

/// The column and row number of an address such as `B12`.
fn place_of(address: &str) -> Option<(u32, u32)> {
    let letters = address.trim_start_matches('$');
    let n_letters = letters.bytes().take_while(u8::is_ascii_alphabetic).count();
    let (letters, row) = letters.split_at(n_letters);
    let mut column = 0_u32;
    for letter in letters.bytes() {
        let digit = u32::from(letter.to_ascii_uppercase() - b'A') + 1;
        column = column.checked_mul(26)?.checked_add(digit)?;
    }
    let row = row.trim_start_matches('$').parse().ok()?;
    Some((column.checked_sub(1)?, row))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_are_those_of_spreadsheets() {
        for (column, row, text) in [
            (0, 1, "A1"),
            (25, 9, "Z9"),
            (26, 12, "AA12"),
            (16_383, 1_048_576, "XFD1048576"),
        ] {
            assert_eq!(address(column, row), text);
            let place = place_of(text).map(|(c, r)| (c as usize, r as usize));
            assert_eq!(place, Some((column, row)));
        }
        assert_eq!(place_of("12"), None);
        assert_eq!(place_of("AAAAAAAAAA1"), None);
    }
}
