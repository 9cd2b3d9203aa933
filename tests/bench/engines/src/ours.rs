//! Our engine on the same plan: a full calculation, and an edit with all that follows from it.

use crate::median;
use crate::timed;
use portledger::engine::Engine;
use portledger::plan::Edit;
use portledger::plan::Entry;
use portledger::plan::Plan;
use portledger::trade;
use std::time::Duration;

/// A plan and its engine.
pub struct Ours {
    plan: Plan,
    engine: Engine,
}

impl Ours {
    /// With everything computed once.
    pub fn of(plan: Plan) -> Self {
        let engine = trade::engine(&plan);
        Self { plan, engine }
    }

    /// How many computed cells there are.
    pub fn n_cells(&self) -> usize {
        let steps = self.engine.trace().iter();
        steps
            .map(|step| self.engine.values(step.column).len())
            .sum()
    }

    /// The median of nine full calculations.
    pub fn full(&mut self) -> Duration {
        median((0..9).map(|_| timed(|| self.engine.recalculate(&self.plan))))
    }

    /// Sets the length of a link, in metres; the edit itself counts.
    ///
    /// # Panics
    /// Where there is no such link.
    pub fn set_length(&mut self, id: &str, metres: f64) -> Duration {
        let sheet = self.plan.sheet("links").expect("the sheet is built in");
        let column = self.plan.def(sheet).column("length");
        let column = column.expect("the column is built in");
        let row = self.plan.find(sheet, id).expect("the link is there");
        self.apply(Edit::SetCells {
            sheet,
            cells: vec![((column, row), Entry::Number(metres))],
        })
    }

    /// Sets an assumption, in its base unit; the edit itself counts.
    ///
    /// # Panics
    /// Where there is no such assumption.
    pub fn assume(&mut self, name: &str, value: f64) -> Duration {
        let param = self.plan.assumption(name).expect("it is built in");
        self.apply(Edit::SetAssumption {
            param,
            entry: Entry::Number(value),
            source: String::new(),
            own: true,
        })
    }

    /// The plan as its file holds it.
    pub fn text(&self) -> String {
        portledger::files::plan_file::write(&self.plan)
    }

    fn apply(&mut self, edit: Edit) -> Duration {
        timed(|| {
            let change = self.plan.apply(edit).expect("the edit applies");
            assert!(self.engine.update(&self.plan, &change.touched));
        })
    }
}
