//! A copy of a plan with an engine of its own, on which edits are tried and taken back.
//!
//! The plan it was made from stays as it is. What an edit means is decided by each study.

use crate::engine::Engine;
use crate::engine::Source;
use crate::plan::Edit;
use crate::plan::Plan;
use crate::plan::Touched;
use crate::problem::Problem;
use crate::table::{Cell, ColumnId, RowId, SheetId};
use crate::trade;
use crate::trade::Case;
use crate::trade::Finding;
use crate::trade::Judged;
use crate::trade::Sentence;
use std::cmp::Reverse;
use std::sync::OnceLock;

/// With fewer links than this a plan is copied whole.
const SMALL: usize = 1000;

/// A copy to try things on.
#[derive(Debug)]
pub struct Trial {
    plan: Plan,
    engine: Engine,
    /// The cases of all checks, worst first; made when first asked for.
    cases: OnceLock<Vec<Case>>,
}

impl Trial {
    /// A copy of a plan and of what is computed from it.
    pub fn new(plan: &Plan, engine: &Engine) -> Self {
        Self {
            plan: plan.clone(),
            engine: engine.clone(),
            cases: OnceLock::new(),
        }
    }

    /// A copy that computes only some columns and what they stand on, so that in a large plan a
    /// change is followed faster; all other computed columns are missing in it. Of a small plan
    /// the copy is whole, as making another engine would take longer.
    pub fn of_columns(plan: &Plan, engine: &Engine, wanted: &[ColumnId]) -> Self {
        let rows = |sheet| plan.rows(sheet).order().len();
        if plan.sheet("links").is_none_or(|links| rows(links) < SMALL) {
            return Self::new(plan, engine);
        }
        let plan = plan.clone();
        let needed = needed(engine, wanted);
        let mut schema = engine.schema().to_vec();
        for (at, sheet) in schema.iter_mut().enumerate() {
            let first = engine.graph().first[at].at();
            for (position, column) in sheet.columns.iter_mut().enumerate() {
                if column.formula.is_some() && !needed[first + position] {
                    column.formula = Some("missing".to_owned());
                }
            }
        }
        Self {
            engine: Engine::new(&plan, schema, engine.knowledge().clone()),
            cases: OnceLock::new(),
            plan,
        }
    }

    /// Takes the paths out of the copy where nothing of some sheets stands on them: each edit of a
    /// link would make all of them anew.
    ///
    /// # Errors
    /// None where the rows are there, as they are.
    pub fn leave_paths(&mut self, sheets: &[SheetId]) -> Result<(), Problem> {
        let Some(paths) = self.plan.sheet("paths") else {
            return Ok(());
        };
        let nodes = &self.engine.graph().nodes;
        let of = |at: &usize| sheets.contains(&nodes[*at].sheet);
        let wanted = (0..nodes.len()).filter(of);
        let wanted: Vec<ColumnId> = wanted
            .filter_map(|at| u32::try_from(at).ok().map(ColumnId))
            .collect();
        let needed = needed(&self.engine, &wanted);
        let stands = (0..nodes.len()).any(|at| needed[at] && nodes[at].sheet == paths);
        let rows = self.plan.rows(paths).order().to_vec();
        if !stands && !rows.is_empty() {
            self.make(Edit::RemoveRows { sheet: paths, rows })?;
        }
        Ok(())
    }

    /// The copy as it is now.
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// Everything computed from it.
    pub fn engine(&self) -> &Engine {
        &self.engine
    }

    /// Makes an edit; gives the one that takes it back.
    ///
    /// # Errors
    /// An edit that does not fit; the copy is then as before.
    pub fn make(&mut self, edit: Edit) -> Result<Edit, Problem> {
        let change = self.plan.apply(edit)?;
        self.follow(&change.touched);
        Ok(change.inverse)
    }

    /// Takes one edit back and makes another, and computes once; gives what takes the other back.
    ///
    /// # Errors
    /// An edit that does not fit; what was to be taken back is taken back.
    pub fn turn(&mut self, back: Edit, edit: Edit) -> Result<Edit, Problem> {
        let back = self.plan.apply(back)?;
        let change = self.plan.apply(edit);
        let mut touched = back.touched;
        let made = change.map(|change| {
            touched.extend(change.touched);
            change.inverse
        });
        self.follow(&touched);
        made
    }

    /// Looks at the copy with an edit made, which is taken back.
    ///
    /// # Errors
    /// An edit that does not fit.
    pub fn with<T>(&mut self, edit: Edit, look: impl FnOnce(&Self) -> T) -> Result<T, Problem> {
        let back = self.make(edit)?;
        let seen = look(self);
        self.make(back)?;
        Ok(seen)
    }

    fn follow(&mut self, touched: &[Touched]) {
        if !self.engine.update(&self.plan, touched) {
            self.engine = trade::engine(&self.plan);
            self.cases = OnceLock::new();
        }
    }

    /// What the checks find of a row, worst first, then in the order of checks. Names that look
    /// alike are left out, as no study changes a name.
    pub fn findings(&self, sheet: SheetId, row: RowId) -> Vec<Finding> {
        let cases = self.cases.get_or_init(|| {
            let Judged { mut cases, .. } = trade::judged(&self.plan);
            cases.sort_by_key(|case| Reverse(case.severity));
            cases
        });
        let found = |case: &&Case| {
            let column = self.engine.column(sheet, case.column);
            self.engine.cell(&self.plan, column, row) == Cell::Flag(true)
        };
        let found = cases
            .iter()
            .filter(|case| case.sheet == sheet)
            .filter(found);
        found.map(|case| self.finding(case, row)).collect()
    }

    fn finding(&self, case: &Case, row: RowId) -> Finding {
        let def = &case.check.cases[case.case];
        let fill = |text| {
            let sentence = Sentence::new(&self.plan, &self.engine, case.sheet, text);
            sentence.fill(&self.plan, &self.engine, case.sheet, row)
        };
        Finding {
            check: case.check.name.clone(),
            severity: case.severity,
            sheet: case.sheet,
            row,
            sentence: fill(&def.say),
            advice: fill(&def.advise),
            source: case.check.source.clone(),
        }
    }
}

/// For each column of the graph whether one that is wanted stands on it.
fn needed(engine: &Engine, wanted: &[ColumnId]) -> Vec<bool> {
    let graph = engine.graph();
    let mut needed = vec![false; graph.nodes.len()];
    // Searches by key read their keys without saying so.
    let keys = graph.lookups.iter().flat_map(|lookup| &lookup.keys);
    let mut open: Vec<ColumnId> = keys.map(|(key, _)| *key).collect();
    open.extend(wanted);
    while let Some(column) = open.pop() {
        if std::mem::replace(&mut needed[column.at()], true) {
            continue;
        }
        let node = &graph.nodes[column.at()];
        open.extend(node.reads.iter().map(|read| read.column));
        // Columns that one function makes are made together.
        if let Source::Made { lead, .. } = node.source {
            open.push(lead);
        }
    }
    needed
}
