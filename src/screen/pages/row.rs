//! What pages ask of one row: its name, its cells by the name of a column, where it leads.
//!
//! Reads an open plan; a sheet or column that is not there has no value.

use crate::desk::Desk;
use crate::screen::page::Target;
use crate::table::{ABSENT, Cell, ColumnId, RowId, SheetId};

/// A row of a sheet of an open plan.
#[derive(Debug, Clone, Copy)]
pub(super) struct Row<'a> {
    /// The plan.
    pub desk: &'a Desk,
    /// The sheet.
    pub sheet: SheetId,
    /// The row.
    pub row: RowId,
}

impl<'a> Row<'a> {
    /// The row of a sheet.
    pub fn new(desk: &'a Desk, sheet: SheetId, row: RowId) -> Self {
        Self { desk, sheet, row }
    }

    /// What the row is called in its sheet.
    pub fn id(self) -> String {
        self.desk.plan().id(self.sheet, self.row)
    }

    /// What the row is, and what it is called: `link M104`.
    pub fn name(self) -> String {
        let word = self.desk.plan().def(self.sheet).row_word();
        format!("{word} {}", self.id())
    }

    /// The column of a name.
    pub fn column(self, name: &str) -> Option<ColumnId> {
        self.desk.engine().find_column(self.sheet, name)
    }

    /// The value of a column.
    pub fn cell(self, name: &str) -> Cell {
        let column = self.column(name);
        column.map_or(Cell::Missing, |column| {
            self.desk.engine().cell(self.desk.plan(), column, self.row)
        })
    }

    /// The value of a column as a person reads it; none where there is nothing.
    pub fn shown(self, name: &str) -> Option<String> {
        let text = self
            .desk
            .engine()
            .shown(self.desk.plan(), self.column(name)?, self.row);
        (!text.is_empty()).then_some(text)
    }

    /// A number in the unit of its column.
    pub fn number(self, name: &str) -> Option<f64> {
        match self.cell(name) {
            Cell::Number(value) => {
                let unit = self.desk.engine().unit(self.column(name)?);
                Some(unit.from_base(value)).filter(|value| value.is_finite())
            }
            Cell::Text(_) | Cell::Flag(_) | Cell::Missing | Cell::Failed => None,
        }
    }

    /// Whether a column of flags says yes.
    pub fn is(self, name: &str) -> bool {
        self.cell(name) == Cell::Flag(true)
    }

    /// The row of another sheet that a column points to.
    pub fn through(self, name: &str, sheet: &str) -> Option<Row<'a>> {
        let row = self.desk.engine().row_at(self.column(name)?, self.row);
        let sheet = self.desk.plan().sheet(sheet)?;
        (row != ABSENT).then_some(Row::new(self.desk, sheet, RowId(row)))
    }

    /// The cell of a column, to go there; nowhere for a row that was taken away.
    pub fn target(self, name: &str) -> Target {
        let is_live = self.desk.plan().rows(self.sheet).is_live(self.row);
        match self.column(name) {
            Some(column) if is_live => Target::Cell(self.sheet, self.row, column),
            Some(_) | None => Target::None,
        }
    }
}
