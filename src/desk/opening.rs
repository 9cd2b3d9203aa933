//! Opening a plan to look at it or to change it, saving it, and what lies beside it.
//!
//! Edits are in `mod.rs`; how bytes get to disk is in `files`.

use super::Desk;
use super::keep::Access;
use super::recovery;
use super::recovery::{Fit, Glance, Pending, Recovery};
use super::writer::Places;
use crate::files::checksum;
use crate::files::checksum_beside;
use crate::files::journal;
use crate::files::journal::Found;
use crate::files::plan_file;
use crate::files::save;
use crate::files::save::{Saved, why};
use crate::files::side;
use crate::files::side::{Lock, Locking};
use crate::plan::Touched;
use crate::problem::Problem;
use crate::trade;
use std::path::{Path, PathBuf};

/// Whether what a person entered is safe.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SaveState {
    /// The file holds the plan as it is.
    Saved,
    /// So many steps are not in the file.
    Unsaved(usize),
    /// Steps are not in the file, and saving or the journal fails: why.
    Failing(String),
    /// Somebody else may write the file: who.
    ReadOnly(String),
    /// The plan is in no file; so many steps were made.
    InMemory(usize),
}

impl Desk {
    /// Opens a plan file to look at it; nothing is written, and it cannot be saved over.
    ///
    /// A plan with wrong formulas, cells or unknown parts opens, with problems.
    ///
    /// # Errors
    /// A file that cannot be read or is no plan.
    pub fn open(path: &Path) -> Result<Self, Problem> {
        let (mut desk, text) = Self::read(path)?;
        let mut journals = side::journals_of(path, side::state_folder().as_deref());
        journals.retain(|journal| journal.exists());
        if !journals.is_empty() {
            let remark = recovery::remark(path, &checksum(text.as_bytes()), &journals);
            desk.problems.extend(remark);
        }
        Ok(desk)
    }

    /// Opens a plan file to change and save it soon: nobody else can meanwhile, and no journal is
    /// kept.
    ///
    /// # Errors
    /// A file that cannot be read or is no plan, that somebody else may write, or that unsaved
    /// edits of an earlier session follow on.
    pub fn open_to_change(path: &Path) -> Result<Self, Problem> {
        let (mut desk, base) = Self::open_locked(path)?;
        if let Access::ReadOnly(who) = &desk.keep.access {
            return Err(held(path, who));
        }
        let journals = side::journals_of(path, side::state_folder().as_deref());
        match recovery::remark(path, &base, &journals) {
            Some(problem) if problem.code == "edits-beside" => return Err(problem),
            remark => desk.problems.extend(remark),
        }
        desk.keep.base = Some(base);
        Ok(desk)
    }

    /// Opens a plan file for a sitting: nobody else can change it meanwhile, and a journal of all
    /// edits is kept, beside it or in the state folder (see [`side::state_folder`]).
    ///
    /// When somebody else may write it already, the desk is read-only. When an earlier session
    /// ended without saving, [`Desk::recovery`] says so, and edits are refused until they are
    /// taken or dropped.
    ///
    /// # Errors
    /// A file that cannot be read or is no plan.
    pub fn open_for_editing(path: &Path, state: Option<PathBuf>) -> Result<Self, Problem> {
        let (mut desk, base) = Self::open_locked(path)?;
        if desk.is_read_only() {
            return Ok(desk);
        }
        desk.keep.base = Some(base);
        let paths = side::journals_of(path, state.as_deref());
        desk.begin(Places { paths, state });
        Ok(desk)
    }

    /// The built-in demo plan for a sitting, with a journal in the state folder.
    ///
    /// # Errors
    /// None in a build whose tests passed: the demo is opened by a test.
    pub fn demo_for_editing(state: Option<PathBuf>) -> Result<Self, Problem> {
        Ok(Self::demo()?.without_a_name("demo", state))
    }

    /// An empty plan for a sitting, with a journal in the state folder.
    ///
    /// # Errors
    /// None in a build whose tests passed: the built-in sheets are read by a test.
    pub fn empty_for_editing(title: &str, state: Option<PathBuf>) -> Result<Self, Problem> {
        Ok(Self::empty(title)?.without_a_name("new", state))
    }

    fn without_a_name(mut self, word: &str, state: Option<PathBuf>) -> Self {
        let text = plan_file::write(&self.plan);
        self.keep.base = Some(checksum(text.as_bytes()));
        self.keep.text = Some(text);
        let paths = side::journals_without_name(word, state.as_deref());
        if paths.is_empty() {
            self.problems.push(
                Problem::new("no-journal", "no journal: there is no folder for it")
                    .help("save the plan early; set HOME or XDG_STATE_HOME to keep a journal"),
            );
        }
        self.begin(Places { paths, state });
        self
    }

    /// Reads a plan with its text.
    fn read(path: &Path) -> Result<(Self, String), Problem> {
        let text = plan_file::text_of(save::load(path)?)?;
        let mut desk = Self::of_text(&text)?;
        desk.path = Some(path.to_owned());
        Ok((desk, text))
    }

    /// Takes the lock, then reads the plan, so that it cannot change in between; gives the checksum
    /// of the file as well.
    fn open_locked(path: &Path) -> Result<(Self, String), Problem> {
        let locking = Lock::take(path);
        let text = plan_file::text_of(save::load(path)?)?;
        let (desk, base) = checksum_beside(text.as_bytes(), || Self::of_text(&text));
        let mut desk = desk?;
        desk.path = Some(path.to_owned());
        desk.keep.access = match locking {
            Locking::Held(lock) => Access::Held(lock),
            Locking::Other(who) => Access::ReadOnly(who),
            Locking::None(why) => {
                desk.problems.push(no_lock(&why));
                Access::Unlocked
            }
        };
        Ok((desk, base))
    }

    /// Keeps a journal from now on, and looks for one that an earlier session left.
    fn begin(&mut self, places: Places) {
        for path in &places.paths {
            if self.keep.pending.is_some() {
                break;
            }
            match Found::take(path) {
                Ok(Some(found)) => self.judge(found),
                Ok(None) => {}
                Err(error) => self.problems.push(unreadable(path, &error)),
            }
        }
        self.keep.start(places);
    }

    /// Decides what a journal that was found is to this plan; nothing in it is ever lost.
    fn judge(&mut self, found: Found) {
        let bytes = match found.bytes() {
            Ok(bytes) => bytes,
            Err(error) => return self.problems.push(unreadable(&found.path, &error)),
        };
        let Some(glance) = Glance::at(&bytes) else {
            // Without one whole line no edit was ever in it.
            if !bytes.contains(&b'\n') {
                let _ = found.remove();
                return;
            }
            return self.set_aside(found, "damaged", "it cannot be read");
        };
        if glance.start.format > journal::FORMAT {
            let reason = "a newer version of portledger wrote it";
            return self.set_aside(found, "kept", reason);
        }
        // A plan without a name stands in its journal, whatever this desk shows now.
        let fit = match (&glance.start.text, &self.keep.text, &self.keep.base) {
            (Some(_), Some(_), _) => glance.fit(&glance.start.from),
            (_, None, Some(base)) => glance.fit(base),
            (None, Some(_), _) | (_, None, None) => Fit::Other,
        };
        let is_same_shape =
            self.keep.text.is_some() || glance.start.shape == journal::shape(&self.plan);
        match fit {
            Fit::Nothing => {
                let _ = found.remove();
            }
            Fit::Follows if is_same_shape => {
                let recovery = glance.recovery(&found);
                self.keep.pending = Some(Pending { found, recovery });
            }
            Fit::Follows => self.set_aside(found, "kept", "another version of portledger wrote it"),
            Fit::Other => self.set_aside(found, "kept", "the plan was changed since"),
        }
    }

    /// Moves a journal that does not fit out of the way, and says so.
    fn set_aside(&mut self, found: Found, word: &str, reason: &str) {
        let path = found.path.clone();
        self.problems.push(match found.set_aside(word) {
            Ok(aside) => Problem::new(
                "edits-set-aside",
                format!("unsaved edits of an earlier session do not fit: {reason}"),
            )
            .help(format!("they are kept in `{}`", aside.display())),
            Err(error) => unreadable(&path, &error),
        });
    }

    /// Unsaved edits of an earlier session that wait to be taken or dropped.
    pub fn recovery(&self) -> Option<&Recovery> {
        self.keep.pending.as_ref().map(|pending| &pending.recovery)
    }

    /// Makes the unsaved edits of an earlier session again, as unsaved steps; gives how many steps
    /// the plan is now from what was saved. What could not be made again is among the problems.
    ///
    /// # Errors
    /// Edits that do not fit this plan; they are then kept aside, and the plan is as before.
    pub fn take_recovery(&mut self) -> Result<usize, Problem> {
        let Some(pending) = self.keep.pending.take() else {
            return Ok(0);
        };
        let taken = self.take(&pending.found);
        self.follow(&[Touched::Schema]);
        let (end, is_cut) = match taken {
            Ok(taken) => taken,
            Err(problem) => {
                let aside = pending.found.set_aside("kept");
                let aside = aside.unwrap_or(pending.recovery.path);
                return Err(problem.help(format!("they are kept in `{}`", aside.display())));
            }
        };
        if is_cut {
            self.problems
                .push(match pending.found.copy_aside("damaged") {
                    Ok(aside) => Problem::new(
                        "edits-damaged",
                        "the unsaved edits were taken up to a place that cannot be read",
                    )
                    .help(format!("all of them are kept in `{}`", aside.display())),
                    Err(error) => unreadable(&pending.found.path, &error),
                });
        }
        match pending.found.go_on(end) {
            Ok(appender) => self.keep.go_on(appender, &self.history),
            Err(error) => self
                .problems
                .push(unreadable(&pending.recovery.path, &error)),
        }
        Ok(self.history.n_unsaved())
    }

    /// Makes the edits of a journal again; gives its end, and whether there is more behind it
    /// that cannot be read.
    fn take(&mut self, found: &Found) -> Result<(journal::End, bool), Problem> {
        let bytes = found
            .bytes()
            .map_err(|error| unreadable(&found.path, &error))?;
        let start = Glance::at(&bytes).map(|glance| glance.start);
        let text = start.and_then(|start| start.text.filter(|_| self.keep.text.is_some()));
        let mut read = match &text {
            Some(text) => Some(plan_file::read(text, trade::empty_plan)?),
            None => None,
        };
        let plan = read.as_mut().map_or(&mut self.plan, |(plan, _)| plan);
        let replayed = recovery::replay(plan, &bytes)?;
        if let (Some((plan, problems)), Some(text)) = (read, text) {
            self.plan = plan;
            self.problems.extend(problems);
            self.keep.base = Some(checksum(text.as_bytes()));
            self.keep.text = Some(text);
        }
        self.history = replayed.history;
        let rest = usize::try_from(replayed.end.at).map_or(0, |at| at.min(bytes.len()));
        // A last line that a crash cut holds no edit that was whole.
        let is_cut = replayed.problem.is_some() || bytes[rest..].contains(&b'\n');
        self.problems.extend(replayed.problem);
        Ok((replayed.end, is_cut))
    }

    /// Leaves the unsaved edits of an earlier session; their journal is kept under the name that
    /// is given.
    ///
    /// # Errors
    /// A folder that does not take the new name; the edits then still wait.
    pub fn drop_recovery(&mut self) -> Result<Option<PathBuf>, Problem> {
        let Some(pending) = self.keep.pending.take() else {
            return Ok(None);
        };
        match side::set_aside(&pending.found.path, "dropped") {
            Ok(path) => Ok(Some(path)),
            Err(error) => {
                let problem = unreadable(&pending.found.path, &error);
                self.keep.pending = Some(pending);
                Err(problem)
            }
        }
    }

    /// Whether what was entered is safe; cheap enough to be asked for each frame.
    pub fn state(&self) -> SaveState {
        if let Access::ReadOnly(who) = &self.keep.access {
            return SaveState::ReadOnly(who.clone());
        }
        let n_steps = self.history.n_unsaved();
        let trouble = (n_steps > 0).then(|| self.keep.trouble()).flatten();
        match (trouble, &self.path, n_steps) {
            (Some(trouble), _, _) => SaveState::Failing(trouble),
            (None, None, n_steps) => SaveState::InMemory(n_steps),
            (None, Some(_), 0) => SaveState::Saved,
            (None, Some(_), n_steps) => SaveState::Unsaved(n_steps),
        }
    }

    /// Whether there are edits that are in no file.
    pub fn is_changed(&self) -> bool {
        self.history.n_unsaved() > 0
    }

    /// Whether somebody else may write the file, so that edits are refused.
    pub fn is_read_only(&self) -> bool {
        matches!(self.keep.access, Access::ReadOnly(_))
    }

    /// The file with the edits that are not saved, as far as there is one.
    pub fn journal_path(&self) -> Option<PathBuf> {
        self.keep.journal_path()
    }

    /// Waits until the disk has all edits, in the journal; false when it does not take them.
    pub fn settle(&self) -> bool {
        self.keep.settle()
    }

    /// Ends the sitting without saving; gives where the journal of the edits is kept.
    pub fn abandon(mut self) -> Option<PathBuf> {
        if !self.is_changed() {
            return None;
        }
        self.keep.retire(Some("dropped"))
    }

    /// Saves to the file the plan came from.
    ///
    /// # Errors
    /// A plan in no file, read-only or only looked at, a file that was changed by another program
    /// since, or one that cannot be written; it is then as it was.
    pub fn save(&mut self) -> Result<Saved, Problem> {
        let path = self.own_path()?;
        self.keep.may_save()?;
        self.keep.must_be_unchanged(&path)?;
        self.write(&path)
    }

    /// Saves to the file the plan came from, also when another program changed it since.
    ///
    /// # Errors
    /// As [`Desk::save`], but for the change.
    pub fn save_over(&mut self) -> Result<Saved, Problem> {
        let path = self.own_path()?;
        self.keep.may_save()?;
        self.write(&path)
    }

    /// Saves to a file that the desk keeps from then on; one that is there already only when it
    /// may be replaced.
    ///
    /// # Errors
    /// A file that is there, that somebody else may write, or that cannot be written; it is then
    /// as it was, and the desk keeps the file it had.
    pub fn save_as(&mut self, path: &Path, replace: bool) -> Result<Saved, Problem> {
        self.keep.must_be_decided()?;
        let target = side::real(path);
        let is_own = |own: &PathBuf| side::real(own) == target;
        if self.path.as_ref().is_some_and(is_own) {
            return match replace {
                true => self.save_over(),
                false => self.save(),
            };
        }
        let access = match Lock::take(path) {
            Locking::Held(lock) => Access::Held(lock),
            Locking::Other(who) => return Err(held(path, &who)),
            Locking::None(_) => Access::Unlocked,
        };
        if !replace && target.symlink_metadata().is_ok() {
            return Err(there(path));
        }
        let saved = self.write(path)?;
        self.keep.access = access;
        self.keep.text = None;
        self.path = Some(path.to_owned());
        self.move_journal(path);
        Ok(saved)
    }

    /// Keeps the journal beside another file; what lies there is of the plan that was replaced.
    fn move_journal(&mut self, path: &Path) {
        if !self.keep.has_journal() {
            return;
        }
        let state = self.keep.state_folder();
        let paths = side::journals_of(path, state.as_deref());
        for path in &paths {
            if let Ok(Some(found)) = Found::take(path) {
                self.set_aside(found, "kept", "the plan they were made to was replaced");
            }
        }
        self.keep.move_to(Places { paths, state });
    }

    fn own_path(&self) -> Result<PathBuf, Problem> {
        self.path.clone().ok_or_else(|| {
            Problem::new("no-name", "this plan is in no file yet").help("save it under a name")
        })
    }

    /// The text of the plan; where a proposal is open, of the base with what the proposal is now.
    fn text_to_save(&self) -> Result<String, Problem> {
        if self.plan.within().is_none() {
            return Ok(plan_file::write(&self.plan));
        }
        let (base, _) = self.plan.base().ok_or_else(|| {
            Problem::new("proposal-open", "the proposal cannot be told from its base")
                .help("undo the last steps, then save again")
        })?;
        Ok(plan_file::write(&base))
    }

    /// Writes the plan; then nothing is unsaved, and the journal begins anew.
    fn write(&mut self, path: &Path) -> Result<Saved, Problem> {
        let text = self.text_to_save()?;
        let checksum = checksum(text.as_bytes());
        self.keep.saving(&checksum);
        self.keep_version(path);
        match save::save(path, text.as_bytes()) {
            Ok(saved) => {
                self.keep.base = Some(checksum);
                self.keep.save_failed = None;
                self.keep.retire(None);
                self.history.save();
                Ok(saved)
            }
            Err(problem) => {
                self.keep.save_failed = Some(problem.message.clone());
                Err(problem)
            }
        }
    }

    /// Keeps what a file held before this sitting first wrote it; saving goes on without.
    fn keep_version(&mut self, path: &Path) {
        let target = side::real(path);
        if self.keep.kept.as_ref() == Some(&target) {
            return;
        }
        match save::keep_version(&target) {
            Ok(()) => self.keep.kept = Some(target),
            Err(error) => {
                let text = format!("the version before this save is not kept: {}", why(&error));
                if !self.problems.iter().any(|known| known.code == "no-version") {
                    self.problems.push(
                        Problem::new("no-version", text).help("copy the file if you need it"),
                    );
                }
            }
        }
    }
}

impl Drop for Desk {
    fn drop(&mut self) {
        // A journal of edits that were all taken back is worth nothing to the next session.
        if !self.is_changed() {
            self.keep.retire(None);
        }
    }
}

fn there(path: &Path) -> Problem {
    Problem::new(
        "plan-there",
        format!("`{}` is already there", path.display()),
    )
    .help("choose another name, or say that it may be replaced")
}

fn held(path: &Path, who: &str) -> Problem {
    Problem::new(
        "plan-held",
        format!("`{}` cannot be changed now: it is {who}", path.display()),
    )
    .help("close it there first, or choose another name")
}

fn no_lock(why: &str) -> Problem {
    Problem::new(
        "no-lock",
        format!("others can change this plan at the same time: no lock, {why}"),
    )
    .help("a change by another program is noticed when you save")
}

fn unreadable(path: &Path, error: &std::io::Error) -> Problem {
    Problem::new(
        "journal-unreadable",
        format!(
            "unsaved edits of an earlier session cannot be used: {}",
            why(error)
        ),
    )
    .help(format!("they are in `{}`", path.display()))
}
