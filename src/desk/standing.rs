//! What the last edit brought about: findings that came and went, cells that changed.
//!
//! The rows that are found are kept in `trade`; here they are looked at around each edit.

use super::{Desk, MOST_FINDINGS};
use crate::plan::Edit;
use crate::plan::Touched;
use crate::table::{RowId, SheetId};
use crate::trade;
use crate::trade::Finding;
use crate::trade::Findings;
use crate::trade::Standing;

/// So many findings that came or went are written out.
pub const MOST_TOLD: usize = 20;

/// What an edit brought about.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Outcome {
    /// Findings that came, worst first; the first [`MOST_TOLD`].
    pub came: Vec<Finding>,
    /// How many came.
    pub n_came: usize,
    /// Findings that went; the first [`MOST_TOLD`].
    pub went: Vec<Finding>,
    /// How many went.
    pub n_went: usize,
    /// How many stops, cautions and notes there are now.
    pub counts: [usize; 3],
    /// How many computed cells changed, those of checks aside; `None` where whole columns were
    /// computed anew and nobody counted.
    pub changed_cells: Option<usize>,
}

/// Where more rows come or go at once, everything is computed anew: bringing each into its groups
/// one by one would take longer, by the square of their number where they share one.
const MANY_ROWS: usize = 20_000;

impl Desk {
    /// What the checks find, ready to be asked for counts, parts and rows.
    pub fn standing(&self) -> &Standing {
        &self.standing
    }

    /// What the last edit brought about; empty before the first one.
    pub fn outcome(&self) -> &Outcome {
        &self.outcome
    }

    /// What the checks found, worst first.
    pub fn findings(&self) -> Findings {
        let (plan, engine) = (&self.plan, &self.engine);
        self.standing.first(plan, engine, MOST_FINDINGS)
    }

    /// So many findings from a position on, worst first.
    pub fn findings_from(&self, from: usize, n: usize) -> Vec<Finding> {
        self.standing.findings(&self.plan, &self.engine, from, n)
    }

    /// What is found of a row, worst first.
    pub fn findings_of(&self, sheet: SheetId, row: RowId) -> Vec<Finding> {
        self.standing.of_row(&self.plan, &self.engine, sheet, row)
    }

    /// Has the findings of the rows of an edit told before it is made.
    pub(super) fn look_before(&mut self, rows: &[(SheetId, RowId)]) {
        self.standing.remember(&self.plan, &self.engine, rows);
    }

    /// Brings engine and standing up to date; a change of columns, or of the table that the cage
    /// function was made from, needs a new engine.
    pub(super) fn follow(&mut self, touched: &[Touched]) {
        self.n_changes += 1;
        let is_new = self.needs_new_engine(touched) || !self.engine.update(&self.plan, touched);
        if is_new {
            self.engine = trade::engine(&self.plan);
            self.standing.renew(&self.plan, &self.engine);
        } else {
            self.standing.follow(&self.plan, &self.engine, touched);
        }
        self.outcome = self.outcome_now(is_new);
    }

    fn needs_new_engine(&self, touched: &[Touched]) -> bool {
        let fits = self.plan.sheet("fits");
        touched.iter().any(|part| match part {
            Touched::Rows(sheet, rows) => Some(*sheet) == fits || rows.len() > MANY_ROWS,
            Touched::Cells(sheet, _, _) | Touched::Order(sheet) => Some(*sheet) == fits,
            Touched::Assumption(_) | Touched::Schema => false,
        })
    }

    /// What the last step brought about.
    pub(super) fn outcome_now(&self, is_new_engine: bool) -> Outcome {
        let (n_came, n_went) = self.standing.n_moved();
        let went = self.standing.went().iter();
        Outcome {
            came: self.standing.came(&self.plan, &self.engine, MOST_TOLD),
            n_came,
            went: went.take(MOST_TOLD).cloned().collect(),
            n_went,
            counts: self.standing.counts(),
            changed_cells: if is_new_engine {
                None
            } else {
                self.n_changed()
            },
        }
    }

    /// How many cells of the plan's computed columns, verdicts among them, changed last.
    fn n_changed(&self) -> Option<usize> {
        let mut n_changed = 0;
        for step in self.engine.trace() {
            let node = &self.engine.graph().nodes[step.column.at()];
            let position = step.column.at() - self.engine.column(node.sheet, 0).at();
            let def = self.engine.def(step.column);
            let is_verdict = def.is_some_and(|def| def.name == "verdict");
            if is_verdict || position < self.plan.def(node.sheet).columns.len() {
                n_changed += step.changed?;
            }
        }
        Some(n_changed)
    }
}

/// The rows in which an edit writes or which it takes away; no more than are told.
pub(super) fn rows_of(edit: Option<&Edit>) -> Vec<(SheetId, RowId)> {
    let mut rows = Vec::new();
    if let Some(edit) = edit {
        add_rows(edit, &mut rows);
    }
    rows
}

/// Adds the rows in which an edit writes or which it takes away; no more than are told.
fn add_rows(edit: &Edit, rows: &mut Vec<(SheetId, RowId)>) {
    let room = MOST_TOLD.saturating_sub(rows.len());
    match edit {
        Edit::SetCells { sheet, cells } => {
            let of_cells = cells.iter().take(room);
            for ((_, row), _) in of_cells {
                if !rows.contains(&(*sheet, *row)) {
                    rows.push((*sheet, *row));
                }
            }
        }
        Edit::RemoveRows { sheet, rows: gone } => {
            rows.extend(gone.iter().take(room).map(|row| (*sheet, *row)));
        }
        Edit::Group(edits) => {
            for edit in edits.iter().take(MOST_TOLD) {
                add_rows(edit, rows);
            }
        }
        Edit::AddRows { .. }
        | Edit::RestoreRows { .. }
        | Edit::Reorder { .. }
        | Edit::SetAssumption { .. }
        | Edit::SetFormula { .. }
        | Edit::AddColumn { .. }
        | Edit::RemoveLastColumn { .. }
        | Edit::SetSeverity { .. }
        | Edit::SetView { .. }
        | Edit::SetId(_)
        | Edit::SetMapping { .. }
        | Edit::SetTitle(_)
        | Edit::SetProposal { .. }
        | Edit::OpenProposal { .. }
        | Edit::CloseProposal => {}
    }
}
