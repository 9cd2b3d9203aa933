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
    distance: Distance,
}

/// How far a plan is from where it was saved, counted in steps.
#[derive(Debug, Clone, Copy, Default)]
pub struct Distance {
    /// Steps done, less those taken back.
    at: i64,
    /// The same when it was saved.
    saved: i64,
    /// Where another way was taken, when the saved point cannot be reached any more.
    fork: Option<i64>,
}

impl Distance {
    /// A new step was made; one that changes nothing that is saved is as far as none.
    pub fn step(&mut self, is_still: bool) {
        if self.fork.is_some() || self.saved > self.at {
            self.fork = Some(self.fork.map_or(self.at, |fork| fork.min(self.at)));
        }
        self.at += i64::from(!is_still);
    }

    /// A step was taken back.
    pub fn back(&mut self, is_still: bool) {
        self.at -= i64::from(!is_still);
    }

    /// A step was made again.
    pub fn again(&mut self, is_still: bool) {
        self.at += i64::from(!is_still);
    }

    /// This is the saved point now.
    pub fn save(&mut self) {
        self.saved = self.at;
        self.fork = None;
    }

    /// How many steps lie between the saved point and now; none only when they are the same.
    pub fn n_steps(&self) -> usize {
        let fork = self.fork.unwrap_or(i64::MAX);
        let common = fork.min(self.at).min(self.saved);
        usize::try_from((self.saved - common) + (self.at - common)).unwrap_or(usize::MAX)
    }
}

/// One step: its name, the edit that turns it over, and whether nothing that is saved changes.
#[derive(Debug)]
struct Step {
    label: String,
    turn: Edit,
    is_still: bool,
}

/// A step, seen from outside.
#[derive(Debug, Clone, Copy)]
pub struct StepTurn<'h> {
    /// Its name.
    pub label: &'h str,
    /// The edit that turns it over.
    pub edit: &'h Edit,
    /// Whether nothing that is saved changes with it.
    pub is_still: bool,
}

/// A step that was taken back or made again.
#[derive(Debug, Clone, PartialEq)]
pub struct Turned {
    /// The name of the step.
    pub label: String,
    /// What it did to the plan.
    pub change: Change,
}

impl Step {
    fn seen(&self) -> StepTurn<'_> {
        StepTurn {
            label: &self.label,
            edit: &self.turn,
            is_still: self.is_still,
        }
    }
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
        self.apply_as(plan, label, edit, false)
    }

    /// The same for a step that changes nothing that is saved, where `is_still` says so.
    ///
    /// # Errors
    /// As [`History::apply`].
    pub fn apply_as(
        &mut self,
        plan: &mut Plan,
        label: impl Into<String>,
        edit: Edit,
        is_still: bool,
    ) -> Result<Change, Problem> {
        let change = plan.apply(edit)?;
        self.add(label.into(), change.inverse.clone(), is_still);
        Ok(change)
    }

    /// Notes a step that was made elsewhere, with the edit that takes it back.
    pub fn made(&mut self, label: String, inverse: Edit) {
        self.add(label, inverse, false);
    }

    fn add(&mut self, label: String, turn: Edit, is_still: bool) {
        self.undone.clear();
        self.distance.step(is_still);
        self.push_done(Step {
            label,
            turn,
            is_still,
        });
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

    /// The names of the steps made, newest first.
    pub fn labels_done(&self) -> impl Iterator<Item = &str> {
        self.done.iter().rev().map(|step| step.label.as_str())
    }

    /// The names of the steps taken back, the one to be made again first.
    pub fn labels_undone(&self) -> impl Iterator<Item = &str> {
        self.undone.iter().rev().map(|step| step.label.as_str())
    }

    /// Takes back a step that is not in this history, by the edit that does so.
    ///
    /// # Errors
    /// An edit that does not fit the plan; plan and history are then as before.
    pub fn undo_by(
        &mut self,
        plan: &mut Plan,
        label: String,
        turn: Edit,
        is_still: bool,
    ) -> Result<Change, Problem> {
        let change = plan.apply(turn.clone())?;
        let step = Step {
            label,
            turn,
            is_still,
        };
        Ok(self.turned(step, change, false).change)
    }

    /// Makes a step again that is not in this history, by the edit that does so.
    ///
    /// # Errors
    /// An edit that does not fit the plan; plan and history are then as before.
    pub fn redo_by(
        &mut self,
        plan: &mut Plan,
        label: String,
        turn: Edit,
        is_still: bool,
    ) -> Result<Change, Problem> {
        let change = plan.apply(turn.clone())?;
        let step = Step {
            label,
            turn,
            is_still,
        };
        Ok(self.turned(step, change, true).change)
    }

    /// How many steps can be taken back, and how many made again.
    pub fn n_steps(&self) -> (usize, usize) {
        (self.done.len(), self.undone.len())
    }

    /// The step that undo would take back, with the edit that does so.
    pub fn undo_turn(&self) -> Option<StepTurn<'_>> {
        self.done.back().map(Step::seen)
    }

    /// The step that redo would make again, with the edit that does so.
    pub fn redo_turn(&self) -> Option<StepTurn<'_>> {
        self.undone.last().map(Step::seen)
    }

    /// How many steps lie between the saved point and now.
    pub fn n_unsaved(&self) -> usize {
        self.distance.n_steps()
    }

    /// Makes this the saved point.
    pub fn save(&mut self) {
        self.distance.save();
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
            is_still: step.is_still,
        };
        if again {
            self.distance.again(step.is_still);
            self.push_done(step);
        } else {
            self.distance.back(step.is_still);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::plan_file::write;
    use crate::files::sample::fresh;
    use crate::plan::Entry;
    use crate::plan::Mapping;
    use crate::plan::SheetView;
    use crate::problem::Severity;
    use crate::table::ParamId;
    use crate::table::RowId;
    use crate::table::SheetId;
    use proptest::prelude::*;

    const LINKS: SheetId = SheetId(0);

    /// The edit of a kind that four numbers choose; it need not fit the plan.
    fn edit(plan: &Plan, kind: u8, a: usize, b: usize, text: &str) -> Edit {
        let n_columns = plan.def(LINKS).columns.len();
        let order = plan.rows(LINKS).order();
        let row = order
            .get(a % order.len().max(1))
            .copied()
            .unwrap_or(RowId(0));
        let column = b % n_columns;
        match kind {
            0 | 1 => Edit::SetCells {
                sheet: LINKS,
                cells: vec![
                    ((column, row), entry(plan, a, text)),
                    ((0, row), entry(plan, b, text)),
                    ((column, row), entry(plan, b, text)),
                ],
            },
            2 | 3 => Edit::AddRows {
                sheet: LINKS,
                at: a % (order.len() + 1),
                rows: vec![
                    vec![(0, entry(plan, 2, text))],
                    vec![(13, entry(plan, b, text))],
                ],
            },
            4 => Edit::RemoveRows {
                sheet: LINKS,
                rows: order
                    .iter()
                    .copied()
                    .filter(|row| row.0 as usize % 3 == a % 3)
                    .collect(),
            },
            5 => {
                let mut order = order.to_vec();
                let by = a % order.len().max(1);
                order.rotate_left(by);
                Edit::Reorder {
                    sheet: LINKS,
                    order,
                }
            }
            6 => Edit::SetAssumption {
                param: ParamId((a % 2) as u16),
                entry: entry(plan, 1 + a % 2, text),
                source: text.to_owned(),
                own: b.is_multiple_of(2),
            },
            7 => Edit::SetFormula {
                sheet: LINKS,
                column: 14 + b % (n_columns - 14),
                formula: (!a.is_multiple_of(3)).then(|| text.to_owned()),
            },
            8 => {
                let mut def = plan.column(LINKS, 9 + 4 * (a % 2)).clone();
                def.name = format!("own_{}", b % 9);
                def.formula = b.is_multiple_of(3).then(|| text.to_owned());
                Edit::AddColumn { sheet: LINKS, def }
            }
            9 => Edit::RemoveLastColumn { sheet: LINKS },
            10 => Edit::SetSeverity {
                check: ["reach", "loss"][a % 2].to_owned(),
                severity: [None, Some(None), Some(Some(Severity::Note))][b % 3],
            },
            11 if a.is_multiple_of(2) => Edit::SetId(text.to_owned()),
            11 => Edit::SetTitle(text.to_owned()),
            12 => Edit::SetView {
                sheet: LINKS,
                view: SheetView {
                    order: vec![text.to_owned(); a % 2],
                    hidden: plan.view(LINKS).order.iter().cloned().collect(),
                    width: [(text.to_owned(), 1 + b as u16)].into(),
                },
            },
            13 => Edit::SetMapping {
                name: ["tank", "reef"][a % 2].to_owned(),
                mapping: (!b.is_multiple_of(3)).then(|| Mapping {
                    headings: vec![text.to_owned(); b % 4],
                    columns: vec![(text.to_owned(), "length:ft".to_owned()); a % 2],
                }),
            },
            _ => Edit::Group(
                (0..3)
                    .map(|at| edit(plan, (a + 5 * at) as u8 % 14, b + at, a + at, text))
                    .collect(),
            ),
        }
    }

    fn entry(plan: &Plan, kind: usize, text: &str) -> Entry {
        match kind % 4 {
            0 => Entry::Empty,
            1 => Entry::Number(kind as f64),
            2 => Entry::Text(plan.names().code(text)),
            _ => Entry::Wrong(format!("~{text}")),
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn undo_and_redo_are_exact(
            edits in prop::collection::vec((0..15u8, 0..40usize, 0..40usize, "[a-c]{1,2}"), 1..60),
        ) {
            let (mut plan, mut history) = (fresh().unwrap(), History::default());
            let mut states = vec![write(&plan)];
            for (kind, a, b, text) in edits {
                let edit = edit(&plan, kind, a, b, &text);
                let before = write(&plan);
                match history.apply(&mut plan, text, edit) {
                    Ok(_) => states.push(write(&plan)),
                    Err(_) => prop_assert_eq!(write(&plan), before),
                }
            }
            let n_steps = states.len() - 1;
            for _ in 0..2 {
                for at in (0..n_steps).rev() {
                    prop_assert!(history.undo(&mut plan).unwrap().is_some());
                    prop_assert_eq!(&write(&plan), &states[at]);
                }
                prop_assert!(history.undo(&mut plan).unwrap().is_none());
                for state in &states[1..] {
                    prop_assert!(history.redo(&mut plan).unwrap().is_some());
                    prop_assert_eq!(&write(&plan), state);
                }
                prop_assert!(history.redo(&mut plan).unwrap().is_none());
            }
        }
    }

    fn title(text: &str) -> Edit {
        Edit::SetTitle(text.to_owned())
    }

    #[test]
    fn steps_have_names_and_a_new_one_ends_the_way_forward() {
        let (mut plan, mut history) = (fresh().unwrap(), History::default());
        history.apply(&mut plan, "name it", title("Reef")).unwrap();
        history
            .apply(&mut plan, "rename it", title("Kelp"))
            .unwrap();
        assert_eq!(history.undo(&mut plan).unwrap().unwrap().label, "rename it");
        assert_eq!(
            (history.next_undo(), history.next_redo()),
            (Some("name it"), Some("rename it"))
        );
        history
            .apply(&mut plan, "name anew", title("Lagoon"))
            .unwrap();
        assert_eq!(history.next_redo(), None);
        assert_eq!(plan.title, "Lagoon");
    }

    #[test]
    fn the_way_back_to_the_saved_point_is_counted() {
        let (mut plan, mut history) = (fresh().unwrap(), History::default());
        let step = |plan: &mut Plan, history: &mut History| {
            history.apply(plan, "title", title("Reef")).unwrap();
            history.n_unsaved()
        };
        assert_eq!(step(&mut plan, &mut history), 1);
        assert_eq!(step(&mut plan, &mut history), 2);
        history.save();
        assert_eq!(history.n_unsaved(), 0);
        history.undo(&mut plan).unwrap();
        assert_eq!(history.n_unsaved(), 1);
        history.redo(&mut plan).unwrap();
        assert_eq!(history.n_unsaved(), 0);
        history.undo(&mut plan).unwrap();
        // Another way: the saved point is gone, even after as many steps.
        assert_eq!(step(&mut plan, &mut history), 2);
        history.undo(&mut plan).unwrap();
        assert_eq!(history.n_unsaved(), 1);
        history.undo(&mut plan).unwrap();
        assert_eq!(history.n_unsaved(), 2);
        history.redo(&mut plan).unwrap();
        history.redo(&mut plan).unwrap();
        assert_eq!(history.n_unsaved(), 2);
        history.save();
        assert_eq!(history.n_unsaved(), 0);
    }

    #[test]
    fn the_oldest_steps_fall_off() {
        let (mut plan, mut history) = (fresh().unwrap(), History::default());
        for at in 0..=MAX_STEPS {
            history
                .apply(&mut plan, "title", title(&at.to_string()))
                .unwrap();
        }
        let mut n_steps = 0;
        while history.undo(&mut plan).unwrap().is_some() {
            n_steps += 1;
        }
        assert_eq!((n_steps, plan.title.as_str()), (MAX_STEPS, "0"));
    }
}
