//! How things look: a style for each meaning, a glyph for each mark.
//!
//! Only the sixteen colours of the terminal are used, so that the person's own scheme rules, and no
//! meaning hangs on a colour: a glyph, a word or a modifier always tells it as well. Nothing here
//! draws.

use crate::problem::Severity;
use ratatui::style::Color;
use ratatui::style::Modifier;
use ratatui::style::Style;

/// What a piece of text means.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Tone {
    /// Plain text.
    #[default]
    Plain,
    /// The name of a view or a column.
    Heading,
    /// Something of less weight: units, sources, hints.
    Quiet,
    /// A value that a person typed.
    Entered,
    /// A value that a formula gave.
    Computed,
    /// The cell or line that keys act on.
    Cursor,
    /// Cells of a block that is marked.
    Block,
    /// The name of a key.
    Key,
    /// Something that the last edit changed.
    Changed,
    /// The verdict `fits`.
    Fits,
    /// The verdict `tight`, and a caution.
    Tight,
    /// The verdict `fails`, and a stop.
    Fails,
    /// The verdict `unknown`.
    Unknown,
    /// Something that is wrong and stands in the way.
    Wrong,
    /// The usual caution beside light, glass, power and copper.
    Care,
    /// A swatch in one of the colours of TIA-598, which always stands beside its word.
    Swatch(Color),
}

/// A mark with a plain ASCII form.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Glyph {
    /// Beside `fits`.
    Fits,
    /// Beside `tight` and a caution.
    Tight,
    /// Beside `fails` and a stop.
    Fails,
    /// Beside `unknown`.
    Unknown,
    /// Beside a note.
    Note,
    /// Where text was cut.
    Cut,
    /// The rule under the heads of entered columns.
    RuleEntered,
    /// The rule under the heads of computed columns.
    RuleComputed,
    /// The rule under the heads of columns with a formula of the person's.
    RuleOwn,
    /// A line between parts of the screen.
    Line,
    /// A line between parts that stand side by side.
    Upright,
    /// A filled part of a bar.
    Full,
    /// An empty part of a bar.
    Empty,
    /// A limit in a bar.
    Limit,
    /// A value that was read, along a scale.
    Reading,
    /// There is more to the left.
    MoreLeft,
    /// There is more to the right.
    MoreRight,
    /// The line that is chosen.
    Here,
    /// Sorted from small to large.
    Rising,
    /// Sorted from large to small.
    Falling,
    /// Beside a cell or row that the open proposal changes.
    Altered,
    /// Beside a row that the open proposal adds.
    Added,
}

/// The look of a session.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Theme {
    /// Whether colours are used; without them modifiers still are.
    pub colours: bool,
    /// Whether marks are drawn in ASCII.
    pub ascii: bool,
}

impl Theme {
    /// The style of a meaning.
    ///
    /// Without colours a style has no foreground and background at all: an empty colour code
    /// would take the modifiers of its cell with it.
    pub fn style(self, tone: Tone) -> Style {
        let (colour, modifier) = look(tone);
        let style = Style::new().add_modifier(modifier);
        match colour {
            Some(colour) if self.colours => style.fg(colour),
            Some(_) | None => style,
        }
    }

    /// A mark as text, one cell wide.
    pub fn glyph(self, glyph: Glyph) -> &'static str {
        let (drawn, plain) = forms(glyph);
        if self.ascii { plain } else { drawn }
    }

    /// The mark and tone of a verdict word.
    pub fn verdict(self, word: &str) -> (&'static str, Tone) {
        let (glyph, tone) = match word {
            "fits" => (Glyph::Fits, Tone::Fits),
            "tight" => (Glyph::Tight, Tone::Tight),
            "fails" => (Glyph::Fails, Tone::Fails),
            _ => (Glyph::Unknown, Tone::Unknown),
        };
        (self.glyph(glyph), tone)
    }

    /// The mark and tone of a severity.
    pub fn severity(self, severity: Severity) -> (&'static str, Tone) {
        let (glyph, tone) = match severity {
            Severity::Stop => (Glyph::Fails, Tone::Fails),
            Severity::Caution => (Glyph::Tight, Tone::Tight),
            Severity::Note => (Glyph::Note, Tone::Plain),
        };
        (self.glyph(glyph), tone)
    }
}

fn look(tone: Tone) -> (Option<Color>, Modifier) {
    match tone {
        Tone::Plain | Tone::Computed => (None, Modifier::empty()),
        Tone::Heading | Tone::Entered => (None, Modifier::BOLD),
        Tone::Quiet => (None, Modifier::DIM),
        Tone::Cursor => (None, Modifier::REVERSED.union(Modifier::BOLD)),
        Tone::Block => (None, Modifier::REVERSED.union(Modifier::DIM)),
        Tone::Key => (Some(Color::Cyan), Modifier::BOLD),
        Tone::Changed => (Some(Color::Magenta), Modifier::UNDERLINED),
        Tone::Fits => (Some(Color::Green), Modifier::empty()),
        Tone::Tight => (Some(Color::Yellow), Modifier::BOLD),
        Tone::Fails => (Some(Color::Red), Modifier::BOLD.union(Modifier::UNDERLINED)),
        Tone::Unknown => (Some(Color::Blue), Modifier::ITALIC),
        Tone::Wrong => (Some(Color::Red), Modifier::BOLD),
        Tone::Care => (Some(Color::Yellow), Modifier::ITALIC),
        Tone::Swatch(colour) => (Some(colour), Modifier::empty()),
    }
}

fn forms(glyph: Glyph) -> (&'static str, &'static str) {
    match glyph {
        Glyph::Fits => ("●", "+"),
        Glyph::Tight => ("▲", "!"),
        Glyph::Fails => ("■", "X"),
        Glyph::Unknown => ("○", "?"),
        Glyph::Note => ("·", "-"),
        Glyph::Cut => ("…", "~"),
        Glyph::RuleEntered => ("━", "="),
        Glyph::RuleComputed => ("┄", "."),
        Glyph::RuleOwn => ("╍", "*"),
        Glyph::Line => ("─", "-"),
        Glyph::Upright => ("│", "|"),
        Glyph::Full => ("█", "#"),
        Glyph::Empty => ("░", "."),
        Glyph::Limit => ("┃", "|"),
        Glyph::Reading => ("◆", "*"),
        Glyph::MoreLeft => ("◂", "<"),
        Glyph::MoreRight => ("▸", ">"),
        Glyph::Here => ("▶", ">"),
        Glyph::Rising => ("↑", "^"),
        Glyph::Falling => ("↓", "v"),
        Glyph::Altered => ("◇", "*"),
        Glyph::Added => ("◆", "#"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_colours_no_style_has_one() {
        let theme = Theme {
            colours: false,
            ascii: true,
        };
        for tone in [Tone::Cursor, Tone::Fails, Tone::Swatch(Color::Blue)] {
            let style = theme.style(tone);
            assert_eq!((style.fg, style.bg), (None, None), "{tone:?}");
        }
    }

    #[test]
    fn verdicts_differ_by_mark_in_both_forms() {
        for ascii in [false, true] {
            let theme = Theme {
                colours: false,
                ascii,
            };
            let words = ["fits", "tight", "fails", "unknown"];
            let mut marks: Vec<&str> = words.iter().map(|word| theme.verdict(word).0).collect();
            marks.sort_unstable();
            marks.dedup();
            assert_eq!(marks.len(), 4);
        }
    }
}
