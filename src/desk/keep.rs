//! What a desk keeps so that nothing is lost: the right to write, what is on disk, the journal.
//!
//! Which steps there are is known to the history; the bytes are in `files`, their thread in
//! `writer.rs`, what is made of a journal after a crash in `recovery.rs`.

use super::history::{History, StepTurn};
use super::recovery::Pending;
use super::writer::{Places, Writer};
use crate::files::checksum;
use crate::files::journal;
use crate::files::journal::{Appender, Beginning, Told, TooLarge, Turn};
use crate::files::save;
use crate::files::side::Lock;
use crate::plan::Edit;
use crate::plan::Plan;
use crate::problem::Problem;
use std::path::{Path, PathBuf};

/// What a desk may do with its file.
#[derive(Debug, Default)]
pub enum Access {
    /// Opened to be looked at, or not in a file yet.
    #[default]
    None,
    /// Nobody else may write it.
    Held(#[expect(dead_code, reason = "held until it is dropped")] Lock),
    /// It can be written, but so can others: its folder takes no lock.
    Unlocked,
    /// Somebody else may write it; who, in words.
    ReadOnly(String),
}

/// What a desk keeps beside its plan.
#[derive(Debug, Default)]
pub struct Keep {
    /// The checksum of the file as it was opened or last saved; none where it was only looked at.
    pub base: Option<String>,
    /// The text that a plan in no file began with.
    pub text: Option<String>,
    /// A journal of an earlier sitting that waits for a decision.
    pub pending: Option<Pending>,
    /// The file whose content of before this sitting is kept as a version.
    pub kept: Option<PathBuf>,
    /// Why the last save failed.
    pub save_failed: Option<String>,
    journal: Option<Journal>,
    /// What it may do with its file; let go last, when nothing is written any more.
    pub access: Access,
}

/// The journal of this sitting.
#[derive(Debug)]
struct Journal {
    places: Places,
    /// Started with the first record.
    writer: Option<Writer>,
    /// Whether it has a beginning.
    is_begun: bool,
    /// How many of the last steps that are done it knows.
    n_done: usize,
    /// How many of the last steps that are taken back it knows.
    n_undone: usize,
}

/// What is about to happen to the steps.
#[derive(Debug, Clone, Copy)]
pub enum Move<'a> {
    /// A new step, and whether nothing that is saved changes with it.
    Do(&'a str, &'a Edit, bool),
    /// The last step is taken back.
    Undo,
    /// The step is made again that was taken back last.
    Redo,
}

/// The records of a move that was not made yet.
#[derive(Debug, Default)]
pub struct Records(Vec<Result<Vec<u8>, TooLarge>>);

impl Keep {
    /// Keeps a journal of all that follows.
    pub fn start(&mut self, places: Places) {
        self.journal = Some(Journal {
            places,
            writer: None,
            is_begun: false,
            n_done: 0,
            n_undone: 0,
        });
    }

    /// Looks for the journal elsewhere from now on.
    pub fn move_to(&mut self, places: Places) {
        if self.journal.is_some() {
            self.start(places);
        }
    }

    /// Goes on with the journal of an earlier sitting, whose steps are in the history.
    pub fn go_on(&mut self, appender: Appender, history: &History) {
        let Some(journal) = &mut self.journal else {
            return;
        };
        journal.writer = Some(Writer::start(journal.places.clone(), Some(appender)));
        journal.is_begun = true;
        (journal.n_done, journal.n_undone) = history.n_steps();
    }

    /// Whether edits are kept in a journal.
    pub fn has_journal(&self) -> bool {
        self.journal.is_some()
    }

    /// The folder for journals that find no room beside their plan.
    pub fn state_folder(&self) -> Option<PathBuf> {
        self.journal.as_ref()?.places.state.clone()
    }

    /// Whether the plan may be changed.
    ///
    /// # Errors
    /// A plan that somebody else writes, or edits of an earlier sitting that wait.
    pub fn may_edit(&self) -> Result<(), Problem> {
        self.must_be_decided()?;
        match &self.access {
            Access::ReadOnly(who) => Err(read_only(who)),
            Access::None | Access::Held(_) | Access::Unlocked => Ok(()),
        }
    }

    /// Whether the plan may be saved over its file.
    ///
    /// # Errors
    /// As [`Self::may_edit`], or a plan opened only to be looked at.
    pub fn may_save(&self) -> Result<(), Problem> {
        self.may_edit()?;
        match self.access {
            Access::None => Err(Problem::new(
                "opened-to-look",
                "this plan was opened to be looked at, not to be changed",
            )
            .help("save it under another name")),
            Access::Held(_) | Access::Unlocked | Access::ReadOnly(_) => Ok(()),
        }
    }

    /// Whether no edits of an earlier sitting wait.
    ///
    /// # Errors
    /// Edits that wait.
    pub fn must_be_decided(&self) -> Result<(), Problem> {
        match self.pending {
            None => Ok(()),
            Some(_) => Err(Problem::new(
                "edits-wait",
                "unsaved edits of an earlier session wait for your decision",
            )
            .help("take them or drop them first")),
        }
    }

    /// Whether the file holds what it held when it was opened or last saved.
    ///
    /// # Errors
    /// A file that was changed by another program, or cannot be read.
    pub fn must_be_unchanged(&self, path: &Path) -> Result<(), Problem> {
        let bytes = match save::load(path) {
            Ok(bytes) => bytes,
            // What is no longer there cannot be lost.
            Err(problem) if problem.code == "no-such-file" => return Ok(()),
            Err(problem) => return Err(problem),
        };
        if self.base.as_ref() == Some(&checksum(&bytes)) {
            return Ok(());
        }
        Err(Problem::new(
            "changed-by-another",
            format!(
                "`{}` was changed by another program after it was opened here",
                path.display()
            ),
        )
        .help("save under another name, then compare the two")
        .help("or save over it; what the other program wrote is then gone"))
    }

    /// The records of a move, made before it, while the plan is still as the journal knows it.
    pub fn records(
        &self,
        plan: &Plan,
        path: Option<&Path>,
        history: &History,
        next: Move<'_>,
    ) -> Records {
        let Some(journal) = &self.journal else {
            return Records::default();
        };
        let turn = match next {
            Move::Do(label, edit, is_still) => Some(Turn::Do(Told {
                label,
                edit,
                is_still,
            })),
            Move::Undo if journal.n_done > 0 => Some(Turn::Undo),
            Move::Redo if journal.n_undone > 0 => Some(Turn::Redo),
            Move::Undo => history.undo_turn().map(told).map(Turn::UndoBy),
            Move::Redo => history.redo_turn().map(told).map(Turn::RedoBy),
        };
        let Some(turn) = turn else {
            return Records::default();
        };
        self.records_of(plan, path, Some(journal::turn(plan, turn)))
    }

    /// The same where the record of the move itself was made already.
    pub fn records_of(
        &self,
        plan: &Plan,
        path: Option<&Path>,
        record: Option<Result<Vec<u8>, TooLarge>>,
    ) -> Records {
        let (Some(journal), Some(record)) = (&self.journal, record) else {
            return Records::default();
        };
        let path = path.map(|path| path.to_string_lossy());
        let path = path.as_deref().unwrap_or_default();
        let mut records = match journal.is_begun {
            true => Vec::new(),
            false => self.beginning(plan, path),
        };
        records.push(record);
        Records(records)
    }

    /// How a journal begins: with what is on disk, which is the base also where a proposal is open.
    fn beginning(&self, plan: &Plan, path: &str) -> Vec<Result<Vec<u8>, TooLarge>> {
        let begin = |plan: &Plan| {
            journal::beginning(Beginning {
                plan,
                from: self.base.as_deref().unwrap_or_default(),
                path,
                text: self.text.as_deref(),
            })
        };
        match plan.base() {
            None => vec![begin(plan)],
            Some((base, back)) => vec![begin(&base), journal::within(&base, &back)],
        }
    }

    /// Hands on the records of a move that was made.
    pub fn tell(&mut self, next: Made, records: Records, history: &History) {
        let Some(journal) = self.journal.as_mut().filter(|_| !records.0.is_empty()) else {
            return;
        };
        let places = &journal.places;
        let writer = journal
            .writer
            .get_or_insert_with(|| Writer::start(places.clone(), None));
        for record in records.0 {
            match record {
                Ok(record) => writer.record(record),
                Err(TooLarge) => writer.too_large(),
            }
        }
        journal.is_begun = true;
        match next {
            Made::Do => (journal.n_done, journal.n_undone) = (journal.n_done + 1, 0),
            Made::Undo => {
                journal.n_done = journal.n_done.saturating_sub(1);
                journal.n_undone += 1;
            }
            Made::Redo => {
                journal.n_done += 1;
                journal.n_undone = journal.n_undone.saturating_sub(1);
            }
        }
        // The oldest steps fall off, here and where the journal is read.
        journal.n_done = journal.n_done.min(history.n_steps().0);
    }

    /// Says in the journal that the plan is about to be saved as a text with this checksum, so
    /// that a journal which a crash leaves behind is known to be saved.
    pub fn saving(&self, checksum: &str) {
        if let Some(writer) = self.begun_writer() {
            writer.record(journal::saving(checksum));
            writer.settle();
        }
    }

    /// Ends the journal because all of it is saved, or sets it aside with a word behind its name,
    /// which is given.
    pub fn retire(&mut self, aside: Option<&'static str>) -> Option<PathBuf> {
        let journal = self.journal.as_mut()?;
        (journal.is_begun, journal.n_done, journal.n_undone) = (false, 0, 0);
        journal.writer.as_ref()?.retire(aside)
    }

    /// Waits until all edits are on disk; false when some are not.
    pub fn settle(&self) -> bool {
        self.begun_writer().is_none_or(Writer::settle)
    }

    /// Why edits or the plan are not kept now.
    pub fn trouble(&self) -> Option<String> {
        let failed = self.save_failed.clone();
        failed.or_else(|| self.begun_writer()?.trouble())
    }

    /// The file with the edits that are not saved.
    pub fn journal_path(&self) -> Option<PathBuf> {
        self.begun_writer()?.path()
    }

    fn begun_writer(&self) -> Option<&Writer> {
        let journal = self.journal.as_ref().filter(|journal| journal.is_begun)?;
        journal.writer.as_ref()
    }
}

/// A step in the form of the journal.
fn told(step: StepTurn<'_>) -> Told<'_> {
    Told {
        label: step.label,
        edit: step.edit,
        is_still: step.is_still,
    }
}

/// Which move was made.
#[derive(Debug, Clone, Copy)]
pub enum Made {
    /// A new step.
    Do,
    /// The last step was taken back.
    Undo,
    /// A step was made again.
    Redo,
}

/// What is said about a plan that somebody else writes.
fn read_only(who: &str) -> Problem {
    Problem::new("read-only", format!("this plan is read-only: it is {who}"))
        .help("save a copy under another name and change that")
        .help("or close it there, then open it here again")
}
