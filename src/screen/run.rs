//! The loop of a sitting: wait, take all that has arrived, draw once.
//!
//! How a sitting ends other than by the person is in `ending`.

use super::burst;
use super::draw;
use super::ending::{Ended, Left, Watch};
use super::session::{Caller, Effect, Happening, Session};
use super::terminal::{self, Arrival, Screen};
use super::theme::Theme;
use super::theme::Tone;
use crate::desk::Desk;
use crate::problem::Problem;
use std::io;
use std::panic;
use std::panic::AssertUnwindSafe;
use std::sync::Arc;
use std::sync::mpsc::{self, Receiver, RecvTimeoutError};
use std::time::Duration;

/// How the screen is to look and behave.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Options {
    /// Whether colours are used.
    pub colours: bool,
    /// Whether marks are drawn in ASCII.
    pub ascii: bool,
    /// Whether the mouse is listened to.
    pub mouse: bool,
    /// Whether the hint for a first start is shown.
    pub greeting: bool,
}

/// The longest text that is offered to the clipboard of a terminal, in bytes: many drop what is
/// longer than 100,000 bytes as it is sent, which is a third more than the text.
const MOST_COPIED: usize = 74_000;

/// How far something is that is being done is shown anew about as often.
const LOOK: Duration = Duration::from_millis(200);

/// Shows a plan until the sitting ends; gives the exit code.
///
/// What a person has to know about the end, when it was not theirs, goes through `tell` line by
/// line after the terminal was given back. A loop that hangs when it is asked to end is left, and
/// the program with it.
///
/// # Errors
/// A terminal that cannot be taken over.
pub fn run(desk: Desk, options: Options, tell: fn(&str)) -> Result<u8, Problem> {
    let (to, arrivals) = mpsc::channel();
    let worked = to.clone();
    let watch = Watch::new(to.clone(), tell);
    let theme = Theme {
        colours: options.colours,
        ascii: options.ascii,
    };
    let mut session = Session::new(desk, theme);
    session.greeting = options.greeting;
    session.call = Some(Caller(Arc::new(move || {
        // Nobody looks any more where the loop has ended.
        let _ = worked.send(Arrival::Happening(Happening::Worked));
    })));
    watch.note(left(&session));
    let before = watch.catch_panics();
    // Signals are caught before the size is asked for, so that no change of it is missed.
    let started = watch
        .catch_signals()
        .and_then(|()| Screen::take(options.mouse))
        .and_then(|screen| {
            watch.catch_hangup()?;
            terminal::listen(to)?;
            Ok(screen)
        });
    let mut screen = match started {
        Ok(screen) => screen,
        Err(error) => {
            panic::set_hook(before);
            return Err(no_terminal(&error));
        }
    };
    let sitting = AssertUnwindSafe(|| sit(&mut session, &mut screen, &arrivals, &watch));
    let ended = panic::catch_unwind(sitting).unwrap_or_else(|_| broken(&watch));
    drop(screen);
    if ended != Ended::Quit {
        keep(&session, &watch, &ended);
    }
    let code = watch.tell(&ended);
    // A session that broke may break again while it is put away; its journal is written by then.
    let put_away = panic::catch_unwind(AssertUnwindSafe(|| put_away(session, tell)));
    drop(put_away);
    panic::set_hook(before);
    Ok(code)
}

/// Brings edits to the disk where nobody was asked about them, and notes where they are: only then
/// that is known. A disk that takes too long is not waited for.
fn keep(session: &Session, watch: &Watch, ended: &Ended) {
    watch.end_soon(ended.clone());
    let kept = panic::catch_unwind(AssertUnwindSafe(|| {
        session.desk.settle();
        watch.note(left(session));
    }));
    // What broke is told in any case; where the edits are was noted before, too.
    drop(kept);
}

/// Closes the plan; steps that the person did not want are kept aside, which is told.
fn put_away(session: Session, tell: fn(&str)) {
    if !session.is_abandoned {
        return;
    }
    if let Some(path) = session.desk.abandon() {
        tell(&format!(
            "the steps that were not saved are kept in {}",
            path.display()
        ));
    }
}

fn no_terminal(error: &io::Error) -> Problem {
    Problem::new(
        "no-terminal",
        format!("the terminal cannot be used: {error}"),
    )
    .help("run it in a terminal, or use `check` and `show`")
}

/// What the sitting would leave behind if it ended now.
fn left(session: &Session) -> Left {
    Left {
        unsaved: session.desk.is_changed(),
        journal: session.desk.journal_path(),
    }
}

fn broken(watch: &Watch) -> Ended {
    Ended::Broken(watch.fault().unwrap_or_else(|| "no message".to_owned()))
}

fn sit(
    session: &mut Session,
    screen: &mut Screen,
    arrivals: &Receiver<Arrival>,
    watch: &Watch,
) -> Ended {
    loop {
        if screen.draw(|buffer| draw::draw(session, buffer)).is_err() {
            return Ended::Gone;
        }
        let Some(batch) = waited_for(arrivals, session.is_working()) else {
            return Ended::Gone;
        };
        for arrival in burst::gathered(batch, session.entry().is_some()) {
            if let Some(ended) = take(arrival, session, screen) {
                return ended;
            }
        }
        watch.note(left(session));
    }
}

/// Waits for what arrives next, and takes what has arrived behind it. While something is being done
/// beside the sitting it does not wait long: what is shown of it changes.
fn waited_for(arrivals: &Receiver<Arrival>, is_working: bool) -> Option<Vec<Arrival>> {
    let first = match is_working {
        true => match arrivals.recv_timeout(LOOK) {
            Ok(first) => first,
            Err(RecvTimeoutError::Timeout) => Arrival::Happening(Happening::Worked),
            Err(RecvTimeoutError::Disconnected) => return None,
        },
        false => arrivals.recv().ok()?,
    };
    let mut batch = vec![first];
    loop {
        let last = batch.last().is_some_and(burst::may_go_on);
        let next = match last {
            true => arrivals.recv_timeout(burst::GAP).ok(),
            false => arrivals.try_recv().ok(),
        };
        match next {
            Some(next) => batch.push(next),
            None => return Some(batch),
        }
    }
}

/// Takes one arrival; gives how the sitting ended, when it did.
fn take(arrival: Arrival, session: &mut Session, screen: &mut Screen) -> Option<Ended> {
    match arrival {
        Arrival::Happening(happening) => {
            #[cfg(debug_assertions)]
            fault::on_key(&happening);
            let effects = session.take(happening);
            effects
                .into_iter()
                .find_map(|effect| bring_about(effect, session, screen))
        }
        Arrival::Resized => {
            screen.resize();
            session.take(Happening::Resize);
            None
        }
        Arrival::Signal(signal) => Some(Ended::Signal(signal)),
        Arrival::Stop => bring_about(Effect::Suspend, session, screen),
        Arrival::Continued => gone(screen.take_again()),
        Arrival::Gone => Some(Ended::Gone),
        Arrival::Broke(what) => Some(Ended::Broken(what)),
    }
}

fn bring_about(effect: Effect, session: &mut Session, screen: &mut Screen) -> Option<Ended> {
    match effect {
        Effect::Clipboard(text) if text.len() > MOST_COPIED => {
            session.say(
                "copied here; too much for the clipboard of a terminal, C writes it into a file",
                Tone::Quiet,
            );
            None
        }
        Effect::Clipboard(text) => gone(screen.copy(&text)),
        Effect::Redraw => {
            screen.forget();
            None
        }
        Effect::Suspend => match screen.suspend(|| session.desk.settle()) {
            Ok(true) => None,
            Ok(false) => {
                session.say("no shell started this program", Tone::Quiet);
                None
            }
            Err(_) => Some(Ended::Gone),
        },
        Effect::Quit => Some(Ended::Quit),
    }
}

fn gone(result: io::Result<()>) -> Option<Ended> {
    result.is_err().then_some(Ended::Gone)
}

/// Faults on purpose, for tests of the ways to end: with `PORTLEDGER_FAULT` set, F12 brings one.
#[cfg(debug_assertions)]
mod fault {
    use super::Happening;
    use crossterm::event::KeyCode;
    use std::env;
    use std::thread;

    pub fn on_key(happening: &Happening) {
        let Happening::Key(key) = happening else {
            return;
        };
        if key.code != KeyCode::F(12) {
            return;
        }
        match env::var("PORTLEDGER_FAULT").as_deref() {
            Ok("loop") => panic!("a fault in the loop, on purpose"),
            Ok("thread") => {
                thread::spawn(|| panic!("a fault in a thread, on purpose"));
            }
            Ok("hang") => loop {
                thread::park();
            },
            Ok("thread-and-hang") => {
                thread::spawn(|| panic!("a fault in a thread, on purpose"));
                loop {
                    thread::park();
                }
            }
            Ok(_) | Err(_) => {}
        }
    }
}
