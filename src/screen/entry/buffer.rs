//! The text that is being typed: editing keys, undo within the line, and where its characters
//! stand in cells. Nothing here knows what the text is for.

use crate::problem::clean;
use crate::screen::paint::Paint;
use crate::screen::theme::Glyph;
use crate::screen::theme::Tone;
use crossterm::event::KeyCode;
use crossterm::event::KeyEvent;
use crossterm::event::KeyModifiers;
use std::borrow::Cow;
use std::ops::Range;
use tui_input::Input;
use tui_input::InputRequest;
use unicode_segmentation::UnicodeSegmentation;
use unicode_width::UnicodeWidthStr;

/// The most bytes a line takes; four times the longest formula.
pub(super) const MOST_BYTES: usize = 16_384;

/// How many steps back there are within one line.
const MOST_STEPS: usize = 200;

/// A line of text with a cursor.
#[derive(Debug, Clone)]
pub(super) struct Buffer {
    input: Input,
    /// Earlier texts with their cursors, the last one last.
    before: Vec<(String, usize)>,
    /// Whether the last change was a typed character, which joins the step before it.
    in_word: bool,
}

/// Part of a line of cells that is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Window {
    /// The first cell of the text that is shown.
    pub start: usize,
    /// How many cells there are.
    pub width: usize,
}

/// What a reader takes for one character.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Character<'t> {
    /// Its bytes in the text.
    pub bytes: Range<usize>,
    /// What is drawn for it.
    pub shown: Cow<'t, str>,
    /// The cell it begins in.
    pub cell: usize,
    /// How many cells it takes; 0 for a mark that stands on nothing.
    pub width: usize,
}

impl Buffer {
    /// A text with the cursor at its end.
    pub fn new(text: &str) -> Self {
        Self {
            input: Input::new(one_line(text)),
            before: Vec::new(),
            in_word: false,
        }
    }

    /// The text.
    pub fn text(&self) -> &str {
        self.input.value()
    }

    /// The byte the cursor stands before.
    pub fn cursor(&self) -> usize {
        let text = self.text();
        let at = text.char_indices().nth(self.input.cursor());
        at.map_or(text.len(), |(byte, _)| byte)
    }

    /// Does what an editing key does; `None` when it is no such key, else whether the text is
    /// another one.
    pub fn key(&mut self, key: KeyEvent) -> Option<bool> {
        if is_undo(key) {
            return Some(self.undo());
        }
        let request = request(key)?;
        if matches!(request, InputRequest::InsertChar(_)) && self.text().len() + 4 > MOST_BYTES {
            return Some(false);
        }
        let step = (self.text().to_owned(), self.input.cursor());
        let changed =
            self.input.handle(request).is_some_and(|state| state.value) && self.text() != step.0;
        let types = matches!(request, InputRequest::InsertChar(c) if !c.is_whitespace());
        if changed && !(types && self.in_word) {
            self.keep(step);
        }
        self.in_word = types;
        Some(changed)
    }

    /// Puts text at the cursor; nothing when the line would be too long, which gives false.
    pub fn insert(&mut self, text: &str) -> bool {
        let cursor = self.cursor();
        self.replace(cursor..cursor, text)
    }

    /// Puts text in place of some bytes, the cursor behind it; false when it would be too long.
    pub fn replace(&mut self, bytes: Range<usize>, with: &str) -> bool {
        let old = self.text();
        let (Some(head), Some(tail)) = (old.get(..bytes.start), old.get(bytes.end..)) else {
            return false;
        };
        let with = one_line(with);
        if head.len() + with.len() + tail.len() > MOST_BYTES {
            return false;
        }
        let cursor = head.chars().count() + with.chars().count();
        let (text, step) = (format!("{head}{with}{tail}"), self.step());
        self.keep(step);
        self.in_word = false;
        self.input = Input::new(text).with_cursor(cursor);
        true
    }

    fn step(&self) -> (String, usize) {
        (self.text().to_owned(), self.input.cursor())
    }

    fn keep(&mut self, step: (String, usize)) {
        if self.before.len() == MOST_STEPS {
            self.before.remove(0);
        }
        self.before.push(step);
    }

    fn undo(&mut self) -> bool {
        self.in_word = false;
        let Some((text, cursor)) = self.before.pop() else {
            return false;
        };
        self.input = Input::new(text).with_cursor(cursor);
        true
    }

    /// The cell the cursor stands in.
    pub fn cursor_cell(&self) -> usize {
        let cursor = self.cursor();
        let under = characters(self.text()).find(|part| part.bytes.end > cursor);
        under.map_or_else(|| width_of(self.text()), |part| part.cell)
    }

    /// The part that is shown in so many cells: all of it where that fits, else one with the
    /// cursor in it that moves by half its width.
    pub fn window(&self, width: usize) -> Window {
        let width = width.max(1);
        let cursor = self.cursor_cell();
        let over = match width_of(self.text()) < width {
            true => 0,
            false => cursor.saturating_sub(width.saturating_sub(2)),
        };
        let step = (width / 2).max(1);
        Window {
            start: over.div_ceil(step) * step,
            width,
        }
    }

    /// Draws the shown part; `tone` gives the meaning of a byte of the text.
    pub fn draw(
        &self,
        x: u16,
        y: u16,
        window: Window,
        tone: impl Fn(usize) -> Tone,
        paint: &mut Paint,
    ) {
        let end = window.start + window.width;
        for part in characters(self.text()) {
            if part.cell >= end {
                break;
            }
            if part.cell < window.start || part.cell + part.width > end {
                continue;
            }
            let at = x + cells(part.cell - window.start);
            paint.text(
                at,
                y,
                cells(part.width),
                &part.shown,
                tone(part.bytes.start),
            );
        }
        if window.start > 0 {
            let mark = paint.theme.glyph(Glyph::MoreLeft);
            paint.text(x, y, 1, mark, Tone::Quiet);
        }
        if width_of(self.text()) > end {
            let mark = paint.theme.glyph(Glyph::MoreRight);
            paint.text(x + cells(window.width - 1), y, 1, mark, Tone::Quiet);
        }
    }
}

/// The characters of a text from left to right.
pub(super) fn characters(text: &str) -> impl Iterator<Item = Character<'_>> {
    let mut cell = 0;
    text.grapheme_indices(true).map(move |(at, part)| {
        let shown = clean(part);
        let width = shown.graphemes(true).map(UnicodeWidthStr::width).sum();
        let begins = cell;
        cell += width;
        Character {
            bytes: at..at + part.len(),
            shown,
            cell: begins,
            width,
        }
    })
}

/// How many cells a text takes.
pub(super) fn width_of(text: &str) -> usize {
    characters(text)
        .last()
        .map_or(0, |part| part.cell + part.width)
}

/// The cells that some bytes of a text take; at least one.
pub(super) fn cells_of(text: &str, bytes: &Range<usize>) -> Range<usize> {
    let mut found: Option<Range<usize>> = None;
    let mut end = 0;
    for part in characters(text) {
        let touches = part.bytes.end > bytes.start
            && (part.bytes.start < bytes.end || part.bytes.start == bytes.start);
        end = part.cell + part.width;
        if touches {
            found = Some(found.map_or(part.cell, |cells| cells.start)..end);
        }
    }
    let cells = found.unwrap_or(end..end);
    cells.start..cells.end.max(cells.start + 1)
}

/// Cells as the terminal counts them.
pub(super) fn cells(n: usize) -> u16 {
    u16::try_from(n).unwrap_or(u16::MAX)
}

/// A text as one line: line ends and tabs are blanks, other control characters are gone.
pub(super) fn one_line(text: &str) -> String {
    let text = text.trim_end_matches(['\r', '\n']).replace("\r\n", "\n");
    let as_blank = |c: char| match c {
        '\r' | '\n' | '\t' | '\u{2028}' | '\u{2029}' => ' ',
        c => c,
    };
    text.chars()
        .map(as_blank)
        .filter(|c| !c.is_control())
        .collect()
}

/// The keys that take a change within the line back; a terminal sends the first as the second.
fn is_undo(key: KeyEvent) -> bool {
    key.modifiers == KeyModifiers::CONTROL && matches!(key.code, KeyCode::Char('_' | '7' | '/'))
}

/// The request of an editing key.
fn request(key: KeyEvent) -> Option<InputRequest> {
    const NONE: KeyModifiers = KeyModifiers::NONE;
    const CONTROL: KeyModifiers = KeyModifiers::CONTROL;
    const ALT: KeyModifiers = KeyModifiers::ALT;
    let both = CONTROL | ALT;
    let modifiers = key.modifiers - KeyModifiers::SHIFT;
    match (key.code, modifiers) {
        (KeyCode::Char(c), held) if (held == NONE || held == both) && !c.is_control() => {
            Some(InputRequest::InsertChar(c))
        }
        (KeyCode::Left, NONE) | (KeyCode::Char('b'), CONTROL) => Some(InputRequest::GoToPrevChar),
        (KeyCode::Right, NONE) | (KeyCode::Char('f'), CONTROL) => Some(InputRequest::GoToNextChar),
        (KeyCode::Left, CONTROL | ALT) | (KeyCode::Char('b'), ALT) => {
            Some(InputRequest::GoToPrevWord)
        }
        (KeyCode::Right, CONTROL | ALT) | (KeyCode::Char('f'), ALT) => {
            Some(InputRequest::GoToNextWord)
        }
        (KeyCode::Home, NONE) | (KeyCode::Char('a'), CONTROL) => Some(InputRequest::GoToStart),
        (KeyCode::End, NONE) | (KeyCode::Char('e'), CONTROL) => Some(InputRequest::GoToEnd),
        (KeyCode::Backspace, NONE) | (KeyCode::Char('h'), CONTROL) => {
            Some(InputRequest::DeletePrevChar)
        }
        (KeyCode::Delete, NONE) | (KeyCode::Char('d'), CONTROL) => {
            Some(InputRequest::DeleteNextChar)
        }
        (KeyCode::Char('w'), CONTROL) | (KeyCode::Backspace, ALT | CONTROL) => {
            Some(InputRequest::DeletePrevWord)
        }
        (KeyCode::Delete, CONTROL | ALT) | (KeyCode::Char('d'), ALT) => {
            Some(InputRequest::DeleteNextWord)
        }
        (KeyCode::Char('u'), CONTROL) => Some(InputRequest::DeleteFromStart),
        (KeyCode::Char('k'), CONTROL) => Some(InputRequest::DeleteTillEnd),
        (KeyCode::Char('y'), CONTROL) => Some(InputRequest::Yank),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::screen::theme::Theme;
    use proptest::prelude::*;
    use ratatui::layout::Rect;

    fn press(code: KeyCode, modifiers: KeyModifiers) -> KeyEvent {
        KeyEvent::new(code, modifiers)
    }

    fn control(letter: char) -> KeyEvent {
        press(KeyCode::Char(letter), KeyModifiers::CONTROL)
    }

    fn typed(buffer: &mut Buffer, text: &str) {
        for c in text.chars() {
            buffer.key(press(KeyCode::Char(c), KeyModifiers::NONE));
        }
    }

    fn drawn(buffer: &Buffer, width: u16) -> String {
        let mut frame = ratatui::buffer::Buffer::empty(Rect::new(0, 0, width, 1));
        let theme = Theme {
            colours: false,
            ascii: true,
        };
        let mut paint = Paint {
            buffer: &mut frame,
            theme,
        };
        let window = buffer.window(usize::from(width));
        buffer.draw(0, 0, window, |_| Tone::Plain, &mut paint);
        frame.content.iter().map(|cell| cell.symbol()).collect()
    }

    #[test]
    fn a_word_is_one_step_back() {
        let mut buffer = Buffer::new("85 m");
        typed(&mut buffer, " or more");
        buffer.key(control('_'));
        assert_eq!(buffer.text(), "85 m or ");
        buffer.key(control('u'));
        assert_eq!(buffer.text(), "");
        buffer.key(control('7'));
        assert_eq!(buffer.text(), "85 m or ");
        buffer.key(control('w'));
        assert_eq!(buffer.text(), "85 m ");
        for _ in 0..9 {
            buffer.key(control('_'));
        }
        assert_eq!(buffer.text(), "85 m");
    }

    #[test]
    fn a_long_text_is_shown_around_its_cursor() {
        let mut buffer = Buffer::new("total(links.capacity)");
        assert_eq!(drawn(&buffer, 10), "<city)    ");
        buffer.key(press(KeyCode::Home, KeyModifiers::NONE));
        assert_eq!(drawn(&buffer, 10), "total(lin>");
        assert_eq!(drawn(&buffer, 22), "total(links.capacity) ");
    }

    #[test]
    fn cells_are_counted_as_they_are_drawn() {
        let text = "水族 e\u{301}\u{200d}x\u{202e}y";
        assert_eq!(cells_of(text, &(3..6)), 2..4);
        assert_eq!(width_of("水族"), 4);
        assert_eq!(cells_of("ab", &(2..2)), 2..3);
        assert_eq!(cells_of("ab", &(0..0)), 0..1);
    }

    #[test]
    fn pasted_lines_become_one() {
        let mut buffer = Buffer::new("");
        assert!(buffer.insert("a\r\nb\rc\td\u{1b}[2J\n"));
        assert_eq!(buffer.text(), "a b c d[2J");
        assert!(!buffer.insert(&"x".repeat(MOST_BYTES)));
        assert_eq!(buffer.text(), "a b c d[2J");
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn the_cursor_is_always_in_view(text in "\\PC{0,40}|[ab水é\u{301}\u{200d}👩]{0,60}", back in 0usize..60, width in 1u16..40) {
            let mut buffer = Buffer::new(&text);
            for _ in 0..back {
                buffer.key(press(KeyCode::Left, KeyModifiers::NONE));
            }
            let window = buffer.window(usize::from(width));
            let at = buffer.cursor_cell();
            prop_assert!(at >= window.start && at < window.start + window.width, "{window:?} {at}");
            drawn(&buffer, width);
        }
    }
}
