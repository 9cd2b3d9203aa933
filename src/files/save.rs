//! Writing a file so that a crash leaves the old one or the new one, keeping what it held before,
//! and reading one whole.
//!
//! Bytes only: what they mean is in the other files of this room.

use crate::problem::Problem;
use std::ffi::{OsStr, OsString};
use std::fs::{self, File, Metadata, OpenOptions};
use std::hash::{BuildHasher, Hasher, RandomState};
use std::io::{self, ErrorKind, Read, Write};
use std::path::{Path, PathBuf};
#[cfg(unix)]
use std::sync::{Arc, Once};

/// The largest file that is read.
pub const MAX_BYTES: u64 = 256 << 20;

/// What saving did.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Saved {
    /// The file that was written, behind any links.
    pub path: PathBuf,
    /// Whether the folder confirmed the new name; without it the file is written, but a power
    /// cut in the next moments may bring the old one back.
    pub durable: bool,
}

/// Puts bytes in place of a file, whole or not at all.
///
/// # Errors
/// A target that cannot be replaced without harm, or a failure of the disk; the old file is then
/// as it was.
pub fn save(path: &Path, bytes: &[u8]) -> Result<Saved, Problem> {
    let target = behind_links(path)?;
    let old = replaceable(&target)?;
    let beside = Beside::create(&target, old.as_ref()).map_err(|error| trouble(&target, &error))?;
    beside
        .write(bytes, old.as_ref())
        .and_then(|()| beside.rename(&target))
        .map_err(|error| trouble(&target, &error))?;
    Ok(Saved {
        durable: confirm(folder(&target)).is_ok(),
        path: target,
    })
}

/// How many files as they were before stand beside a file.
pub const MOST_VERSIONS: usize = 3;

/// Keeps a file as it is now as `NAME~1`; what was kept before moves on to `NAME~2` and `NAME~3`.
/// Where there is no file yet, nothing is kept.
///
/// # Errors
/// A folder or disk that does not take the name; the file and what was kept are still there.
pub fn keep_version(path: &Path) -> io::Result<()> {
    let target = behind_links(path).map_err(|problem| io::Error::other(problem.message))?;
    let newest = version(&target, 1);
    match fs::symlink_metadata(&target) {
        Ok(old) if old.is_file() && !is_version_of(&target, &old) => {}
        Ok(_) => return Ok(()),
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(()),
        Err(error) => return Err(error),
    }
    for at in (1..MOST_VERSIONS).rev() {
        match fs::rename(version(&target, at), version(&target, at + 1)) {
            Err(error) if error.kind() != ErrorKind::NotFound => return Err(error),
            Ok(()) | Err(_) => {}
        }
    }
    // A second name costs nothing and is there at once; not every file system has them.
    fs::hard_link(&target, &newest)
        .or_else(|_| copy_whole(&target, &newest))
        .or_else(|error| match error.kind() {
            ErrorKind::NotFound => Ok(()),
            _ => Err(error),
        })
}

/// `NAME~1`, the newest, to `NAME~3`.
pub fn version(target: &Path, at: usize) -> PathBuf {
    let mut name = target.as_os_str().to_owned();
    name.push(format!("~{at}"));
    PathBuf::from(name)
}

/// Whether the newest version is the file itself under a second name, as after a save that did
/// not come to its end.
#[cfg(unix)]
fn is_version_of(target: &Path, file: &Metadata) -> bool {
    use std::os::unix::fs::MetadataExt;
    let place = |file: &Metadata| (file.dev(), file.ino());
    fs::symlink_metadata(version(target, 1)).is_ok_and(|kept| place(&kept) == place(file))
}

#[cfg(not(unix))]
fn is_version_of(_: &Path, _: &Metadata) -> bool {
    false
}

fn copy_whole(from: &Path, to: &Path) -> io::Result<()> {
    let old = fs::metadata(from)?;
    let beside = Beside::create(to, Some(&old))?;
    beside.write(&fs::read(from)?, Some(&old))?;
    beside.rename(to)
}

/// Removes what saves that never came to their end left beside a file; for who holds its lock.
pub(super) fn sweep(target: &Path) {
    let Some(name) = target.file_name() else {
        return;
    };
    let start = beside_start(name);
    let Ok(entries) = fs::read_dir(folder(target)) else {
        return;
    };
    for entry in entries.flatten() {
        let name = entry.file_name();
        let rest = name
            .as_encoded_bytes()
            .strip_prefix(start.as_encoded_bytes());
        let is_ours = rest.is_some_and(|rest| {
            rest.len() == 16 && rest.iter().all(|byte| byte.is_ascii_hexdigit())
        });
        if is_ours && entry.file_type().is_ok_and(|kind| kind.is_file()) {
            let _ = fs::remove_file(entry.path());
        }
    }
}

/// Writes a new file bit by bit and puts it in place, whole or not at all; one that is there
/// already only when it may be replaced.
///
/// # Errors
/// A file that is there, what the writer says, or a failure of the disk; what was there is then as
/// it was.
pub fn save_by<T>(
    path: &Path,
    replace: bool,
    write: impl FnOnce(&mut File) -> Result<T, Problem>,
) -> Result<(Saved, T), Problem> {
    let target = behind_links(path)?;
    let old = replaceable(&target)?;
    if old.is_some() && !replace {
        let message = format!("`{}` is there already", path.display());
        return Err(Problem::new("file-there", message)
            .help("name another file, or say that it may be replaced"));
    }
    let mut beside =
        Beside::create(&target, old.as_ref()).map_err(|error| trouble(&target, &error))?;
    let made = write(&mut beside.file)?;
    beside
        .finish(old.as_ref())
        .and_then(|()| beside.rename(&target))
        .map_err(|error| trouble(&target, &error))?;
    let saved = Saved {
        durable: confirm(folder(&target)).is_ok(),
        path: target,
    };
    Ok((saved, made))
}

/// The bytes of a regular file.
///
/// # Errors
/// A path that is no regular file, cannot be read, or is larger than 256 MiB.
pub fn load(path: &Path) -> Result<Vec<u8>, Problem> {
    let file = open(path, MAX_BYTES)?;
    let length = file.metadata().map_or(0, |seen| seen.len());
    // A byte more than there is, so that the end is seen without growing.
    let mut bytes = Vec::with_capacity(usize::try_from(length.min(MAX_BYTES) + 1).unwrap_or(0));
    file.take(MAX_BYTES + 1)
        .read_to_end(&mut bytes)
        .map_err(|error| unread(path, &error))?;
    if bytes.len() as u64 > MAX_BYTES {
        return Err(too_large(path, MAX_BYTES));
    }
    Ok(bytes)
}

/// A regular file of at most so many bytes, to be read.
///
/// # Errors
/// A path that is no regular file, cannot be read, or is larger.
pub fn open(path: &Path, most: u64) -> Result<File, Problem> {
    // Looking first keeps a pipe from blocking; looking again after opening closes the gap.
    let seen = fs::metadata(path).map_err(|error| unread(path, &error))?;
    readable(path, &seen, most)?;
    let file = File::open(path).map_err(|error| unread(path, &error))?;
    let seen = file.metadata().map_err(|error| unread(path, &error))?;
    readable(path, &seen, most)?;
    Ok(file)
}

/// The path that symbolic links lead to; it need not exist.
pub(super) fn behind_links(path: &Path) -> Result<PathBuf, Problem> {
    let mut target = path.to_owned();
    // As many steps as the kernel takes before it calls it a loop.
    for _ in 0..40 {
        match fs::read_link(&target) {
            Ok(next) => target = folder(&target).join(next),
            Err(_) => return Ok(target),
        }
    }
    Err(Problem::new("link-loop", format!("`{}` links to itself", path.display())).help(OTHER_NAME))
}

const OTHER_NAME: &str = "save under another name";

/// The old file, if there is one and it can be replaced.
fn replaceable(target: &Path) -> Result<Option<Metadata>, Problem> {
    let refused = |what: &str| {
        Err(
            Problem::new("not-replaceable", format!("`{}` {what}", target.display()))
                .help(OTHER_NAME),
        )
    };
    if target.file_name().is_none() {
        return refused("is not the name of a file");
    }
    let old = match fs::symlink_metadata(target) {
        Ok(old) => old,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(trouble(target, &error)),
    };
    if old.is_dir() {
        return refused("is a folder");
    }
    if !old.is_file() {
        return refused("is a device or a pipe, not a file");
    }
    if n_names(&old) > 1 + u64::from(is_version_of(target, &old)) {
        return refused("has a second name (hard link) that would go stale");
    }
    if old.permissions().readonly() {
        return refused("is marked read-only");
    }
    Ok(Some(old))
}

#[cfg(unix)]
fn n_names(old: &Metadata) -> u64 {
    std::os::unix::fs::MetadataExt::nlink(old)
}

#[cfg(not(unix))]
fn n_names(_: &Metadata) -> u64 {
    1
}

/// The folder of a path; the current one for a bare name.
pub(super) fn folder(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        Some(_) | None => Path::new("."),
    }
}

/// A file being written beside its target; removed unless it was renamed.
#[derive(Debug)]
struct Beside {
    path: PathBuf,
    file: File,
}

impl Beside {
    fn create(target: &Path, old: Option<&Metadata>) -> io::Result<Self> {
        outlive_size_limit();
        let mut options = OpenOptions::new();
        options.write(true).create_new(true);
        if old.is_some() {
            keep_private(&mut options);
        }
        // A name that is taken belongs to another save; a few tries always find a free one.
        let mut tries = 0;
        loop {
            let path = folder(target).join(beside_name(target));
            match options.open(&path) {
                Ok(file) => return Ok(Self { path, file }),
                Err(error) if error.kind() == ErrorKind::AlreadyExists && tries < 16 => tries += 1,
                Err(error) => return Err(error),
            }
        }
    }

    fn write(&self, bytes: &[u8], old: Option<&Metadata>) -> io::Result<()> {
        (&self.file).write_all(bytes)?;
        self.finish(old)?;
        self.must_hold(bytes)
    }

    /// Gives it the owner and rights of the old file, and has it on the disk.
    fn finish(&self, old: Option<&Metadata>) -> io::Result<()> {
        if let Some(old) = old {
            keep_owner(&self.file, old);
            self.file.set_permissions(old.permissions())?;
        }
        self.file.sync_all()
    }

    /// Reads the file back; what is not there as it was written must not replace anything.
    fn must_hold(&self, bytes: &[u8]) -> io::Result<()> {
        let (mut file, mut part) = (File::open(&self.path)?, vec![0; 64 << 10]);
        let mut left = bytes;
        loop {
            let n = match file.read(&mut part) {
                Ok(0) if left.is_empty() => return Ok(()),
                Ok(n) => n,
                Err(error) if error.kind() == ErrorKind::Interrupted => continue,
                Err(error) => return Err(error),
            };
            match left.strip_prefix(&part[..n]) {
                Some(rest) if n > 0 => left = rest,
                Some(_) | None => {
                    return Err(io::Error::other("the disk does not hold what was written"));
                }
            }
        }
    }

    fn rename(&self, target: &Path) -> io::Result<()> {
        fs::rename(&self.path, target)
    }
}

impl Drop for Beside {
    fn drop(&mut self) {
        // After the rename there is nothing to remove, and that is no error.
        let _ = fs::remove_file(&self.path);
    }
}

/// `.NAME.saving-RANDOM`, short enough for any file system.
fn beside_name(target: &Path) -> OsString {
    let mut out = beside_start(target.file_name().unwrap_or_default());
    let random = RandomState::new().build_hasher().finish();
    out.push(format!("{random:016x}"));
    out
}

fn beside_start(name: &OsStr) -> OsString {
    let mut out = OsString::from(".");
    if name.len() <= 200 {
        out.push(name);
    } else {
        out.push(name.to_string_lossy().chars().take(50).collect::<String>());
    }
    out.push(".saving-");
    out
}

/// A write past a limit on file sizes gets an error from now on; without this it ends the process.
#[cfg(unix)]
pub(super) fn outlive_size_limit() {
    static DONE: Once = Once::new();
    DONE.call_once(|| {
        // Where it fails, only that limit is not survived.
        let _ = signal_hook::flag::register(signal_hook::consts::SIGXFSZ, Arc::default());
    });
}

#[cfg(not(unix))]
pub(super) fn outlive_size_limit() {}

/// Nobody else may read the new file before it has the permissions of the old one.
#[cfg(unix)]
fn keep_private(options: &mut OpenOptions) {
    std::os::unix::fs::OpenOptionsExt::mode(options, 0o600);
}

#[cfg(not(unix))]
fn keep_private(_: &mut OpenOptions) {}

/// Gives the new file the owner of the old one where the system allows it.
#[cfg(unix)]
fn keep_owner(file: &File, old: &Metadata) {
    use std::os::unix::fs::MetadataExt;
    let owner = std::os::unix::fs::fchown(file, Some(old.uid()), Some(old.gid()));
    // Without the right to give files away the group may still be given.
    if owner.is_err() {
        let _ = std::os::unix::fs::fchown(file, None, Some(old.gid()));
    }
}

#[cfg(not(unix))]
fn keep_owner(_: &File, _: &Metadata) {}

#[cfg(unix)]
fn confirm(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

/// Elsewhere the rename itself is all there is.
#[cfg(not(unix))]
fn confirm(_: &Path) -> io::Result<()> {
    Ok(())
}

/// Why a file could not be written, and the way out.
fn trouble(target: &Path, error: &io::Error) -> Problem {
    let help = match error.kind() {
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => "free some space, then save again",
        ErrorKind::FileTooLarge => "raise the limit on file sizes, or save to another disk",
        ErrorKind::PermissionDenied => "save under another name in a folder of yours",
        ErrorKind::ReadOnlyFilesystem => "save to another disk",
        ErrorKind::NotFound => "make the folder, or save under another name",
        _ => OTHER_NAME,
    };
    let (path, why) = (target.display(), why(error));
    Problem::new("not-saved", format!("cannot save `{path}`: {why}"))
        .help(help)
        .help("the file on disk is as it was; nothing you entered is lost while this is open")
}

/// Why a file could not be written, as the end of a sentence.
pub fn why(error: &io::Error) -> String {
    match error.kind() {
        ErrorKind::StorageFull => "the disk is full".to_owned(),
        ErrorKind::QuotaExceeded => "your quota is used up".to_owned(),
        ErrorKind::FileTooLarge => "the file would be larger than the system allows".to_owned(),
        ErrorKind::PermissionDenied => "its folder does not let you write".to_owned(),
        ErrorKind::ReadOnlyFilesystem => "the disk is read-only".to_owned(),
        ErrorKind::NotFound => "its folder does not exist".to_owned(),
        ErrorKind::NotADirectory => "part of its path is not a folder".to_owned(),
        ErrorKind::InvalidFilename => "the name is not allowed here".to_owned(),
        _ => error.to_string().to_lowercase(),
    }
}

fn readable(path: &Path, seen: &Metadata, most: u64) -> Result<(), Problem> {
    let refused = |what: &str| {
        Err(
            Problem::new("not-a-file", format!("`{}` is {what}", path.display()))
                .help("name a file"),
        )
    };
    if seen.is_dir() {
        return refused("a folder, not a file");
    }
    if !seen.is_file() {
        return refused("a device or a pipe, not a file");
    }
    if seen.len() > most {
        return Err(too_large(path, most));
    }
    Ok(())
}

fn too_large(path: &Path, most: u64) -> Problem {
    let most = match most {
        MAX_BYTES => "256 MiB".to_owned(),
        most => format!("{} MB", most / 1_000_000),
    };
    Problem::new(
        "file-too-large",
        format!("`{}` is larger than {most}", path.display()),
    )
    .help("split it into several files")
}

/// What is said of a file that cannot be read.
pub fn unread(path: &Path, error: &io::Error) -> Problem {
    let path = path.display();
    match error.kind() {
        ErrorKind::NotFound => Problem::new("no-such-file", format!("there is no file `{path}`"))
            .help("check the name and the folder"),
        ErrorKind::PermissionDenied => {
            Problem::new("not-readable", format!("you may not read `{path}`"))
                .help("ask its owner for the right to read it")
        }
        _ => {
            let why = error.to_string().to_lowercase();
            Problem::new("not-readable", format!("cannot read `{path}`: {why}"))
                .help("check the disk, then try again")
        }
    }
}

#[cfg(test)]
#[cfg(unix)]
mod tests {
    use super::*;
    use std::os::unix::fs::{MetadataExt, PermissionsExt, symlink};
    use std::process::Command;
    use tempfile::TempDir;

    fn room() -> TempDir {
        tempfile::tempdir().unwrap()
    }

    fn names(room: &TempDir) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(room.path())
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }

    /// Saving is refused with this code, and nothing in the folder changes.
    fn check_refused(room: &TempDir, path: &Path, code: &str, says: &str) {
        let before = names(room);
        let problem = save(path, b"new").unwrap_err();
        assert_eq!(problem.code, code, "{problem}");
        assert!(problem.message.contains(says), "{problem}");
        assert!(!problem.help.is_empty());
        assert_eq!(names(room), before);
    }

    #[test]
    fn a_saved_file_reads_back_and_leaves_nothing_beside() {
        let room = room();
        let path = room.path().join("reef.plan");
        for bytes in [&b"one"[..], b"", b"three"] {
            let saved = save(&path, bytes).unwrap();
            assert!(saved.durable);
            assert_eq!(load(&path).unwrap(), bytes);
        }
        assert_eq!(names(&room), ["reef.plan"]);
    }

    #[test]
    fn the_mode_of_the_old_file_stays() {
        let room = room();
        let path = room.path().join("reef.plan");
        fs::write(&path, "old").unwrap();
        fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).unwrap();
        save(&path, b"new").unwrap();
        assert_eq!(fs::metadata(&path).unwrap().mode() & 0o7777, 0o640);
    }

    #[test]
    fn a_link_stays_a_link() {
        let room = room();
        let real = room.path().join("real.plan");
        let (first, second) = (room.path().join("first"), room.path().join("second"));
        symlink("real.plan", &first).unwrap();
        symlink(&first, &second).unwrap();
        // At first the link leads nowhere; saving makes the file it names.
        for bytes in [b"one", b"two"] {
            assert_eq!(save(&second, bytes).unwrap().path, real);
            assert_eq!(load(&real).unwrap(), bytes);
        }
        assert!(fs::symlink_metadata(&second).unwrap().is_symlink());
        symlink("loop", room.path().join("loop")).unwrap();
        check_refused(&room, &room.path().join("loop"), "link-loop", "itself");
    }

    #[test]
    fn what_cannot_be_replaced_is_refused() {
        let room = room();
        let at = |name: &str| room.path().join(name);
        fs::create_dir(at("folder")).unwrap();
        Command::new("mkfifo").arg(at("pipe")).status().unwrap();
        fs::write(at("one"), "old").unwrap();
        fs::hard_link(at("one"), at("other")).unwrap();
        fs::write(at("locked"), "old").unwrap();
        fs::set_permissions(at("locked"), fs::Permissions::from_mode(0o444)).unwrap();
        for (name, code, says) in [
            ("folder", "not-replaceable", "folder"),
            ("pipe", "not-replaceable", "pipe"),
            ("one", "not-replaceable", "hard link"),
            ("locked", "not-replaceable", "read-only"),
            ("missing/reef.plan", "not-saved", "folder does not exist"),
            ("one/reef.plan", "not-saved", "not a folder"),
            ("..", "not-replaceable", "not the name of a file"),
        ] {
            check_refused(&room, &at(name), code, says);
        }
        check_refused(&room, Path::new("/dev/null"), "not-replaceable", "device");
        assert_eq!(fs::read(at("one")).unwrap(), b"old");
    }

    #[test]
    fn a_failed_rename_leaves_the_old_and_removes_the_new() {
        let room = room();
        let target = room.path().join("reef.plan");
        let beside = Beside::create(&target, None).unwrap();
        beside.write(b"new", None).unwrap();
        // The target turned into a folder after it was looked at.
        fs::create_dir(&target).unwrap();
        assert!(beside.rename(&target).is_err());
        drop(beside);
        assert_eq!(names(&room), ["reef.plan"]);
    }

    #[test]
    fn a_very_long_name_can_be_saved() {
        let room = room();
        let path = room.path().join("x".repeat(255));
        save(&path, b"new").unwrap();
        assert_eq!(names(&room), ["x".repeat(255)]);
        check_refused(
            &room,
            &room.path().join("x".repeat(256)),
            "not-saved",
            "name",
        );
    }

    #[test]
    fn only_files_are_loaded() {
        let room = room();
        Command::new("mkfifo")
            .arg(room.path().join("pipe"))
            .status()
            .unwrap();
        let large = room.path().join("large");
        File::create(&large)
            .unwrap()
            .set_len(MAX_BYTES + 1)
            .unwrap();
        for (path, code) in [
            (room.path().to_owned(), "not-a-file"),
            (room.path().join("pipe"), "not-a-file"),
            (PathBuf::from("/dev/zero"), "not-a-file"),
            (room.path().join("missing"), "no-such-file"),
            (large, "file-too-large"),
        ] {
            let problem = load(&path).unwrap_err();
            assert_eq!(problem.code, code, "{problem}");
            assert!(!problem.help.is_empty());
        }
    }
}
