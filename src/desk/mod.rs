//! One open plan: edits and the way back here; opening, saving and what is kept beside it in
//! `opening.rs`.
//!
//! The only room that changes a plan; screen and command line make the same calls. Nothing here
//! prints.

mod ahead;
mod export;
mod gauge;
pub mod history;
mod importing;
mod keep;
mod merging;
mod opening;
mod proposals;
mod recovery;
mod standing;
mod writer;

pub use ahead::{Ahead, Prepared};
pub use export::{Exported, Snapshot, Wanted};
pub use gauge::{Gauge, Step};
pub use importing::{Imported, Progress, read_table};
pub use merging::{Returned, merge_label};
pub use opening::SaveState;
pub use recovery::Recovery;
pub use standing::{MOST_TOLD, Outcome};

use crate::engine::Engine;
use crate::files::plan_file;
use crate::plan::Edit;
use crate::plan::Entry;
use crate::plan::Plan;
use crate::plan::read_entry;
use crate::problem::Problem;
use crate::table::{ColumnId, RowId, SheetId};
use crate::trade;
use crate::trade::Standing;
use history::History;
use keep::{Keep, Made, Move};
use standing::rows_of;
use std::path::{Path, PathBuf};

/// The plan that is shown when none is named.
const DEMO: &str = include_str!("../../examples/aquarium.plan");

/// How many findings are written out in sentences; the counts are always of all.
pub const MOST_FINDINGS: usize = 100_000;

/// An open plan with everything computed from it.
#[derive(Debug)]
pub struct Desk {
    plan: Plan,
    engine: Engine,
    history: History,
    path: Option<PathBuf>,
    problems: Vec<Problem>,
    standing: Standing,
    outcome: Outcome,
    keep: Keep,
    /// How often the plan was changed.
    n_changes: u64,
}

impl Desk {
    /// The built-in demo plan, as a copy in memory.
    ///
    /// # Errors
    /// None in a build whose tests passed: the demo is opened by a test.
    pub fn demo() -> Result<Self, Problem> {
        Self::of_text(DEMO)
    }

    /// An empty plan with a title.
    ///
    /// # Errors
    /// None in a build whose tests passed: the built-in sheets are read by a test.
    pub fn empty(title: &str) -> Result<Self, Problem> {
        let mut plan = trade::empty_plan()?;
        plan.title = title.to_owned();
        Ok(Self::of_plan(plan, Vec::new()))
    }

    /// A desk for the text of a plan file.
    ///
    /// # Errors
    /// A text that is no plan.
    pub fn of_text(text: &str) -> Result<Self, Problem> {
        let (plan, problems) = plan_file::read(text, trade::empty_plan)?;
        Ok(Self::of_plan(plan, problems))
    }

    /// A desk for a plan that was made elsewhere, such as by an import.
    pub fn of_plan(plan: Plan, problems: Vec<Problem>) -> Self {
        let (engine, standing) = trade::judge(&plan);
        Self {
            plan,
            engine,
            history: History::default(),
            path: None,
            problems,
            standing,
            outcome: Outcome::default(),
            keep: Keep::default(),
            n_changes: 0,
        }
    }

    /// How often the plan was changed since it was opened; while it is the same, so is the plan.
    pub fn n_changes(&self) -> u64 {
        self.n_changes
    }

    /// The plan.
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// Everything computed from it.
    pub fn engine(&self) -> &Engine {
        &self.engine
    }

    /// Where it was opened from or last saved to.
    pub fn path(&self) -> Option<&Path> {
        self.path.as_deref()
    }

    /// The names of the steps that were made, newest first.
    pub fn steps_done(&self) -> impl Iterator<Item = &str> {
        self.history.labels_done()
    }

    /// The names of the steps that were taken back; the one to be made again first comes first.
    pub fn steps_undone(&self) -> impl Iterator<Item = &str> {
        self.history.labels_undone()
    }

    /// The text in an entered cell that could not be read for its column.
    pub fn wrong_text(&self, column: ColumnId, row: RowId) -> Option<&str> {
        let sheet = self.engine.graph().nodes[column.at()].sheet;
        let first = self.engine.column(sheet, 0).at();
        let position = column.at().checked_sub(first)?;
        let wrong = self.plan.rows(sheet).wrong();
        wrong.get(&(position, row)).map(String::as_str)
    }

    /// What was not as expected when it was opened, then what is wrong with formulas.
    pub fn problems(&self) -> impl Iterator<Item = &Problem> {
        self.problems.iter().chain(self.engine.problems())
    }

    /// Makes an edit as one named step.
    ///
    /// # Errors
    /// An edit that does not fit or may not be made now; the plan is then as before.
    pub fn apply(&mut self, label: &str, edit: Edit) -> Result<(), Problem> {
        self.apply_as(label, edit, false)
    }

    /// The same for a step that changes nothing that is saved, where `is_still` says so.
    fn apply_as(&mut self, label: &str, edit: Edit, is_still: bool) -> Result<(), Problem> {
        self.keep.may_edit()?;
        let records = self.records(Move::Do(label, &edit, is_still));
        self.look_before(&rows_of(Some(&edit)));
        let history = &mut self.history;
        let change = history.apply_as(&mut self.plan, label, edit, is_still)?;
        self.keep.tell(Made::Do, records, &self.history);
        self.follow(&change.touched);
        Ok(())
    }

    /// Takes the last step back and gives its name; `None` when there is none.
    ///
    /// # Errors
    /// A step that does not fit the plan any more; nothing is changed then.
    pub fn undo(&mut self) -> Result<Option<String>, Problem> {
        let records = self.records(Move::Undo);
        self.look_before(&rows_of(self.history.undo_turn().map(|step| step.edit)));
        let turned = self.history.undo(&mut self.plan)?;
        self.keep.tell(Made::Undo, records, &self.history);
        Ok(turned.map(|turned| {
            self.follow(&turned.change.touched);
            turned.label
        }))
    }

    /// Makes the step again that was taken back last; `None` when there is none.
    ///
    /// # Errors
    /// A step that does not fit the plan any more; nothing is changed then.
    pub fn redo(&mut self) -> Result<Option<String>, Problem> {
        let records = self.records(Move::Redo);
        self.look_before(&rows_of(self.history.redo_turn().map(|step| step.edit)));
        let turned = self.history.redo(&mut self.plan)?;
        self.keep.tell(Made::Redo, records, &self.history);
        Ok(turned.map(|turned| {
            self.follow(&turned.change.touched);
            turned.label
        }))
    }

    /// Writes typed text into a cell, as one step.
    ///
    /// # Errors
    /// A text that the column does not take, or a computed column; nothing is changed then.
    pub fn set(
        &mut self,
        sheet: SheetId,
        row: RowId,
        column: usize,
        text: &str,
    ) -> Result<(), Problem> {
        let def = self.plan.column(sheet, column);
        let label = format!("{} of {}", def.name, self.plan.id(sheet, row));
        let entry = match def.entered() {
            true => read_entry(&self.plan, sheet, column, text)?,
            false => Entry::Empty,
        };
        self.apply(
            &label,
            Edit::SetCells {
                sheet,
                cells: vec![((column, row), entry)],
            },
        )
    }

    /// Copies a built-in row, so that the person's values take its place from then on.
    ///
    /// # Errors
    /// A row that is not there; nothing is changed then.
    pub fn own_row(&mut self, sheet: SheetId, row: RowId) -> Result<RowId, Problem> {
        let mark = [
            ("source", "set in this plan"),
            ("confidence", ""),
            ("note", ""),
        ];
        let cells = self.plan.entered(sheet).map(|column| {
            let name = self.plan.column(sheet, column).name.as_str();
            let entry = match mark.iter().find(|(marked, _)| *marked == name) {
                Some((_, text)) => read_entry(&self.plan, sheet, column, text)?,
                None => self.plan.entry(sheet, column, row),
            };
            Ok((column, entry))
        });
        let cells = cells.collect::<Result<Vec<_>, Problem>>()?;
        let at = self.plan.rows(sheet).order().len();
        let label = format!("own row {}", self.plan.id(sheet, row));
        self.apply(
            &label,
            Edit::AddRows {
                sheet,
                at,
                rows: vec![cells],
            },
        )?;
        Ok(self.plan.rows(sheet).order()[at])
    }

    /// What the journal gets when a move is made that is about to be.
    fn records(&self, next: Move<'_>) -> keep::Records {
        let path = self.path.as_deref();
        self.keep.records(&self.plan, path, &self.history, next)
    }
}
