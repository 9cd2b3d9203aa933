//! How the line and what stands under it are laid out in cells.

use super::Entry;
use super::advice::Advice;
use super::advice::Told;
use super::buffer::Window;
use super::buffer::cells;
use super::buffer::cells_of;
use super::buffer::width_of;
use super::offers::Offer;
use super::offers::SHOWN;
use crate::formula::Piece;
use crate::formula::Span;
use crate::formula::pieces;
use crate::problem::Problem;
use crate::screen::page::Line;
use crate::screen::page::wrapped;
use crate::screen::paint::Paint;
use crate::screen::theme::Glyph;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;
use ratatui::layout::Rect;

/// In fewer cells the label is left out.
const NARROW: usize = 16;

/// The most cells of the words in the list of offers, remarks stand behind.
const MOST_WORD: usize = 28;

/// How many cells the label takes, the blank behind it included.
fn label_width(entry: &Entry, width: usize) -> usize {
    match width < NARROW {
        true => 0,
        false => (width_of(&entry.label) + 1).min(width / 2),
    }
}

/// Draws label and text, and gives the place of the cursor.
pub(super) fn draw(entry: &Entry, area: Rect, paint: &mut Paint) -> (u16, u16) {
    let frame = paint.buffer.area;
    let area = area.intersection(frame);
    if area.is_empty() {
        return (frame.x, frame.y);
    }
    let width = usize::from(area.width);
    let label = label_width(entry, width);
    paint.blank(area.x, area.y, area.width, paint.theme.style(Tone::Plain));
    if label > 1 {
        paint.text(
            area.x,
            area.y,
            cells(label - 1),
            &entry.label,
            Tone::Heading,
        );
    }
    let window = entry.buffer.window(width - label);
    let start = entry.purpose.formula_start(entry.text());
    let parts = start.map_or_else(Vec::new, |start| toned(entry.text(), start));
    let tone = |byte: usize| {
        if entry.is_fresh() {
            return Tone::Block;
        }
        let at = parts.partition_point(|(span, _)| span.end <= byte);
        let part = parts.get(at).filter(|(span, _)| span.start <= byte);
        part.map_or(Tone::Plain, |(_, tone)| *tone)
    };
    let x = area.x + cells(label);
    entry.buffer.draw(x, area.y, window, tone, paint);
    (x + cells(entry.buffer.cursor_cell() - window.start), area.y)
}

/// The parts of a formula with their meanings, from left to right.
fn toned(text: &str, start: usize) -> Vec<(Span, Tone)> {
    let pieces = pieces(&text[start..]);
    let tones = pieces.iter().enumerate().map(|(at, (piece, span))| {
        let opens = pieces
            .get(at + 1)
            .is_some_and(|(next, _)| *next == Piece::Open);
        let tone = match piece {
            Piece::Name if opens => Tone::Key,
            Piece::Name | Piece::Open | Piece::Close | Piece::Comma => Tone::Plain,
            Piece::Quantity | Piece::Text => Tone::Entered,
            Piece::Operator => Tone::Quiet,
            Piece::Other => Tone::Wrong,
        };
        (span.start + start..span.end + start, tone)
    });
    tones.collect()
}

/// What stands under the line.
pub(super) fn lines(entry: &Entry, advice: &Advice, width: usize, theme: Theme) -> Vec<Line> {
    let width = width.max(1);
    let mut out = Vec::new();
    match &entry.refused {
        Some(problem) => problems(entry, std::slice::from_ref(problem), width, theme, &mut out),
        None if advice.patient && !entry.asked => {}
        None => problems(entry, &advice.problems, width, theme, &mut out),
    }
    for told in &advice.told {
        match told {
            Told::Line(line) => out.push(line.clone()),
            Told::Text(text, tone) => paragraph(text, *tone, width, &mut out),
        }
    }
    offers(entry, advice, width, theme, &mut out);
    out
}

fn paragraph(text: &str, tone: Tone, width: usize, out: &mut Vec<Line>) {
    out.extend(
        wrapped(text, width)
            .into_iter()
            .map(|text| Line::new(text, tone)),
    );
}

/// Problems with their marks under the characters; several are numbered.
fn problems(entry: &Entry, problems: &[Problem], width: usize, theme: Theme, out: &mut Vec<Line>) {
    let label = label_width(entry, width);
    let window = entry.buffer.window(width - label);
    let mut row = vec![' '; window.width];
    let mut marked = false;
    for (at, problem) in problems.iter().enumerate() {
        let number =
            (problems.len() > 1).then(|| char::from_digit(at as u32 + 1, 10).unwrap_or('^'));
        for span in spans(entry, problem) {
            marked |= mark(
                &mut row,
                window,
                cells_of(entry.text(), &span),
                number,
                theme,
            );
        }
    }
    if marked {
        let row: String = row.into_iter().collect();
        out.push(Line::new(" ".repeat(label) + row.trim_end(), Tone::Wrong));
    }
    for (at, problem) in problems.iter().enumerate() {
        let before = match problems.len() > 1 {
            true => format!("{} wrong: ", at + 1),
            false => "wrong: ".to_owned(),
        };
        paragraph(
            &format!("{before}{}", problem.message),
            Tone::Wrong,
            width,
            out,
        );
        for (span, said) in said(entry, problem) {
            paragraph(&format!("  `{span}`: {said}"), Tone::Plain, width, out);
        }
        for step in &problem.help {
            paragraph(&format!("  {step}"), Tone::Plain, width, out);
        }
    }
}

/// The bytes of the text that a problem is about; none when it is about another text.
fn spans(entry: &Entry, problem: &Problem) -> Vec<Span> {
    let labels = own_place(entry, problem).map_or(&[][..], |place| &place.labels);
    labels.iter().map(|label| label.span.clone()).collect()
}

/// What is said of single parts, with the part.
fn said<'a>(entry: &'a Entry, problem: &'a Problem) -> Vec<(&'a str, &'a str)> {
    let Some(place) = own_place(entry, problem).filter(|place| place.labels.len() > 1) else {
        return Vec::new();
    };
    let labels = place.labels.iter().filter(|label| !label.text.is_empty());
    let part = |span: &Span| entry.text().get(span.clone()).unwrap_or_default();
    labels
        .map(|label| (part(&label.span), label.text.as_str()))
        .collect()
}

/// The place of a problem where it is in the text of the line.
fn own_place<'a>(entry: &Entry, problem: &'a Problem) -> Option<&'a crate::problem::Place> {
    let place = problem.place.as_ref()?;
    (place.source == entry.text() || place.source.is_empty()).then_some(place)
}

/// Marks cells of the shown part; what lies outside is pointed to from its edge.
fn mark(
    row: &mut [char],
    window: Window,
    at: std::ops::Range<usize>,
    number: Option<char>,
    theme: Theme,
) -> bool {
    let glyph = |glyph| theme.glyph(glyph).chars().next().unwrap_or('^');
    let last = row.len() - 1;
    if at.end <= window.start {
        row[0] = glyph(Glyph::MoreLeft);
    } else if at.start >= window.start + window.width {
        row[last] = glyph(Glyph::MoreRight);
    } else {
        let from = at.start.saturating_sub(window.start);
        let to = (at.end - window.start).min(row.len());
        for cell in &mut row[from..to] {
            *cell = '^';
        }
        if let Some(number) = number {
            row[from] = number;
        }
    }
    true
}

/// The offers around the chosen one, with how many more there are.
fn offers(entry: &Entry, advice: &Advice, width: usize, theme: Theme, out: &mut Vec<Line>) {
    let list = &advice.offers;
    let first = match entry.chosen {
        Some(at) => (at + 1).saturating_sub(SHOWN),
        None => 0,
    };
    let shown = &list[first.min(list.len())..list.len().min(first + SHOWN)];
    let widest = shown
        .iter()
        .map(|offer| width_of(&offer.shown))
        .max()
        .unwrap_or(0);
    let column = widest.min(MOST_WORD).min(width);
    for (at, offer) in shown.iter().enumerate() {
        out.push(offered(
            offer,
            entry.chosen == Some(first + at),
            column,
            theme,
        ));
    }
    let n_more = list.len() - shown.len();
    let partly = if advice.partly {
        "; only a part of the names was looked at, type more"
    } else {
        ""
    };
    match (n_more, list.is_empty()) {
        (0, true) => {}
        (0, false) if partly.is_empty() => {}
        (0, false) => out.push(Line::new(partly.trim_start_matches("; "), Tone::Quiet)),
        (n, _) => out.push(Line::new(format!("  {n} more{partly}"), Tone::Quiet)),
    }
}

fn offered(offer: &Offer, is_chosen: bool, column: usize, theme: Theme) -> Line {
    let (mark, tone) = match is_chosen {
        true => (theme.glyph(Glyph::Here), Tone::Cursor),
        false => (" ", Tone::Plain),
    };
    let gap = column.saturating_sub(width_of(&offer.shown));
    Line::new(format!("{mark} {}", offer.shown), tone)
        .with(" ".repeat(gap), tone)
        .with(format!("  {}", offer.remark), Tone::Quiet)
}
