//! The values of the whole plan, each with where it comes from.

use super::lay::Lay;
use super::lay::Piece;
use super::lay::piece;
use crate::desk::Desk;
use crate::plan::Assumption;
use crate::plan::Entry;
use crate::screen::page::Page;
use crate::screen::page::Target;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;
use crate::table::ParamId;
use crate::units::shown;

/// All assumptions, each leading to being changed.
pub fn assumptions(desk: &Desk, width: usize, theme: Theme) -> Page {
    let mut lay = Lay::new("Assumptions", width, theme);
    let told = "What holds for the whole plan where a row says nothing else. A value of yours counts as set in this plan.";
    lay.say(0, told, Tone::Quiet);
    for (at, assumption) in desk.plan().assumptions().iter().enumerate() {
        lay.gap();
        let target = u16::try_from(at).map_or(Target::None, |at| Target::Assumption(ParamId(at)));
        let cells = [
            (piece(&assumption.def.title, Tone::Heading), 28),
            (value(desk, assumption), 14),
        ];
        lay.row(&cells, &[mark(assumption)], target);
        lay.say(2, &assumption.def.doc, Tone::Plain);
        let name = format!(
            "assume.{}; source: {}",
            assumption.def.name, assumption.source
        );
        lay.say(2, &name, Tone::Quiet);
    }
    lay.page()
}

fn value(desk: &Desk, assumption: &Assumption) -> Piece {
    let tone = if assumption.own {
        Tone::Entered
    } else {
        Tone::Plain
    };
    match &assumption.entry {
        Entry::Number(value) => piece(shown(*value, &assumption.unit, None), tone),
        Entry::Text(code) => piece(desk.plan().names().text(*code), tone),
        Entry::Empty => piece("not set", Tone::Unknown),
        Entry::Wrong(text) => piece(format!("`{text}` could not be read"), Tone::Wrong),
    }
}

fn mark(assumption: &Assumption) -> Piece {
    match (assumption.own, assumption.def.confidence.as_str()) {
        (true, _) => piece("set in this plan", Tone::Entered),
        (false, "memory") => piece("from memory", Tone::Tight),
        (false, _) => piece("seen", Tone::Quiet),
    }
}
