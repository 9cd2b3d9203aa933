//! What a session that ended without saving left: found on opening, then taken or dropped.
//!
//! Edits are made again here exactly as they were made. What a journal looks like is in `files`.

use super::history::{Distance, History};
use crate::files::journal;
use crate::files::journal::{End, Found, Line, Lines, Read, ReadStorage, Start, Step};
use crate::files::side::clock_text;
use crate::plan::Plan;
use crate::problem::Problem;
use serde::de::IgnoredAny;
use std::path::{Path, PathBuf};

/// How many names of steps are listed.
const MOST_LABELS: usize = 5;

/// Unsaved edits of an earlier session, to be taken or dropped.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Recovery {
    /// How many steps the plan is from what was saved.
    pub n_steps: usize,
    /// The names of the last of them, newest last, at most five.
    pub labels: Vec<String>,
    /// When the last of them was written, by the clock of then.
    pub written: Option<String>,
    /// Whether it ends as it was written; otherwise later edits may be missing.
    pub is_whole: bool,
    /// The journal.
    pub path: PathBuf,
}

/// A journal that is held until it is taken or dropped.
#[derive(Debug)]
pub struct Pending {
    /// The file.
    pub found: Found,
    /// What is in it.
    pub recovery: Recovery,
}

/// What a journal says without making its edits.
#[derive(Debug)]
pub struct Glance {
    /// What its edits were made to.
    pub start: Start<IgnoredAny>,
    /// How many steps lie between its beginning and its end.
    pub n_steps: usize,
    labels: Vec<String>,
    /// The checksum of a save after which nothing was changed.
    saved_as: Option<String>,
    is_whole: bool,
}

/// What a journal is to a plan file.
#[derive(Debug, PartialEq, Eq)]
pub enum Fit {
    /// Its edits follow on the file.
    Follows,
    /// There is nothing in it that is not in the file.
    Nothing,
    /// Its edits were made to something else.
    Other,
}

impl Glance {
    /// Looks through the bytes of a journal; none where it does not begin as one.
    pub fn at(bytes: &[u8]) -> Option<Self> {
        let mut lines = Lines::new(bytes);
        let Some(Line::Start(start)) = lines.next_line::<IgnoredAny, IgnoredAny>() else {
            return None;
        };
        let (mut steps, mut saved_as, mut is_full) = (Steps::default(), None, false);
        while let Some(line) = lines.next_line::<IgnoredAny, IgnoredAny>() {
            match line {
                Line::Saving(checksum) => {
                    saved_as = Some(checksum);
                    continue;
                }
                Line::Within(_) => continue,
                Line::Full => {
                    is_full = true;
                    break;
                }
                Line::Start(_) => break,
                Line::Do(step) => steps.step(step.label, step.is_still),
                Line::Undo => steps.back(),
                Line::Redo => steps.again(),
                Line::UndoBy(step) => steps.back_by(step.label, step.is_still),
                Line::RedoBy(step) => steps.again_by(step.label, step.is_still),
            }
            saved_as = None;
        }
        let is_at_end = lines.end().at == bytes.len() as u64;
        Some(Self {
            start,
            n_steps: steps.distance.n_steps(),
            labels: steps.labels(),
            saved_as,
            is_whole: is_at_end && !is_full,
        })
    }

    /// What it is to a plan file with this checksum.
    pub fn fit(&self, checksum: &str) -> Fit {
        let is_saved = self.saved_as.as_deref() == Some(checksum);
        match self.start.from == checksum {
            true if self.n_steps > 0 => Fit::Follows,
            true => Fit::Nothing,
            false if is_saved => Fit::Nothing,
            false => Fit::Other,
        }
    }

    /// What a person is told.
    pub fn recovery(self, found: &Found) -> Recovery {
        Recovery {
            n_steps: self.n_steps,
            labels: self.labels,
            written: found.written().map(clock_text),
            is_whole: self.is_whole,
            path: found.path.clone(),
        }
    }
}

/// The names of steps as they come and go.
#[derive(Debug, Default)]
struct Steps {
    distance: Distance,
    done: Vec<Label>,
    undone: Vec<Label>,
}

#[derive(Debug)]
struct Label {
    text: String,
    /// Whether it was made before the journal began.
    is_older: bool,
    /// Whether nothing that is saved changes with it.
    is_still: bool,
}

impl Steps {
    fn step(&mut self, text: String, is_still: bool) {
        self.distance.step(is_still);
        self.undone.retain(|label| label.is_older);
        self.done.push(Label {
            text,
            is_older: false,
            is_still,
        });
    }

    fn back(&mut self) {
        let step = self.done.pop();
        self.distance
            .back(step.as_ref().is_some_and(|step| step.is_still));
        self.undone.extend(step);
    }

    fn again(&mut self) {
        let step = self.undone.pop();
        self.distance
            .again(step.as_ref().is_some_and(|step| step.is_still));
        self.done.extend(step);
    }

    fn back_by(&mut self, text: String, is_still: bool) {
        self.distance.back(is_still);
        self.undone.push(Label {
            text,
            is_older: true,
            is_still,
        });
    }

    fn again_by(&mut self, text: String, is_still: bool) {
        self.distance.again(is_still);
        self.done.push(Label {
            text,
            is_older: false,
            is_still,
        });
    }

    /// The last names of what is not as it was saved, newest last.
    fn labels(&self) -> Vec<String> {
        let back = self.undone.iter().filter(|label| label.is_older);
        let back = back.map(|label| format!("{} taken back", label.text));
        let done = self.done.iter().filter(|label| !label.is_older);
        let all: Vec<String> = back.chain(done.map(|label| label.text.clone())).collect();
        all[all.len().saturating_sub(MOST_LABELS)..].to_vec()
    }
}

/// A plan with the edits of a journal made again.
#[derive(Debug, Default)]
pub struct Replayed {
    /// The steps, to be taken back.
    pub history: History,
    /// How far the journal was followed.
    pub end: End,
    /// Why it was not followed further.
    pub problem: Option<Problem>,
}

/// Makes the edits of a journal again, up to the first that cannot be made.
///
/// # Errors
/// A journal whose edits were not made to this plan; nothing that is shown or saved is then
/// changed.
pub fn replay(plan: &mut Plan, bytes: &[u8]) -> Result<Replayed, Problem> {
    let mut lines = Lines::new(bytes);
    let Some(Line::Start(start)) = lines.next_line::<IgnoredAny, ReadStorage>() else {
        return Err(no_journal());
    };
    if start.format > journal::FORMAT {
        return Err(newer());
    }
    if start.shape != journal::shape(plan) {
        return Err(other_version());
    }
    for storage in start.storage {
        let storage = storage.storage(plan.names());
        plan.store_as(storage)?;
    }
    let mut replayed = Replayed {
        end: lines.end().clone(),
        ..Replayed::default()
    };
    while let Some(line) = lines.next_line::<Read, IgnoredAny>() {
        match again(plan, &mut replayed.history, line) {
            Ok(true) => replayed.end = lines.end().clone(),
            Ok(false) => break,
            Err(problem) => {
                replayed.problem = Some(problem);
                break;
            }
        }
    }
    Ok(replayed)
}

/// Makes one record again; false at the end.
fn again(
    plan: &mut Plan,
    history: &mut History,
    line: Line<Read, IgnoredAny>,
) -> Result<bool, Problem> {
    let turned = |turned: Option<_>| turned.map(|_| true).ok_or_else(no_step);
    match line {
        Line::Do(Step {
            label,
            is_still,
            edit,
        }) => {
            let edit = edit.edit(plan)?;
            history.apply_as(plan, label, edit, is_still).map(|_| true)
        }
        Line::Undo => history.undo(plan).and_then(turned),
        Line::Redo => history.redo(plan).and_then(turned),
        Line::UndoBy(Step {
            label,
            is_still,
            edit,
        }) => {
            let edit = edit.edit(plan)?;
            history.undo_by(plan, label, edit, is_still).map(|_| true)
        }
        Line::RedoBy(Step {
            label,
            is_still,
            edit,
        }) => {
            let edit = edit.edit(plan)?;
            history.redo_by(plan, label, edit, is_still).map(|_| true)
        }
        Line::Within(edit) => {
            let edit = edit.edit(plan)?;
            plan.apply(edit).map(|_| true)
        }
        Line::Saving(_) => Ok(true),
        Line::Full | Line::Start(_) => Ok(false),
    }
}

/// A remark for who only looks at a plan that unsaved edits lie beside.
pub fn remark(plan: &Path, checksum: &str, journals: &[PathBuf]) -> Option<Problem> {
    let mut fits = journals.iter().filter_map(|path| {
        let glance = Glance::at(&journal::peek(path)?)?;
        Some((path, glance.fit(checksum)))
    });
    let (path, fit) = fits.find(|(_, fit)| *fit != Fit::Nothing)?;
    Some(match fit {
        Fit::Follows => beside(plan),
        Fit::Other | Fit::Nothing => Problem::new(
            "edits-of-another-version",
            format!(
                "unsaved edits of a session lie beside it, made to another version of `{}`",
                plan.display()
            ),
        )
        .help(format!("they are in `{}`", path.display())),
    })
}

/// What is said about edits that were never saved.
pub fn beside(plan: &Path) -> Problem {
    Problem::new(
        "edits-beside",
        format!(
            "unsaved edits of a session that ended without saving lie beside `{}`",
            plan.display()
        ),
    )
    .help("open it on the screen to take or drop them")
}

fn no_journal() -> Problem {
    Problem::new("no-journal", "the journal cannot be read")
}

fn newer() -> Problem {
    Problem::new(
        "journal-newer",
        "the unsaved edits were written by a newer version of portledger",
    )
    .help("open the plan with that version")
}

fn other_version() -> Problem {
    Problem::new(
        "edits-of-another-version",
        "the unsaved edits were made with other sheets or columns than this version has",
    )
    .help("open the plan with the version of portledger that wrote them")
}

fn no_step() -> Problem {
    Problem::new(
        "no-such-step",
        "the journal turns a step over that it does not have",
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::journal::{Appender, Beginning, Told, Turn};
    use crate::files::plan_file::write;
    use crate::files::sample::fresh;
    use crate::plan::{Alteration, Edit, Entry, Proposal};
    use crate::problem::Severity;
    use crate::table::{ParamId, RowId, SheetId};
    use std::fs;

    const LINKS: SheetId = SheetId(0);

    /// Edits of every kind, each for the plan that those before it leave.
    fn edits(plan: &Plan) -> Vec<Edit> {
        let text = |text: &str| Entry::Text(plan.names().code(text));
        let mut own = plan.column(LINKS, 13).clone();
        own.name = "rack".to_owned();
        let row = |id: &str, length: f64| vec![(0, text(id)), (9, Entry::Number(length))];
        vec![
            Edit::AddRows {
                sheet: LINKS,
                at: 0,
                rows: vec![
                    row("L1", 0.1 + 0.2),
                    row("L2", 85.0),
                    row("L\u{301}3\n\"", 1e-9),
                ],
            },
            Edit::SetCells {
                sheet: LINKS,
                cells: vec![
                    ((9, RowId(1)), Entry::Wrong("about ten".to_owned())),
                    ((1, RowId(0)), text("ray pool")),
                    ((9, RowId(2)), Entry::Empty),
                ],
            },
            Edit::RemoveRows {
                sheet: LINKS,
                rows: vec![RowId(1)],
            },
            Edit::Reorder {
                sheet: LINKS,
                order: vec![RowId(2), RowId(0)],
            },
            Edit::RestoreRows {
                sheet: LINKS,
                rows: vec![(1, RowId(1))],
            },
            Edit::SetAssumption {
                param: ParamId(0),
                entry: Entry::Number(0.7),
                source: "measured".to_owned(),
                own: true,
            },
            Edit::SetFormula {
                sheet: LINKS,
                column: 14,
                formula: Some("3 * length".to_owned()),
            },
            Edit::Group(vec![
                Edit::AddColumn {
                    sheet: LINKS,
                    def: own,
                },
                Edit::SetCells {
                    sheet: LINKS,
                    cells: vec![((15, RowId(0)), text("r1"))],
                },
            ]),
            Edit::SetSeverity {
                check: "reach".to_owned(),
                severity: Some(Some(Severity::Note)),
            },
            Edit::SetSeverity {
                check: "loss".to_owned(),
                severity: Some(None),
            },
            Edit::RemoveLastColumn { sheet: LINKS },
            Edit::SetSeverity {
                check: "reach".to_owned(),
                severity: None,
            },
            Edit::Group(vec![
                Edit::SetTitle("Reef".to_owned()),
                proposed(),
                Edit::OpenProposal {
                    name: "longer".to_owned(),
                },
                length(1.0),
                length(0.1 + 0.2),
                Edit::CloseProposal,
            ]),
        ]
    }

    fn length(length: f64) -> Edit {
        Edit::SetCells {
            sheet: LINKS,
            cells: vec![((9, RowId(0)), Entry::Number(length))],
        }
    }

    /// A proposal with a change of every field.
    fn proposed() -> Edit {
        let change = Alteration {
            kind: "assume".to_owned(),
            sheet: "links".to_owned(),
            row: "reserve".to_owned(),
            column: "length".to_owned(),
            value: "1 dB, \"more\"".to_owned(),
            source: "a\nb".to_owned(),
        };
        let proposal = Proposal {
            name: "longer".to_owned(),
            note: "by hand".to_owned(),
            on: Some("shorter".to_owned()),
            changes: vec![change],
        };
        Edit::SetProposal {
            name: "longer".to_owned(),
            proposal: Some((0, proposal)),
        }
    }

    /// The bytes of a journal of all kinds of edits, some taken back and made again, with what
    /// the plan was after each record.
    fn session() -> (Vec<u8>, Vec<String>) {
        let room = tempfile::tempdir().unwrap();
        let path = room.path().join("journal");
        let (mut plan, mut history) = (fresh().unwrap(), History::default());
        let mut journal = Appender::create(&path).unwrap();
        let start = journal::beginning(Beginning {
            plan: &plan,
            from: "abc",
            path: "reef.plan",
            text: None,
        });
        journal.append(&start.unwrap()).unwrap();
        let mut states = vec![write(&plan)];
        for edit in edits(&plan) {
            let label = format!("step {}", states.len());
            let told = Told {
                label: &label,
                edit: &edit,
                is_still: false,
            };
            let record = journal::turn(&plan, Turn::Do(told)).unwrap();
            journal.append(&record).unwrap();
            history.apply(&mut plan, label, edit).unwrap();
            states.push(write(&plan));
        }
        for turn in [Turn::Undo, Turn::Undo, Turn::Undo, Turn::Redo] {
            journal
                .append(&journal::turn(&plan, turn).unwrap())
                .unwrap();
            match turn {
                Turn::Undo => history.undo(&mut plan).unwrap(),
                _ => history.redo(&mut plan).unwrap(),
            };
            states.push(write(&plan));
        }
        (fs::read(&path).unwrap(), states)
    }

    /// The plan after following a journal; none where it is no journal.
    fn followed(bytes: &[u8]) -> Option<(Plan, Replayed)> {
        let mut plan = fresh().unwrap();
        let replayed = replay(&mut plan, bytes).ok()?;
        Some((plan, replayed))
    }

    #[test]
    fn every_kind_of_edit_is_made_again_and_taken_back() {
        let (bytes, states) = session();
        let (mut plan, mut replayed) = followed(&bytes).unwrap();
        assert_eq!(replayed.problem, None);
        assert_eq!(write(&plan), *states.last().unwrap());
        let (n_done, n_undone) = replayed.history.n_steps();
        assert_eq!((n_done, n_undone), (11, 2));
        for _ in 0..n_undone {
            replayed.history.redo(&mut plan).unwrap().unwrap();
        }
        assert_eq!(write(&plan), states[13]);
        for at in (0..13).rev() {
            let turned = replayed.history.undo(&mut plan).unwrap().unwrap();
            assert_eq!(turned.label, format!("step {}", at + 1));
            assert_eq!(write(&plan), states[at]);
        }
    }

    #[test]
    fn a_journal_cut_anywhere_gives_what_came_before() {
        let (bytes, states) = session();
        let mut last = 0;
        for length in 0..=bytes.len() {
            let cut = &bytes[..length];
            let n_records = cut.iter().filter(|byte| **byte == b'\n').count();
            assert_eq!(Glance::at(cut).is_some(), n_records > 0);
            let Some((plan, replayed)) = followed(cut) else {
                assert_eq!(n_records, 0);
                continue;
            };
            assert_eq!(write(&plan), states[n_records - 1]);
            assert_eq!(replayed.problem, None);
            assert!(n_records >= last);
            last = n_records;
        }
        assert_eq!(last, states.len());
    }

    #[test]
    fn a_changed_byte_never_gives_another_plan() {
        let (bytes, states) = session();
        for at in 0..bytes.len() {
            for mask in [1, 0x20, 0x80] {
                let mut damaged = bytes.clone();
                damaged[at] ^= mask;
                let n_before = bytes[..at].iter().filter(|byte| **byte == b'\n').count();
                let Some((plan, _)) = followed(&damaged) else {
                    assert_eq!(n_before, 0);
                    continue;
                };
                assert_eq!(write(&plan), states[n_before - 1], "byte {at}");
                assert!(!Glance::at(&damaged).unwrap().is_whole);
            }
        }
    }

    #[test]
    fn a_glance_tells_what_following_it_gives() {
        let (bytes, _) = session();
        let glance = Glance::at(&bytes).unwrap();
        let (_, replayed) = followed(&bytes).unwrap();
        assert_eq!(glance.n_steps, replayed.history.n_unsaved());
        let expected = ["step 7", "step 8", "step 9", "step 10", "step 11"];
        assert_eq!(glance.labels, expected);
        assert!(glance.is_whole);
        assert_eq!(glance.fit("abc"), Fit::Follows);
        assert_eq!(glance.fit("abd"), Fit::Other);
    }

    #[test]
    fn edits_of_a_plan_with_other_columns_are_refused() {
        let (bytes, _) = session();
        let mut plan = fresh().unwrap();
        let def = plan.column(LINKS, 13).clone();
        let def = crate::sheet::ColumnDef {
            name: "shelf".to_owned(),
            ..def
        };
        plan.apply(Edit::AddColumn { sheet: LINKS, def }).unwrap();
        let before = write(&plan);
        let problem = replay(&mut plan, &bytes).unwrap_err();
        assert_eq!(problem.code, "edits-of-another-version");
        assert_eq!(write(&plan), before);
    }
}
