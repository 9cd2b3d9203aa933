//! The proposals of the plan, to be gone into, and all of them beside the base.

use super::lay::Lay;
use super::lay::Piece;
use super::lay::piece;
use crate::desk::Desk;
use crate::problem::Problem;
use crate::problem::several;
use crate::screen::action::Action;
use crate::screen::page::Page;
use crate::screen::page::Target;
use crate::screen::theme::Glyph;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;
use crate::study::compare::{CellChange, Compared, Comparison, RowChange};
use unicode_width::UnicodeWidthStr;

/// Cells of the words that say what a total is.
const WHAT: usize = 29;

/// The fewest cells of a column of totals.
const NARROWEST: usize = 14;

/// So many rows and findings of a proposal are told.
const MOST: usize = 60;

/// So many cells of a row are told.
const MOST_CELLS: usize = 6;

/// The base and the proposals, each leading into it.
pub fn proposals(desk: &Desk, width: usize, theme: Theme) -> Page {
    let mut lay = Lay::new("Proposals", width, theme);
    let told = "Edits belong to the proposal that you are in; the base stays as it is. Enter goes into one, or back to the base.";
    lay.say(0, told, Tone::Quiet);
    lay.gap();
    let here = desk.within();
    let mark = |is_here: bool| match is_here {
        true => piece(theme.glyph(Glyph::Here), Tone::Key),
        false => piece(" ", Tone::Plain),
    };
    let base = [piece("what is planned so far", Tone::Quiet)];
    let cells = [
        (mark(here.is_none()), 1),
        (piece("base", Tone::Heading), 26),
    ];
    let target = match here {
        Some(_) => Target::Action(Action::LeaveProposal),
        None => Target::None,
    };
    lay.row(&cells, &base, target);
    for (at, one) in desk.proposals().iter().enumerate() {
        let is_here = here == Some(one.name.as_str());
        let cells = [(mark(is_here), 1), (piece(&one.name, Tone::Heading), 26)];
        let on = one
            .on
            .as_ref()
            .map_or(String::new(), |on| format!(", on {on}"));
        let mut rest = vec![piece(
            format!("{}{on}", several(one.changes.len(), "change", "changes")),
            Tone::Plain,
        )];
        if !one.note.is_empty() {
            rest.push(piece(format!("; {}", one.note), Tone::Quiet));
        }
        lay.row(&cells, &rest, Target::Proposal(at));
    }
    lay.gap();
    for (action, text) in [
        (Action::NewProposal, "a new proposal"),
        (Action::Beside, "all of them side by side"),
    ] {
        let cells = [(piece(" ", Tone::Plain), 1), (piece(text, Tone::Plain), 40)];
        lay.row(&cells, &[], Target::Action(action));
    }
    lay.page()
}

/// The totals of base and proposals side by side, then what each proposal brings.
pub fn beside(compared: &Comparison, width: usize, theme: Theme) -> Page {
    let mut lay = Lay::new("Proposals beside the base", width, theme);
    if compared.proposals.is_empty() {
        lay.say(0, "There is no proposal yet; g makes one.", Tone::Plain);
        return lay.page();
    }
    let room = lay.width.saturating_sub(WHAT + 1);
    let n_columns = (room / (NARROWEST + 1)).clamp(1, compared.proposals.len() + 1);
    let wide = (room / n_columns).saturating_sub(1).clamp(NARROWEST, 30);
    let names = compared.proposals.iter().map(|one| one.name.as_str());
    let heads: Vec<&str> = std::iter::once("base").chain(names).collect();
    columns(&mut lay, "", &heads[..n_columns], wide, Tone::Heading);
    for (what, texts) in compared.lines() {
        let texts: Vec<&str> = texts.iter().take(n_columns).map(String::as_str).collect();
        columns(&mut lay, &what, &texts, wide, Tone::Plain);
    }
    if n_columns < heads.len() {
        let more = heads[n_columns..].join(", ");
        lay.say(
            0,
            &format!("Not shown for want of room: {more}."),
            Tone::Quiet,
        );
    }
    for one in &compared.proposals {
        proposal(&mut lay, one, theme);
    }
    lay.page()
}

/// One total in columns; what does not fit goes on under its own beginning. What is another than
/// in the first column stands out.
fn columns(lay: &mut Lay, what: &str, texts: &[&str], wide: usize, tone: Tone) {
    let parts: Vec<Vec<String>> = texts.iter().map(|text| wrapped(text, wide)).collect();
    let n_lines = parts.iter().map(Vec::len).max().unwrap_or(1);
    for at in 0..n_lines {
        let what = if at == 0 { what } else { "" };
        let mut cells: Vec<(Piece, usize)> = vec![(piece(what, Tone::Quiet), WHAT)];
        for (text, lines) in texts.iter().zip(&parts) {
            let differs = texts.first() != Some(text);
            let tone = if differs { Tone::Heading } else { tone };
            let line = lines.get(at).map_or("", String::as_str);
            cells.push((piece(line, tone), wide));
        }
        lay.row(&cells, &[], Target::None);
    }
}

/// A text in lines of a width, broken between words.
fn wrapped(text: &str, wide: usize) -> Vec<String> {
    let mut lines: Vec<String> = vec![String::new()];
    for word in text.split(' ') {
        let last = lines.last().map_or(0, |line| line.width());
        if last > 0 && last + 1 + word.width() > wide {
            lines.push(String::new());
        }
        if let Some(line) = lines.last_mut() {
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    lines
}

fn proposal(lay: &mut Lay, one: &Compared, theme: Theme) {
    lay.heading(&one.name);
    if !one.note.is_empty() {
        lay.say(0, &one.note, Tone::Quiet);
    }
    for problem in &one.misfits {
        lay.say(2, &problem.message, Tone::Wrong);
    }
    for setting in &one.settings {
        let text = format!("{}: {} becomes {}", setting.name, setting.old, setting.new);
        lay.say(2, &text, Tone::Plain);
    }
    for (word, list, n) in [
        ("gone", &one.went, one.n_went),
        ("new", &one.came, one.n_came),
    ] {
        for found in list.iter().take(MOST) {
            let (mark, tone) = theme.severity(found.severity());
            let text = format!(
                " {} {} {}: {}",
                found.word, found.row, found.check, found.sentence
            );
            let pieces = [
                piece(format!("{word:<5}"), Tone::Heading),
                piece(mark, tone),
                piece(text, Tone::Plain),
            ];
            lay.item(2, 4, &pieces, Target::None);
        }
        if n > MOST {
            lay.say(2, &format!("{} more {word}", n - MOST), Tone::Quiet);
        }
    }
    for row in one.rows.iter().take(MOST) {
        lay.item(2, 4, &row_pieces(row, theme), Target::None);
    }
    if one.n_rows > MOST {
        lay.say(
            2,
            &format!("{} more rows differ", one.n_rows - MOST),
            Tone::Quiet,
        );
    }
}

/// A row in one paragraph: what was entered, what the verdict becomes, what follows.
fn row_pieces(row: &RowChange, theme: Theme) -> Vec<Piece> {
    let name = format!("{} {} {}", row.word, row.id, row.kind.word());
    let mut pieces = vec![piece(name, Tone::Heading)];
    let [old, new] = &row.verdicts;
    if old != new {
        let (mark, tone) = theme.verdict(new);
        pieces.push(piece(" ", Tone::Plain));
        match new.is_empty() {
            true => pieces.push(piece(format!("was {old}"), Tone::Quiet)),
            false => pieces.push(piece(format!("{mark} {new}"), tone)),
        }
        if !old.is_empty() && !new.is_empty() {
            pieces.push(piece(format!(", was {old}"), Tone::Quiet));
        }
    }
    let told: Vec<&CellChange> = row.told(MOST_CELLS).collect();
    for (at, cell) in told.iter().enumerate() {
        let tone = match cell.is_entered {
            true => Tone::Entered,
            false => Tone::Computed,
        };
        let before = if at == 0 { ": " } else { ", " };
        pieces.push(piece(before, Tone::Plain));
        pieces.push(piece(cell.text(), tone));
    }
    pieces
}

/// A page that cannot be made, and why.
pub fn cannot(title: &str, problem: &Problem, width: usize, theme: Theme) -> Page {
    let mut lay = Lay::new(title, width, theme);
    lay.say(0, &problem.message, Tone::Wrong);
    for help in &problem.help {
        lay.say(2, help, Tone::Quiet);
    }
    lay.page()
}
