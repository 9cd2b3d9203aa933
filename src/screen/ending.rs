//! How a sitting ends when a person does not end it: signals, a terminal that went away, a fault.
//!
//! In each case the run loop is asked to end first. A loop that does not follow in time is not
//! waited for: the terminal is given back and the program ends all the same. What is told is made
//! here; who writes it is handed in.

use super::terminal;
use super::terminal::Arrival;
use crate::problem::clean;
use signal_hook::consts::SIGCONT;
use signal_hook::consts::SIGHUP;
use signal_hook::consts::SIGINT;
use signal_hook::consts::SIGQUIT;
use signal_hook::consts::SIGTERM;
use signal_hook::consts::SIGTSTP;
use signal_hook::consts::SIGWINCH;
use signal_hook::iterator::Signals;
use std::backtrace::{Backtrace, BacktraceStatus};
use std::io;
use std::panic;
use std::panic::PanicHookInfo;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc;
use std::sync::mpsc::Sender;
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;
use std::time::Duration;

/// The exit code where something broke.
const BROKEN: u8 = 70;

/// How long the run loop may take to end once it was asked to.
const GRACE: Duration = Duration::from_secs(3);

/// How long a terminal may take to show the last words.
const LAST_WORDS: Duration = Duration::from_secs(1);

/// How a sitting ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Ended {
    /// The person ended it.
    Quit,
    /// A signal did.
    Signal(i32),
    /// The terminal went away.
    Gone,
    /// Something broke; what.
    Broken(String),
}

/// What a sitting leaves behind.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Left {
    /// Whether there are steps that were not saved.
    pub unsaved: bool,
    /// Where those steps are kept until they are saved.
    pub journal: Option<PathBuf>,
}

impl Ended {
    /// The exit code of the program.
    pub fn code(&self) -> u8 {
        match self {
            Self::Quit => 0,
            Self::Signal(signal) => of_signal(*signal),
            // What a terminal does that goes away, where it can.
            Self::Gone => of_signal(SIGHUP),
            Self::Broken(_) => BROKEN,
        }
    }

    /// What is told once the terminal is given back, a line each.
    pub fn words(&self, left: &Left) -> Vec<String> {
        let lines = match self {
            // Who ends it was asked about unsaved steps.
            Self::Quit => Vec::new(),
            Self::Signal(signal) => kept(left)
                .map(|kept| format!("ended by {}; {kept}", name_of(*signal)))
                .into_iter()
                .collect(),
            Self::Gone => kept(left)
                .map(|kept| format!("the terminal went away; {kept}"))
                .into_iter()
                .collect(),
            Self::Broken(what) => vec![format!("the program broke: {what}"), unharmed(left)],
        };
        lines.iter().map(|line| clean(line).into_owned()).collect()
    }
}

fn of_signal(signal: i32) -> u8 {
    128_u8.wrapping_add(u8::try_from(signal).unwrap_or(0))
}

/// Where the steps are that were not saved; `None` where there are none.
fn kept(left: &Left) -> Option<String> {
    match (left.unsaved, &left.journal) {
        (false, _) => None,
        (true, Some(path)) => Some(format!(
            "steps that were not saved are kept in {}, and offered when the plan is opened again",
            path.display()
        )),
        (true, None) => Some("no journal keeps the steps that were not saved".to_owned()),
    }
}

/// The same after a fault, which may have come within a step.
fn unharmed(left: &Left) -> String {
    let kept = match (&left.journal, kept(left)) {
        (Some(path), None) => Some(format!("a step not saved would be in {}", path.display())),
        (_, kept) => kept,
    };
    match kept {
        Some(kept) => format!("nothing that was saved is harmed; {kept}"),
        None => "nothing that was saved is harmed".to_owned(),
    }
}

fn name_of(signal: i32) -> String {
    match signal_hook::low_level::signal_name(signal) {
        Some(name) => name.to_owned(),
        None => format!("signal {signal}"),
    }
}

/// Watches over the end of a sitting, from any thread.
#[derive(Debug, Clone)]
pub struct Watch {
    to: Sender<Arrival>,
    shared: Arc<Shared>,
    tell: fn(&str),
}

#[derive(Debug, Default)]
struct Shared {
    left: Mutex<Left>,
    /// Whether somebody has begun to tell how it ended; it is told once.
    told: AtomicBool,
    /// What broke first.
    fault: Mutex<Option<String>>,
}

impl Watch {
    /// A watch that asks the loop through `to`, and writes a line to the person through `tell`.
    pub fn new(to: Sender<Arrival>, tell: fn(&str)) -> Self {
        Self {
            to,
            shared: Arc::default(),
            tell,
        }
    }

    /// Notes what the sitting would leave behind if it ended now.
    pub fn note(&self, left: Left) {
        *held(&self.shared.left) = left;
    }

    /// What broke, where something did.
    pub fn fault(&self) -> Option<String> {
        held(&self.shared.fault).clone()
    }

    /// Tells how the sitting ended, unless that was told already; gives the exit code.
    pub fn tell(&self, ended: &Ended) -> u8 {
        if !self.shared.told.swap(true, Ordering::SeqCst) {
            let left = held(&self.shared.left).clone();
            for line in ended.words(&left) {
                (self.tell)(&line);
            }
        }
        ended.code()
    }

    /// From now on a panic of any thread gives the terminal back and ends the sitting.
    ///
    /// The hook from before is given, to be put back.
    pub fn catch_panics(&self) -> Hook {
        let before = panic::take_hook();
        let watch = self.clone();
        panic::set_hook(Box::new(move |info| watch.panicked(info)));
        before
    }

    fn panicked(&self, info: &PanicHookInfo) {
        terminal::give_back();
        let what = fault_of(info);
        held(&self.shared.fault).get_or_insert(what.clone());
        let trace = Backtrace::capture();
        if trace.status() == BacktraceStatus::Captured {
            for line in trace.to_string().lines() {
                (self.tell)(&clean(line));
            }
        }
        self.end_soon(Ended::Broken(what.clone()));
        // The loop may be the one that panicked; then nobody listens, and `run` catches it.
        let _ = self.to.send(Arrival::Broke(what));
    }

    /// Listens to signals on a thread of its own.
    ///
    /// # Errors
    /// A system that takes no more threads or handlers.
    pub fn catch_signals(&self) -> io::Result<()> {
        let ends = [SIGTERM, SIGHUP, SIGINT, SIGQUIT];
        let turns = [SIGCONT, SIGTSTP, SIGWINCH];
        let mut signals = Signals::new(ends.iter().chain(&turns))?;
        let watch = self.clone();
        thread::Builder::new()
            .name("signals".to_owned())
            .spawn(move || {
                let mut asked = false;
                for signal in signals.forever() {
                    watch.signalled(signal, &mut asked);
                }
            })?;
        Ok(())
    }

    fn signalled(&self, signal: i32, asked: &mut bool) {
        let arrival = match signal {
            SIGCONT => Arrival::Continued,
            SIGTSTP => Arrival::Stop,
            SIGWINCH => Arrival::Resized,
            signal => {
                // Who asks twice does not want to wait.
                if std::mem::replace(asked, true) {
                    self.end_now(&Ended::Signal(signal));
                }
                self.end_soon(Ended::Signal(signal));
                Arrival::Signal(signal)
            }
        };
        // Without a loop the program is about to end.
        let _ = self.to.send(arrival);
    }

    /// Watches on a thread of its own whether the terminal goes away: reading keys from one that
    /// is gone neither ends nor waits.
    ///
    /// # Errors
    /// A terminal that is gone already, a system that takes no more threads.
    pub fn catch_hangup(&self) -> io::Result<()> {
        let watch = self.clone();
        // Asked for here, before keys are read: of a terminal that is gone already nobody can say
        // that it was one, and whoever opened it by then would read from it for ever.
        let keys = terminal::keyboard()?;
        thread::Builder::new()
            .name("terminal".to_owned())
            .spawn(move || {
                if terminal::wait_for_hangup(&keys) {
                    watch.end_soon(Ended::Gone);
                    let _ = watch.to.send(Arrival::Gone);
                }
            })?;
        Ok(())
    }

    /// Ends the program after a while, in case it does not end by itself.
    pub fn end_soon(&self, ended: Ended) {
        let watch = self.clone();
        let spawned = thread::Builder::new()
            .name("grace".to_owned())
            .spawn(move || {
                thread::sleep(GRACE);
                watch.end_now(&ended);
            });
        // Without a thread left, the loop alone can end it.
        drop(spawned);
    }

    /// Ends the program whatever the loop does; the terminal is given back.
    fn end_now(&self, ended: &Ended) -> ! {
        terminal::give_back();
        // A terminal that takes nothing any more must not hold up the end.
        let (done, told) = mpsc::channel();
        let (watch, last) = (self.clone(), ended.clone());
        let spawned = thread::Builder::new().spawn(move || {
            watch.tell(&last);
            let _ = done.send(());
        });
        if spawned.is_ok() {
            let _ = told.recv_timeout(LAST_WORDS);
        }
        signal_hook::low_level::exit(i32::from(ended.code()))
    }
}

/// What is called when a thread panics.
pub type Hook = Box<dyn Fn(&PanicHookInfo<'_>) + Sync + Send + 'static>;

/// What a lock holds, also after a panic under it: the values here are whole at any time.
fn held<T>(lock: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    lock.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The message of a panic with its place, in one line.
fn fault_of(info: &PanicHookInfo) -> String {
    let message = info.payload_as_str().unwrap_or("no message");
    let message: Vec<&str> = message.split_whitespace().collect();
    let message = message.join(" ");
    match info.location() {
        Some(place) => format!("{message} ({}:{})", place.file(), place.line()),
        None => message,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn left(unsaved: bool, journal: Option<&str>) -> Left {
        Left {
            unsaved,
            journal: journal.map(PathBuf::from),
        }
    }

    #[test]
    fn each_end_has_its_code() {
        assert_eq!(Ended::Quit.code(), 0);
        assert_eq!(Ended::Signal(SIGTERM).code(), 143);
        assert_eq!(Ended::Gone.code(), 129);
        assert_eq!(Ended::Broken(String::new()).code(), 70);
    }

    #[test]
    fn a_signal_names_the_journal_where_steps_were_not_saved() {
        let ended = Ended::Signal(SIGTERM);
        assert!(ended.words(&left(false, Some("a.steps"))).is_empty());
        let words = ended.words(&left(true, Some("a.steps")));
        assert_eq!(words.len(), 1);
        assert!(words[0].contains("SIGTERM") && words[0].contains("a.steps"));
        assert!(ended.words(&left(true, None))[0].contains("no journal"));
    }

    #[test]
    fn a_fault_is_told_with_what_is_kept() {
        let ended = Ended::Broken("out of\u{1b}[2J range".to_owned());
        let words = ended.words(&left(false, Some("a.steps")));
        assert!(!words[0].contains('\u{1b}'), "{words:?}");
        assert!(words[1].contains("nothing that was saved is harmed"));
        assert!(words[1].contains("a.steps"));
        assert_eq!(ended.words(&left(true, None)).len(), 2);
    }
}
