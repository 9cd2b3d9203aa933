//! A page: lines of text with meanings, some of which lead somewhere.
//!
//! Every view other than the ledger is one. Pages are made in `pages/`; how one is scrolled and
//! drawn is here; what a target does is decided in `session`.

use super::paint::Paint;
use super::theme::Tone;
use crate::report::giveback::Class;
use crate::table::{ColumnId, ParamId, RowId, SheetId};
use ratatui::layout::Rect;

/// A titled list of lines.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Page {
    /// What it shows.
    pub title: String,
    /// Its lines.
    pub lines: Vec<Line>,
}

/// A line of a page.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Line {
    /// Its parts from left to right.
    pub pieces: Vec<(String, Tone)>,
    /// Where it leads.
    pub target: Target,
}

/// Where a line leads.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Target {
    /// Nowhere; the cursor passes it by.
    #[default]
    None,
    /// A cell of a sheet.
    Cell(SheetId, RowId, ColumnId),
    /// An assumption, to be changed.
    Assumption(ParamId),
    /// A column of a sheet, shown or hidden.
    Column(SheetId, usize),
    /// An action, to be done.
    Action(super::action::Action),
    /// A proposal by its position, to be gone into.
    Proposal(usize),
    /// A function by its position in the library.
    Function(usize),
    /// A heading of a table that is about to be imported, to be sent somewhere else.
    Heading(usize),
    /// Another page of the file that is about to be imported.
    OtherPage(usize),
    /// Gives ids that stand more than once a number, or leaves them as they are.
    TellApart,
    /// Takes the table that is about to be imported.
    TakeImport,
    /// Takes what is chosen of a workbook that came back.
    TakeMerge,
    /// Chooses all changes of a class, or none.
    TurnClass(Class),
    /// Chooses a change by its position, or leaves it.
    TurnChange(usize),
    /// Steps back: how many undos lead there; negative ones are redos.
    Steps(i32),
    /// A choice of the options of links, by its position, to be taken.
    Take(usize),
    /// A line of the order list, by its position, to the rows behind it.
    Behind(usize),
}

impl Line {
    /// A line of one tone.
    pub fn new(text: impl Into<String>, tone: Tone) -> Self {
        Self {
            pieces: vec![(text.into(), tone)],
            target: Target::None,
        }
    }

    /// A plain line.
    pub fn plain(text: impl Into<String>) -> Self {
        Self::new(text, Tone::Plain)
    }

    /// An empty line.
    pub fn empty() -> Self {
        Self::default()
    }

    /// The line with one more piece.
    #[must_use]
    pub fn with(mut self, text: impl Into<String>, tone: Tone) -> Self {
        self.pieces.push((text.into(), tone));
        self
    }

    /// The line leading somewhere.
    #[must_use]
    pub fn to(mut self, target: Target) -> Self {
        self.target = target;
        self
    }

    /// The text without tones.
    pub fn text(&self) -> String {
        self.pieces.iter().map(|(text, _)| text.as_str()).collect()
    }
}

/// Where a reader is in a page.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Reading {
    /// The first line shown.
    pub top: usize,
    /// The line the cursor is on.
    pub at: usize,
}

impl Reading {
    /// Moves by lines: to the next line that leads somewhere, else the page just scrolls.
    pub fn step(&mut self, page: &Page, by: isize, height: usize) {
        let leads = |at: &usize| page.lines[*at].target != Target::None;
        if !(0..page.lines.len()).any(|at| leads(&at)) {
            let most = page.lines.len().saturating_sub(height.max(1));
            self.top = self.top.saturating_add_signed(by).min(most);
            self.at = self.top;
            return;
        }
        let last = page.lines.len().saturating_sub(1);
        let wanted = self.at.saturating_add_signed(by).min(last);
        let found = match by < 0 {
            true => (0..=wanted).rev().find(leads),
            false => (wanted..page.lines.len()).find(leads),
        };
        self.at = found.unwrap_or(wanted);
        self.keep_in_view(page, height);
    }

    /// Scrolls so that the line of the cursor is shown.
    pub fn keep_in_view(&mut self, page: &Page, height: usize) {
        let height = height.max(1);
        self.at = self.at.min(page.lines.len().saturating_sub(1));
        self.top = self.top.min(self.at);
        if self.at >= self.top + height {
            self.top = self.at + 1 - height;
        }
        // The heading of the first lines that lead somewhere is shown with them.
        let first = page
            .lines
            .iter()
            .position(|line| line.target != Target::None);
        if first.is_some_and(|first| self.at <= first) && self.at < height {
            self.top = 0;
        }
    }

    /// Where the line of the cursor leads.
    pub fn target(&self, page: &Page) -> Target {
        page.lines
            .get(self.at)
            .map_or(Target::None, |line| line.target)
    }
}

/// Draws the lines of a page from the top one on; with a cursor where the reader has the keys.
pub fn draw(page: &Page, reading: &Reading, has_keys: bool, area: Rect, paint: &mut Paint) {
    for (y, at) in (area.y..area.bottom()).zip(reading.top..) {
        let Some(line) = page.lines.get(at) else {
            break;
        };
        let is_here = has_keys && at == reading.at && line.target != Target::None;
        draw_line(
            line,
            is_here,
            Rect {
                y,
                height: 1,
                ..area
            },
            paint,
        );
    }
}

/// Draws one line; one that is chosen gets a mark and stands out.
pub fn draw_line(line: &Line, is_here: bool, area: Rect, paint: &mut Paint) {
    let (mut x, end) = (area.x, area.right());
    if is_here {
        let style = paint.theme.style(Tone::Cursor);
        paint.blank(area.x, area.y, area.width, style);
    }
    for (text, tone) in &line.pieces {
        if x >= end {
            break;
        }
        let mut style = paint.theme.style(*tone);
        if is_here {
            style = style.patch(paint.theme.style(Tone::Cursor));
        }
        x += paint.styled(x, area.y, end - x, text, style);
    }
}

/// Breaks text into lines of at most `width` cells, between words where it can.
pub fn wrapped(text: &str, width: usize) -> Vec<String> {
    use unicode_width::UnicodeWidthStr;
    let width = width.max(8);
    let (mut lines, mut line) = (Vec::new(), String::new());
    for word in text.split_whitespace() {
        let gap = usize::from(!line.is_empty());
        if !line.is_empty() && line.width() + gap + word.width() > width {
            lines.push(std::mem::take(&mut line));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_page_that_leads_nowhere_scrolls_with_each_key() {
        let page = Page {
            title: String::new(),
            lines: vec![Line::plain("x"); 10],
        };
        let mut reading = Reading::default();
        let mut tops = Vec::new();
        for by in [1, 1, 20, -1, -20] {
            reading.step(&page, by, 4);
            reading.keep_in_view(&page, 4);
            tops.push(reading.top);
        }
        assert_eq!(tops, [1, 2, 6, 5, 0]);
    }
}
