//! Plans told as a story: switches and links in the words a person types, then questions.
//!
//! No test stands here; what a question cannot answer ends the test with a sentence.

use portledger::engine::Engine;
use portledger::plan::{Change, Edit, Entry, Plan, Touched, read_entry};
use portledger::problem::Severity;
use portledger::table::{Cell, ColumnId, RowId, SheetId};
use portledger::trade::{Finding, empty_plan, engine, find_all};
use portledger::units::{Unit, Units, read};

/// Cells by column name, as they are typed.
pub type Cells<'a> = &'a [(&'a str, &'a str)];

/// A plan with everything computed.
#[derive(Debug)]
pub struct Story {
    plan: Plan,
    engine: Option<Engine>,
}

impl Story {
    /// An empty plan over the built-in sheets.
    pub fn new() -> Self {
        Self {
            plan: empty_plan().expect("the built-in sheets are read"),
            engine: None,
        }
    }

    /// Adds a switch.
    pub fn switch(self, id: &str, cells: Cells<'_>) -> Self {
        self.row("switches", id, cells)
    }

    /// Adds a link.
    pub fn link(self, id: &str, cells: Cells<'_>) -> Self {
        self.row("links", id, cells)
    }

    /// Adds a row at the end of a sheet.
    pub fn row(mut self, sheet: &str, id: &str, cells: Cells<'_>) -> Self {
        let sheet_id = self.sheet(sheet);
        let typed = [("id", id)].into_iter().chain(cells.iter().copied());
        let row = typed
            .map(|(column, text)| self.typed(sheet_id, column, text))
            .collect();
        let at = self.plan.rows(sheet_id).order().len();
        self.apply(Edit::AddRows {
            sheet: sheet_id,
            at,
            rows: vec![row],
        });
        self
    }

    /// Sets an assumption, written with its unit.
    pub fn assume(mut self, name: &str, text: &str) -> Self {
        let param = self.plan.assumption(name).expect("a built-in assumption");
        let assumption = &self.plan.assumptions()[param.at()];
        let entry = if assumption.def.text {
            Entry::Text(self.plan.names().code(text))
        } else {
            Entry::Number(read(text, &assumption.unit).expect("a value in the unit"))
        };
        self.apply(Edit::SetAssumption {
            param,
            entry,
            source: "measured here".to_owned(),
            own: true,
        });
        self
    }

    /// Changes the severity of a check, or switches it off.
    pub fn severity(mut self, check: &str, severity: Option<Severity>) -> Self {
        self.apply(Edit::SetSeverity {
            check: check.to_owned(),
            severity: Some(severity),
        });
        self
    }

    /// Types a new text into a cell.
    pub fn set(&mut self, sheet: &str, id: &str, column: &str, text: &str) {
        let sheet_id = self.sheet(sheet);
        let (position, entry) = self.typed(sheet_id, column, text);
        let row = self.row_of(sheet, id);
        self.apply(Edit::SetCells {
            sheet: sheet_id,
            cells: vec![((position, row), entry)],
        });
    }

    /// Takes a row away.
    pub fn remove(&mut self, sheet: &str, id: &str) {
        let rows = vec![self.row_of(sheet, id)];
        let sheet = self.sheet(sheet);
        self.apply(Edit::RemoveRows { sheet, rows });
    }

    /// Makes a change and follows it; gives the change that takes it back.
    pub fn apply(&mut self, edit: Edit) -> Change {
        let change = self
            .plan
            .apply(edit)
            .expect("an edit of rows that are there");
        if !self.follow(&change.touched) {
            self.engine = None;
        }
        change
    }

    /// Brings the columns up to date; false when that takes a new engine.
    pub fn follow(&mut self, touched: &[Touched]) -> bool {
        let engine = self.engine.as_mut();
        engine.is_none_or(|engine| engine.update(&self.plan, touched))
    }

    /// Computes what is not computed yet.
    pub fn told(mut self) -> Self {
        if self.engine.is_none() {
            self.engine = Some(engine(&self.plan));
        }
        self
    }

    /// The plan.
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// Its columns; the story must be told first.
    pub fn engine(&self) -> &Engine {
        self.engine.as_ref().expect("a story that was told")
    }

    /// A sheet by name.
    pub fn sheet(&self, name: &str) -> SheetId {
        self.plan.sheet(name).expect("a built-in sheet")
    }

    /// A row by its id.
    pub fn row_of(&self, sheet: &str, id: &str) -> RowId {
        let found = self.plan.find(self.sheet(sheet), id);
        found.unwrap_or_else(|| panic!("no row `{id}` in {sheet}"))
    }

    /// A column by name, entered or computed.
    pub fn column(&self, sheet: &str, column: &str) -> ColumnId {
        let found = self.engine().find_column(self.sheet(sheet), column);
        found.unwrap_or_else(|| panic!("no column `{column}` in {sheet}"))
    }

    /// A value.
    pub fn cell(&self, sheet: &str, id: &str, column: &str) -> Cell {
        let row = self.row_of(sheet, id);
        self.engine()
            .cell(&self.plan, self.column(sheet, column), row)
    }

    /// A number in a unit.
    pub fn number(&self, sheet: &str, id: &str, column: &str, unit: &str) -> f64 {
        match self.cell(sheet, id, column) {
            Cell::Number(base) => unit_of(unit).from_base(base),
            other => panic!("{column} of `{id}` is {other:?}"),
        }
    }

    /// A text.
    pub fn text(&self, sheet: &str, id: &str, column: &str) -> String {
        match self.cell(sheet, id, column) {
            Cell::Text(text) => text,
            other => panic!("{column} of `{id}` is {other:?}"),
        }
    }

    /// Whether a value is missing.
    pub fn is_missing(&self, sheet: &str, id: &str, column: &str) -> bool {
        self.cell(sheet, id, column) == Cell::Missing
    }

    /// The verdict on a link.
    pub fn verdict(&self, id: &str) -> String {
        self.text("links", id, "verdict")
    }

    /// Everything the checks found.
    pub fn findings(&self) -> Vec<Finding> {
        find_all(&self.plan, self.engine(), usize::MAX).list
    }

    /// What was found at a row.
    pub fn findings_at(&self, sheet: &str, id: &str) -> Vec<Finding> {
        let (at, row) = (self.sheet(sheet), self.row_of(sheet, id));
        let mut found = self.findings();
        found.retain(|finding| (finding.sheet, finding.row) == (at, row));
        found
    }

    /// The names of the checks that object to a link, worst first.
    pub fn objections(&self, id: &str) -> Vec<String> {
        self.objections_at("links", id)
    }

    /// The names of the checks that object to a row, worst first.
    pub fn objections_at(&self, sheet: &str, id: &str) -> Vec<String> {
        let found = self.findings_at(sheet, id);
        found.into_iter().map(|finding| finding.check).collect()
    }

    /// The first finding of a check at a link.
    pub fn finding(&self, id: &str, check: &str) -> Finding {
        let mut found = self.findings_at("links", id).into_iter();
        found
            .find(|finding| finding.check == check)
            .unwrap_or_else(|| panic!("no `{check}` at `{id}`"))
    }

    /// The result of a formula over no row.
    pub fn calc(&self, formula: &str) -> Cell {
        match self.engine().evaluate(&self.plan, formula, None) {
            Ok((_, cell)) => cell,
            Err(problems) => panic!("`{formula}`: {problems:?}"),
        }
    }

    fn typed(&self, sheet: SheetId, column: &str, text: &str) -> (usize, Entry) {
        let position = self.plan.def(sheet).column(column);
        let position = position.unwrap_or_else(|| panic!("no column `{column}`"));
        match read_entry(&self.plan, sheet, position, text) {
            Ok(entry) => (position, entry),
            Err(problem) => panic!("`{text}` for {column}: {}", problem.message),
        }
    }
}

/// A unit by symbol; empty for a plain number.
pub fn unit_of(symbol: &str) -> Unit {
    Units::builtin().unit(symbol).expect("a known unit")
}
