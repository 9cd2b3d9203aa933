//! The steps of one sitting, to be taken back and made again.
//!
//! Knows edits and their names only; what has to be recomputed is in the [`Change`] it hands on.

use crate::plan::Change;
use crate::plan::Edit;
use crate::plan::Plan;
use crate::problem::Problem;
use std::collections::VecDeque;

/// The most steps that can be taken back; the oldest fall off.
pub const MAX_STEPS: usize = 10_000;

/// What was done and what was taken back, newest last.
#[derive(Debug, Default)]
pub struct History {
    done: VecDeque<Step>,
    undone: Vec<Step>,
}

/// One step: its name and the edit that turns it over.
#[derive(Debug)]
struct Step {
    label: String,
    turn: Edit,
}

/// A step that was taken back or made again.
#[derive(Debug, Clone, PartialEq)]
pub struct Turned {
    /// The name of the step.
    pub label: String,
    /// What it did to the plan.
    pub change: Change,
}

impl History {
    /// Makes an edit as a step with a name; steps that were taken back are then gone.
    ///
    /// # Errors
    /// An edit that does not fit the plan; plan and history are then as before.
    pub fn apply(
        &mut self,
        plan: &mut Plan,
        label: impl Into<String>,
        edit: Edit,
    ) -> Result<Change, Problem> {
        let change = plan.apply(edit)?;
        self.undone.clear();
        self.push_done(Step {
            label: label.into(),
            turn: change.inverse.clone(),
        });
        Ok(change)
    }

    /// Takes the last step back; `None` when there is none.
    ///
    /// # Errors
    /// A plan that was changed past this history; nothing is changed then.
    pub fn undo(&mut self, plan: &mut Plan) -> Result<Option<Turned>, Problem> {
        let Some(step) = self.done.back() else {
            return Ok(None);
        };
        let change = plan.apply(step.turn.clone())?;
        let step = self.done.pop_back();
        Ok(step.map(|step| self.turned(step, change, false)))
    }

    /// Makes the step again that was taken back last; `None` when there is none.
    ///
    /// # Errors
    /// A plan that was changed past this history; nothing is changed then.
    pub fn redo(&mut self, plan: &mut Plan) -> Result<Option<Turned>, Problem> {
        let Some(step) = self.undone.last() else {
            return Ok(None);
        };
        let change = plan.apply(step.turn.clone())?;
        let step = self.undone.pop();
        Ok(step.map(|step| self.turned(step, change, true)))
    }

    /// The name of the step that undo would take back.
    pub fn next_undo(&self) -> Option<&str> {
        self.done.back().map(|step| step.label.as_str())
    }

    /// The name of the step that redo would make again.
    pub fn next_redo(&self) -> Option<&str> {
        self.undone.last().map(|step| step.label.as_str())
    }

    /// Puts a step that was turned over on the other pile.
    fn turned(&mut self, step: Step, change: Change, again: bool) -> Turned {
        let label = step.label.clone();
        let step = Step {
            label: step.label,
            turn: change.inverse.clone(),
        };
        if again {
            self.push_done(step);
        } else {
            self.undone.push(step);
        }
        Turned { label, change }
    }

    fn push_done(&mut self, step: Step) {
        if self.done.len() == MAX_STEPS {
            self.done.pop_front();
        }
        self.done.push_back(step);
    }
}
