//! Cells of a page as they stand in the file: text, kind, formula, in rows with their numbers.
//!
//! One text holds the content of all cells, so that a million rows stay small. Nothing here knows
//! what the cells mean.

/// What stood in a cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// A text.
    Text,
    /// A number, as the shortest decimal that gives it back.
    Number,
    /// A date, a time or both, year first.
    Date,
    /// A truth value, `TRUE` or `FALSE`.
    Flag,
    /// An error of the spreadsheet, such as `#DIV/0!`.
    Error,
    /// A formula without a result; the text is empty.
    NotCalculated,
}

impl Kind {
    /// All kinds, in the order of their numbers between processes.
    pub(super) const ALL: [Self; 6] = [
        Self::Text,
        Self::Number,
        Self::Date,
        Self::Flag,
        Self::Error,
        Self::NotCalculated,
    ];

    /// Its number between processes.
    pub(super) fn number(self) -> u8 {
        match self {
            Self::Text => 0,
            Self::Number => 1,
            Self::Date => 2,
            Self::Flag => 3,
            Self::Error => 4,
            Self::NotCalculated => 5,
        }
    }
}

/// A cell that holds something.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cell<'g> {
    /// Its column, the first being zero.
    pub column: usize,
    /// What it holds.
    pub kind: Kind,
    /// The content as text.
    pub text: &'g str,
    /// The formula behind it, without the sign before it.
    pub formula: Option<&'g str>,
}

/// The rows of a page that stand in the file, in order; cells that hold nothing are not kept.
#[derive(Debug, Clone, Default)]
pub struct Grid {
    text: String,
    cells: Vec<Slot>,
    rows: Vec<Row>,
    /// Formulas by the position of their cell, ascending.
    formulas: Vec<(u32, u32, u32)>,
}

#[derive(Debug, Clone, Copy)]
struct Slot {
    start: u32,
    len: u32,
    column: u16,
    kind: Kind,
}

#[derive(Debug, Clone, Copy)]
struct Row {
    number: u32,
    first: u32,
    n_cells: u32,
    width: u32,
    hidden: bool,
}

/// A row of a grid.
#[derive(Debug, Clone, Copy)]
pub struct RowView<'g> {
    grid: &'g Grid,
    row: Row,
}

/// The most text that a grid holds, in bytes.
pub(super) const MAX_TEXT: usize = 256_000_000;

impl Grid {
    /// How many rows there are.
    pub fn n_rows(&self) -> usize {
        self.rows.len()
    }

    /// How many cells hold something.
    pub fn n_cells(&self) -> usize {
        self.cells.len()
    }

    /// The row at a position, not at a number.
    pub fn row(&self, at: usize) -> Option<RowView<'_>> {
        let row = *self.rows.get(at)?;
        Some(RowView { grid: self, row })
    }

    /// All rows in order.
    pub fn rows(&self) -> impl Iterator<Item = RowView<'_>> {
        self.rows.iter().map(|row| RowView {
            grid: self,
            row: *row,
        })
    }

    /// Begins a row with the number that a person sees beside it.
    pub(crate) fn begin_row(&mut self, number: u32, hidden: bool) {
        self.rows.push(Row {
            number,
            first: u32::try_from(self.cells.len()).unwrap_or(u32::MAX),
            n_cells: 0,
            width: 0,
            hidden,
        });
    }

    /// Puts a cell into the row begun last; `false` where the grid is full.
    pub(crate) fn push(&mut self, column: usize, kind: Kind, text: &str) -> bool {
        let (Ok(start), Ok(len)) = (u32::try_from(self.text.len()), u32::try_from(text.len()))
        else {
            return false;
        };
        let Ok(column) = u16::try_from(column) else {
            return false;
        };
        let Some(row) = self.rows.last_mut() else {
            return false;
        };
        if self.text.len() + text.len() > MAX_TEXT {
            return false;
        }
        row.n_cells += 1;
        row.width = row.width.max(u32::from(column) + 1);
        self.text.push_str(text);
        self.cells.push(Slot {
            start,
            len,
            column,
            kind,
        });
        true
    }

    /// Gives the cell put in last its formula; `false` where the grid is full.
    pub(super) fn formula(&mut self, text: &str) -> bool {
        let (Ok(start), Ok(len)) = (u32::try_from(self.text.len()), u32::try_from(text.len()))
        else {
            return false;
        };
        let at = self.cells.len().checked_sub(1);
        let at = at.and_then(|at| u32::try_from(at).ok());
        let (Some(at), true) = (at, self.text.len() + text.len() <= MAX_TEXT) else {
            return false;
        };
        self.text.push_str(text);
        self.formulas.push((at, start, len));
        true
    }

    /// Puts a cell into the row begun last whose content stands in the text that the grid gets when
    /// all cells are there; `false` where the grid is full.
    pub(crate) fn push_at(&mut self, column: usize, start: usize, len: usize) -> bool {
        let (Ok(start), Ok(len)) = (u32::try_from(start), u32::try_from(len)) else {
            return false;
        };
        let (Ok(column), Some(row)) = (u16::try_from(column), self.rows.last_mut()) else {
            return false;
        };
        row.n_cells += 1;
        row.width = row.width.max(u32::from(column) + 1);
        self.cells.push(Slot {
            start,
            len,
            column,
            kind: Kind::Text,
        });
        true
    }

    /// Adds the rows of a grid over the same text that follow, numbered on.
    pub(crate) fn append(&mut self, later: Self) {
        let n_cells = u32::try_from(self.cells.len()).unwrap_or(u32::MAX);
        let last = self.rows.last().map_or(0, |row| row.number);
        self.cells.extend(later.cells);
        self.rows.extend(later.rows.into_iter().map(|row| Row {
            number: row.number + last,
            first: row.first + n_cells,
            ..row
        }));
    }

    /// Gives a grid the text in which its cells stand.
    pub(crate) fn over(mut self, text: String) -> Self {
        self.text = text;
        self
    }

    /// The row begun last has at least so many cells, empty ones included.
    pub(crate) fn widen(&mut self, width: usize) {
        if let Some(row) = self.rows.last_mut() {
            row.width = row.width.max(u32::try_from(width).unwrap_or(u32::MAX));
        }
    }

    /// Puts rows and their cells in order where a file has them in another one.
    pub(super) fn in_order(&mut self) {
        for at in 0..self.rows.len() {
            let row = self.rows[at];
            let span = row.first as usize..(row.first + row.n_cells) as usize;
            let cells = self.cells.get(span.clone()).unwrap_or_default();
            if !cells.is_sorted_by_key(|cell| cell.column) {
                self.order_cells(span);
            }
        }
        if !self.rows.is_sorted_by_key(|row| row.number) {
            self.rows.sort_by_key(|row| row.number);
        }
    }

    /// Orders the cells of a row; formulas follow theirs.
    fn order_cells(&mut self, span: std::ops::Range<usize>) {
        let mut order: Vec<usize> = span.clone().collect();
        order.sort_by_key(|at| self.cells[*at].column);
        let cells: Vec<Slot> = order.iter().map(|at| self.cells[*at]).collect();
        let start = self
            .formulas
            .partition_point(|known| (known.0 as usize) < span.start);
        let end = self
            .formulas
            .partition_point(|known| (known.0 as usize) < span.end);
        for known in &mut self.formulas[start..end] {
            let now = order.iter().position(|at| *at == known.0 as usize);
            let now = now.map(|now| u32::try_from(span.start + now));
            known.0 = now.and_then(Result::ok).unwrap_or(known.0);
        }
        self.formulas[start..end].sort_unstable();
        self.cells[span].copy_from_slice(&cells);
    }

    fn text_at(&self, start: u32, len: u32) -> &str {
        let span = start as usize..start as usize + len as usize;
        self.text.get(span).unwrap_or_default()
    }
}

impl<'g> RowView<'g> {
    /// Its number beside the page, the first row being one.
    pub fn number(&self) -> usize {
        self.row.number as usize
    }

    /// Whether it was hidden.
    pub fn is_hidden(&self) -> bool {
        self.row.hidden
    }

    /// How many cells it has, up to the last one that stands in the file.
    pub fn width(&self) -> usize {
        self.row.width as usize
    }

    /// Its cells that hold something, from left to right.
    pub fn cells(self) -> impl DoubleEndedIterator<Item = Cell<'g>> {
        let first = self.row.first as usize;
        let slots = self.slots().iter().enumerate();
        slots.map(move |(at, slot)| self.cell_of(first + at, slot))
    }

    /// The cell of a column, where it holds something.
    pub fn cell(self, column: usize) -> Option<Cell<'g>> {
        let slots = self.slots();
        let at = slots
            .binary_search_by_key(&column, |slot| usize::from(slot.column))
            .ok()?;
        Some(self.cell_of(self.row.first as usize + at, &slots[at]))
    }

    fn slots(self) -> &'g [Slot] {
        let first = self.row.first as usize;
        let span = first..first + self.row.n_cells as usize;
        self.grid.cells.get(span).unwrap_or_default()
    }

    fn cell_of(self, at: usize, slot: &Slot) -> Cell<'g> {
        let formulas = &self.grid.formulas;
        let formula = match formulas.is_empty() {
            true => None,
            false => formulas
                .binary_search_by_key(&at, |known| known.0 as usize)
                .ok()
                .map(|at| self.grid.text_at(formulas[at].1, formulas[at].2)),
        };
        Cell {
            column: usize::from(slot.column),
            kind: slot.kind,
            text: self.grid.text_at(slot.start, slot.len),
            formula,
        }
    }
}
