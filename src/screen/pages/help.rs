//! The keys of a view, and how values, blocks and formulas are typed.

use super::actions::keys;
use super::lay::Lay;
use super::lay::piece;
use super::lay::width_of;
use crate::screen::action::Family;
use crate::screen::action::Place;
use crate::screen::action::RECORDS;
use crate::screen::page::Page;
use crate::screen::page::Target;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;

/// Cells for keys, at least.
const KEYS: usize = 16;

/// The families in the order of help.
const FAMILIES: [Family; 5] = [
    Family::Move,
    Family::Change,
    Family::Arrange,
    Family::Look,
    Family::Plan,
];

/// What is typed, and what it does.
const TYPING: &[(&str, &[(&str, &str)])] = &[
    (
        "Typing a value",
        &[
            (
                "Enter",
                "Opens the cell. A number can be begun at once, with a digit or a sign.",
            ),
            (
                "Enter again",
                "Keeps what was typed. Esc leaves the cell as it was.",
            ),
            ("85", "A number alone counts in the unit of its column."),
            (
                "250 ft, 0.3 km",
                "Any unit that measures the same may stand after a number; the cell shows it in the \
                 unit of the column.",
            ),
            (
                "-3 dBm, 0.35 dB",
                "A level and an amount are two kinds; one is refused where the other belongs.",
            ),
            ("10 Gb/s, 400 Mb/s", "Speeds are in bits a second."),
            (
                "planned",
                "A column of choices takes one of its words, in any case.",
            ),
            (
                "OM4, acc-reef",
                "A column that names a row keeps what you type, also a name that is not there yet.",
            ),
        ],
    ),
    (
        "Blocks",
        &[
            (
                "Shift and arrows",
                "Mark a block from the cell you are on; Esc lets it go.",
            ),
            (
                "then",
                "Empty, fill down, copy, take rows away and move rows act on the whole block, as one step.",
            ),
        ],
    ),
    (
        "Formulas",
        &[
            (
                "loss_limit - loss",
                "A formula names columns, never cells, and holds for all rows of its column.",
            ),
            (
                "medium.attenuation_850",
                "A dot follows a name to its row in another sheet.",
            ),
            ("assume.reserve", "An assumption of the whole plan."),
            ("margin < 1 dB", "A condition, to keep rows."),
        ],
    ),
];

/// The keys that work in the ledger, or in a page, then how to type.
pub fn help(in_ledger: bool, width: usize, theme: Theme) -> Page {
    let title = if in_ledger {
        "Keys of the ledger"
    } else {
        "Keys of pages"
    };
    let mut lay = Lay::new(title, width, theme);
    for family in FAMILIES {
        let works = |place: Place| in_ledger || place == Place::All;
        let records = RECORDS
            .iter()
            .filter(|record| record.family == family && works(record.place));
        let mut records = records.peekable();
        if records.peek().is_some() {
            lay.heading(family.title());
        }
        let lines: Vec<(String, &str)> = records.map(|record| (keys(record), record.doc)).collect();
        tell(&mut lay, &lines);
    }
    for (heading, lines) in TYPING.iter().filter(|_| in_ledger) {
        lay.heading(heading);
        let lines = lines.iter().map(|(typed, doc)| ((*typed).to_owned(), *doc));
        tell(&mut lay, &lines.collect::<Vec<_>>());
    }
    lay.page()
}

fn tell(lay: &mut Lay, lines: &[(String, &str)]) {
    let widest = lines.iter().map(|(typed, _)| width_of(typed)).max();
    let cells = widest.unwrap_or(0).max(KEYS);
    for (typed, doc) in lines {
        let typed = [(piece(typed, Tone::Key), cells)];
        lay.row(&typed, &[piece(*doc, Tone::Plain)], Target::None);
    }
}
