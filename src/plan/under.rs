//! What an open proposal stands on, as far as the plan is another now.
//!
//! Kept up to date by every edit that is made while the proposal is open, so that the difference
//! is known at any time and has one form. How it becomes text is in `proposal.rs`.

use super::Edit;
use super::Entry;
use super::Plan;
use super::proposal::Assumed;
use super::proposal::Effect;
use crate::problem::Problem;
use crate::table::ParamId;
use crate::table::RowId;
use crate::table::SheetId;
use std::collections::BTreeMap;
use std::collections::BTreeSet;

/// A proposal that is open.
#[derive(Debug, Clone)]
pub(super) struct Layer {
    /// Its name.
    pub(super) name: String,
    /// What it stands on.
    pub(super) under: Under,
}

/// What was before, for everything that is not as it was.
#[derive(Debug, Clone, Default)]
pub(super) struct Under {
    cells: BTreeMap<(SheetId, RowId, usize), Entry>,
    removed: BTreeSet<(SheetId, RowId)>,
    added: BTreeSet<(SheetId, RowId)>,
    /// The order of sheets that rows were taken from.
    orders: BTreeMap<SheetId, Vec<RowId>>,
    assumptions: BTreeMap<ParamId, Assumed>,
    formulas: BTreeMap<(SheetId, usize), Option<String>>,
}

/// How a row is to what the open proposal stands on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RowMark {
    /// The proposal adds it.
    Added,
    /// The proposal changes cells of it.
    Changed,
}

/// Whether two contents are the same to the last bit.
pub(super) fn is_same(a: &Entry, b: &Entry) -> bool {
    match (a, b) {
        (Entry::Number(a), Entry::Number(b)) => a.to_bits() == b.to_bits(),
        (Entry::Empty, Entry::Empty) => true,
        (Entry::Text(a), Entry::Text(b)) => a == b,
        (Entry::Wrong(a), Entry::Wrong(b)) => a == b,
        (Entry::Empty | Entry::Number(_) | Entry::Text(_) | Entry::Wrong(_), _) => false,
    }
}

impl Under {
    /// Whether everything is as it was.
    pub(super) fn is_empty(&self) -> bool {
        self.cells.is_empty()
            && self.removed.is_empty()
            && self.added.is_empty()
            && self.assumptions.is_empty()
            && self.formulas.is_empty()
    }

    /// What a cell held that holds something else now.
    pub(super) fn cell(&self, sheet: SheetId, row: RowId, column: usize) -> Option<&Entry> {
        self.cells.get(&(sheet, row, column))
    }

    /// Whether a row is new.
    pub(super) fn is_added(&self, sheet: SheetId, row: RowId) -> bool {
        self.added.contains(&(sheet, row))
    }

    /// Whether a row was taken away.
    pub(super) fn is_removed(&self, sheet: SheetId, row: RowId) -> bool {
        self.removed.contains(&(sheet, row))
    }

    /// The order of rows before, of a sheet that rows were taken from.
    pub(super) fn order(&self, sheet: SheetId) -> Option<&[RowId]> {
        self.orders.get(&sheet).map(Vec::as_slice)
    }

    /// What an assumption was that is another now.
    pub(super) fn assumption(&self, param: ParamId) -> Option<&Assumed> {
        self.assumptions.get(&param)
    }

    /// The person's formula of a column that has another now.
    pub(super) fn formula(&self, sheet: SheetId, column: usize) -> Option<&Option<String>> {
        self.formulas.get(&(sheet, column))
    }

    /// How many rows a sheet had.
    pub(super) fn n_rows(&self, plan: &Plan, sheet: SheetId) -> usize {
        let added = self.added.iter().filter(|(of, _)| *of == sheet).count();
        let removed = self.removed.iter().filter(|(of, _)| *of == sheet).count();
        (plan.rows(sheet).order().len() + removed).saturating_sub(added)
    }

    /// Whether a row shows that the proposal changes it.
    pub(super) fn mark(&self, sheet: SheetId, row: RowId) -> Option<RowMark> {
        if self.is_added(sheet, row) {
            return Some(RowMark::Added);
        }
        let (first, last) = ((sheet, row, 0), (sheet, row, usize::MAX));
        let mut cells = self.cells.range(first..=last);
        cells.next().map(|_| RowMark::Changed)
    }

    /// Notes that a cell is about to be written.
    pub(super) fn write(&mut self, plan_row: Row<'_>, column: usize, before: Entry, now: &Entry) {
        let Row { sheet, row, rows } = plan_row;
        // A new row is new with all its cells, and one that is nowhere has none.
        if self.is_added(sheet, row) || !(rows.is_live(row) || self.is_removed(sheet, row)) {
            return;
        }
        let place = (sheet, row, column);
        match self.cells.get(&place) {
            Some(base) if is_same(base, now) => drop(self.cells.remove(&place)),
            Some(_) => {}
            None if is_same(&before, now) => {}
            None => drop(self.cells.insert(place, before)),
        }
    }

    /// Notes rows that were put in, new or put back.
    pub(super) fn come(&mut self, sheet: SheetId, rows: &[RowId]) {
        // A row may be named twice.
        for row in rows.iter().copied().collect::<BTreeSet<RowId>>() {
            if !self.removed.remove(&(sheet, row)) {
                self.added.insert((sheet, row));
            }
        }
    }

    /// Notes rows that are about to be taken away, with the order that they stand in.
    pub(super) fn go(&mut self, sheet: SheetId, rows: &[RowId], order: &[RowId]) {
        let added = &self.added;
        self.orders.entry(sheet).or_insert_with(|| {
            let before = order.iter().filter(|row| !added.contains(&(sheet, **row)));
            before.copied().collect()
        });
        for row in rows.iter().copied().collect::<BTreeSet<RowId>>() {
            if !self.added.remove(&(sheet, row)) {
                self.removed.insert((sheet, row));
            }
        }
    }

    /// Puts the rows that were there before in the order they had, whatever else stands between.
    pub(super) fn straighten(&self, sheet: SheetId, order: &mut [RowId]) {
        let Some(before) = self.order(sheet) else {
            return;
        };
        let live: BTreeSet<RowId> = order.iter().copied().collect();
        let mut before = before.iter().filter(|row| live.contains(row));
        let old = order.iter_mut().filter(|row| !self.is_added(sheet, **row));
        for slot in old {
            if let Some(row) = before.next() {
                *slot = *row;
            }
        }
    }

    /// Notes that an assumption is about to be set.
    pub(super) fn assume(&mut self, param: ParamId, before: Assumed, now: (&Entry, &str, bool)) {
        let is_now =
            |known: &Assumed| is_same(&known.0, now.0) && known.1 == now.1 && known.2 == now.2;
        match self.assumptions.get(&param) {
            Some(base) if is_now(base) => drop(self.assumptions.remove(&param)),
            Some(_) => {}
            None if is_now(&before) => {}
            None => drop(self.assumptions.insert(param, before)),
        }
    }

    /// Notes that the formula of a column is about to be set.
    pub(super) fn set_formula(
        &mut self,
        place: (SheetId, usize),
        before: Option<String>,
        now: Option<&String>,
    ) {
        match self.formulas.get(&place) {
            Some(base) if base.as_ref() == now => drop(self.formulas.remove(&place)),
            Some(_) => {}
            None if before.as_ref() == now => {}
            None => drop(self.formulas.insert(place, before)),
        }
    }

    /// The edits that make everything as it was.
    pub(super) fn back(&self) -> Vec<Edit> {
        let mut edits = Vec::new();
        for (sheet, rows) in by_sheet(&self.added) {
            edits.push(Edit::RemoveRows { sheet, rows });
        }
        for (sheet, _) in by_sheet(&self.removed) {
            let before = self.order(sheet).unwrap_or_default().iter().copied();
            let placed = before.enumerate();
            let rows = placed.filter(|(_, row)| self.is_removed(sheet, *row));
            edits.push(Edit::RestoreRows {
                sheet,
                rows: rows.collect(),
            });
        }
        let mut cells: BTreeMap<SheetId, Vec<_>> = BTreeMap::new();
        for ((sheet, row, column), entry) in &self.cells {
            let of_sheet = cells.entry(*sheet).or_default();
            of_sheet.push(((*column, *row), entry.clone()));
        }
        let cells = cells.into_iter();
        edits.extend(cells.map(|(sheet, cells)| Edit::SetCells { sheet, cells }));
        for ((sheet, column), formula) in &self.formulas {
            edits.push(Edit::SetFormula {
                sheet: *sheet,
                column: *column,
                formula: formula.clone(),
            });
        }
        for (param, (entry, source, own)) in &self.assumptions {
            edits.push(Edit::SetAssumption {
                param: *param,
                entry: entry.clone(),
                source: source.clone(),
                own: *own,
            });
        }
        edits
    }

    /// What is another now, with what it is.
    pub(super) fn effect(&self, plan: &Plan) -> Effect {
        let mut effect = Effect {
            removed: self.removed.clone(),
            ..Effect::default()
        };
        for (sheet, row, column) in self.cells.keys() {
            if !self.is_removed(*sheet, *row) {
                let entry = plan.entry(*sheet, *column, *row);
                effect.cells.insert((*sheet, *row, *column), entry);
            }
        }
        for (sheet, mut rows) in by_sheet(&self.added) {
            let rank = plan.rows(sheet).rank();
            rows.sort_by_key(|row| rank.get(row.at()).copied());
            for row in rows {
                effect.added.push((sheet, plan.given(sheet, row)));
            }
        }
        for param in self.assumptions.keys() {
            let now = plan.assumed_under(*param, None);
            effect.assumptions.insert(*param, now);
        }
        for (sheet, column) in self.formulas.keys() {
            let now = plan.own_formula(*sheet, *column);
            effect.formulas.insert((*sheet, *column), now);
        }
        effect
    }
}

/// A row with the rows of its sheet.
#[derive(Clone, Copy)]
pub(super) struct Row<'p> {
    pub(super) sheet: SheetId,
    pub(super) row: RowId,
    pub(super) rows: &'p super::Rows,
}

fn by_sheet(rows: &BTreeSet<(SheetId, RowId)>) -> BTreeMap<SheetId, Vec<RowId>> {
    let mut out: BTreeMap<SheetId, Vec<RowId>> = BTreeMap::new();
    for (sheet, row) in rows {
        out.entry(*sheet).or_default().push(*row);
    }
    out
}

impl Plan {
    /// The name of the proposal that is open; none where the plan is the base.
    pub fn within(&self) -> Option<&str> {
        self.layers.last().map(|layer| layer.name.as_str())
    }

    /// A copy that is the base, where proposals are open, with the edit that goes back into them;
    /// the content of the uppermost one is written down in the copy.
    pub fn base(&self) -> Option<(Self, Edit)> {
        self.within()?;
        let mut base = self.clone();
        let edit = base.leave_edit().ok()?;
        let change = base.apply(edit).ok()?;
        Some((base, change.inverse))
    }

    /// What a cell holds in what the open proposal stands on, where that is something else.
    pub fn stood(&self, sheet: SheetId, column: usize, row: RowId) -> Option<&Entry> {
        let under = &self.layers.last()?.under;
        under.cell(sheet, row, column)
    }

    /// How the open proposal changes a row, if it does.
    pub fn row_mark(&self, sheet: SheetId, row: RowId) -> Option<RowMark> {
        self.layers.last()?.under.mark(sheet, row)
    }

    /// Whether the open proposal changes an assumption.
    pub fn is_assumed_anew(&self, param: ParamId) -> bool {
        let layer = self.layers.last();
        layer.is_some_and(|layer| layer.under.assumption(param).is_some())
    }

    /// The rows that the open proposal takes away.
    pub fn rows_away(&self, sheet: SheetId) -> Vec<RowId> {
        let under = self.layers.last().map(|layer| &layer.under);
        let removed = under.and_then(|under| by_sheet(&under.removed).remove(&sheet));
        removed.unwrap_or_default()
    }

    /// The cells of a row that hold something, by column.
    fn given(&self, sheet: SheetId, row: RowId) -> Vec<(usize, Entry)> {
        let cells = self
            .entered(sheet)
            .map(|column| (column, self.entry(sheet, column, row)));
        cells
            .filter(|(_, entry)| match entry {
                Entry::Empty => false,
                Entry::Number(_) => true,
                Entry::Text(code) => !self.names.view().text(*code).is_empty(),
                Entry::Wrong(text) => !text.is_empty(),
            })
            .collect()
    }

    /// Whether an edit of this kind may be made while a proposal is open.
    ///
    /// # Errors
    /// One that belongs to the base.
    pub(super) fn must_be_no_proposal(&self, what: &str) -> Result<(), Problem> {
        match self.layers.last() {
            None => Ok(()),
            Some(layer) => Err(Problem::new(
                "in-proposal",
                format!(
                    "{what} belongs to the base, and proposal `{}` is open",
                    layer.name
                ),
            )
            .help("leave the proposal first")),
        }
    }
}
