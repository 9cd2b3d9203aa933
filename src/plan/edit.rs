//! Every way a plan can change, and how each is taken back.
//!
//! Applying an edit gives its inverse, so undo is apply. Text is read before it gets here.

use super::{Entry, Plan, SheetView, empty_column};
use crate::problem::Problem;
use crate::problem::Severity;
use crate::sheet::ColumnDef;
use crate::table::ABSENT;
use crate::table::ParamId;
use crate::table::RowId;
use crate::table::SheetId;

/// One cell: column position and row.
pub type Place = (usize, RowId);

/// A change to a plan.
#[derive(Debug, Clone, PartialEq)]
pub enum Edit {
    /// Writes cells of entered columns.
    SetCells {
        /// Which sheet.
        sheet: SheetId,
        /// Each cell with its new content.
        cells: Vec<(Place, Entry)>,
    },
    /// Adds rows at a position of the order; each row lists its given cells by column.
    AddRows {
        /// Which sheet.
        sheet: SheetId,
        /// Position of the first new row.
        at: usize,
        /// The cells of each new row.
        rows: Vec<Vec<(usize, Entry)>>,
    },
    /// Takes rows away; their cells stay in storage for undo.
    RemoveRows {
        /// Which sheet.
        sheet: SheetId,
        /// The rows.
        rows: Vec<RowId>,
    },
    /// Puts removed rows back at their positions, given in ascending order.
    RestoreRows {
        /// Which sheet.
        sheet: SheetId,
        /// Position and row.
        rows: Vec<(usize, RowId)>,
    },
    /// Gives the rows another order.
    Reorder {
        /// Which sheet.
        sheet: SheetId,
        /// All live rows in the new order.
        order: Vec<RowId>,
    },
    /// Sets an assumption with its source; `own` false puts the built-in value back.
    SetAssumption {
        /// Which assumption.
        param: ParamId,
        /// The value.
        entry: Entry,
        /// Where it comes from.
        source: String,
        /// Whether it is the person's.
        own: bool,
    },
    /// Puts a formula in place of a column's own; `None` puts the built-in one back.
    SetFormula {
        /// Which sheet.
        sheet: SheetId,
        /// Which column.
        column: usize,
        /// The formula.
        formula: Option<String>,
    },
    /// Adds an own column after all others.
    AddColumn {
        /// Which sheet.
        sheet: SheetId,
        /// What it is.
        def: ColumnDef,
    },
    /// Takes the last own column away with its cells.
    RemoveLastColumn {
        /// Which sheet.
        sheet: SheetId,
    },
    /// Changes the severity of a check; the inner `None` switches it off, the outer one puts
    /// the built-in severity back.
    SetSeverity {
        /// The check.
        check: String,
        /// The severity.
        severity: Option<Option<Severity>>,
    },
    /// Says how a sheet is to be seen; no value depends on it.
    SetView {
        /// Which sheet.
        sheet: SheetId,
        /// How.
        view: SheetView,
    },
    /// Sets the title.
    SetTitle(String),
    /// Sets the id by which workbooks know the plan.
    SetId(String),
    /// Several edits as one step, in order.
    Group(Vec<Edit>),
}

/// What an edit did.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// The edit that takes it back.
    pub inverse: Edit,
    /// What the engine has to look at.
    pub touched: Vec<Touched>,
}

/// A part of the plan that is not as it was.
#[derive(Debug, Clone, PartialEq)]
pub enum Touched {
    /// Cells of one column.
    Cells(SheetId, usize, Vec<RowId>),
    /// Rows came or went.
    Rows(SheetId, Vec<RowId>),
    /// The order of rows.
    Order(SheetId),
    /// One assumption.
    Assumption(ParamId),
    /// Columns, formulas or checks.
    Schema,
}

impl Plan {
    /// Makes a change, whole or not at all.
    ///
    /// # Errors
    /// A row, column or position that does not exist; the plan is then as before.
    pub fn apply(&mut self, edit: Edit) -> Result<Change, Problem> {
        match edit {
            Edit::SetCells { sheet, cells } => self.set_cells(sheet, cells),
            Edit::AddRows { sheet, at, rows } => self.add_rows(sheet, at, rows),
            Edit::RemoveRows { sheet, rows } => self.remove_rows(sheet, rows),
            Edit::RestoreRows { sheet, rows } => self.restore_rows(sheet, rows),
            Edit::Reorder { sheet, order } => self.reorder(sheet, order),
            Edit::SetAssumption {
                param,
                entry,
                source,
                own,
            } => self.set_assumption(param, entry, source, own),
            Edit::SetFormula {
                sheet,
                column,
                formula,
            } => self.set_formula(sheet, column, formula),
            Edit::AddColumn { sheet, def } => self.add_column(sheet, def),
            Edit::RemoveLastColumn { sheet } => self.remove_last_column(sheet),
            Edit::SetSeverity { check, severity } => Ok(self.set_severity(check, severity)),
            Edit::SetView { sheet, view } => self.set_view(sheet, view),
            Edit::SetTitle(title) => Ok(Change {
                inverse: Edit::SetTitle(std::mem::replace(&mut self.title, title)),
                touched: Vec::new(),
            }),
            Edit::SetId(id) => Ok(Change {
                inverse: Edit::SetId(std::mem::replace(&mut self.id, id)),
                touched: Vec::new(),
            }),
            Edit::Group(edits) => self.apply_group(edits),
        }
    }

    /// Applies edits in order; when one fails, those before it are taken back.
    fn apply_group(&mut self, edits: Vec<Edit>) -> Result<Change, Problem> {
        let (mut inverses, mut touched) = (Vec::new(), Vec::new());
        for edit in edits {
            match self.apply(edit) {
                Ok(change) => {
                    inverses.push(change.inverse);
                    touched.extend(change.touched);
                }
                Err(problem) => {
                    for inverse in inverses.into_iter().rev() {
                        self.apply(inverse)
                            .expect("an inverse applies to the plan it came from");
                    }
                    return Err(problem);
                }
            }
        }
        inverses.reverse();
        Ok(Change {
            inverse: Edit::Group(inverses),
            touched,
        })
    }

    fn set_cells(&mut self, sheet: SheetId, cells: Vec<(Place, Entry)>) -> Result<Change, Problem> {
        for ((column, row), _) in &cells {
            self.must_be_entered(sheet, *column)?;
            self.must_be_stored(sheet, *row)?;
            self.must_be_own(sheet, *row)?;
        }
        let (mut before, mut touched) = (Vec::with_capacity(cells.len()), Vec::new());
        for (place @ (column, row), entry) in cells {
            before.push((place, self.entry(sheet, column, row)));
            self.sheets[sheet.at()].set(column, row, &entry);
            touch(&mut touched, sheet, column, row);
        }
        before.reverse();
        Ok(Change {
            inverse: Edit::SetCells {
                sheet,
                cells: before,
            },
            touched,
        })
    }

    fn add_rows(
        &mut self,
        sheet: SheetId,
        at: usize,
        rows: Vec<Vec<(usize, Entry)>>,
    ) -> Result<Change, Problem> {
        for (column, _) in rows.iter().flatten() {
            self.must_be_entered(sheet, *column)?;
        }
        let body = &mut self.sheets[sheet.at()];
        let n_before = body.order.len();
        if at > n_before {
            return Err(Problem::new(
                "no-such-row",
                format!("there is no position {at}"),
            ));
        }
        let mut added = Vec::with_capacity(rows.len());
        for cells in rows {
            let row = body.push();
            for (column, entry) in cells {
                body.set(column, row, &entry);
            }
            added.push(row);
        }
        if at < n_before {
            body.order[at..].rotate_right(added.len());
            body.rank_again();
        }
        Ok(Change {
            inverse: Edit::RemoveRows {
                sheet,
                rows: added.clone(),
            },
            touched: vec![Touched::Rows(sheet, added)],
        })
    }

    fn remove_rows(&mut self, sheet: SheetId, rows: Vec<RowId>) -> Result<Change, Problem> {
        for row in &rows {
            self.must_be_live(sheet, *row)?;
            self.must_be_own(sheet, *row)?;
        }
        let body = &mut self.sheets[sheet.at()];
        let mut places: Vec<(usize, RowId)> = rows
            .iter()
            .map(|row| (body.rank[row.at()] as usize, *row))
            .collect();
        places.sort_unstable();
        places.dedup();
        for row in &rows {
            body.rank[row.at()] = ABSENT;
        }
        let rank = &body.rank;
        body.order.retain(|row| rank[row.at()] != ABSENT);
        body.rank_again();
        Ok(Change {
            inverse: Edit::RestoreRows {
                sheet,
                rows: places,
            },
            touched: vec![Touched::Rows(sheet, rows)],
        })
    }

    fn restore_rows(
        &mut self,
        sheet: SheetId,
        rows: Vec<(usize, RowId)>,
    ) -> Result<Change, Problem> {
        for (_, row) in &rows {
            self.must_be_stored(sheet, *row)?;
            if self.rows(sheet).is_live(*row) {
                return Err(Problem::new(
                    "row-there",
                    "a row to be restored is still there",
                ));
            }
        }
        let body = &mut self.sheets[sheet.at()];
        body.order = woven(&body.order, &rows);
        body.rank_again();
        let back: Vec<RowId> = rows.into_iter().map(|(_, row)| row).collect();
        Ok(Change {
            inverse: Edit::RemoveRows {
                sheet,
                rows: back.clone(),
            },
            touched: vec![Touched::Rows(sheet, back)],
        })
    }

    fn reorder(&mut self, sheet: SheetId, order: Vec<RowId>) -> Result<Change, Problem> {
        let body = &mut self.sheets[sheet.at()];
        let (mut old, mut new) = (body.order.clone(), order.clone());
        old.sort_unstable();
        new.sort_unstable();
        if old != new {
            return Err(Problem::new(
                "order-differs",
                "the new order does not hold the same rows",
            ));
        }
        let before = std::mem::replace(&mut body.order, order);
        body.rank_again();
        Ok(Change {
            inverse: Edit::Reorder {
                sheet,
                order: before,
            },
            touched: vec![Touched::Order(sheet)],
        })
    }

    fn set_assumption(
        &mut self,
        param: ParamId,
        entry: Entry,
        source: String,
        own: bool,
    ) -> Result<Change, Problem> {
        let assumption = self
            .assumptions
            .get_mut(param.at())
            .ok_or_else(|| Problem::new("no-such-assumption", "there is no such assumption"))?;
        let inverse = Edit::SetAssumption {
            param,
            entry: std::mem::replace(&mut assumption.entry, entry),
            source: std::mem::replace(&mut assumption.source, source),
            own: std::mem::replace(&mut assumption.own, own),
        };
        Ok(Change {
            inverse,
            touched: vec![Touched::Assumption(param)],
        })
    }

    fn set_formula(
        &mut self,
        sheet: SheetId,
        column: usize,
        formula: Option<String>,
    ) -> Result<Change, Problem> {
        self.must_be_column(sheet, column)?;
        if self.column(sheet, column).entered() {
            return Err(
                Problem::new("column-entered", "an entered column has no formula")
                    .help("add a column of your own for the formula"),
            );
        }
        if self.is_own(sheet, column) {
            return self.set_own_formula(sheet, column, formula);
        }
        let builtin = match self.overrides.get(&(sheet, column)) {
            Some(_) => None,
            None => self.column(sheet, column).formula.clone(),
        };
        if let Some(builtin) = builtin {
            self.builtin_formulas.insert((sheet, column), builtin);
        }
        let before = match &formula {
            Some(text) => self.overrides.insert((sheet, column), text.clone()),
            None => self.overrides.remove(&(sheet, column)),
        };
        let now = formula.or_else(|| self.builtin_formulas.get(&(sheet, column)).cloned());
        self.schema[sheet.at()].columns[column].formula = now;
        Ok(Change {
            inverse: Edit::SetFormula {
                sheet,
                column,
                formula: before,
            },
            touched: vec![Touched::Schema],
        })
    }

    /// An own column has no formula but the person's, so there is none to put back.
    fn set_own_formula(
        &mut self,
        sheet: SheetId,
        column: usize,
        formula: Option<String>,
    ) -> Result<Change, Problem> {
        let Some(formula) = formula else {
            return Err(Problem::new(
                "no-built-in",
                format!(
                    "`{}` has no built-in formula to go back to",
                    self.column(sheet, column).name
                ),
            )
            .help("write another formula, or remove the column"));
        };
        let before = self.schema[sheet.at()].columns[column]
            .formula
            .replace(formula);
        Ok(Change {
            inverse: Edit::SetFormula {
                sheet,
                column,
                formula: before,
            },
            touched: vec![Touched::Schema],
        })
    }

    fn add_column(&mut self, sheet: SheetId, def: ColumnDef) -> Result<Change, Problem> {
        if self.def(sheet).column(&def.name).is_some() {
            return Err(Problem::new(
                "column-there",
                format!("there is already a column `{}`", def.name),
            )
            .help("choose another name, or change the formula of that column"));
        }
        let body = &mut self.sheets[sheet.at()];
        let mut cells = empty_column(&def);
        cells.resize(body.rank.len());
        body.cells.push(cells);
        self.schema[sheet.at()].columns.push(def);
        Ok(Change {
            inverse: Edit::RemoveLastColumn { sheet },
            touched: vec![Touched::Schema],
        })
    }

    fn remove_last_column(&mut self, sheet: SheetId) -> Result<Change, Problem> {
        let last = self.def(sheet).columns.len() - 1;
        if !self.is_own(sheet, last) {
            return Err(Problem::new(
                "column-builtin",
                "a built-in column cannot be removed",
            ));
        }
        let cells = self.given_cells(sheet, last);
        let body = &mut self.sheets[sheet.at()];
        body.cells.pop();
        body.wrong.retain(|(column, _), _| *column != last);
        let def = self.schema[sheet.at()]
            .columns
            .pop()
            .expect("the last column was just looked at");
        let add = Edit::AddColumn { sheet, def };
        Ok(Change {
            inverse: if cells.is_empty() {
                add
            } else {
                Edit::Group(vec![add, Edit::SetCells { sheet, cells }])
            },
            touched: vec![Touched::Schema],
        })
    }

    /// The cells of a column that hold something, those of removed rows included.
    fn given_cells(&self, sheet: SheetId, column: usize) -> Vec<(Place, Entry)> {
        if !self.column(sheet, column).entered() {
            return Vec::new();
        }
        let rows = (0..self.rows(sheet).rank.len()).filter_map(|at| u32::try_from(at).ok());
        rows.map(|row| ((column, RowId(row)), self.entry(sheet, column, RowId(row))))
            .filter(|(_, entry)| *entry != Entry::Empty)
            .collect()
    }

    fn set_severity(&mut self, check: String, severity: Option<Option<Severity>>) -> Change {
        let before = match severity {
            Some(severity) => self.severities.insert(check.clone(), severity),
            None => self.severities.remove(&check),
        };
        Change {
            inverse: Edit::SetSeverity {
                check,
                severity: before,
            },
            touched: vec![Touched::Schema],
        }
    }

    fn set_view(&mut self, sheet: SheetId, view: SheetView) -> Result<Change, Problem> {
        let known = self.views.get_mut(sheet.at());
        let known = known.ok_or_else(|| Problem::new("no-such-sheet", "there is no such sheet"))?;
        let view = std::mem::replace(known, view);
        Ok(Change {
            inverse: Edit::SetView { sheet, view },
            touched: Vec::new(),
        })
    }

    fn must_be_column(&self, sheet: SheetId, column: usize) -> Result<(), Problem> {
        if column < self.def(sheet).columns.len() {
            return Ok(());
        }
        Err(Problem::new("no-such-column", "there is no such column"))
    }

    pub(super) fn must_be_entered(&self, sheet: SheetId, column: usize) -> Result<(), Problem> {
        self.must_be_column(sheet, column)?;
        let def = self.column(sheet, column);
        if def.entered() {
            return Ok(());
        }
        Err(Problem::new(
            "column-computed",
            format!("`{}` is computed, not entered", def.name),
        )
        .help("change the cells its formula reads, or put another formula in its place"))
    }

    fn must_be_stored(&self, sheet: SheetId, row: RowId) -> Result<(), Problem> {
        if row.at() < self.rows(sheet).n_stored() {
            return Ok(());
        }
        Err(Problem::new("no-such-row", "there is no such row"))
    }

    /// A built-in row is not written to a plan file, so a change of it would be lost.
    fn must_be_own(&self, sheet: SheetId, row: RowId) -> Result<(), Problem> {
        if !self.rows(sheet).is_builtin(row) {
            return Ok(());
        }
        Err(
            Problem::new("row-builtin", "this row came with the program and stays")
                .help("add a row with the same id; yours then counts"),
        )
    }

    fn must_be_live(&self, sheet: SheetId, row: RowId) -> Result<(), Problem> {
        if self.rows(sheet).is_live(row) {
            return Ok(());
        }
        Err(Problem::new("no-such-row", "there is no such row"))
    }
}

/// Adds a cell to what was touched, joining it with others of its column.
fn touch(touched: &mut Vec<Touched>, sheet: SheetId, column: usize, row: RowId) {
    for known in touched.iter_mut().rev() {
        if let Touched::Cells(known_sheet, known_column, rows) = known
            && (*known_sheet, *known_column) == (sheet, column)
        {
            rows.push(row);
            return;
        }
    }
    touched.push(Touched::Cells(sheet, column, vec![row]));
}

/// An order with rows put in at the positions they had.
fn woven(order: &[RowId], rows: &[(usize, RowId)]) -> Vec<RowId> {
    let mut out = Vec::with_capacity(order.len() + rows.len());
    let (mut kept, mut back) = (order.iter().copied(), rows.iter().copied().peekable());
    loop {
        if let Some((at, row)) = back.peek().copied()
            && at <= out.len()
        {
            out.push(row);
            back.next();
            continue;
        }
        match kept.next() {
            Some(row) => out.push(row),
            None => break,
        }
    }
    out.extend(back.map(|(_, row)| row));
    out
}
