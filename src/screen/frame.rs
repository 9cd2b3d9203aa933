//! Frames as bytes: what differs between a frame and the one before, as one piece.
//!
//! Touches no terminal; who sends the bytes is in `terminal`.

use crossterm::cursor::Hide;
use crossterm::cursor::MoveTo;
use crossterm::cursor::Show;
use crossterm::queue;
use crossterm::terminal::BeginSynchronizedUpdate;
use crossterm::terminal::Clear;
use crossterm::terminal::ClearType;
use crossterm::terminal::EndSynchronizedUpdate;
use ratatui::backend::Backend;
use ratatui::backend::CrosstermBackend;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use std::io;

/// The size that is taken where a terminal does not know its own.
const USUAL: (u16, u16) = (80, 24);

/// The largest size that is drawn; what a terminal says beyond it is left blank.
const MOST: (u16, u16) = (1000, 500);

/// The last frame and the next one.
#[derive(Debug)]
pub struct Frames {
    shown: Buffer,
    next: Buffer,
    /// Where the terminal's cursor is shown; not known before the first frame.
    cursor: Option<Option<(u16, u16)>>,
    /// Whether the terminal has to be cleared first.
    whole: bool,
    bytes: Vec<u8>,
}

impl Frames {
    /// Frames of a size in cells: columns and lines. Nothing is taken to be shown yet.
    pub fn new(size: (u16, u16)) -> Self {
        let area = area(size);
        Self {
            shown: Buffer::empty(area),
            next: Buffer::empty(area),
            cursor: None,
            whole: true,
            bytes: Vec::new(),
        }
    }

    /// The columns and lines that are drawn.
    pub fn size(&self) -> (u16, u16) {
        (self.next.area.width, self.next.area.height)
    }

    /// Frames of another size from now on; the same size changes nothing.
    pub fn resize(&mut self, size: (u16, u16)) {
        let area = area(size);
        if area != self.next.area {
            self.next.resize(area);
            self.forget();
        }
    }

    /// Takes nothing to be shown any more, so that the next frame is sent whole.
    pub fn forget(&mut self) {
        (self.cursor, self.whole) = (None, true);
    }

    /// Paints the next frame and gives the bytes that make the terminal show it: none where
    /// nothing differs. `paint` gives the place of the cursor, none where it is hidden.
    ///
    /// # Errors
    /// None that is known: bytes are written into memory.
    pub fn draw(
        &mut self,
        paint: impl FnOnce(&mut Buffer) -> Option<(u16, u16)>,
    ) -> io::Result<&[u8]> {
        self.bytes.clear();
        self.next.reset();
        let cursor = paint(&mut self.next);
        if self.whole {
            self.shown.resize(self.next.area);
            self.shown.reset();
        }
        let changes = self.shown.diff(&self.next);
        if changes.is_empty() && self.cursor == Some(cursor) && !self.whole {
            return Ok(&[]);
        }
        queue!(self.bytes, BeginSynchronizedUpdate)?;
        // A cursor that is seen would flit over everything that is drawn.
        if self.cursor != Some(None) {
            queue!(self.bytes, Hide)?;
        }
        if self.whole {
            queue!(self.bytes, Clear(ClearType::All))?;
        }
        if !changes.is_empty() {
            CrosstermBackend::new(&mut self.bytes).draw(changes.into_iter())?;
        }
        if let Some((x, y)) = cursor {
            queue!(self.bytes, MoveTo(x, y), Show)?;
        }
        queue!(self.bytes, EndSynchronizedUpdate)?;
        std::mem::swap(&mut self.shown, &mut self.next);
        (self.cursor, self.whole) = (Some(cursor), false);
        Ok(&self.bytes)
    }
}

/// What is drawn of a size: a terminal may say nothing, and may say more than memory holds.
fn area((width, height): (u16, u16)) -> Rect {
    let (width, height) = match width == 0 || height == 0 {
        true => USUAL,
        false => (width.min(MOST.0), height.min(MOST.1)),
    };
    Rect::new(0, 0, width, height)
}

#[cfg(test)]
mod tests {
    use super::*;
    use ratatui::style::Style;

    fn bytes(frames: &mut Frames, text: &str, cursor: Option<(u16, u16)>) -> String {
        let paint = |buffer: &mut Buffer| {
            buffer.set_string(0, 0, text, Style::new());
            cursor
        };
        String::from_utf8(frames.draw(paint).unwrap().to_vec()).unwrap()
    }

    #[test]
    fn the_same_frame_again_sends_nothing() {
        let mut frames = Frames::new((10, 2));
        let first = bytes(&mut frames, "length", Some((0, 0)));
        assert!(first.starts_with("\u{1b}[?2026h") && first.ends_with("\u{1b}[?2026l"));
        assert!(first.contains("\u{1b}[2J") && first.contains("length"));
        assert_eq!(bytes(&mut frames, "length", Some((0, 0))), "");
    }

    #[test]
    fn only_what_differs_is_sent() {
        let mut frames = Frames::new((10, 2));
        bytes(&mut frames, "length 85", None);
        let second = bytes(&mut frames, "length 86", None);
        assert!(
            second.contains('6') && !second.contains("length"),
            "{second:?}"
        );
        let moved = bytes(&mut frames, "length 86", Some((1, 1)));
        assert!(
            moved.contains("\u{1b}[2;2H") && moved.contains("\u{1b}[?25h"),
            "{moved:?}"
        );
        let hidden = bytes(&mut frames, "length 86", None);
        assert!(hidden.contains("\u{1b}[?25l"), "{hidden:?}");
    }

    #[test]
    fn what_was_forgotten_is_sent_again() {
        let mut frames = Frames::new((10, 2));
        bytes(&mut frames, "length", None);
        frames.resize((10, 2));
        assert_eq!(bytes(&mut frames, "length", None), "");
        frames.forget();
        assert!(bytes(&mut frames, "length", None).contains("length"));
        frames.resize((4, 2));
        assert!(bytes(&mut frames, "length", None).contains("leng"));
    }

    #[test]
    fn sizes_that_cannot_be_are_made_usual() {
        assert_eq!(Frames::new((0, 0)).size(), USUAL);
        assert_eq!(Frames::new((80, 0)).size(), USUAL);
        assert_eq!(Frames::new((u16::MAX, u16::MAX)).size(), MOST);
        assert_eq!(Frames::new((1, 1)).size(), (1, 1));
    }
}
