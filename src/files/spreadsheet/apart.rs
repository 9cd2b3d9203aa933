//! Reading a spreadsheet in a process of its own, from the side that asks.
//!
//! The file goes over as the standard input of a second run of the program, its cells come back on
//! the standard output. Whatever happens there, here it is a book or one problem. A process that
//! is one for reading already, and limited itself, can do the same within itself.

use super::serve;
use super::wire::{Arrived, Failure, Refusal};
use super::{Book, SERVE};
use crate::problem::Problem;
use rustix::event::PollFd;
use rustix::event::PollFlags;
use rustix::event::Timespec;
use rustix::event::poll;
use rustix::io::Errno;
use std::fs::File;
use std::io::{ErrorKind, Read};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdout, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};

/// What stands in the way of an argument about a file.
const OTHER_FORM: &str = "save the table as csv and name that, or ask for a copy of the file";

/// Progress is told, and asked whether to go on, about as often.
const LOOK: Duration = Duration::from_millis(100);

/// Which pages are wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wanted {
    /// The only page whole, or of several the first rows of each.
    OnlyOrHeads,
    /// The page at a position, whole.
    Page(usize),
    /// All pages, whole.
    All,
}

impl Wanted {
    /// As an argument of the second run.
    pub(super) fn word(self) -> String {
        match self {
            Self::OnlyOrHeads => "heads".to_owned(),
            Self::Page(at) => at.to_string(),
            Self::All => "all".to_owned(),
        }
    }

    /// What an argument means.
    pub(super) fn of_word(word: &str) -> Option<Self> {
        match word {
            "heads" => Some(Self::OnlyOrHeads),
            "all" => Some(Self::All),
            number => number.parse().ok().map(Self::Page),
        }
    }
}

/// Reads spreadsheets by running the program a second time.
#[derive(Debug, Clone)]
pub struct Reader {
    way: Way,
    patience: Duration,
}

/// Where a spreadsheet is read.
#[derive(Debug, Clone)]
enum Way {
    /// In a second run of the program at a path.
    Apart(PathBuf),
    /// In the process that asks.
    Within,
}

impl Reader {
    /// With the path of this program; it is killed when it has not ended after a minute.
    pub fn new(program: PathBuf) -> Self {
        Self {
            way: Way::Apart(program),
            patience: Duration::from_secs(60),
        }
    }

    /// Within the process that asks, which has to be one that nobody misses and that limited its
    /// memory and time: a file can take both, and end it. For trying many files at small cost;
    /// the program itself always reads apart.
    pub fn within() -> Self {
        Self {
            way: Way::Within,
            patience: Duration::from_secs(60),
        }
    }

    /// With another time after which it is killed.
    #[must_use]
    pub fn patient(mut self, patience: Duration) -> Self {
        self.patience = patience;
        self
    }

    /// With the program that runs now.
    ///
    /// # Errors
    /// A system that does not know its path.
    pub fn of_this_program() -> Result<Self, Problem> {
        let program = std::env::current_exe().map_err(|error| no_start(&error))?;
        Ok(Self::new(program))
    }

    /// The pages that are wanted of a file that stands at its beginning.
    ///
    /// `progress` gets the number of rows that have come, now and then; where it gives `false`,
    /// reading is stopped.
    ///
    /// # Errors
    /// A file that cannot be read, is damaged, or asks for more than is allowed.
    pub fn read(
        &self,
        file: File,
        wanted: Wanted,
        progress: &mut dyn FnMut(usize) -> bool,
    ) -> Result<Book, Problem> {
        match &self.way {
            Way::Apart(program) => self.read_apart(program, file, wanted, progress),
            Way::Within => read_within(file, wanted),
        }
    }

    fn read_apart(
        &self,
        program: &Path,
        file: File,
        wanted: Wanted,
        progress: &mut dyn FnMut(usize) -> bool,
    ) -> Result<Book, Problem> {
        let child = Command::new(program)
            .args([SERVE, &wanted.word()])
            .stdin(Stdio::from(file))
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .env("RUST_BACKTRACE", "0")
            .spawn();
        let mut second = Second(child.map_err(|error| no_start(&error))?);
        let stdout = second.0.stdout.take().ok_or_else(|| broken(None))?;
        let until = Instant::now() + self.patience;
        let arrived = received(stdout, until, progress);
        match arrived {
            Ok(arrived) => match arrived.book() {
                Some(book) => Ok(book),
                None => Err(broken(second.ended(until))),
            },
            Err(Stopped::Refused(refusal)) => Err(refused(refusal)),
            Err(Stopped::Late) => Err(late()),
            Err(Stopped::Asked) => Err(Problem::new("stopped", "reading was stopped")
                .help("nothing was changed; begin again when you like")),
            Err(Stopped::Lost) => Err(broken(second.ended(until))),
        }
    }
}

/// As a second run would, a panic included, which ends only the reading.
fn read_within(file: File, wanted: Wanted) -> Result<Book, Problem> {
    let sent = catch_unwind(AssertUnwindSafe(|| {
        let mut sent = Vec::new();
        serve::answer(file, wanted, &mut sent).map(|()| sent)
    }));
    let sent = sent.ok().and_then(Result::ok).ok_or_else(|| broken(None))?;
    let mut arrived = Arrived::default();
    arrived.take(&sent).map_err(refused)?;
    arrived.book().ok_or_else(|| broken(None))
}

/// The second run; it never outlives the reading.
struct Second(Child);

impl Second {
    /// How it ended, when it does so in time.
    fn ended(&mut self, until: Instant) -> Option<ExitStatus> {
        while Instant::now() < until {
            match self.0.try_wait() {
                Ok(Some(status)) => return Some(status),
                Ok(None) => std::thread::sleep(Duration::from_millis(2)),
                Err(_) => return None,
            }
        }
        None
    }
}

impl Drop for Second {
    fn drop(&mut self) {
        // One that has ended already cannot be killed, and needs not be.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Why no more is taken.
enum Stopped {
    Refused(Refusal),
    Late,
    Asked,
    Lost,
}

fn received(
    mut from: ChildStdout,
    until: Instant,
    progress: &mut dyn FnMut(usize) -> bool,
) -> Result<Arrived, Stopped> {
    let (mut arrived, mut buffer) = (Arrived::default(), vec![0; 1 << 16]);
    let mut told = Instant::now();
    while !arrived.is_done {
        while !wait_for(&from, until)? {
            // A file may take long before its first row, and who asked may not want it any more.
            if !progress(arrived.n_rows) {
                return Err(Stopped::Asked);
            }
        }
        let n = match from.read(&mut buffer) {
            Ok(0) => return Err(Stopped::Lost),
            Ok(n) => n,
            Err(error) if error.kind() == ErrorKind::Interrupted => continue,
            Err(_) => return Err(Stopped::Lost),
        };
        arrived.take(&buffer[..n]).map_err(Stopped::Refused)?;
        if told.elapsed() > LOOK {
            told = Instant::now();
            if !progress(arrived.n_rows) {
                return Err(Stopped::Asked);
            }
        }
    }
    Ok(arrived)
}

/// Waits for a while until something can be read; says whether it can.
fn wait_for(from: &ChildStdout, until: Instant) -> Result<bool, Stopped> {
    let left = until.saturating_duration_since(Instant::now());
    if left.is_zero() {
        return Err(Stopped::Late);
    }
    let timeout = Timespec::try_from(left.min(LOOK)).map_err(|_| Stopped::Late)?;
    match poll(&mut [PollFd::new(from, PollFlags::IN)], Some(&timeout)) {
        Ok(n) => Ok(n > 0),
        Err(Errno::INTR) => Ok(false),
        Err(_) => Err(Stopped::Lost),
    }
}

fn no_start(error: &std::io::Error) -> Problem {
    let what = format!("the part of the program that reads spreadsheets does not start: {error}");
    Problem::new("reader-missing", what).help("save the table as csv and name that")
}

fn refused(refusal: Refusal) -> Problem {
    match refusal {
        Refusal::Said(failure) => said(failure),
        Refusal::TooMuch => too_much(),
        Refusal::Broken => broken(None),
    }
}

fn said(failure: Failure) -> Problem {
    let code = match failure.code.as_str() {
        "password" => "password",
        "too-many-cells" => "too-many-cells",
        "not-a-spreadsheet" => "not-a-spreadsheet",
        "file-too-large" => "file-too-large",
        "no-page" => "no-page",
        "no-limits" => "no-limits",
        _ => "file-damaged",
    };
    let help = match code {
        "password" => "save a copy without a password and name that",
        "too-many-cells" | "file-too-large" => "take out what is not part of the table",
        _ => OTHER_FORM,
    };
    Problem::new(code, failure.message).help(help)
}

fn too_much() -> Problem {
    Problem::new(
        "too-many-cells",
        "the file has more than 10,000,000 cells or 256 MB of text",
    )
    .help("take out what is not part of the table")
}

fn late() -> Problem {
    Problem::new(
        "file-too-slow",
        "reading this file took more than a minute and was stopped; it may be damaged or hostile",
    )
    .help(OTHER_FORM)
}

/// The second run ended without saying everything.
fn broken(status: Option<ExitStatus>) -> Problem {
    use std::os::unix::process::ExitStatusExt;
    let signal = status.and_then(|status| status.signal());
    let (code, message) = match signal {
        // SIGXCPU, or SIGKILL where the limit is a hard one.
        Some(24 | 9) => (
            "file-too-slow",
            "this file takes more time than allowed; it may be damaged or hostile",
        ),
        Some(_) => (
            "file-too-large",
            "this file asks for more memory than allowed; it may be damaged or hostile",
        ),
        None => (
            "file-damaged",
            "this file cannot be read to its end; it may be damaged or hostile",
        ),
    };
    Problem::new(code, message).help(OTHER_FORM)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_wanted_is_said_in_one_word() {
        for wanted in [Wanted::OnlyOrHeads, Wanted::All, Wanted::Page(12)] {
            assert_eq!(Wanted::of_word(&wanted.word()), Some(wanted));
        }
        assert_eq!(Wanted::of_word("x"), None);
    }
}
