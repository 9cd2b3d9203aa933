//! Keys that come too fast for a person: a paste by a terminal that does not say so.
//!
//! Decides on what has arrived; it waits for nothing. Pasted letters would otherwise be taken for
//! commands, and lines after the first would leave the entry they were meant for.

use super::session::Happening;
use super::terminal::Arrival;
use crossterm::event::KeyCode;
use crossterm::event::KeyEvent;
use crossterm::event::KeyEventKind;
use crossterm::event::KeyModifiers;
use std::time::Duration;

/// How long the next key of a paste may take: a serial line at 9600 baud sends one in a
/// millisecond, a held key repeats in some fifteen, and a person takes longer yet.
pub const GAP: Duration = Duration::from_millis(2);

/// From so many keys at once on, they are a paste ...
const KEYS: usize = 20;

/// ... where so many of them differ from the one before. A key that is held down comes in a batch
/// as well where the line is slow, but repeats itself: held `u` is undo and no text.
const TURNS: usize = 10;

/// Whether more keys may follow at once, so that it is worth a wait of [`GAP`].
pub fn may_go_on(last: &Arrival) -> bool {
    typed(last).is_some()
}

/// Turns runs of keys that must be a paste into one.
///
/// Keys into an entry stay keys, also with Enter at their end, unless they go on after a line
/// break: a paste of several lines is not meant to be typed.
pub fn gathered(batch: Vec<Arrival>, in_entry: bool) -> Vec<Arrival> {
    let mut out = Vec::with_capacity(batch.len());
    let mut run: Vec<Arrival> = Vec::new();
    for arrival in batch {
        if may_go_on(&arrival) {
            run.push(arrival);
        } else {
            finish(&mut run, in_entry, &mut out);
            out.push(arrival);
        }
    }
    finish(&mut run, in_entry, &mut out);
    out
}

fn finish(run: &mut Vec<Arrival>, in_entry: bool, out: &mut Vec<Arrival>) {
    let text: String = run.iter().filter_map(typed).collect();
    match is_paste(&text) && !(in_entry && is_line(&text)) {
        true => {
            run.clear();
            out.push(Arrival::Happening(Happening::Paste(text)));
        }
        false => out.append(run),
    }
}

fn is_paste(text: &str) -> bool {
    let turns = text.chars().zip(text.chars().skip(1));
    text.chars().count() >= KEYS && turns.filter(|(a, b)| a != b).count() >= TURNS
}

/// Whether a text is one line, with or without its end.
fn is_line(text: &str) -> bool {
    let line = text.strip_suffix('\n').unwrap_or(text);
    !line.contains(['\n', '\t'])
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
    if *kind == KeyEventKind::Release {
        return None;
    }
    match (code, *modifiers - KeyModifiers::SHIFT) {
        (KeyCode::Char(typed), KeyModifiers::NONE) => Some(*typed),
        (KeyCode::Enter, KeyModifiers::NONE) => Some('\n'),
        // A line feed is read as this key while Enter is a carriage return.
        (KeyCode::Char('j'), KeyModifiers::CONTROL) => Some('\n'),
        (KeyCode::Tab, KeyModifiers::NONE) => Some('\t'),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn keys(text: &str) -> Vec<Arrival> {
        text.chars()
            .map(|typed| {
                let (code, modifiers) = match typed {
                    '\r' => (KeyCode::Enter, KeyModifiers::NONE),
                    '\n' => (KeyCode::Char('j'), KeyModifiers::CONTROL),
                    '\t' => (KeyCode::Tab, KeyModifiers::NONE),
                    '\u{1b}' => (KeyCode::Down, KeyModifiers::NONE),
                    typed => (KeyCode::Char(typed), KeyModifiers::NONE),
                };
                Arrival::Happening(Happening::Key(KeyEvent::new(code, modifiers)))
            })
            .collect()
    }

    /// What became of keys: pastes in brackets, keys as letters.
    fn told(text: &str, in_entry: bool) -> String {
        let told = gathered(keys(text), in_entry);
        told.iter()
            .map(|arrival| match (arrival, typed(arrival)) {
                (Arrival::Happening(Happening::Paste(text)), _) => format!("[{text}]"),
                (_, Some(typed)) => typed.to_string(),
                (_, None) => "*".to_owned(),
            })
            .collect()
    }

    #[test]
    fn a_burst_of_keys_over_the_ledger_is_a_paste() {
        let text = "L1\tquarantine\t85\rL2\tpump house\t40\n";
        assert_eq!(
            told(text, false),
            "[L1\tquarantine\t85\nL2\tpump house\t40\n]"
        );
        assert_eq!(told("quit", false), "quit");
    }

    #[test]
    fn keys_that_are_held_down_are_none() {
        let held = "u".repeat(30) + &"r".repeat(30);
        assert_eq!(told(&held, false), held);
        let moved = "\u{1b}".repeat(40);
        assert_eq!(told(&moved, false), "*".repeat(40));
    }

    #[test]
    fn a_line_into_an_entry_stays_keys() {
        let line = "from the quarantine lab to the pump house";
        assert_eq!(told(line, true), line);
        assert_eq!(told(&format!("{line}\r"), true), format!("{line}\n"));
        let lines = format!("{line}\r{line}\r");
        assert_eq!(told(&lines, true), format!("[{line}\n{line}\n]"));
    }

    #[test]
    fn other_keys_around_a_burst_stay() {
        let text = "\u{1b}quarantine to pump house 85\u{1b}ab";
        assert_eq!(told(text, false), "*[quarantine to pump house 85]*ab");
    }
}
