//! Values of one sheet by the names of its columns, as a study asks for them.
//!
//! Reads a plan and its engine; a column that is not there has no value.

use crate::engine::Engine;
use crate::plan::Plan;
use crate::table::{ABSENT, Cell, ColumnId, RowId, SheetId};

/// One sheet of a plan with everything computed.
#[derive(Debug, Clone, Copy)]
pub struct Look<'a> {
    /// The plan.
    pub plan: &'a Plan,
    /// Everything computed from it.
    pub engine: &'a Engine,
    /// The sheet.
    pub sheet: SheetId,
}

impl<'a> Look<'a> {
    /// The sheet of a name.
    pub fn new(plan: &'a Plan, engine: &'a Engine, sheet: &str) -> Option<Self> {
        let sheet = plan.sheet(sheet)?;
        Some(Self {
            plan,
            engine,
            sheet,
        })
    }

    /// The rows in the order shown.
    pub fn rows(self) -> &'a [RowId] {
        self.plan.rows(self.sheet).order()
    }

    /// The id of a row.
    pub fn id(self, row: RowId) -> String {
        self.plan.id(self.sheet, row)
    }

    /// The column of a name.
    pub fn column(self, name: &str) -> Option<ColumnId> {
        self.engine.find_column(self.sheet, name)
    }

    /// The value of a column.
    pub fn cell(self, name: &str, row: RowId) -> Cell {
        let column = self.column(name);
        column.map_or(Cell::Missing, |column| {
            self.engine.cell(self.plan, column, row)
        })
    }

    /// A number in base units.
    pub fn number(self, name: &str, row: RowId) -> Option<f64> {
        number_of(&self.cell(name, row))
    }

    /// A text, or the name of a row; none where there is nothing.
    pub fn text(self, name: &str, row: RowId) -> Option<String> {
        match self.cell(name, row) {
            Cell::Text(text) => Some(text),
            Cell::Number(_) | Cell::Flag(_) | Cell::Missing | Cell::Failed => None,
        }
    }

    /// Whether a column of flags says yes.
    pub fn is(self, name: &str, row: RowId) -> bool {
        self.cell(name, row) == Cell::Flag(true)
    }

    /// The row that a column points to.
    pub fn through(self, name: &str, row: RowId) -> Option<RowId> {
        let to = self.engine.row_at(self.column(name)?, row);
        (to != ABSENT).then_some(RowId(to))
    }

    /// A number of a column as a person reads it, unit included; `unknown` where there is none.
    pub fn said(self, name: &str, value: Option<f64>) -> String {
        match (self.column(name), value) {
            (Some(column), Some(value)) => self.engine.shown_cell(column, &Cell::Number(value)),
            (Some(_) | None, _) => "unknown".to_owned(),
        }
    }
}

/// The number in a cell.
pub(super) fn number_of(cell: &Cell) -> Option<f64> {
    match cell {
        Cell::Number(value) if value.is_finite() => Some(*value),
        Cell::Number(_) | Cell::Text(_) | Cell::Flag(_) | Cell::Missing | Cell::Failed => None,
    }
}
