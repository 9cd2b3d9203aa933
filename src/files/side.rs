//! Files beside a plan: their names, the folder that stands in where there is no room beside it,
//! and the lock that makes the second opener a reader.
//!
//! Names and locks only; what a journal holds is in `journal.rs`.

use super::checksum;
use super::save::{behind_links, folder, outlive_size_limit, sweep, why};
use crate::problem::clean;
use std::ffi::OsString;
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, ErrorKind, Read, Write};
use std::path::{Path, PathBuf};
use std::thread::sleep;
use std::time::{Duration, SystemTime};

/// The most journals of one plan, or of plans without a name, in the state folder.
const MOST_IN_STATE: usize = 9;

/// The longest name that gets an ending; longer ones are shortened, as 255 bytes is the most.
const MOST_OF_A_NAME: usize = 200;

/// The user's folder for what outlasts a run of the program; none without a home.
pub fn state_folder() -> Option<PathBuf> {
    let folder = |name: &str| std::env::var_os(name).map(PathBuf::from);
    // The standard wants a path that is not absolute to be passed over.
    let state = folder("XDG_STATE_HOME").filter(|path| path.is_absolute());
    let home = || {
        Some(
            folder("HOME")
                .filter(|path| path.is_absolute())?
                .join(".local/state"),
        )
    };
    Some(state.or_else(home)?.join("portledger"))
}

/// The places where the journal of a plan can be, best first.
pub fn journals_of(plan: &Path, state: Option<&Path>) -> Vec<PathBuf> {
    let target = real(plan);
    let key = checksum(target.as_os_str().as_encoded_bytes());
    let name = short_name(&target);
    let elsewhere = format!("{}-{}", name.to_string_lossy(), &key[..16]);
    let mut places = vec![beside(&target, "journal")];
    places.extend(in_state(state, &elsewhere));
    places
}

/// The places where the journal of a plan without a name can be; `word` says which plan it is.
pub fn journals_without_name(word: &str, state: Option<&Path>) -> Vec<PathBuf> {
    in_state(state, word).collect()
}

fn in_state(state: Option<&Path>, name: &str) -> impl Iterator<Item = PathBuf> {
    let names = (1..=MOST_IN_STATE).map(move |at| match at {
        1 => format!("{name}.journal"),
        _ => format!("{name}-{at}.journal"),
    });
    state
        .into_iter()
        .flat_map(move |state| names.clone().map(|name| state.join(name)))
}

/// Makes the folder of a side file, so that only its owner can look into it.
///
/// # Errors
/// A folder that cannot be made.
pub fn make_folder(of: &Path) -> io::Result<()> {
    let mut builder = fs::DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(folder(of))
}

/// The path of a plan behind links, from the root where that can be found.
pub fn real(plan: &Path) -> PathBuf {
    let target = behind_links(plan).unwrap_or_else(|_| plan.to_owned());
    match (fs::canonicalize(folder(&target)), target.file_name()) {
        (Ok(folder), Some(name)) => folder.join(name),
        _ => target,
    }
}

/// `.NAME.ENDING` beside a path.
fn beside(target: &Path, ending: &str) -> PathBuf {
    let mut name = OsString::from(".");
    name.push(short_name(target));
    name.push(".");
    name.push(ending);
    folder(target).join(name)
}

/// The name of a file; a very long one by its beginning and a checksum.
fn short_name(target: &Path) -> OsString {
    let name = target.file_name().unwrap_or_default();
    if name.len() <= MOST_OF_A_NAME {
        return name.to_owned();
    }
    let start: String = name.to_string_lossy().chars().take(40).collect();
    let key = checksum(name.as_encoded_bytes());
    OsString::from(format!("{start}-{}", &key[..16]))
}

/// A name that no file has: the path with a word behind it, and a number where that is taken.
pub fn free_name(path: &Path, word: &str) -> PathBuf {
    let named = |ending: String| {
        let mut name = path.as_os_str().to_owned();
        name.push(ending);
        PathBuf::from(name)
    };
    let is_free = |path: &PathBuf| fs::symlink_metadata(path).is_err();
    let first = named(format!("~{word}"));
    let more = || (2..10_000).map(|at| named(format!("~{word}-{at}")));
    match is_free(&first) {
        true => first,
        false => more().find(is_free).unwrap_or(first),
    }
}

/// Moves a side file to a free name with a word behind it.
///
/// # Errors
/// A folder that does not take the new name.
pub fn set_aside(path: &Path, word: &str) -> io::Result<PathBuf> {
    let aside = free_name(path, word);
    fs::rename(path, &aside)?;
    Ok(aside)
}

/// A lock that is held; it goes with the value, or with the process.
#[derive(Debug)]
pub struct Lock {
    file: File,
    path: PathBuf,
}

/// What became of a lock.
#[derive(Debug)]
pub enum Locking {
    /// It is ours.
    Held(Lock),
    /// Somebody else has it; who, in words.
    Other(String),
    /// There can be none here; why, in words.
    None(String),
}

impl Lock {
    /// Takes the lock of a plan.
    pub fn take(plan: &Path) -> Locking {
        let path = beside(&real(plan), "lock");
        // A file that was removed between opening and locking it locks nothing.
        for _ in 0..100 {
            let file = match open_lock(&path) {
                Ok(file) => file,
                Err(error) => return Locking::None(why(&error)),
            };
            match locked(&file) {
                Ok(true) if is_still(&file, &path) => {
                    let lock = Self { file, path };
                    lock.sign();
                    sweep(&real(plan));
                    return Locking::Held(lock);
                }
                Ok(true) => {}
                Ok(false) => return Locking::Other(who(&path)),
                Err(error) => return Locking::None(why(&error)),
            }
        }
        // Whoever makes it come and go has it again and again; going on without it would mix the two.
        Locking::Other(who(&path))
    }

    /// Writes who holds it, for a person; that it is held does not depend on this.
    fn sign(&self) {
        let host = fs::read_to_string("/proc/sys/kernel/hostname").unwrap_or_default();
        let text = format!(
            "host {}\nprocess {}\nsince {}\n",
            host.trim(),
            std::process::id(),
            clock_text(SystemTime::now())
        );
        let _ = self.file.set_len(0);
        let _ = (&self.file).write_all(text.as_bytes());
    }
}

impl Drop for Lock {
    fn drop(&mut self) {
        // Removed while it is held, so who opens the name after this makes a new file, and who
        // opened it before sees that it is no longer there.
        if is_still(&self.file, &self.path) {
            let _ = fs::remove_file(&self.path);
        }
    }
}

fn open_lock(path: &Path) -> io::Result<File> {
    outlive_size_limit();
    let mut options = OpenOptions::new();
    let made = options.read(true).write(true).create(true).open(path);
    match made {
        // The file of another user can be locked without the right to write it.
        Err(error) if error.kind() == ErrorKind::PermissionDenied => {
            File::open(path).map_err(|_| error)
        }
        made => made,
    }
}

/// Whether a lock could be had; readers hold it for moments, so a few tries tell them from
/// writers.
fn locked(file: &File) -> io::Result<bool> {
    for _ in 0..4 {
        match file.try_lock() {
            Ok(()) => return Ok(true),
            Err(TryLockError::WouldBlock) => sleep(Duration::from_millis(15)),
            Err(TryLockError::Error(error)) => return Err(error),
        }
    }
    Ok(false)
}

/// Whether a file is ours alone now; where files cannot be locked nobody else can say so.
pub(super) fn try_lock(file: &File) -> bool {
    locked(file).unwrap_or(true)
}

/// Whether nobody holds a file as theirs.
pub(super) fn try_lock_shared(file: &File) -> bool {
    !matches!(file.try_lock_shared(), Err(TryLockError::WouldBlock))
}

/// Whether a path still leads to an open file.
#[cfg(unix)]
pub(super) fn is_still(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    match (file.metadata(), fs::metadata(path)) {
        (Ok(ours), Ok(there)) => (ours.dev(), ours.ino()) == (there.dev(), there.ino()),
        _ => false,
    }
}

#[cfg(not(unix))]
pub(super) fn is_still(_: &File, path: &Path) -> bool {
    path.exists()
}

/// Nobody else may read a new file.
#[cfg(unix)]
pub(super) fn keep_private(options: &mut OpenOptions) {
    std::os::unix::fs::OpenOptionsExt::mode(options, 0o600);
}

#[cfg(not(unix))]
pub(super) fn keep_private(_: &mut OpenOptions) {}

/// Who holds a lock, from what they wrote into it.
fn who(path: &Path) -> String {
    let mut text = String::new();
    let file = File::open(path).map(|file| file.take(1000));
    let read = file.and_then(|mut file| file.read_to_string(&mut text));
    let field = |name: &str| {
        let line = text.lines().find_map(|line| line.strip_prefix(name));
        line.map(str::trim).filter(|word| !word.is_empty())
    };
    let said = match (field("since "), field("process "), field("host ")) {
        (Some(since), Some(process), Some(host)) if read.is_ok() => {
            format!("open in another window since {since}, process {process} on {host}")
        }
        _ => "open in another window".to_owned(),
    };
    clean(&said).into_owned()
}

/// A time for a person, in UTC to the minute.
pub fn clock_text(time: SystemTime) -> String {
    let since = time.duration_since(SystemTime::UNIX_EPOCH);
    let seconds = since.map_or(0, |since| since.as_secs());
    let (days, minutes) = (seconds / 86_400, seconds % 86_400 / 60);
    let (year, month, day) = date(days);
    let (hour, minute) = (minutes / 60, minutes % 60);
    format!("{year}-{month:02}-{day:02} {hour:02}:{minute:02} UTC")
}

/// Year, month and day of a number of days after 1 January 1970, in the Gregorian calendar.
fn date(days: u64) -> (u64, u64, u64) {
    let is_leap = |year: u64| {
        year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400))
    };
    let (mut year, mut left) = (1970 + days / 146_097 * 400, days % 146_097);
    loop {
        let length = if is_leap(year) { 366 } else { 365 };
        if left < length {
            break;
        }
        left -= length;
        year += 1;
    }
    let february = if is_leap(year) { 29 } else { 28 };
    let mut month = 1;
    for length in [31, february, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31] {
        if left < length {
            break;
        }
        left -= length;
        month += 1;
    }
    (year, month, left + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_told_in_the_calendar() {
        let at = |seconds| clock_text(SystemTime::UNIX_EPOCH + Duration::from_secs(seconds));
        assert_eq!(at(0), "1970-01-01 00:00 UTC");
        assert_eq!(at(951_782_400), "2000-02-29 00:00 UTC");
        assert_eq!(at(1_735_689_599), "2024-12-31 23:59 UTC");
        assert_eq!(at(4_107_542_400), "2100-03-01 00:00 UTC");
        assert_eq!(at(13_569_465_600), "2400-01-01 00:00 UTC");
    }

    #[test]
    fn a_lock_is_held_once_and_leaves_nothing() {
        let room = tempfile::tempdir().unwrap();
        let plan = room.path().join("reef.plan");
        let Locking::Held(lock) = Lock::take(&plan) else {
            panic!("a free lock");
        };
        let Locking::Other(who) = Lock::take(&plan) else {
            panic!("a lock that is held");
        };
        assert!(
            who.contains(&format!("process {}", std::process::id())),
            "{who}"
        );
        drop(lock);
        assert_eq!(fs::read_dir(room.path()).unwrap().count(), 0);
        assert!(matches!(Lock::take(&plan), Locking::Held(_)));
    }

    #[test]
    fn a_lock_that_is_taken_again_and_again_is_somebody_elses() {
        let room = tempfile::tempdir().unwrap();
        let plan = room.path().join("reef.plan");
        let is_over = std::sync::atomic::AtomicBool::new(false);
        std::thread::scope(|scope| {
            scope.spawn(|| {
                // Another is there before the last one goes, so there is never none.
                let mut held = None;
                while !is_over.load(std::sync::atomic::Ordering::SeqCst) {
                    let new = room.path().join("new");
                    let file = File::create(&new).unwrap();
                    file.try_lock().unwrap();
                    fs::rename(&new, room.path().join(".reef.plan.lock")).unwrap();
                    held.replace(file);
                    sleep(Duration::from_millis(1));
                }
            });
            sleep(Duration::from_millis(20));
            let taken = Lock::take(&plan);
            is_over.store(true, std::sync::atomic::Ordering::SeqCst);
            assert!(matches!(taken, Locking::Other(_)), "{taken:?}");
        });
    }

    #[test]
    fn a_lock_left_by_a_process_that_is_gone_is_taken() {
        let room = tempfile::tempdir().unwrap();
        let plan = room.path().join("reef.plan");
        fs::write(room.path().join(".reef.plan.lock"), "host x\nprocess 1\n").unwrap();
        assert!(matches!(Lock::take(&plan), Locking::Held(_)));
    }

    #[test]
    fn many_at_once_get_a_lock_one_after_the_other() {
        let room = tempfile::tempdir().unwrap();
        let plan = room.path().join("reef.plan");
        let holders = std::sync::atomic::AtomicUsize::new(0);
        std::thread::scope(|scope| {
            for _ in 0..4 {
                scope.spawn(|| {
                    for _ in 0..50 {
                        if let Locking::Held(lock) = Lock::take(&plan) {
                            let others = holders.fetch_add(1, std::sync::atomic::Ordering::SeqCst);
                            assert_eq!(others, 0);
                            holders.fetch_sub(1, std::sync::atomic::Ordering::SeqCst);
                            drop(lock);
                        }
                    }
                });
            }
        });
        assert_eq!(fs::read_dir(room.path()).unwrap().count(), 0);
    }

    #[cfg(unix)]
    #[test]
    fn two_names_of_a_plan_have_one_lock_and_one_journal() {
        let room = tempfile::tempdir().unwrap();
        let (plan, link) = (room.path().join("reef.plan"), room.path().join("link"));
        fs::write(&plan, "").unwrap();
        std::os::unix::fs::symlink("reef.plan", &link).unwrap();
        assert_eq!(journals_of(&plan, None), journals_of(&link, None));
        let _lock = Lock::take(&plan);
        assert!(matches!(Lock::take(&link), Locking::Other(_)));
    }

    #[test]
    fn a_very_long_name_has_side_files_of_its_own() {
        let room = tempfile::tempdir().unwrap();
        let named = |end: &str| room.path().join("x".repeat(250) + end);
        assert!(matches!(Lock::take(&named("a")), Locking::Held(_)));
        assert_ne!(beside(&named("a"), "lock"), beside(&named("b"), "lock"));
    }

    #[test]
    fn set_aside_files_get_free_names() {
        let room = tempfile::tempdir().unwrap();
        let path = room.path().join(".reef.plan.journal");
        let mut names = Vec::new();
        for _ in 0..3 {
            fs::write(&path, "").unwrap();
            names.push(set_aside(&path, "dropped").unwrap());
        }
        names.dedup();
        assert_eq!(names.len(), 3);
        assert!(names[0].ends_with(".reef.plan.journal~dropped"));
    }
}
