//! A step that takes long, made ahead on a copy of the plan, such as on another thread: the open
//! plan is free meanwhile, and takes what was made in one piece.
//!
//! What such a step is stands where it is asked for.

use super::keep::Made;
use super::{Desk, Gauge};
use crate::engine::Engine;
use crate::files::journal;
use crate::files::journal::{Told, TooLarge, Turn};
use crate::plan::Edit;
use crate::plan::Plan;
use crate::problem::Problem;
use crate::trade;
use crate::trade::Standing;

/// A copy of a plan on which a step is made.
#[derive(Debug)]
pub struct Ahead {
    plan: Plan,
    n_changes: u64,
    has_journal: bool,
}

/// A step that was made on a copy.
#[derive(Debug)]
pub struct Prepared {
    label: String,
    plan: Plan,
    engine: Engine,
    standing: Standing,
    inverse: Edit,
    /// What the journal gets, where there is one.
    record: Option<Result<Vec<u8>, TooLarge>>,
    n_changes: u64,
}

impl Ahead {
    /// The plan as it was copied.
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// Makes a step and computes everything.
    ///
    /// # Errors
    /// An edit that does not fit, or that it was stopped.
    pub fn make(mut self, label: &str, edit: Edit, gauge: &Gauge) -> Result<Prepared, Problem> {
        gauge.go_on()?;
        let turn = Turn::Do(Told {
            label,
            edit: &edit,
            is_still: false,
        });
        let record = self.has_journal.then(|| journal::turn(&self.plan, turn));
        gauge.go_on()?;
        let inverse = self.plan.apply(edit)?.inverse;
        gauge.go_on()?;
        let (engine, standing) = trade::judge(&self.plan);
        gauge.go_on()?;
        Ok(Prepared {
            label: label.to_owned(),
            plan: self.plan,
            engine,
            standing,
            inverse,
            record,
            n_changes: self.n_changes,
        })
    }
}

impl Desk {
    /// A copy on which a step can be made that takes long.
    ///
    /// # Errors
    /// A plan that may not be changed now.
    pub fn ahead(&self) -> Result<Ahead, Problem> {
        self.keep.may_edit()?;
        Ok(Ahead {
            plan: self.plan.clone(),
            n_changes: self.n_changes,
            has_journal: self.keep.has_journal(),
        })
    }

    /// Takes a step that was made on a copy, as if it were made here.
    ///
    /// # Errors
    /// A plan that was changed since it was copied, or may not be changed now; nothing is changed
    /// then.
    pub fn take_prepared(&mut self, prepared: Prepared) -> Result<(), Problem> {
        self.keep.may_edit()?;
        if prepared.n_changes != self.n_changes {
            let what = "the plan was changed meanwhile";
            return Err(Problem::new("plan-changed", what).help("do it again"));
        }
        let path = self.path.as_deref();
        let records = self.keep.records_of(&self.plan, path, prepared.record);
        self.plan = prepared.plan;
        self.history.made(prepared.label, prepared.inverse);
        self.keep.tell(Made::Do, records, &self.history);
        self.engine = prepared.engine;
        self.standing.give_way(prepared.standing);
        self.n_changes += 1;
        self.outcome = self.outcome_now(true);
        Ok(())
    }
}
