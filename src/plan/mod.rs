//! The document: sheets with their entered cells, assumptions, own columns and checks.
//!
//! No computed value is kept here, and nothing here reads a file. Changes go through
//! [`Plan::apply`] in `edit.rs`.

mod edit;
mod entry;
mod fill;
mod mapping;
mod proposal;
mod storage;
mod under;
mod view;

pub use edit::{Change, Edit, Place, Touched};
pub use entry::{Entry, read_assumption, read_entry};
pub use fill::Filling;
pub use mapping::Mapping;
pub use proposal::{ADD, ASSUME, CELL, FORGET, FORMULA, KINDS, REMOVE};
pub use proposal::{Alteration, Proposal};
pub use storage::Storage;
pub use under::RowMark;
pub use view::{MAX_WIDTH, SheetView};

use under::{Layer, Row, Under};

use crate::problem::Problem;
use crate::problem::Severity;
use crate::sheet::AssumptionDef;
use crate::sheet::CheckDef;
use crate::sheet::ColumnDef;
use crate::sheet::ColumnKind;
use crate::sheet::SheetDef;
use crate::table::ABSENT;
use crate::table::Column;
use crate::table::Names;
use crate::table::ParamId;
use crate::table::RowId;
use crate::table::SheetId;
use crate::units::{Unit, Units};
use std::collections::BTreeMap;
use std::sync::Arc;

/// The most rows of a plan, all sheets together, without the built-in ones.
pub const MOST_ROWS: usize = 2_000_000;

/// A plan as a person made it.
#[derive(Debug, Clone)]
pub struct Plan {
    /// The title of the plan.
    pub title: String,
    /// By what the plan is known to workbooks that were made from it; empty before the first.
    pub id: String,
    /// Severities the person changed, by check name; `None` switches the check off.
    pub severities: BTreeMap<String, Option<Severity>>,
    /// Checks the person wrote, with the name of the sheet each belongs to.
    pub own_checks: Vec<(String, CheckDef)>,
    /// What headings of tables mean, by a name for each table.
    pub mappings: BTreeMap<String, Mapping>,
    /// Parts of the plan file this version does not know, as text, by table and key.
    pub extras: BTreeMap<(String, String), String>,
    schema: Vec<SheetDef>,
    sheets: Vec<Rows>,
    /// One for each sheet.
    views: Vec<SheetView>,
    assumptions: Vec<Assumption>,
    overrides: BTreeMap<(SheetId, usize), String>,
    builtin_formulas: BTreeMap<(SheetId, usize), String>,
    n_builtin_columns: Vec<usize>,
    names: Arc<Names>,
    proposals: Vec<Proposal>,
    /// The proposals that are open, the lowest first; none where the plan is the base.
    layers: Vec<Layer>,
}

/// The rows of one sheet.
#[derive(Debug, Clone)]
pub struct Rows {
    /// One column of values for each entered column of the schema; computed ones stay empty.
    cells: Vec<Column>,
    /// Texts that could not be read for their column, by column and row; the cell is absent.
    wrong: BTreeMap<(usize, RowId), String>,
    /// Rows in the order shown.
    order: Vec<RowId>,
    /// For each row its position in the order; absent for a removed row.
    rank: Vec<u32>,
    /// Rows before this one came with the program.
    n_builtin: u32,
}

/// A named value of the whole plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Assumption {
    /// Name, title, unit and where the built-in value comes from.
    pub def: AssumptionDef,
    /// The unit, ready to use.
    pub unit: Unit,
    /// The value.
    pub entry: Entry,
    /// Whether the person set it; then `source` is theirs too.
    pub own: bool,
    /// Where the value comes from.
    pub source: String,
}

impl Plan {
    /// An empty plan over a schema; reference sheets get their built-in rows.
    ///
    /// # Errors
    /// An assumption or a built-in cell that cannot be read, or an unknown unit.
    pub fn new(
        schema: Vec<SheetDef>,
        assumptions: Vec<AssumptionDef>,
        builtin: &[(&str, impl AsRef<[Vec<String>]>)],
    ) -> Result<Self, Problem> {
        let mut plan = Self {
            title: String::new(),
            id: String::new(),
            severities: BTreeMap::new(),
            own_checks: Vec::new(),
            mappings: BTreeMap::new(),
            extras: BTreeMap::new(),
            sheets: schema.iter().map(Rows::new).collect(),
            views: vec![SheetView::default(); schema.len()],
            n_builtin_columns: schema.iter().map(|sheet| sheet.columns.len()).collect(),
            schema,
            assumptions: Vec::new(),
            overrides: BTreeMap::new(),
            builtin_formulas: BTreeMap::new(),
            names: Arc::new(Names::default()),
            proposals: Vec::new(),
            layers: Vec::new(),
        };
        for def in assumptions {
            let assumption = plan.assumption_of(def)?;
            plan.assumptions.push(assumption);
        }
        for (name, rows) in builtin {
            plan.add_builtin(name, rows.as_ref())?;
        }
        Ok(plan)
    }

    fn assumption_of(&self, def: AssumptionDef) -> Result<Assumption, Problem> {
        let unit = Units::builtin().unit(&def.unit)?;
        let kind = if def.text {
            ColumnKind::Text
        } else {
            ColumnKind::Number
        };
        let entry = entry::read_value(&def.value, kind, &unit, &[], &self.names)?;
        Ok(Assumption {
            unit,
            entry,
            own: false,
            source: def.source.clone(),
            def,
        })
    }

    fn add_builtin(&mut self, name: &str, rows: &[Vec<String>]) -> Result<(), Problem> {
        let Some(sheet) = self.sheet(name) else {
            return Ok(());
        };
        let first = self.sheets[sheet.at()].rank.len();
        for _ in rows {
            self.sheets[sheet.at()].push();
        }
        let entered: Vec<usize> = self.entered(sheet).collect();
        for (at, column) in entered.into_iter().enumerate() {
            let unit = Units::builtin().unit(&self.column(sheet, column).unit)?;
            for (row, cells) in (first..).zip(rows) {
                let Some(text) = cells.get(at) else { continue };
                let def = self.column(sheet, column);
                let entry = entry::read_value(text, def.kind, &unit, &def.choices, &self.names)?;
                let row = RowId(u32::try_from(row).unwrap_or(ABSENT));
                self.sheets[sheet.at()].set(column, row, &entry);
            }
        }
        let rows = &mut self.sheets[sheet.at()];
        rows.n_builtin = u32::try_from(rows.rank.len()).unwrap_or(u32::MAX);
        Ok(())
    }

    /// The sheets with all columns, built-in first, own ones after, formulas as the person has
    /// them.
    pub fn schema(&self) -> &[SheetDef] {
        &self.schema
    }

    /// The sheet of a name.
    pub fn sheet(&self, name: &str) -> Option<SheetId> {
        let at = self.schema.iter().position(|sheet| sheet.name == name)?;
        u16::try_from(at).ok().map(SheetId)
    }

    /// The definition of a sheet.
    pub fn def(&self, sheet: SheetId) -> &SheetDef {
        &self.schema[sheet.at()]
    }

    /// The definition of a column by position.
    pub fn column(&self, sheet: SheetId, column: usize) -> &ColumnDef {
        &self.schema[sheet.at()].columns[column]
    }

    /// Positions of the entered columns of a sheet.
    pub fn entered(&self, sheet: SheetId) -> impl Iterator<Item = usize> {
        let columns = self.schema[sheet.at()].columns.iter().enumerate();
        columns
            .filter(|(_, column)| column.entered())
            .map(|(at, _)| at)
    }

    /// Whether a column was added by the person.
    pub fn is_own(&self, sheet: SheetId, column: usize) -> bool {
        column >= self.n_builtin_columns[sheet.at()]
    }

    /// The formula the person put in place of the built-in one.
    pub fn overridden(&self, sheet: SheetId, column: usize) -> Option<&str> {
        self.overrides.get(&(sheet, column)).map(String::as_str)
    }

    /// The rows of a sheet.
    pub fn rows(&self, sheet: SheetId) -> &Rows {
        &self.sheets[sheet.at()]
    }

    /// How the person wants to see a sheet.
    pub fn view(&self, sheet: SheetId) -> &SheetView {
        &self.views[sheet.at()]
    }

    /// All assumptions in order.
    pub fn assumptions(&self) -> &[Assumption] {
        &self.assumptions
    }

    /// The assumption of a name.
    pub fn assumption(&self, name: &str) -> Option<ParamId> {
        let at = self
            .assumptions
            .iter()
            .position(|known| known.def.name == name)?;
        u16::try_from(at).ok().map(ParamId)
    }

    /// Reads typed text as the value of an assumption.
    ///
    /// # Errors
    /// A number that cannot be read, or a wrong unit.
    pub fn read_assumption(&self, param: ParamId, text: &str) -> Result<Entry, Problem> {
        let known = self.assumptions.get(param.at());
        let assumption = known
            .ok_or_else(|| Problem::new("no-such-assumption", "there is no such assumption"))?;
        let kind = if assumption.def.text {
            ColumnKind::Text
        } else {
            ColumnKind::Number
        };
        entry::read_value(text, kind, &assumption.unit, &[], &self.names)
    }

    /// How many rows a person made, all sheets together.
    pub fn n_own_rows(&self) -> usize {
        let own = |rows: &Rows| rows.order.len().saturating_sub(rows.n_builtin as usize);
        self.sheets.iter().map(own).sum()
    }

    /// Where the texts of the plan have their codes.
    pub fn names(&self) -> &Arc<Names> {
        &self.names
    }

    /// The row of a sheet with this id in any case; of several the last, so that a person's row
    /// beats a built-in one.
    pub fn find(&self, sheet: SheetId, id: &str) -> Option<RowId> {
        let lower = id.trim().to_lowercase();
        let view = self.names.view();
        let rows = self.rows(sheet);
        let ids = rows.cells[0].codes();
        rows.order.iter().rev().copied().find(|row| {
            let text = view.text(ids[row.at()]);
            text.len() == lower.len() && text.to_lowercase() == lower
        })
    }

    /// The text of the id of a row.
    pub fn id(&self, sheet: SheetId, row: RowId) -> String {
        self.names.text(
            self.rows(sheet).cells[0]
                .codes()
                .get(row.at())
                .copied()
                .unwrap_or(ABSENT),
        )
    }

    /// The content of an entered cell.
    pub fn entry(&self, sheet: SheetId, column: usize, row: RowId) -> Entry {
        self.rows(sheet).entry(column, row)
    }
}

impl Rows {
    fn new(def: &SheetDef) -> Self {
        Self {
            cells: def.columns.iter().map(empty_column).collect(),
            wrong: BTreeMap::new(),
            order: Vec::new(),
            rank: Vec::new(),
            n_builtin: 0,
        }
    }

    /// Rows in the order shown.
    pub fn order(&self) -> &[RowId] {
        &self.order
    }

    /// How many places storage has, removed rows included.
    pub fn n_stored(&self) -> usize {
        self.rank.len()
    }

    /// Whether a row is there and not removed.
    pub fn is_live(&self, row: RowId) -> bool {
        self.rank.get(row.at()).is_some_and(|rank| *rank != ABSENT)
    }

    /// For each place in storage its position in the order; absent for a removed row.
    pub fn rank(&self) -> &[u32] {
        &self.rank
    }

    /// Whether a row came with the program.
    pub fn is_builtin(&self, row: RowId) -> bool {
        row.0 < self.n_builtin
    }

    /// The values of an entered column by place in storage.
    pub fn column(&self, column: usize) -> &Column {
        &self.cells[column]
    }

    /// Whether nothing was ever entered in a column, as far as is known without going through it.
    pub fn is_blank(&self, column: usize) -> bool {
        let is_absent = match &self.cells[column] {
            Column::Numbers(values) => values.one().is_some_and(f64::is_nan),
            Column::Flags(_) => true,
            Column::Codes(codes) => codes.one() == Some(ABSENT),
        };
        let wrong = (column, RowId(0))..=(column, RowId(u32::MAX));
        is_absent && self.wrong.range(wrong).next().is_none()
    }

    /// Texts that could not be read for their column.
    pub fn wrong(&self) -> &BTreeMap<(usize, RowId), String> {
        &self.wrong
    }

    /// Whether a live row has a cell in a column that could not be read.
    pub fn has_wrong(&self, column: usize) -> bool {
        let wrong = (column, RowId(0))..=(column, RowId(u32::MAX));
        let mut wrong = self.wrong.range(wrong);
        wrong.any(|((_, row), _)| self.is_live(*row))
    }

    /// The content of an entered cell.
    pub fn entry(&self, column: usize, row: RowId) -> Entry {
        if let Some(text) = self.wrong.get(&(column, row)) {
            return Entry::Wrong(text.clone());
        }
        match &self.cells[column] {
            Column::Numbers(values) => match values.get(row.at()) {
                Some(value) if !value.is_nan() => Entry::Number(*value),
                _ => Entry::Empty,
            },
            Column::Codes(codes) => match codes.get(row.at()) {
                Some(code) if *code != ABSENT => Entry::Text(*code),
                _ => Entry::Empty,
            },
            Column::Flags(_) => Entry::Empty,
        }
    }

    /// Adds an empty row at the end.
    fn push(&mut self) -> RowId {
        let row = RowId(u32::try_from(self.rank.len()).unwrap_or(ABSENT));
        self.rank
            .push(u32::try_from(self.order.len()).unwrap_or(ABSENT));
        self.order.push(row);
        for column in &mut self.cells {
            column.resize(self.rank.len());
        }
        row
    }

    /// Writes a cell.
    fn set(&mut self, column: usize, row: RowId, entry: &Entry) {
        self.wrong.remove(&(column, row));
        match (&mut self.cells[column], entry) {
            (Column::Numbers(values), Entry::Number(value)) => values.set(row.at(), *value),
            (Column::Codes(codes), Entry::Text(code)) => codes.set(row.at(), *code),
            (Column::Numbers(values), _) => values.set(row.at(), crate::table::MISSING),
            (Column::Codes(codes), _) => codes.set(row.at(), ABSENT),
            (Column::Flags(_), _) => {}
        }
        if let Entry::Wrong(text) = entry {
            self.wrong.insert((column, row), text.clone());
        }
    }

    /// Computes every rank anew from the order.
    fn rank_again(&mut self) {
        self.rank.fill(ABSENT);
        for (at, row) in self.order.iter().enumerate() {
            self.rank[row.at()] = u32::try_from(at).unwrap_or(ABSENT);
        }
    }
}

/// An empty column fit for a definition.
fn empty_column(def: &ColumnDef) -> Column {
    match def.kind {
        ColumnKind::Number => Column::of_numbers(Vec::new()),
        ColumnKind::Flag => Column::of_flags(Vec::new()),
        ColumnKind::Text | ColumnKind::Choice | ColumnKind::Row => Column::of_codes(Vec::new()),
    }
}
