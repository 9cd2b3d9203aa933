//! Text into the buffer of a frame: cut to its place, nothing in it acting on the terminal.
//!
//! Text that is plain ASCII goes straight into the cells, which is most of it and was measured at
//! two and a half times the speed of the general way. What text means is not known here.

use super::theme::Glyph;
use super::theme::Theme;
use super::theme::Tone;
use crate::problem::clean;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use unicode_segmentation::UnicodeSegmentation;
use unicode_width::UnicodeWidthStr;

/// Where text stands in its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// At the left.
    Left,
    /// At the right, as numbers do.
    Right,
}

/// A part of a frame to draw into.
#[derive(Debug)]
pub struct Paint<'a> {
    /// The frame.
    pub buffer: &'a mut Buffer,
    /// How things look.
    pub theme: Theme,
}

impl Paint<'_> {
    /// Writes text from a cell on, at most `width` cells, and gives the cells used.
    pub fn text(&mut self, x: u16, y: u16, width: u16, text: &str, tone: Tone) -> u16 {
        let style = self.theme.style(tone);
        self.styled(x, y, width, text, style)
    }

    /// Writes text with a style of its own; outside the frame nothing happens.
    pub fn styled(&mut self, x: u16, y: u16, width: u16, text: &str, style: Style) -> u16 {
        let width = self.room(x, y, width);
        if width == 0 || text.is_empty() {
            return 0;
        }
        if is_plain(text) {
            return self.plain(x, y, width, text, style);
        }
        let text = clean(text);
        match self.theme.ascii.then(|| in_ascii(&text)) {
            Some(text) if is_plain(&text) => self.plain(x, y, width, &text, style),
            Some(text) => self.wide(x, y, width, &text, style),
            None => self.wide(x, y, width, &text, style),
        }
    }

    /// Fills a place with text and blanks in one style.
    pub fn cell(&mut self, area: Rect, text: &str, side: Side, style: Style) {
        let width = self.room(area.x, area.y, area.width);
        if width == 0 {
            return;
        }
        let used = match is_plain(text) {
            true => u16::try_from(text.len()).unwrap_or(u16::MAX),
            false if self.theme.ascii => {
                u16::try_from(in_ascii(&clean(text)).width()).unwrap_or(u16::MAX)
            }
            false => u16::try_from(clean(text).width()).unwrap_or(u16::MAX),
        };
        let blank = width.saturating_sub(used);
        let start = match side {
            Side::Left => area.x,
            Side::Right => area.x + blank,
        };
        self.blank(area.x, area.y, width, style);
        self.styled(start, area.y, width, text, style);
    }

    /// Blanks in a style.
    pub fn blank(&mut self, x: u16, y: u16, width: u16, style: Style) {
        let width = self.room(x, y, width);
        let from = self.at(x, y);
        for cell in &mut self.buffer.content[from..from + usize::from(width)] {
            cell.set_char(' ');
            cell.set_style(style);
        }
    }

    /// One mark over and over.
    pub fn rule(&mut self, x: u16, y: u16, width: u16, glyph: Glyph, tone: Tone) {
        let (mark, style) = (self.theme.glyph(glyph), self.theme.style(tone));
        let width = self.room(x, y, width);
        let from = self.at(x, y);
        for cell in &mut self.buffer.content[from..from + usize::from(width)] {
            cell.set_symbol(mark);
            cell.set_style(style);
        }
    }

    /// How many of some cells lie in the frame.
    fn room(&self, x: u16, y: u16, width: u16) -> u16 {
        let area = self.buffer.area;
        match x < area.right() && y < area.bottom() && x >= area.x && y >= area.y {
            true => width.min(area.right() - x),
            false => 0,
        }
    }

    /// The place of a cell in the content; zero when it is outside, where no width is left either.
    fn at(&self, x: u16, y: u16) -> usize {
        let area = self.buffer.area;
        match x < area.right() && y < area.bottom() && x >= area.x && y >= area.y {
            true => self.buffer.index_of(x, y),
            false => 0,
        }
    }

    fn plain(&mut self, x: u16, y: u16, width: u16, text: &str, style: Style) -> u16 {
        let (width, bytes) = (usize::from(width), text.as_bytes());
        let (from, shown) = (self.at(x, y), bytes.len().min(width));
        let cells = &mut self.buffer.content[from..from + shown];
        for (cell, byte) in cells.iter_mut().zip(bytes) {
            cell.set_char(char::from(*byte));
            cell.set_style(style);
        }
        if bytes.len() > width
            && let Some(last) = cells.last_mut()
        {
            last.set_symbol(self.theme.glyph(Glyph::Cut));
        }
        u16::try_from(shown).unwrap_or(u16::MAX)
    }

    /// Text with other characters than ASCII, cut between what a reader takes for characters.
    fn wide(&mut self, x: u16, y: u16, width: u16, text: &str, style: Style) -> u16 {
        let fits = text.width() <= usize::from(width);
        let room = usize::from(if fits { width } else { width - 1 });
        let mut used = 0;
        for part in text.graphemes(true) {
            let wide = part.width();
            if wide == 0 {
                continue;
            }
            if used + wide > room {
                break;
            }
            let at = x + u16::try_from(used).unwrap_or(u16::MAX);
            self.buffer[(at, y)].set_symbol(part).set_style(style);
            for beside in 1..wide {
                let at = at + u16::try_from(beside).unwrap_or(u16::MAX);
                self.buffer[(at, y)].reset();
                self.buffer[(at, y)].set_style(style);
            }
            used += wide;
        }
        let used = u16::try_from(used).unwrap_or(u16::MAX);
        if !fits {
            let cut = self.theme.glyph(Glyph::Cut);
            self.buffer[(x + used, y)].set_symbol(cut).set_style(style);
            return used + 1;
        }
        used
    }
}

/// The signs of units in ASCII; what a person wrote stays as it is.
fn in_ascii(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            'µ' | 'μ' => out.push('u'),
            'Ω' => out.push_str("Ohm"),
            '°' => {}
            '·' => out.push('*'),
            c => out.push(c),
        }
    }
    out
}

/// Whether every byte is a printing ASCII character.
fn is_plain(text: &str) -> bool {
    text.bytes().all(|byte| (0x20..0x7f).contains(&byte))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn painted(width: u16, text: &str, at_most: u16) -> String {
        let mut buffer = Buffer::empty(Rect::new(0, 0, width, 1));
        let theme = Theme {
            colours: true,
            ascii: false,
        };
        let mut paint = Paint {
            buffer: &mut buffer,
            theme,
        };
        paint.text(0, 0, at_most, text, Tone::Plain);
        buffer.content.iter().map(|cell| cell.symbol()).collect()
    }

    #[test]
    fn text_is_cut_with_a_mark() {
        assert_eq!(painted(8, "quarantine", 8), "quarant…");
        assert_eq!(painted(8, "quarantine", 20), "quarant…");
        assert_eq!(painted(8, "Rückkühlung", 8), "Rückküh…");
    }

    #[test]
    fn wide_characters_stay_whole() {
        assert_eq!(painted(5, "水族館", 5), "水 族 …");
        assert_eq!(painted(4, "水族", 4), "水 族 ");
    }

    #[test]
    fn nothing_in_a_text_acts_on_the_terminal() {
        let shown = painted(20, "a\u{1b}[2Jb\u{202e}c\td", 20);
        assert!(
            shown.chars().all(|c| !c.is_control() && c != '\u{202e}'),
            "{shown:?}"
        );
    }

    #[test]
    fn outside_the_frame_nothing_happens() {
        let mut buffer = Buffer::empty(Rect::new(0, 0, 3, 1));
        let theme = Theme {
            colours: true,
            ascii: false,
        };
        let mut paint = Paint {
            buffer: &mut buffer,
            theme,
        };
        assert_eq!(paint.text(3, 0, 5, "x", Tone::Plain), 0);
        assert_eq!(paint.text(0, 1, 5, "x", Tone::Plain), 0);
        paint.rule(9, 9, 5, Glyph::Line, Tone::Plain);
        paint.blank(9, 9, 5, Style::new());
    }
}
