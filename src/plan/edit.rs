//! Every way a plan can change, and how each is taken back.
//!
//! Applying an edit gives its inverse, so undo is apply. Text is read before it gets here.

use super::{Entry, MOST_ROWS, Mapping, Plan, Proposal, SheetView, empty_column};
use super::{Layer, Row, Under};
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
    /// Keeps what the headings of a table mean; `None` forgets it.
    SetMapping {
        /// The name of the table.
        name: String,
        /// What its headings mean.
        mapping: Option<Mapping>,
    },
    /// Sets the title.
    SetTitle(String),
    /// Takes the proposal of a name away, and puts one in at a position.
    SetProposal {
        /// The name of the one that goes; none may have it.
        name: String,
        /// What comes, and where.
        proposal: Option<(usize, Proposal)>,
    },
    /// From now on edits belong to this proposal, and the plan as it is now is what it stands on.
    OpenProposal {
        /// The name of the proposal.
        name: String,
    },
    /// Ends what [`Edit::OpenProposal`] began; the plan has to be as it was then.
    CloseProposal,
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
            Edit::SetSeverity { check, severity } => self.set_severity(check, severity),
            Edit::SetView { sheet, view } => self.set_view(sheet, view),
            Edit::SetMapping { name, mapping } => Ok(self.set_mapping(name, mapping)),
            Edit::SetTitle(title) => self.set_title(title),
            Edit::SetProposal { name, proposal } => self.set_proposal(&name, proposal),
            Edit::OpenProposal { name } => self.open_layer(name),
            Edit::CloseProposal => self.close_layer(),
            Edit::SetId(id) => Ok(untouched(Edit::SetId(std::mem::replace(&mut self.id, id)))),
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
        self.must_be_tellable(sheet, cells.iter().map(|((_, row), _)| *row))?;
        let (mut before, mut touched) = (Vec::with_capacity(cells.len()), Vec::new());
        for (place @ (column, row), entry) in cells {
            let content = self.entry(sheet, column, row);
            if let Some(layer) = self.layers.last_mut() {
                let rows = &self.sheets[sheet.at()];
                let place = Row { sheet, row, rows };
                layer.under.write(place, column, content.clone(), &entry);
            }
            before.push((place, content));
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
        self.must_have_room(rows.len())?;
        // Rows of a proposal come to the end, so that what it stands on keeps its order.
        let at = self.place_of_new(sheet, at);
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
        if let Some(layer) = self.layers.last_mut() {
            layer.under.come(sheet, &added);
        }
        Ok(Change {
            inverse: Edit::RemoveRows {
                sheet,
                rows: added.clone(),
            },
            touched: vec![Touched::Rows(sheet, added)],
        })
    }

    /// Refuses rows beyond those with which a plan can be opened.
    fn must_have_room(&self, n_more: usize) -> Result<(), Problem> {
        match self.n_own_rows() + n_more > MOST_ROWS {
            true => Err(Problem::new(
                "too-many-rows",
                "the plan would have more than 2,000,000 rows, and could not be opened again",
            )
            .help("split it into several plans")),
            false => Ok(()),
        }
    }

    fn remove_rows(&mut self, sheet: SheetId, rows: Vec<RowId>) -> Result<Change, Problem> {
        for row in &rows {
            self.must_be_live(sheet, *row)?;
            self.must_be_own(sheet, *row)?;
        }
        self.must_be_tellable(sheet, rows.iter().copied())?;
        if let Some(layer) = self.layers.last_mut() {
            let order = &self.sheets[sheet.at()].order;
            layer.under.go(sheet, &rows, order);
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
        let back: Vec<RowId> = rows.into_iter().map(|(_, row)| row).collect();
        if let Some(layer) = self.layers.last_mut() {
            layer.under.come(sheet, &back);
            layer.under.straighten(sheet, &mut body.order);
        }
        body.rank_again();
        Ok(Change {
            inverse: Edit::RemoveRows {
                sheet,
                rows: back.clone(),
            },
            touched: vec![Touched::Rows(sheet, back)],
        })
    }

    fn reorder(&mut self, sheet: SheetId, order: Vec<RowId>) -> Result<Change, Problem> {
        self.must_be_no_proposal("the order of rows")?;
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
        if let Some(layer) = self.layers.last_mut() {
            let before = (
                assumption.entry.clone(),
                assumption.source.clone(),
                assumption.own,
            );
            layer.under.assume(param, before, (&entry, &source, own));
        }
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
        let is_bare_own = formula.is_none() && self.is_own(sheet, column);
        let before = self.own_formula(sheet, column);
        if let Some(layer) = self.layers.last_mut().filter(|_| !is_bare_own) {
            let place = (sheet, column);
            layer.under.set_formula(place, before, formula.as_ref());
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
        self.must_be_no_proposal("a column of your own")?;
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
        self.must_be_no_proposal("a column of your own")?;
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

    fn set_severity(
        &mut self,
        check: String,
        severity: Option<Option<Severity>>,
    ) -> Result<Change, Problem> {
        self.must_be_no_proposal("the weight of a check")?;
        let before = match severity {
            Some(severity) => self.severities.insert(check.clone(), severity),
            None => self.severities.remove(&check),
        };
        Ok(Change {
            inverse: Edit::SetSeverity {
                check,
                severity: before,
            },
            touched: vec![Touched::Schema],
        })
    }

    fn set_title(&mut self, title: String) -> Result<Change, Problem> {
        self.must_be_no_proposal("the title")?;
        Ok(untouched(Edit::SetTitle(std::mem::replace(
            &mut self.title,
            title,
        ))))
    }

    fn set_proposal(
        &mut self,
        name: &str,
        proposal: Option<(usize, Proposal)>,
    ) -> Result<Change, Problem> {
        let gone = self.proposals.iter().position(|known| known.name == name);
        let is_open = |name: &str| self.layers.iter().any(|layer| layer.name == name);
        if is_open(name) || proposal.as_ref().is_some_and(|(_, new)| is_open(&new.name)) {
            self.must_be_no_proposal("the list of proposals")?;
        }
        let n_left = self.proposals.len() - usize::from(gone.is_some());
        if let Some((at, new)) = &proposal {
            let mut others = self.proposals.iter().enumerate();
            let is_taken = |(at, known): (usize, &Proposal)| {
                Some(at) != gone && known.name.to_lowercase() == new.name.to_lowercase()
            };
            if *at > n_left || others.any(is_taken) {
                return Err(Problem::new(
                    "proposal-there",
                    format!("there is already a proposal `{}`", new.name),
                )
                .help("choose another name"));
            }
        }
        let before = gone.map(|at| (at, self.proposals.remove(at)));
        let name = match proposal {
            Some((at, new)) => {
                let name = new.name.clone();
                self.proposals.insert(at, new);
                name
            }
            None => name.to_owned(),
        };
        Ok(untouched(Edit::SetProposal {
            name,
            proposal: before,
        }))
    }

    fn open_layer(&mut self, name: String) -> Result<Change, Problem> {
        if !self.proposals.iter().any(|known| known.name == name) {
            return Err(Problem::new(
                "proposal-unknown",
                format!("there is no proposal `{name}`"),
            ));
        }
        self.layers.push(Layer {
            name,
            under: Under::default(),
        });
        Ok(untouched(Edit::CloseProposal))
    }

    fn close_layer(&mut self) -> Result<Change, Problem> {
        let closed = self.layers.pop_if(|layer| layer.under.is_empty());
        let layer = closed.ok_or_else(|| {
            Problem::new("proposal-open", "there is no proposal that could be closed")
                .help("take its changes back first")
        })?;
        Ok(untouched(Edit::OpenProposal { name: layer.name }))
    }

    /// Whether an open proposal can tell rows by their id; new ones it knows anyway.
    fn must_be_tellable(
        &self,
        sheet: SheetId,
        rows: impl Iterator<Item = RowId>,
    ) -> Result<(), Problem> {
        let Some(layer) = self.layers.last() else {
            return Ok(());
        };
        let under = &layer.under;
        let is_new = |row: &RowId| {
            let is_live = self.rows(sheet).is_live(*row);
            is_live && !under.is_added(sheet, *row) && under.mark(sheet, *row).is_none()
        };
        self.must_be_named(sheet, &rows.filter(is_new).collect::<Vec<_>>())
    }

    /// Where new rows come to that are put in at a position.
    pub fn place_of_new(&self, sheet: SheetId, at: usize) -> usize {
        match self.layers.is_empty() {
            true => at,
            false => self.rows(sheet).order().len(),
        }
    }

    fn set_mapping(&mut self, name: String, mapping: Option<Mapping>) -> Change {
        let before = match mapping {
            Some(mapping) => self.mappings.insert(name.clone(), mapping),
            None => self.mappings.remove(&name),
        };
        Change {
            inverse: Edit::SetMapping {
                name,
                mapping: before,
            },
            touched: Vec::new(),
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

/// A change that no value depends on.
fn untouched(inverse: Edit) -> Change {
    Change {
        inverse,
        touched: Vec::new(),
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
