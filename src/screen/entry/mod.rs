//! The line a person types into: cells, formulas, conditions, names.
//!
//! Holds the text, its help and how both are drawn. Nothing here changes a plan: what was typed
//! goes back to the session, which may refuse it.

mod advice;
mod buffer;
mod cell;
mod formula;
mod layout;
mod names;
mod offers;
mod own;
mod purpose;

#[cfg(test)]
mod tests;

pub(in crate::screen) use cell::{as_typed, unit_of};
pub use own::read_column;
pub use purpose::{NeedleFor, Purpose};

use super::page::Line;
use super::paint::Paint;
use super::theme::Theme;
use crate::desk::Desk;
use crate::problem::Problem;
use advice::Advice;
use buffer::Buffer;
use crossterm::event::KeyCode;
use crossterm::event::KeyEvent;
use crossterm::event::KeyEventKind;
use crossterm::event::KeyModifiers;
use offers::Offer;
use ratatui::layout::Rect;
use std::borrow::Cow;

/// A line that is being typed into.
#[derive(Debug, Clone)]
pub struct Entry {
    purpose: Purpose,
    label: String,
    buffer: Buffer,
    /// Whether the text is another one than at the beginning.
    touched: bool,
    /// Whether the next character takes the place of the whole content.
    fresh: bool,
    /// What the text was refused for; gone with the next change.
    refused: Option<Problem>,
    /// Whether the text was to be taken while it was known to be wrong.
    asked: bool,
    /// The offer that was chosen with the arrow keys.
    chosen: Option<usize>,
    /// What is known of the text; none where it has to be looked at again.
    advice: Option<Advice>,
}

/// What a key led to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reply {
    /// The line stays open.
    Stay,
    /// The line has no use for this key; the session may have.
    Pass,
    /// The person leaves without a change.
    Cancel,
    /// The text is to be taken.
    Take(String),
    /// The text is to be taken and the next cell entered.
    TakeAndMove(String, Direction),
}

/// Where to go on after a cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Direction {
    /// To the cell on the left.
    Left,
    /// To the cell on the right.
    Right,
}

impl Entry {
    /// A line that begins with the present content, the cursor at its end.
    pub fn new(purpose: Purpose, desk: &Desk) -> Self {
        let text = purpose.content(desk);
        Self::with(purpose, &text, false, desk)
    }

    /// A line begun by typing a character, which takes the place of the content.
    pub fn begun(purpose: Purpose, typed: char, desk: &Desk) -> Self {
        Self::with(purpose, typed.encode_utf8(&mut [0; 4]), true, desk)
    }

    /// A line that begins with a text of the session's, such as the last condition.
    pub fn holding(purpose: Purpose, text: &str, desk: &Desk) -> Self {
        Self::with(purpose, text, false, desk)
    }

    fn with(purpose: Purpose, text: &str, touched: bool, desk: &Desk) -> Self {
        let mut entry = Self {
            label: purpose.label(desk),
            fresh: purpose.is_cell() && !touched,
            purpose,
            buffer: Buffer::new(text),
            touched,
            refused: None,
            asked: false,
            chosen: None,
            advice: None,
        };
        entry.look(desk);
        entry
    }

    /// What the text is for.
    pub fn purpose(&self) -> &Purpose {
        &self.purpose
    }

    /// The text as it is now.
    pub fn text(&self) -> &str {
        self.buffer.text()
    }

    /// Says under the line why the text was not taken, until it changes.
    pub fn refuse(&mut self, problem: Problem) {
        self.refused = Some(problem);
    }

    /// Does what a key does. Releases of keys are passed by.
    pub fn key(&mut self, key: KeyEvent, desk: &Desk) -> Reply {
        if key.kind == KeyEventKind::Release {
            return Reply::Stay;
        }
        if self.advice.is_none() {
            self.look(desk);
        }
        let held = key.modifiers - KeyModifiers::SHIFT;
        match (key.code, held) {
            (KeyCode::Esc, KeyModifiers::NONE) => Reply::Cancel,
            (KeyCode::Enter, _) => self.enter(desk),
            (KeyCode::Tab, KeyModifiers::NONE) => self.tab(desk),
            (KeyCode::BackTab, _) => self.leave(Direction::Left),
            (KeyCode::Up, KeyModifiers::NONE) => self.choose(false),
            (KeyCode::Down, KeyModifiers::NONE) => self.choose(true),
            _ => self.edit(key, desk),
        }
    }

    /// Puts pasted text at the cursor; line ends become blanks. What is too long is refused whole.
    pub fn paste(&mut self, text: &str) {
        if self.is_fresh() {
            self.buffer.replace(0..self.text().len(), "");
        }
        if self.buffer.insert(text) {
            self.changed();
            return;
        }
        self.refuse(
            Problem::new("paste-too-long", "the pasted text is too long for one line")
                .help(format!("a line takes {} bytes", buffer::MOST_BYTES)),
        );
    }

    /// What stands under the line, for the same width and left edge as [`Entry::draw`], so that
    /// marks stand under their characters.
    pub fn lines(&self, desk: &Desk, width: usize, theme: Theme) -> Vec<Line> {
        let advice = match &self.advice {
            Some(advice) => Cow::Borrowed(advice),
            None => Cow::Owned(self.advise(desk)),
        };
        layout::lines(self, &advice, width, theme)
    }

    /// Draws label and text into the first line of a place, and gives the place of the cursor.
    pub fn draw(&self, area: Rect, paint: &mut Paint) -> (u16, u16) {
        layout::draw(self, area, paint)
    }

    /// Whether the content stands as it was found, so that typing takes its place.
    pub(super) fn is_fresh(&self) -> bool {
        self.fresh && !self.text().is_empty()
    }

    /// A character takes the place of the content; any other key keeps it to be changed.
    fn begin_anew(&mut self, key: KeyEvent) {
        self.fresh = false;
        let held = key.modifiers - KeyModifiers::SHIFT;
        if matches!(key.code, KeyCode::Char(_)) && held.is_empty() {
            self.buffer.replace(0..self.text().len(), "");
        }
    }

    fn enter(&mut self, desk: &Desk) -> Reply {
        if let Some(offer) = self.chosen_offer() {
            self.put(&offer, desk);
            if !self.purpose.is_word() {
                return Reply::Stay;
            }
        }
        self.take().map_or(Reply::Stay, Reply::Take)
    }

    /// The text, unless it is known to be wrong; then that is said.
    fn take(&mut self) -> Option<String> {
        let is_wrong = |advice: &Advice| !advice.problems.is_empty();
        self.asked = self.advice.as_ref().is_some_and(is_wrong);
        (!self.asked).then(|| self.text().to_owned())
    }

    fn tab(&mut self, desk: &Desk) -> Reply {
        let first = || self.advice.as_ref()?.offers.first().cloned();
        let offered = self
            .chosen_offer()
            .or_else(|| first().filter(|offer| self.is_new(offer)));
        match offered {
            Some(offer) => {
                self.put(&offer, desk);
                Reply::Stay
            }
            None => self.leave(Direction::Right),
        }
    }

    /// Whether an offer is meant without having been chosen: something was typed, and it is not
    /// that itself.
    fn is_new(&self, offer: &Offer) -> bool {
        let typed = self.text().get(offer.span.clone()).unwrap_or_default();
        self.touched
            && !typed.trim().is_empty()
            && typed.trim() != offer.insert
            && typed != offer.shown
    }

    /// Takes the text of a cell and goes on to another; other lines stay.
    fn leave(&mut self, direction: Direction) -> Reply {
        if !self.purpose.is_cell() {
            return Reply::Stay;
        }
        match self.take() {
            Some(text) => Reply::TakeAndMove(text, direction),
            None => Reply::Stay,
        }
    }

    fn chosen_offer(&self) -> Option<Offer> {
        self.advice.as_ref()?.offers.get(self.chosen?).cloned()
    }

    fn put(&mut self, offer: &Offer, desk: &Desk) {
        if self.buffer.replace(offer.span.clone(), &offer.insert) {
            self.changed();
            self.look(desk);
        }
    }

    /// Chooses the next offer or the one before; past the ends none is chosen.
    fn choose(&mut self, forward: bool) -> Reply {
        let n = self.advice.as_ref().map_or(0, |advice| advice.offers.len());
        if n == 0 {
            return Reply::Pass;
        }
        self.chosen = match (self.chosen, forward) {
            (None, true) => Some(0),
            (None, false) => Some(n - 1),
            (Some(at), true) => Some(at + 1).filter(|at| *at < n),
            (Some(at), false) => at.checked_sub(1),
        };
        Reply::Stay
    }

    fn edit(&mut self, key: KeyEvent, desk: &Desk) -> Reply {
        let at = self.buffer.cursor();
        if self.is_fresh() {
            self.begin_anew(key);
        }
        let Some(changed) = self.buffer.key(key) else {
            return Reply::Pass;
        };
        if changed {
            self.changed();
        }
        if changed || at != self.buffer.cursor() {
            self.look(desk);
        }
        Reply::Stay
    }

    /// After the text changed: what was said of the old one is gone.
    fn changed(&mut self) {
        self.touched = true;
        self.fresh = false;
        self.refused = None;
        self.asked = false;
        self.advice = None;
    }

    fn look(&mut self, desk: &Desk) {
        self.chosen = None;
        self.advice = Some(self.advise(desk));
    }

    fn advise(&self, desk: &Desk) -> Advice {
        purpose::advise(
            &self.purpose,
            desk,
            self.text(),
            self.buffer.cursor(),
            self.touched,
        )
    }
}
