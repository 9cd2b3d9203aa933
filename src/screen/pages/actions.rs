//! Every action by name, with its keys; those that a few letters mean, best first.

use super::lay::Lay;
use super::lay::piece;
use super::rank::ranked;
use crate::screen::action::Key;
use crate::screen::action::RECORDS;
use crate::screen::action::Record;
use crate::screen::page::Page;
use crate::screen::page::Target;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;

/// The actions that are meant, each leading to being done.
pub fn actions(needle: &str, width: usize, theme: Theme) -> Page {
    let mut lay = Lay::new("All actions", width, theme);
    let things: Vec<(&str, &str)> = RECORDS
        .iter()
        .map(|record| (record.name, record.doc))
        .collect();
    let meant = ranked(needle, &things);
    if meant.is_empty() {
        let text = format!("No action is called `{needle}` or does that.");
        lay.say(0, &text, Tone::Plain);
    }
    for record in meant.into_iter().map(|at| &RECORDS[at]) {
        let cells = [
            (piece(record.name, Tone::Heading), 20),
            (piece(keys(record), Tone::Key), 14),
        ];
        let doc = [piece(record.doc, Tone::Quiet)];
        lay.row(&cells, &doc, Target::Action(record.action));
    }
    lay.page()
}

/// The keys of an action, the usual one first.
pub(super) fn keys(record: &Record) -> String {
    let keys: Vec<String> = record.keys.iter().map(Key::to_string).collect();
    keys.join(" or ")
}
