//! Text laid into lines of a width: wrapped with tones, or in columns that line up.
//!
//! Everything that a page says goes through here, so that it is safe to show and no line is
//! longer than its place. What is said is decided in the pages.

use crate::problem::clean;
use crate::screen::page::Line;
use crate::screen::page::Page;
use crate::screen::page::Target;
use crate::screen::theme::Glyph;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;
use unicode_segmentation::UnicodeSegmentation;
use unicode_width::UnicodeWidthStr;

/// The narrowest place that is laid out for.
const NARROWEST: usize = 8;

/// The fewest cells that the last column may have; with less it goes under the others.
const LAST_COLUMN: usize = 16;

/// The most blanks that stay between two words.
const WIDEST_GAP: usize = 8;

/// A part of a text with its meaning.
pub(super) type Piece = (String, Tone);

/// A part of a text with its meaning.
pub(super) fn piece(text: impl Into<String>, tone: Tone) -> Piece {
    (text.into(), tone)
}

/// A page that is being written.
#[derive(Debug)]
pub(super) struct Lay {
    /// The cells of a line.
    pub width: usize,
    /// How things look.
    pub theme: Theme,
    page: Page,
}

impl Lay {
    /// A page without lines.
    pub fn new(title: &str, width: usize, theme: Theme) -> Self {
        Self {
            width: width.max(NARROWEST),
            theme,
            page: Page {
                title: clean(title).into_owned(),
                lines: Vec::new(),
            },
        }
    }

    /// The page as it is now.
    pub fn page(self) -> Page {
        self.page
    }

    /// An empty line.
    pub fn gap(&mut self) {
        self.page.lines.push(Line::empty());
    }

    /// A heading, with an empty line before it unless it is the first.
    pub fn heading(&mut self, text: &str) {
        if !self.page.lines.is_empty() {
            self.gap();
        }
        self.say(0, text, Tone::Heading);
    }

    /// A paragraph of one tone, all lines indented.
    pub fn say(&mut self, indent: usize, text: &str, tone: Tone) {
        self.item(indent, indent, &[piece(text, tone)], Target::None);
    }

    /// A paragraph whose first line leads somewhere; its other lines hang.
    pub fn item(&mut self, indent: usize, hang: usize, pieces: &[Piece], target: Target) {
        let indent = indent.min(self.width / 3);
        let before = piece(" ".repeat(indent), Tone::Plain);
        self.flow(vec![before], hang, pieces, target);
    }

    /// Cells of fixed widths with a gap after each, then text that hangs under its own beginning.
    ///
    /// Where too little is left for that text it goes under the cells; where even those do not
    /// fit, all of it is one paragraph.
    pub fn row(&mut self, cells: &[(Piece, usize)], rest: &[Piece], target: Target) {
        let used: usize = cells.iter().map(|(_, width)| width + 1).sum();
        if used > self.width + 1 {
            let all: Vec<Piece> = cells
                .iter()
                .flat_map(|(cell, _)| [cell.clone(), piece(" ", Tone::Plain)])
                .chain(rest.iter().cloned())
                .collect();
            return self.item(0, 2, &all, target);
        }
        let below = used + LAST_COLUMN > self.width && !rest.is_empty();
        let mut before = Vec::new();
        for (at, ((text, tone), width)) in cells.iter().enumerate() {
            let last = at + 1 == cells.len() && (below || rest.is_empty());
            let text = fit(text, *width, self.theme);
            before.push(match last {
                true => piece(text.trim_end(), *tone),
                false => piece(text, *tone),
            });
            if !last {
                before.push(piece(" ", Tone::Plain));
            }
        }
        match below {
            true => {
                self.flow(before, 0, &[], target);
                self.item(2, 2, rest, Target::None);
            }
            false => self.flow(before, used, rest, target),
        }
    }

    /// One line as it is; what does not fit is cut.
    pub fn line(&mut self, pieces: Vec<Piece>, target: Target) {
        let mut line = Line::empty().to(target);
        let mut room = self.width;
        for (text, tone) in pieces {
            let text = clean(&text);
            let wide = width_of(&text);
            if wide > room {
                line.pieces.push((fit(&text, room, self.theme), tone));
                break;
            }
            room -= wide;
            line.pieces.push((text.into_owned(), tone));
        }
        self.page.lines.push(line);
    }

    /// Lays words behind what the first line begins with, which has to fit.
    fn flow(&mut self, before: Vec<Piece>, hang: usize, pieces: &[Piece], target: Target) {
        let mut flow = Flow {
            width: self.width,
            hang: hang.min(self.width / 2),
            used: before.iter().map(|(text, _)| width_of(text)).sum(),
            is_bare: false,
            has_words: false,
            line: before,
            lines: Vec::new(),
        };
        for (blanks, word) in words(pieces) {
            flow.word(blanks, word);
        }
        let mut lines = flow.end();
        if let Some(first) = lines.first_mut() {
            first.target = target;
        }
        self.page.lines.append(&mut lines);
    }
}

/// Words on their way into lines.
struct Flow {
    width: usize,
    hang: usize,
    used: usize,
    /// Whether the line holds nothing but its hang.
    is_bare: bool,
    /// Whether a word stands in the line already.
    has_words: bool,
    line: Vec<Piece>,
    lines: Vec<Line>,
}

impl Flow {
    fn word(&mut self, blanks: usize, word: Vec<Piece>) {
        let wide: usize = word.iter().map(|(text, _)| width_of(text)).sum();
        let gap = if self.has_words { blanks } else { 0 };
        if self.used + gap + wide <= self.width {
            if gap > 0 {
                self.space(gap, word.first().map_or(Tone::Plain, |(_, tone)| *tone));
            }
            word.into_iter().for_each(|part| self.push(part));
            self.has_words = true;
        } else if !self.is_bare {
            self.next_line();
            self.word(blanks, word);
        } else {
            self.broken(word);
        }
    }

    /// A word longer than a line, broken where the line ends.
    fn broken(&mut self, word: Vec<Piece>) {
        for (text, tone) in word {
            for part in text.graphemes(true) {
                // Signs that join without end are one character to a reader, wider than a line.
                let endless = part.width() > self.width - self.hang;
                let part = if endless { "\u{fffd}" } else { part };
                if self.used + part.width() > self.width {
                    self.next_line();
                }
                self.push(piece(part, tone));
                self.has_words = true;
            }
        }
        self.is_bare = false;
    }

    /// Blanks, in the tone of both neighbours where they have the same.
    fn space(&mut self, blanks: usize, next: Tone) {
        let tone = match self.line.last() {
            Some((_, last)) if *last == next => next,
            Some(_) | None => Tone::Plain,
        };
        self.push(piece(" ".repeat(blanks), tone));
    }

    fn push(&mut self, (text, tone): Piece) {
        self.used += width_of(&text);
        self.is_bare = false;
        match self.line.last_mut() {
            Some((last, same)) if *same == tone => last.push_str(&text),
            Some(_) | None => self.line.push((text, tone)),
        }
    }

    fn next_line(&mut self) {
        let hang = piece(" ".repeat(self.hang), Tone::Plain);
        let pieces = std::mem::replace(&mut self.line, vec![hang]);
        self.lines.push(line_of(pieces));
        (self.used, self.is_bare, self.has_words) = (self.hang, true, false);
    }

    fn end(mut self) -> Vec<Line> {
        if !self.is_bare {
            self.lines.push(line_of(self.line));
        }
        self.lines
    }
}

fn line_of(mut pieces: Vec<Piece>) -> Line {
    pieces.retain(|(text, _)| !text.is_empty());
    Line {
        pieces,
        target: Target::None,
    }
}

/// Words with their tones, each with the blanks before it; pieces without a blank between them are
/// one word.
fn words(pieces: &[Piece]) -> Vec<(usize, Vec<Piece>)> {
    let (mut words, mut word, mut blanks) = (Vec::new(), Vec::new(), 0);
    for (text, tone) in pieces {
        for (at, part) in clean(text).split(' ').enumerate() {
            if at > 0 {
                if !word.is_empty() {
                    words.push((blanks, std::mem::take(&mut word)));
                    blanks = 0;
                }
                blanks = (blanks + 1).min(WIDEST_GAP);
            }
            if !part.is_empty() {
                word.push((part.to_owned(), *tone));
            }
        }
    }
    if !word.is_empty() {
        words.push((blanks, word));
    }
    words
}

/// The cells that a text takes, counted as they are drawn.
pub(super) fn width_of(text: &str) -> usize {
    match text.is_ascii() {
        true => text.len(),
        false => text.graphemes(true).map(UnicodeWidthStr::width).sum(),
    }
}

/// A text cut with a mark, or filled with blanks, to exactly so many cells.
pub(super) fn fit(text: &str, width: usize, theme: Theme) -> String {
    let text = clean(text);
    let wide = width_of(&text);
    if wide <= width {
        return format!("{text}{}", " ".repeat(width - wide));
    }
    let (mut cut, mut used) = (String::new(), 0);
    for part in text.graphemes(true) {
        if used + part.width() >= width {
            break;
        }
        cut.push_str(part);
        used += part.width();
    }
    if used < width {
        cut.push_str(theme.glyph(Glyph::Cut));
        used += 1;
    }
    cut + &" ".repeat(width.saturating_sub(used))
}

/// The first lines of some, the last of them with a mark where more would follow.
pub(super) fn first_lines(
    mut lines: Vec<Line>,
    most: usize,
    width: usize,
    theme: Theme,
) -> Vec<Line> {
    if lines.len() <= most {
        return lines;
    }
    lines.truncate(most);
    if let Some((text, _)) = lines.last_mut().and_then(|line| line.pieces.last_mut()) {
        text.push_str(theme.glyph(Glyph::Cut));
    }
    // The mark may stand one cell past the end.
    if let Some(last) = lines.pop() {
        let mut lay = Lay::new("", width, theme);
        lay.line(last.pieces, last.target);
        lines.append(&mut lay.page.lines);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const THEME: Theme = Theme {
        colours: false,
        ascii: false,
    };

    fn texts(lay: Lay) -> Vec<String> {
        lay.page().lines.iter().map(Line::text).collect()
    }

    #[test]
    fn words_of_several_tones_stay_whole() {
        let mut lay = Lay::new("", 10, THEME);
        let pieces = [
            piece("one (", Tone::Quiet),
            piece("two", Tone::Key),
            piece(") x", Tone::Quiet),
        ];
        lay.item(0, 2, &pieces, Target::None);
        assert_eq!(texts(lay), ["one (two)", "  x"]);
    }

    #[test]
    fn what_does_not_fit_beside_goes_below() {
        let rows = |width| {
            let mut lay = Lay::new("", width, THEME);
            let cells = [(piece("abcdef", Tone::Key), 3), (piece("x", Tone::Key), 1)];
            let rest = [piece("the words of a sentence", Tone::Plain)];
            lay.row(&cells, &rest, Target::None);
            texts(lay)
        };
        assert_eq!(rows(24), ["ab… x the words of a", "      sentence"]);
        assert_eq!(rows(20), ["ab… x", "  the words of a", "  sentence"]);
    }

    #[test]
    fn a_cell_is_as_wide_as_it_is_told() {
        assert_eq!(fit("水族館", 5, THEME), "水族…");
        assert_eq!(fit("水族館", 4, THEME), "水… ");
        assert_eq!(fit("水族館", 8, THEME), "水族館  ");
        assert_eq!(fit("a\u{1b}[2J", 9, THEME), "a␛[2J    ");
        assert_eq!(fit("ab", 0, THEME), "");
    }

    proptest! {
        #[test]
        fn no_line_is_longer_than_its_place(
            texts in proptest::collection::vec("\\PC{0,30}", 0..4),
            any in ".{0,40}",
            width in 0_usize..90,
            (indent, hang, cell) in (0_usize..40, 0_usize..40, 0_usize..30),
        ) {
            let mut lay = Lay::new(&any, width, THEME);
            let pieces: Vec<Piece> = texts.iter().map(|text| piece(text, Tone::Plain)).collect();
            lay.item(indent, hang, &pieces, Target::None);
            lay.row(&[(piece(&any, Tone::Key), cell)], &pieces, Target::None);
            lay.line(pieces, Target::None);
            let width = width.max(NARROWEST);
            for line in lay.page().lines {
                prop_assert!(width_of(&line.text()) <= width, "{:?}", line.text());
            }
            prop_assert_eq!(width_of(&fit(&any, cell, THEME)), cell);
        }
    }
}
