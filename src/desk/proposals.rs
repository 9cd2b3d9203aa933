//! Proposals of the open plan: made, entered, left, accepted and dropped, each as a named step.
//!
//! What a proposal is, and how its changes become edits, is known to the plan. Edits that are made
//! while one is open belong to it; leaving it puts the base back.

use super::Desk;
use crate::plan::Proposal;
use crate::problem::Problem;
use crate::study::compare;
use crate::study::compare::Comparison;

impl Desk {
    /// The proposals of the plan; of the one that is open the content it had when it was entered.
    pub fn proposals(&self) -> &[Proposal] {
        self.plan.proposals()
    }

    /// The name of the proposal that edits belong to; none where they belong to the base.
    pub fn within(&self) -> Option<&str> {
        self.plan.within()
    }

    /// Makes a proposal without changes, on another one where that is named.
    ///
    /// # Errors
    /// A name that is empty or taken, or another one that is not there.
    pub fn propose(&mut self, name: &str, note: &str, on: Option<&str>) -> Result<(), Problem> {
        let edit = self.plan.propose_edit(name, note, on)?;
        self.apply(&format!("new proposal {}", name.trim()), edit)
    }

    /// Enters a proposal, leaving the one that is open; gives its changes that do not fit.
    ///
    /// # Errors
    /// A name that no proposal has, or proposals that stand on each other in a circle.
    pub fn enter(&mut self, name: &str) -> Result<Vec<Problem>, Problem> {
        let name = self.plan.must_propose(name)?.name.clone();
        if self.within() == Some(name.as_str()) {
            return Ok(Vec::new());
        }
        self.plan.stack(&name)?;
        if self.within().is_some() {
            self.leave()?;
        }
        let (edit, misfits) = self.plan.enter_edit(&name)?;
        self.apply_as(&format!("into proposal {name}"), edit, true)?;
        Ok(misfits)
    }

    /// Leaves the open proposal for the base; what was changed is its content from now on.
    ///
    /// # Errors
    /// A plan that is in no proposal.
    pub fn leave(&mut self) -> Result<(), Problem> {
        let edit = self.plan.leave_edit()?;
        let label = format!("out of proposal {}", self.within().unwrap_or_default());
        self.apply_as(&label, edit, true)
    }

    /// Writes a proposal into the base as one step; it is then gone. Gives its changes that do not
    /// fit: they stay, and so does the proposal.
    ///
    /// # Errors
    /// A name that no proposal has, one that stands on another, or another one that is open.
    pub fn accept(&mut self, name: &str) -> Result<Vec<Problem>, Problem> {
        let (edit, misfits) = self.plan.accept_edit(name)?;
        self.apply(&format!("proposal {} accepted", name.trim()), edit)?;
        Ok(misfits)
    }

    /// Takes a proposal away with all its changes, as one step.
    ///
    /// # Errors
    /// A name that no proposal has, one that others stand on, or another one that is open.
    pub fn drop_proposal(&mut self, name: &str) -> Result<(), Problem> {
        let edit = self.plan.drop_edit(name)?;
        self.apply(&format!("proposal {} dropped", name.trim()), edit)
    }

    /// Holds proposals beside the base; no names mean all of them. What is open is compared as it
    /// would be saved now.
    ///
    /// # Errors
    /// A name that no proposal has, or proposals that stand on each other in a circle.
    pub fn compare(&self, names: &[String]) -> Result<Comparison, Problem> {
        compare::compare(&self.plan, &self.engine, names)
    }
}
