//! The loop of a sitting: wait, take all that has arrived, draw once.
//!
//! Also how a sitting ends: by the person, by a signal, by a fault. The terminal is always given
//! back first, and what was not saved is named.

use super::draw;
use super::session::{Effect, Happening, Session};
use super::terminal::{self, Arrival, Screen};
use super::theme::Theme;
use crate::desk::Desk;
use crate::problem::Problem;
use crossterm::event::KeyCode;
use crossterm::event::KeyEvent;
use crossterm::event::KeyEventKind;
use crossterm::event::KeyModifiers;
use std::io;
use std::panic;
use std::sync::mpsc::{self, Receiver};

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

/// How a sitting ended.
#[derive(Debug, Clone, PartialEq)]
pub enum Ended {
    /// The person ended it.
    Quit,
    /// A signal did.
    Signal(i32),
    /// Something broke; what.
    Broken(String),
}

/// From so many keys at once on, a run of keys is taken for a paste of a terminal that does not
/// say so.
const BURST: usize = 20;

/// Shows a plan until the person ends it.
///
/// # Errors
/// A terminal that cannot be taken over.
pub fn run(desk: Desk, options: Options) -> Result<Ended, Problem> {
    let (to, arrivals) = mpsc::channel();
    let hook_to = to.clone();
    let before = panic::take_hook();
    panic::set_hook(Box::new(move |info| {
        terminal::give_back();
        before(info);
        let _ = hook_to.send(Arrival::Lost("a part of the program broke".to_owned()));
    }));
    let theme = Theme {
        colours: options.colours,
        ascii: options.ascii,
    };
    let mut session = Session::new(desk, theme);
    session.greeting = options.greeting;
    let mut screen = Screen::take(options.mouse).map_err(|error| no_terminal(&error))?;
    let ended = match terminal::listen(&to) {
        Ok(()) => sit(&mut session, &mut screen, &arrivals),
        Err(error) => Ended::Broken(error.to_string()),
    };
    drop(screen);
    let _ = panic::take_hook();
    Ok(ended)
}

fn no_terminal(error: &io::Error) -> Problem {
    Problem::new(
        "no-terminal",
        format!("the terminal cannot be used: {error}"),
    )
    .help("run it in a terminal, or use `check` and `show`")
}

fn sit(session: &mut Session, screen: &mut Screen, arrivals: &Receiver<Arrival>) -> Ended {
    loop {
        if let Err(error) = screen.draw(|buffer| draw::draw(session, buffer)) {
            return Ended::Broken(format!("the terminal cannot be written: {error}"));
        }
        let Ok(first) = arrivals.recv() else {
            return Ended::Broken("no keys arrive any more".to_owned());
        };
        let mut batch = vec![first];
        batch.extend(arrivals.try_iter());
        for arrival in gathered(batch, session.layers.is_empty()) {
            if let Some(ended) = take(arrival, session, screen) {
                return ended;
            }
        }
    }
}

/// Takes one arrival; gives how the sitting ended, when it did.
fn take(arrival: Arrival, session: &mut Session, screen: &mut Screen) -> Option<Ended> {
    match arrival {
        Arrival::Happening(happening) => {
            let effects = session.take(happening);
            effects
                .into_iter()
                .find_map(|effect| bring_about(effect, screen))
        }
        Arrival::Signal(signal) => Some(Ended::Signal(signal)),
        Arrival::Continued => broken(screen.take_again()),
        Arrival::Lost(what) => Some(Ended::Broken(what)),
    }
}

fn bring_about(effect: Effect, screen: &mut Screen) -> Option<Ended> {
    match effect {
        Effect::Clipboard(text) => broken(screen.copy(&text)),
        Effect::Redraw => broken(screen.clear()),
        Effect::Suspend => broken(screen.suspend()),
        Effect::Quit => Some(Ended::Quit),
    }
}

fn broken(result: io::Result<()>) -> Option<Ended> {
    result
        .err()
        .map(|error| Ended::Broken(format!("the terminal cannot be used: {error}")))
}

/// Turns a burst of keys over the ledger into the paste that it must be.
fn gathered(batch: Vec<Arrival>, over_ledger: bool) -> Vec<Arrival> {
    let typed: Option<String> = batch.iter().map(typed).collect();
    match typed {
        Some(text) if over_ledger && batch.len() >= BURST => {
            vec![Arrival::Happening(Happening::Paste(text))]
        }
        Some(_) | None => batch,
    }
}

/// The character of a key that a paste can be made of.
fn typed(arrival: &Arrival) -> Option<char> {
    let Arrival::Happening(Happening::Key(KeyEvent {
        code,
        modifiers,
        kind,
        ..
    })) = arrival
    else {
        return None;
    };
    if *kind == KeyEventKind::Release || !(*modifiers - KeyModifiers::SHIFT).is_empty() {
        return None;
    }
    match code {
        KeyCode::Char(typed) => Some(*typed),
        KeyCode::Enter => Some('\n'),
        KeyCode::Tab => Some('\t'),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn keys(text: &str) -> Vec<Arrival> {
        let code = |typed: char| match typed {
            '\n' => KeyCode::Enter,
            '\t' => KeyCode::Tab,
            typed => KeyCode::Char(typed),
        };
        let key = |typed| Happening::Key(KeyEvent::new(code(typed), KeyModifiers::NONE));
        text.chars()
            .map(|typed| Arrival::Happening(key(typed)))
            .collect()
    }

    #[test]
    fn a_burst_of_keys_over_the_ledger_is_a_paste() {
        let text = "L1\tquarantine\t85\nL2\tpump house\t40\n";
        let [Arrival::Happening(Happening::Paste(got))] = &gathered(keys(text), true)[..] else {
            panic!("no paste");
        };
        assert_eq!(got, text);
        assert_eq!(gathered(keys(text), false).len(), text.len());
        assert_eq!(gathered(keys("quit"), true).len(), 4);
    }
}
