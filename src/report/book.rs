//! What stands where in a workbook: blocks of rows with their columns, and marks for places.
//!
//! A formula under construction names cells by marks, since where a column ends up is known only
//! when all of them are there. Nothing here knows formulas or file formats.

use crate::formula::Typed;
use crate::table::{ColumnId, ParamId, RowId, SheetId};
use std::collections::BTreeSet;
use std::fmt::Write;

const CELL: char = '\u{1}';
const RANGE: char = '\u{2}';
const ASSUMED: char = '\u{3}';
const END: char = '\u{4}';

/// A column of a block.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Place {
    /// Which block.
    pub block: usize,
    /// Which of its columns.
    pub column: usize,
}

impl Place {
    /// The cell of this column in the row of the formula.
    pub fn cell(self) -> String {
        format!("{CELL}{}.{}{END}", self.block, self.column)
    }

    /// All cells of this column.
    pub fn range(self) -> String {
        format!("{RANGE}{}.{}{END}", self.block, self.column)
    }
}

/// The cell with the value of an assumption.
pub fn assumed(param: ParamId) -> String {
    format!("{ASSUMED}{}{END}", param.at())
}

/// Whether a text could be taken for a mark, or not be written into a workbook.
pub fn is_markless(text: &str) -> bool {
    !text.chars().any(char::is_control)
}

/// What stands in the cells of a column.
#[derive(Debug, Clone, PartialEq)]
pub enum Content {
    /// What a person entered.
    Entered,
    /// Not looked at yet.
    Pending,
    /// A formula with marks.
    Formula(String),
    /// Our value, because a workbook cannot compute it: why.
    Value(String),
}

/// Where the values of a column come from.
#[derive(Debug, Clone)]
pub enum Stored {
    /// A column of the plan.
    Column(ColumnId),
    /// A part of a formula; of rows, their text.
    Part(Box<Typed>),
    /// Where a row stands in a block.
    At(Box<Typed>, usize),
    /// The values of two columns with a bar between, empty where one is.
    Pair(Place, Place),
    /// Values that count, `missing` where one that counts is missing.
    Counted {
        /// Which rows count; none: all.
        conditions: Vec<Typed>,
        /// The value; none: 1.
        value: Option<Box<Typed>>,
        /// What the values are divided by.
        scale: f64,
    },
    /// How many of the same group come before a value.
    Rank {
        /// The values.
        of: Place,
        /// The groups.
        by: Place,
        /// Whether greater ones come first.
        falling: bool,
    },
}

/// A column of a block.
#[derive(Debug, Clone)]
pub struct Col {
    /// What a person reads above it.
    pub title: String,
    /// The unit its numbers are in.
    pub unit: String,
    /// The column of the plan that it is, if it is one.
    pub column: Option<ColumnId>,
    /// What stands in its cells.
    pub content: Content,
    /// Where its values come from.
    pub stored: Stored,
    /// What a value in base units is divided by.
    pub scale: f64,
    /// Whether it is for people; the others serve formulas.
    pub shown: bool,
    /// Whether every cell has a value.
    pub sure: bool,
    /// Columns written as values that it hangs on.
    pub leans: BTreeSet<Place>,
}

/// The rows of a sheet with its columns.
#[derive(Debug, Clone)]
pub struct Block {
    /// The sheet.
    pub sheet: SheetId,
    /// Its rows in the order of the page.
    pub rows: Vec<RowId>,
    /// For each place in storage, the position on the page from 1; 0 where there is none.
    pub positions: Vec<u32>,
    /// Why rows cannot be found by their names.
    pub unnamed: Option<&'static str>,
    /// Whether a row has no id.
    pub is_nameless: bool,
    /// Its columns.
    pub columns: Vec<Col>,
}

/// Where the parts of a workbook stand in the end.
#[derive(Debug, Clone, Default)]
pub struct Grid {
    /// For each block: the page, the first row, and the letters of its columns.
    pub blocks: Vec<Spot>,
    /// The page and row of each assumption, and the letters of the column that is read.
    pub assumed: Vec<(String, u32, String)>,
}

/// Where a block stands.
#[derive(Debug, Clone, Default)]
pub struct Spot {
    /// The name of the page.
    pub page: String,
    /// The first row of values, from 1.
    pub first: u32,
    /// How many rows.
    pub n_rows: u32,
    /// For each column its letters; none for one that is left out.
    pub letters: Vec<Option<String>>,
}

/// The letters of a column, from 0.
pub fn letters(column: usize) -> String {
    let mut rest = column + 1;
    let mut text = Vec::new();
    while rest > 0 {
        let digit = u8::try_from((rest - 1) % 26).unwrap_or(0);
        text.push(char::from(b'A' + digit));
        rest = (rest - 1) / 26;
    }
    text.iter().rev().collect()
}

/// A formula with its places known, but for the row.
#[derive(Debug, Clone)]
pub struct Template {
    parts: Vec<Part>,
}

#[derive(Debug, Clone)]
enum Part {
    Text(String),
    /// The number of the row.
    Row,
}

impl Template {
    /// A formula with marks as it stands on a page.
    pub fn new(marked: &str, page: &str, grid: &Grid) -> Self {
        let mut parts = vec![Part::Text(String::new())];
        for piece in pieces(marked) {
            let text = match piece {
                Piece::Plain(text) => text.to_owned(),
                Piece::Cell(place) => {
                    let letters = grid.letters(place);
                    push(&mut parts, letters);
                    parts.push(Part::Row);
                    continue;
                }
                Piece::Range(place) => {
                    let spot = &grid.blocks[place.block];
                    let (letters, first) = (grid.letters(place), spot.first);
                    let last = first + spot.n_rows.max(1) - 1;
                    let sheet = beside(&spot.page, page);
                    format!("{sheet}${letters}${first}:${letters}${last}")
                }
                Piece::Assumed(at) => match grid.assumed.get(at) {
                    Some((sheet, row, letters)) => {
                        format!("{}${letters}${row}", beside(sheet, page))
                    }
                    None => "\"\"".to_owned(),
                },
            };
            push(&mut parts, &text);
        }
        Self { parts }
    }

    /// Writes the formula of a row, from 1.
    pub fn write(&self, row: u32, into: &mut String) {
        into.clear();
        for part in &self.parts {
            match part {
                Part::Text(text) => into.push_str(text),
                Part::Row => {
                    // Writing to a text does not fail.
                    let _ = write!(into, "{row}");
                }
            }
        }
    }
}

fn push(parts: &mut Vec<Part>, text: &str) {
    match parts.last_mut() {
        Some(Part::Text(last)) => last.push_str(text),
        Some(Part::Row) | None => parts.push(Part::Text(text.to_owned())),
    }
}

fn beside(of: &str, page: &str) -> String {
    match of == page {
        true => String::new(),
        false => format!("{of}!"),
    }
}

impl Grid {
    fn letters(&self, place: Place) -> &str {
        let spot = self.blocks.get(place.block);
        let letters = spot.and_then(|spot| spot.letters.get(place.column)?.as_deref());
        letters.unwrap_or("A")
    }
}

/// A part of a formula with marks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Piece<'a> {
    /// Plain text.
    Plain(&'a str),
    /// A cell of the same row.
    Cell(Place),
    /// All cells of a column.
    Range(Place),
    /// An assumption.
    Assumed(usize),
}

/// The parts of a formula with marks.
pub fn pieces(marked: &str) -> Vec<Piece<'_>> {
    let mut all = Vec::new();
    let mut rest = marked;
    while let Some(at) = rest.find([CELL, RANGE, ASSUMED]) {
        all.push(Piece::Plain(&rest[..at]));
        let kind = rest[at..].chars().next();
        let inside = &rest[at + 1..];
        let Some(end) = inside.find(END) else {
            return all;
        };
        let (block, column) = inside[..end]
            .split_once('.')
            .unwrap_or((&inside[..end], "0"));
        let number = |text: &str| text.parse::<usize>().unwrap_or(0);
        let place = Place {
            block: number(block),
            column: number(column),
        };
        all.push(match kind {
            Some(CELL) => Piece::Cell(place),
            Some(RANGE) => Piece::Range(place),
            _ => Piece::Assumed(place.block),
        });
        rest = &inside[end + 1..];
    }
    all.push(Piece::Plain(rest));
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_have_letters() {
        assert_eq!(letters(0), "A");
        assert_eq!(letters(25), "Z");
        assert_eq!(letters(26), "AA");
        assert_eq!(letters(701), "ZZ");
        assert_eq!(letters(702), "AAA");
    }

    #[test]
    fn marks_become_places() {
        let place = Place {
            block: 0,
            column: 1,
        };
        let grid = Grid {
            blocks: vec![Spot {
                page: "Links".to_owned(),
                first: 5,
                n_rows: 3,
                letters: vec![None, Some("H".to_owned())],
            }],
            assumed: vec![("Assumptions".to_owned(), 9, "E".to_owned())],
        };
        let marked = format!(
            "{}+SUM({})*{}",
            place.cell(),
            place.range(),
            assumed(ParamId(0))
        );
        let mut text = String::new();
        Template::new(&marked, "Links", &grid).write(7, &mut text);
        assert_eq!(text, "H7+SUM($H$5:$H$7)*Assumptions!$E$9");
        Template::new(&place.range(), "Switches", &grid).write(7, &mut text);
        assert_eq!(text, "Links!$H$5:$H$7");
    }
}
