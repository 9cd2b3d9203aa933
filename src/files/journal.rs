//! The journal of unsaved edits: one record a line, each sealed together with all before it.
//!
//! What a record holds and how it gets to disk; who writes when, and what is made of it after a
//! crash, is decided by the desk.
//!
//! ```text
//! 131 51cb4e0af29ae6ac {"start":{"format":2,"from":"9f86d081...","shape":"60303ae2...","path":"reef.plan","storage":[]}}
//! 98 7d865e959b2466f1 {"do":{"label":"length of L1","edit":{"set_cells":{"sheet":0,"cells":[[9,0,"n85.0"]]}}}}
//! 6 3fdba35f04dc8c46 "undo"
//! ```
//!
//! The first number is the length of the record in bytes, the second the beginning of a SHA-256
//! over the seal of the line before and the record. So reading stops at the first line that was
//! cut, changed, left out or put elsewhere.

use super::checksum;
pub use super::edit_text::{Read, ReadStorage};
use super::edit_text::{ToldStorage, told, told_storage};
use super::save::outlive_size_limit;
use super::side;
use crate::plan::Edit;
use crate::plan::Plan;
use crate::table::NamesView;
use crate::table::SheetId;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::fmt::Write as _;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Read as _, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

/// The format this version writes.
pub const FORMAT: u64 = 2;

/// The largest journal; what goes beyond is told, not kept.
pub const MAX_BYTES: u64 = 256 << 20;

/// Room that stays free for the record which says that the journal is full.
const LAST_ROOM: u64 = 64;

/// How many hexadecimal digits of a checksum seal a line.
const N_SEAL: usize = 16;

/// What an edit did to the steps of a sitting.
#[derive(Debug, Clone, Copy)]
pub enum Turn<'a> {
    /// A new step.
    Do(Told<'a>),
    /// The last step taken back.
    Undo,
    /// The step made again that was taken back last.
    Redo,
    /// A step taken back that was made before this journal began.
    UndoBy(Told<'a>),
    /// A step made again that was taken back before this journal began.
    RedoBy(Told<'a>),
}

/// A step to be told.
#[derive(Debug, Clone, Copy)]
pub struct Told<'a> {
    /// Its name.
    pub label: &'a str,
    /// The edit.
    pub edit: &'a Edit,
    /// Whether nothing that is saved changes with it.
    pub is_still: bool,
}

/// What the edits of a journal were made to.
#[derive(Debug, Clone, Copy)]
pub struct Beginning<'a> {
    /// The plan as it is before the first edit.
    pub plan: &'a Plan,
    /// The checksum of its text on disk.
    pub from: &'a str,
    /// Where it is, for a person.
    pub path: &'a str,
    /// The text itself where it is in no file.
    pub text: Option<&'a str>,
}

/// The record of a beginning.
///
/// # Errors
/// A record that is too large.
pub fn beginning(beginning: Beginning<'_>) -> Result<Vec<u8>, TooLarge> {
    let plan = beginning.plan;
    let (names, storage) = (plan.names().view(), plan.storage());
    let storage = storage.iter();
    record(&Line::<(), ToldStorage<'_>>::Start(Start {
        format: FORMAT,
        from: beginning.from.to_owned(),
        shape: shape(plan),
        path: beginning.path.to_owned(),
        text: beginning.text.map(str::to_owned),
        storage: storage
            .map(|storage| told_storage(storage, &names))
            .collect(),
    }))
}

/// The record that the plan was in a proposal when the journal began, by the edit that brings it
/// there from the base.
///
/// # Errors
/// A record that is too large.
pub fn within(plan: &Plan, edit: &Edit) -> Result<Vec<u8>, TooLarge> {
    let names = plan.names().view();
    record(&Line::<_, ()>::Within(told(edit, &names)))
}

/// The record of a turn.
///
/// # Errors
/// A record that is too large.
pub fn turn(plan: &Plan, turn: Turn<'_>) -> Result<Vec<u8>, TooLarge> {
    let names = plan.names().view();
    let step = |one| step(one, &names);
    record(&match turn {
        Turn::Do(one) => Line::<_, ()>::Do(step(one)),
        Turn::Undo => Line::Undo,
        Turn::Redo => Line::Redo,
        Turn::UndoBy(one) => Line::UndoBy(step(one)),
        Turn::RedoBy(one) => Line::RedoBy(step(one)),
    })
}

/// A step on its way out.
fn step<'a>(one: Told<'a>, names: &'a NamesView<'a>) -> Step<super::edit_text::Told<'a>> {
    Step {
        label: one.label.to_owned(),
        is_still: one.is_still,
        edit: told(one.edit, names),
    }
}

/// The record that the plan is about to be saved as a text with this checksum.
pub fn saving(checksum: &str) -> Vec<u8> {
    record(&Line::<(), ()>::Saving(checksum.to_owned())).unwrap_or_default()
}

/// The record that edits after it are not in the journal.
fn full() -> Vec<u8> {
    record(&Line::<(), ()>::Full).unwrap_or_default()
}

/// A record that does not fit a journal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TooLarge;

fn record(line: &impl Serialize) -> Result<Vec<u8>, TooLarge> {
    let mut out = Bounded(Vec::new());
    serde_json::to_writer(&mut out, line).map_err(|_| TooLarge)?;
    Ok(out.0)
}

/// Bytes up to the size of a journal.
struct Bounded(Vec<u8>);

impl Write for Bounded {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if (self.0.len() + bytes.len()) as u64 > MAX_BYTES {
            return Err(io::ErrorKind::FileTooLarge.into());
        }
        self.0.extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// A record: `E` is how much of an edit is written or read, `S` how much of the storage.
#[derive(Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Line<E, S> {
    /// What the edits were made to; the first line.
    Start(Start<S>),
    /// The plan was in a proposal when the journal began: the edit that brings it there, no step.
    Within(E),
    /// A new step.
    Do(Step<E>),
    /// The last step taken back.
    Undo,
    /// The step made again that was taken back last.
    Redo,
    /// A step taken back that was made before this journal began.
    UndoBy(Step<E>),
    /// A step made again that was taken back before this journal began.
    RedoBy(Step<E>),
    /// The plan is about to be saved as a text with this checksum.
    Saving(String),
    /// Edits after this one are not in the journal.
    Full,
}

/// What the edits of a journal were made to.
#[derive(Debug, Serialize, Deserialize)]
pub struct Start<S> {
    /// The format of the journal.
    pub format: u64,
    /// The checksum of the text of the plan.
    pub from: String,
    /// See [`shape`].
    pub shape: String,
    /// Where the plan was, for a person.
    pub path: String,
    /// The text of a plan that was in no file.
    #[serde(default)]
    pub text: Option<String>,
    /// Sheets whose rows did not stand as in a plan just opened.
    pub storage: Vec<S>,
}

/// A step: its name and an edit.
#[derive(Debug, Serialize, Deserialize)]
pub struct Step<E> {
    /// The name.
    pub label: String,
    /// Whether nothing that is saved changes with it, as on the way into a proposal.
    #[serde(default, rename = "still", skip_serializing_if = "std::ops::Not::not")]
    pub is_still: bool,
    /// The edit.
    pub edit: E,
}

/// A checksum of what places and positions are counted in: sheets, columns, assumptions and how
/// many rows there are. Edits mean the same in plans of one shape alone.
pub fn shape(plan: &Plan) -> String {
    let mut text = String::new();
    for (at, sheet) in (0..).zip(plan.schema()) {
        let rows = plan.rows(SheetId(at)).order();
        let n_builtin = rows
            .iter()
            .filter(|row| plan.rows(SheetId(at)).is_builtin(**row));
        // Writing to a string cannot fail, here and below.
        let _ = writeln!(text, "{} {} {}", sheet.name, rows.len(), n_builtin.count());
        for column in &sheet.columns {
            let entered = if column.entered() {
                "entered"
            } else {
                "computed"
            };
            let _ = writeln!(text, "{} {:?} {entered}", column.name, column.kind);
        }
    }
    for assumption in plan.assumptions() {
        let _ = writeln!(text, "{} {}", assumption.def.name, assumption.def.text);
    }
    checksum(text.as_bytes())
}

/// The records of a journal up to the first that is not whole.
#[derive(Debug)]
pub struct Lines<'b> {
    bytes: &'b [u8],
    end: End,
}

/// How far a journal is good, and how the next line is sealed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct End {
    /// Bytes up to here are good.
    pub at: u64,
    seal: String,
}

impl<'b> Lines<'b> {
    /// The records in the bytes of a journal.
    pub fn new(bytes: &'b [u8]) -> Self {
        Self {
            bytes,
            end: End::default(),
        }
    }

    /// The next record; none at the end and from the first one that is not whole.
    pub fn next_line<E: DeserializeOwned, S: DeserializeOwned>(&mut self) -> Option<Line<E, S>> {
        let start = usize::try_from(self.end.at).ok()?;
        let rest = self.bytes.get(start..)?;
        let (length, rest) = split_at_space(rest)?;
        let (seal, rest) = split_at_space(rest)?;
        let length: usize = length.parse().ok()?;
        let payload = rest.get(..length)?;
        if rest.get(length) != Some(&b'\n') || seal != sealed(&self.end.seal, payload) {
            return None;
        }
        let line = serde_json::from_slice(payload).ok()?;
        let after = self.bytes.len() - rest.len() + length + 1;
        self.end = End {
            at: after as u64,
            seal: seal.to_owned(),
        };
        Some(line)
    }

    /// The end of the last good record so far.
    pub fn end(&self) -> &End {
        &self.end
    }
}

/// A word of a line and what comes after it.
fn split_at_space(bytes: &[u8]) -> Option<(&str, &[u8])> {
    let at = bytes.iter().take(32).position(|byte| *byte == b' ')?;
    let word = std::str::from_utf8(&bytes[..at]).ok()?;
    Some((word, &bytes[at + 1..]))
}

/// The seal of a record behind another seal.
fn sealed(before: &str, payload: &[u8]) -> String {
    let digest = Sha256::new().chain_update(before).chain_update(payload);
    let mut out = String::with_capacity(N_SEAL);
    for byte in digest.finalize().iter().take(N_SEAL / 2) {
        let _ = write!(out, "{byte:02x}");
    }
    out
}

/// A journal on disk that nobody writes, held so that nobody else takes it.
#[derive(Debug)]
pub struct Found {
    file: File,
    /// Where it is.
    pub path: PathBuf,
}

impl Found {
    /// Takes the journal at a path; none where there is no file or somebody writes it.
    ///
    /// # Errors
    /// A file that may not be read and written.
    pub fn take(path: &Path) -> io::Result<Option<Self>> {
        let file = match OpenOptions::new().read(true).write(true).open(path) {
            Ok(file) => file,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
            Err(error) => return Err(error),
        };
        let free = side::try_lock(&file) && side::is_still(&file, path);
        Ok((free && file.metadata()?.is_file()).then(|| Self {
            file,
            path: path.to_owned(),
        }))
    }

    /// Its bytes; more than a journal can have are not read.
    ///
    /// # Errors
    /// A disk that cannot be read.
    pub fn bytes(&self) -> io::Result<Vec<u8>> {
        let mut bytes = Vec::new();
        let mut file = &self.file;
        file.seek(SeekFrom::Start(0))?;
        file.take(MAX_BYTES + LAST_ROOM).read_to_end(&mut bytes)?;
        Ok(bytes)
    }

    /// When it was last written; for a person alone.
    pub fn written(&self) -> Option<std::time::SystemTime> {
        self.file.metadata().ok()?.modified().ok()
    }

    /// Goes on writing behind the last good record.
    ///
    /// # Errors
    /// A disk that does not let what is behind it be cut off.
    pub fn go_on(self, end: End) -> io::Result<Appender> {
        self.file.set_len(end.at)?;
        Ok(Appender {
            file: self.file,
            path: self.path,
            end,
        })
    }

    /// Moves it to a free name with a word behind it, and gives that name.
    ///
    /// # Errors
    /// A folder that does not take the new name.
    pub fn set_aside(self, word: &str) -> io::Result<PathBuf> {
        side::set_aside(&self.path, word)
    }

    /// Copies it to a free name with a word behind it, and gives that name.
    ///
    /// # Errors
    /// A disk that does not take the copy.
    pub fn copy_aside(&self, word: &str) -> io::Result<PathBuf> {
        let path = side::free_name(&self.path, word);
        fs::copy(&self.path, &path)?;
        Ok(path)
    }

    /// Removes it.
    ///
    /// # Errors
    /// A folder that does not let it go.
    pub fn remove(self) -> io::Result<()> {
        fs::remove_file(&self.path)
    }
}

/// The bytes of a journal that nobody writes, without holding it; none where there is none.
pub fn peek(path: &Path) -> Option<Vec<u8>> {
    let file = File::open(path).ok()?;
    if !file.metadata().ok()?.is_file() || !side::try_lock_shared(&file) {
        return None;
    }
    let mut bytes = Vec::new();
    file.take(MAX_BYTES + LAST_ROOM)
        .read_to_end(&mut bytes)
        .ok()?;
    Some(bytes)
}

/// A journal that is being written.
#[derive(Debug)]
pub struct Appender {
    file: File,
    path: PathBuf,
    end: End,
}

/// Why a record is not in a journal.
#[derive(Debug)]
pub enum NotKept {
    /// The journal would be larger than it may be; this was the last record.
    Full,
    /// The disk did not take it; it can be tried again.
    Disk(io::Error),
}

impl Appender {
    /// Makes a new journal that only its owner can read.
    ///
    /// # Errors
    /// A folder that does not take it, or a file that is there already.
    pub fn create(path: &Path) -> io::Result<Self> {
        outlive_size_limit();
        let mut options = OpenOptions::new();
        options.write(true).create_new(true);
        side::keep_private(&mut options);
        let file = options.open(path)?;
        // Where files cannot be locked nobody else can hold it either.
        let _ = side::try_lock(&file);
        Ok(Self {
            file,
            path: path.to_owned(),
            end: End::default(),
        })
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Hands a record to the system.
    ///
    /// # Errors
    /// A journal that is full or a disk that does not take it; the journal then ends with the
    /// record before.
    pub fn append(&mut self, payload: &[u8]) -> Result<(), NotKept> {
        if self.end.at + payload.len() as u64 + LAST_ROOM > MAX_BYTES {
            self.close();
            return Err(NotKept::Full);
        }
        self.write(payload).map_err(NotKept::Disk)
    }

    /// Says at its end that later edits are not in it.
    pub fn close(&mut self) {
        // Without this record a later reader sees fewer edits all the same, only not why.
        let _ = self.write(&full());
    }

    fn write(&mut self, payload: &[u8]) -> io::Result<()> {
        let seal = sealed(&self.end.seal, payload);
        let head = format!("{} {seal} ", payload.len());
        self.file.seek(SeekFrom::Start(self.end.at))?;
        let parts = [head.as_bytes(), payload, b"\n"];
        let written = match payload.len() < SMALL {
            true => self.file.write_all(&parts.concat()),
            false => parts.iter().try_for_each(|part| self.file.write_all(part)),
        };
        if let Err(error) = written {
            // A part of a line is no record, and the next one is written over it.
            let _ = self.file.set_len(self.end.at);
            return Err(error);
        }
        self.end = End {
            at: self.end.at + (head.len() + payload.len() + 1) as u64,
            seal,
        };
        Ok(())
    }

    /// Waits until the disk has all of it.
    ///
    /// # Errors
    /// A disk that did not take it.
    pub fn sync(&self) -> io::Result<()> {
        self.file.sync_data()
    }

    /// Moves it to a free name with a word behind it, and gives that name.
    ///
    /// # Errors
    /// A folder that does not take the new name.
    pub fn set_aside(self, word: &str) -> io::Result<PathBuf> {
        self.file.sync_data()?;
        side::set_aside(&self.path, word)
    }

    /// Removes it.
    ///
    /// # Errors
    /// A folder that does not let it go.
    pub fn remove(self) -> io::Result<()> {
        fs::remove_file(&self.path)
    }
}

/// Records below this many bytes go to the system in one piece.
const SMALL: usize = 64 << 10;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::sample::fresh;
    use serde::de::IgnoredAny;

    /// A journal with a beginning and so many titles, at a path.
    fn written(path: &Path, n_titles: usize) -> Appender {
        let plan = fresh().unwrap();
        let mut journal = Appender::create(path).unwrap();
        let start = beginning(Beginning {
            plan: &plan,
            from: "abc",
            path: "reef.plan",
            text: None,
        });
        journal.append(&start.unwrap()).unwrap();
        for at in 0..n_titles {
            let edit = Edit::SetTitle(format!("Reef {at}"));
            let record = turn(
                &plan,
                Turn::Do(Told {
                    label: "title",
                    edit: &edit,
                    is_still: false,
                }),
            )
            .unwrap();
            journal.append(&record).unwrap();
        }
        journal
    }

    fn n_lines(bytes: &[u8]) -> usize {
        let mut lines = Lines::new(bytes);
        std::iter::from_fn(|| lines.next_line::<IgnoredAny, IgnoredAny>()).count()
    }

    #[test]
    fn a_line_that_was_left_out_changed_place_or_came_twice_ends_it() {
        let room = tempfile::tempdir().unwrap();
        let path = room.path().join("journal");
        drop(written(&path, 4));
        let bytes = fs::read(&path).unwrap();
        let lines: Vec<&[u8]> = bytes.split_inclusive(|byte| *byte == b'\n').collect();
        assert_eq!((lines.len(), n_lines(&bytes)), (5, 5));
        for (order, n_good) in [
            (vec![0, 1, 3, 4], 2),
            (vec![0, 2, 1, 3, 4], 1),
            (vec![0, 1, 2, 2, 3, 4], 3),
            (vec![1, 2, 3, 4], 0),
        ] {
            let other: Vec<u8> = order.iter().flat_map(|at| lines[*at]).copied().collect();
            assert_eq!(n_lines(&other), n_good, "{order:?}");
        }
    }

    #[test]
    fn a_journal_that_is_being_written_is_nobody_elses() {
        let room = tempfile::tempdir().unwrap();
        let path = room.path().join("journal");
        let journal = written(&path, 1);
        assert!(Found::take(&path).unwrap().is_none());
        assert!(peek(&path).is_none());
        assert!(Appender::create(&path).is_err());
        drop(journal);
        assert_eq!(n_lines(&peek(&path).unwrap()), 2);
        let found = Found::take(&path).unwrap().unwrap();
        assert!(Found::take(&path).unwrap().is_none());
        assert_eq!(n_lines(&found.bytes().unwrap()), 2);
    }

    #[test]
    fn it_goes_on_behind_what_was_good() {
        let room = tempfile::tempdir().unwrap();
        let path = room.path().join("journal");
        drop(written(&path, 3));
        let mut bytes = fs::read(&path).unwrap();
        bytes.truncate(bytes.len() - 7);
        fs::write(&path, &bytes).unwrap();
        let mut lines = Lines::new(&bytes);
        while lines.next_line::<IgnoredAny, IgnoredAny>().is_some() {}
        let found = Found::take(&path).unwrap().unwrap();
        let mut journal = found.go_on(lines.end().clone()).unwrap();
        journal.append(&saving("abc")).unwrap();
        assert_eq!(n_lines(&fs::read(&path).unwrap()), 4);
    }

    #[test]
    fn a_full_journal_says_so_at_its_end() {
        let room = tempfile::tempdir().unwrap();
        let path = room.path().join("journal");
        File::create(&path).unwrap();
        let end = End {
            at: MAX_BYTES - LAST_ROOM - 10,
            seal: String::new(),
        };
        let found = Found::take(&path).unwrap().unwrap();
        let mut journal = found.go_on(end).unwrap();
        assert!(matches!(journal.append(&[b'x'; 11]), Err(NotKept::Full)));
        let length = fs::metadata(&path).unwrap().len();
        assert!(length <= MAX_BYTES, "{length}");
        let mut tail = Vec::new();
        let mut file = File::open(&path).unwrap();
        file.seek(SeekFrom::Start(MAX_BYTES - LAST_ROOM - 10))
            .unwrap();
        file.read_to_end(&mut tail).unwrap();
        let line = Lines::new(&tail).next_line::<IgnoredAny, IgnoredAny>();
        assert!(matches!(line, Some(Line::Full)));
    }
}
