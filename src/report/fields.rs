//! The columns of a sheet as formats without live formulas write them: name, heading, values.
//!
//! Which columns are worth a place is decided in `layout.rs` and `trade::ledger`.

use super::Request;
use super::layout;
use super::stored::{Datum, Reader, Values};
use crate::sheet::ColumnDef;
use crate::table::{Cell, ColumnId, RowId, SheetId};
use crate::units::significant;

/// Digits of a computed number: all that a decimal fraction keeps.
const DIGITS: usize = 15;

/// A column of a sheet with its values.
pub struct Field<'a> {
    /// Which column.
    pub id: ColumnId,
    /// What it is.
    pub def: &'a ColumnDef,
    values: Values<'a>,
}

impl<'a> Field<'a> {
    /// A column for all rows of its sheet, in the order shown.
    pub fn new(request: &Request<'a>, sheet: SheetId, column: ColumnId) -> Option<Self> {
        let (plan, engine) = (request.plan, request.engine);
        let rows = plan.rows(sheet).order();
        Some(Self {
            id: column,
            def: engine.def(column)?,
            values: Values::Column(Reader::new(plan, engine, column, rows)),
        })
    }

    /// What stands in a row, counted from 0 in the order shown; numbers in the unit of the column.
    pub fn at(&self, row: usize) -> Datum<'_> {
        self.values.at(row)
    }

    /// Its name with its unit: `length (m)`.
    pub fn heading(&self) -> String {
        with_unit(&self.def.name, &self.def.unit)
    }

    /// A number of it as exact text: what was entered as it was, what was computed to 15 digits.
    pub fn exact(&self, value: f64) -> String {
        match self.def.entered() {
            true => format!("{value}"),
            false => significant(value, DIGITS),
        }
    }
}

fn with_unit(name: &str, unit: &str) -> String {
    match unit.is_empty() {
        true => name.to_owned(),
        false => format!("{name} ({unit})"),
    }
}

/// The columns of a sheet that people read, the id first.
pub fn of_ledger<'a>(request: &Request<'a>, sheet: SheetId) -> Vec<Field<'a>> {
    let columns = layout::shown(request.plan, request.engine, sheet).into_iter();
    columns
        .filter_map(|column| Field::new(request, sheet, column))
        .collect()
}

/// All columns of a sheet, but for the flags of its checks, which are told as findings.
pub fn all<'a>(request: &Request<'a>, sheet: SheetId) -> Vec<Field<'a>> {
    let n_own = request.plan.def(sheet).columns.len();
    let n_all = request.engine.schema()[sheet.at()].columns.len();
    let columns = (0..n_all).map(|at| (at, request.engine.column(sheet, at)));
    let fields = columns.filter_map(|(at, column)| Some((at, Field::new(request, sheet, column)?)));
    let told = fields.filter(|(at, field)| *at < n_own || field.def.name == "verdict");
    told.map(|(_, field)| field).collect()
}

/// A cell as a person reads it, with its unit; empty where nothing is there.
pub fn shown(request: &Request<'_>, sheet: SheetId, name: &str, row: RowId) -> String {
    let Some(column) = request.engine.find_column(sheet, name) else {
        return String::new();
    };
    let cell = request.engine.cell(request.plan, column, row);
    match cell {
        Cell::Missing => wrong(request, sheet, column, row).unwrap_or_default(),
        Cell::Number(_) | Cell::Text(_) | Cell::Flag(_) | Cell::Failed => {
            request.engine.shown_cell(column, &cell)
        }
    }
}

/// The text of an entered cell that could not be read for its column.
pub fn wrong(
    request: &Request<'_>,
    sheet: SheetId,
    column: ColumnId,
    row: RowId,
) -> Option<String> {
    let position = column
        .at()
        .checked_sub(request.engine.column(sheet, 0).at())?;
    request
        .plan
        .rows(sheet)
        .wrong()
        .get(&(position, row))
        .cloned()
}

/// The sheets with rows, in the order of the plan.
pub fn filled(request: &Request<'_>) -> Vec<SheetId> {
    let schema = request.plan.schema().iter();
    let sheets = schema.filter_map(|def| request.plan.sheet(&def.name));
    sheets
        .filter(|sheet| !request.plan.rows(*sheet).order().is_empty())
        .collect()
}
