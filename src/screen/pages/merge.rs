//! What was changed in a workbook that came back, by class, each change to be taken or left.
//!
//! The first line takes what is chosen; a class turns all its changes, a line turns one.

use super::lay::Lay;
use super::lay::piece;
use crate::report::giveback::Class;
use crate::report::giveback::Difference;
use crate::screen::page::Page;
use crate::screen::page::Target;
use crate::screen::session::Merging;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;

/// So many changes of a class are listed.
const MOST: usize = 500;

/// The changes of a workbook, with what is chosen.
pub fn merge(merging: &Merging, width: usize, theme: Theme) -> Page {
    let found = merging.found();
    let title = format!("What was changed in {}", merging.name());
    let mut lay = Lay::new(&title, width, theme);
    match found.n_open() {
        0 => lay.say(
            0,
            "Nothing to do: the plan has everything that can be taken from this workbook.",
            Tone::Plain,
        ),
        n => {
            let counts = format!(": {} of {n} changes", merging.n_chosen());
            let take = [
                piece("Take what is chosen", Tone::Heading),
                piece(counts, Tone::Plain),
            ];
            lay.item(0, 2, &take, Target::TakeMerge);
            lay.say(
                2,
                "One step, which undo takes back. Enter on a change or on its class chooses it or leaves it.",
                Tone::Quiet,
            );
        }
    }
    for class in Class::ALL {
        of_class(&mut lay, merging, class);
    }
    let aside = found.set_aside.iter().map(|row| row.line());
    let told: Vec<String> = found.notes.iter().cloned().chain(aside).collect();
    if !told.is_empty() {
        lay.gap();
        lay.heading("Told");
        for line in told.iter().take(MOST) {
            lay.item(0, 2, &[piece(line.as_str(), Tone::Plain)], Target::None);
        }
    }
    lay.page()
}

fn of_class(lay: &mut Lay, merging: &Merging, class: Class) {
    let all = merging.found().differences.iter().enumerate();
    let all: Vec<(usize, &Difference)> = all.filter(|(_, one)| one.class == class).collect();
    if all.is_empty() {
        return;
    }
    lay.gap();
    let words = [
        piece(format!("{} {}", all.len(), class.word()), Tone::Heading),
        piece(format!(": {}", class.doc()), Tone::Quiet),
    ];
    let target = match all.iter().any(|(_, one)| one.is_open()) {
        true => Target::TurnClass(class),
        false => Target::None,
    };
    lay.item(0, 2, &words, target);
    for (at, one) in all.iter().take(MOST) {
        let (target, mark, tone) = match (one.is_open(), merging.is_chosen(*at)) {
            (false, _) => (Target::None, "   ", Tone::Quiet),
            (true, true) => (Target::TurnChange(*at), "[x]", Tone::Changed),
            (true, false) => (Target::TurnChange(*at), "[ ]", Tone::Plain),
        };
        let line = [piece(format!("{mark} "), tone), piece(said(one), tone)];
        lay.item(1, 5, &line, target);
    }
    if all.len() > MOST {
        lay.say(
            1,
            &format!("{} more are not listed.", all.len() - MOST),
            Tone::Quiet,
        );
    }
}

/// A change in words: where, as exported, as it came back, as the plan has it.
fn said(one: &Difference) -> String {
    let mut words = vec![one.sheet.clone(), one.row.clone()];
    if !one.column.is_empty() {
        let or_empty = |text: &str| match text.is_empty() {
            true => "empty".to_owned(),
            false => text.to_owned(),
        };
        words.push(one.column.clone());
        words.push(format!(
            "{} → {}",
            or_empty(&one.base),
            or_empty(&one.theirs)
        ));
        match one.class {
            Class::Conflict | Class::Mine | Class::Unreadable => {
                words.push(format!("(here {})", or_empty(&one.mine)));
            }
            Class::Theirs
            | Class::New
            | Class::Missing
            | Class::Duplicate
            | Class::Overwritten
            | Class::Both => {}
        }
    } else if !one.theirs.is_empty() {
        words.push(one.theirs.clone());
    }
    if !one.note.is_empty() {
        words.push(format!("— {}", one.note));
    }
    words.join(" ")
}
