//! Paints a session into a frame.
//!
//! ```text
//! Aquarium campus  links 46  switches  parts            ■ 8 ▲ 13 · 1  saved
//! id    verdict   from         to           speed medium length       │ reason
//!                                           Gb/s         m            │ of the
//! ━━━━━ ┄┄┄┄┄┄┄┄┄ ━━━━━━━━━━━━ ━━━━━━━━━━━━ ━━━━━ ━━━━━━ ━━━━━━       │ cell
//! rows                                                                │ (beside the
//! ...                                                                 │ ledger where
//! ──────────────────────────────────────────────────────────────────── it is wide,
//! reason of the cell, or the help of an entry                           else under)
//! message, entry or question
//! hints
//! ```

use super::action::Action;
use super::entry::Entry;
use super::grid;
use super::ledger::Head;
use super::page;
use super::page::Line;
use super::pages;
use super::paint::Paint;
use super::session::{Ask, Layer, Session};
use super::theme::{Glyph, Tone};
use crate::desk::SaveState;
use crate::plan::Entry as Entered;
use crate::problem::Severity;
use crate::problem::clean;
use crate::table::RowId;
use crate::units::shown;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

/// From this width on the reason stands beside the ledger.
const WIDE: u16 = 120;
/// Cells of the reason beside the ledger.
const PANE_WIDTH: u16 = 46;
/// Lines of the reason under the ledger.
const PANE_HEIGHT: u16 = 5;

/// The hint of a first start.
const GREETING: [&str; 3] = [
    "A demo plan, a copy in memory; S saves it under a name. Space finds any action.",
    "f: what is wrong; Enter there goes to the cell, w tells why, Esc goes back.",
    "Enter changes a cell, u takes it back. ? shows all keys, q ends.",
];

/// The parts of a frame.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Parts {
    top: Rect,
    body: Rect,
    pane: Rect,
    beside: bool,
    line: Rect,
    hints: Rect,
}

/// Paints a session; gives the place of the terminal's cursor.
pub fn draw(session: &mut Session, buffer: &mut Buffer) -> Option<(u16, u16)> {
    let area = buffer.area;
    if area.width == 0 || area.height == 0 {
        return None;
    }
    let theme = session.theme;
    if session.leaf().is_none() {
        // A page that is opened from here has the whole width.
        session.width = usize::from(area.width);
    }
    let mut paint = Paint { buffer, theme };
    let below = lines_below(session, area);
    let parts = parts(area, below.as_ref().map(Vec::len), session);
    draw_top(session, parts.top, &mut paint);
    let mut cursor = draw_body(session, parts, &mut paint);
    draw_pane(session, below, parts, &mut paint);
    if let Some(at) = draw_line(session, parts.line, &mut paint) {
        cursor = Some(at);
    }
    draw_hints(session, parts.hints, &mut paint);
    cursor.filter(|(x, y)| *x < area.right() && *y < area.bottom())
}

/// What stands under the ledger for an entry; none without one.
fn lines_below(session: &Session, area: Rect) -> Option<Vec<Line>> {
    let entry = session.entry()?;
    Some(entry.lines(&session.desk, usize::from(area.width), session.theme))
}

fn parts(area: Rect, n_below: Option<usize>, session: &Session) -> Parts {
    let mut rest = area;
    let top = take_top(&mut rest, u16::from(area.height >= 4));
    let hints = take_bottom(&mut rest, u16::from(area.height >= 6));
    if let Some(lines) = n_below {
        return parts_of_entry(top, rest, hints, lines);
    }
    let line = take_bottom(&mut rest, u16::from(area.height >= 2));
    let in_ledger = session.leaf().is_none();
    let beside = area.width >= WIDE && session.pane && in_ledger;
    if beside {
        let pane = Rect {
            x: area.right() - PANE_WIDTH,
            width: PANE_WIDTH,
            ..rest
        };
        rest.width -= PANE_WIDTH + 1;
        return Parts {
            top,
            body: rest,
            pane,
            beside,
            line,
            hints,
        };
    }
    // The rule above it takes a line as well.
    let shown = in_ledger && session.pane && rest.height >= 12;
    let pane = take_bottom(&mut rest, if shown { PANE_HEIGHT + 1 } else { 0 });
    Parts {
        top,
        body: rest,
        pane,
        beside,
        line,
        hints,
    }
}

/// With an entry its line stands under a rule, and what is known of it under the line.
fn parts_of_entry(top: Rect, mut rest: Rect, hints: Rect, n_below: usize) -> Parts {
    let lines = u16::try_from(n_below).unwrap_or(u16::MAX).saturating_add(2);
    let most = rest.height - rest.height / 3;
    let mut pane = take_bottom(&mut rest, lines.min(most));
    if pane.height >= 2 {
        take_top(&mut pane, 1);
    }
    let line = take_top(&mut pane, 1);
    Parts {
        top,
        body: rest,
        pane,
        beside: false,
        line,
        hints,
    }
}

fn take_top(rest: &mut Rect, lines: u16) -> Rect {
    let part = Rect {
        height: lines.min(rest.height),
        ..*rest
    };
    rest.y += part.height;
    rest.height -= part.height;
    part
}

fn take_bottom(rest: &mut Rect, lines: u16) -> Rect {
    let height = lines.min(rest.height);
    rest.height -= height;
    Rect {
        y: rest.y + rest.height,
        height,
        ..*rest
    }
}

/// Plan, sheets, counts of findings, and how the plan stands to its file.
fn draw_top(session: &Session, area: Rect, paint: &mut Paint) {
    if area.height == 0 {
        return;
    }
    let state = state_pieces(session);
    let state_width: usize = state.iter().map(|(text, _)| width_of(text) + 1).sum();
    let room = area
        .width
        .saturating_sub(u16::try_from(state_width).unwrap_or(u16::MAX));
    let mut x = area.x;
    let title = match session.desk.plan().title.as_str() {
        "" => "a plan without a title",
        title => title,
    };
    // In a proposal nothing matters more than in which.
    let within = session.desk.within().map(|name| clean(name).into_owned());
    if let Some(name) = &within {
        let mark = paint.theme.glyph(Glyph::Altered);
        let text = format!("{mark} in {name}");
        x += paint.text(x, area.y, room.min(area.width / 3), &text, Tone::Changed);
        x += 2;
    }
    if within.is_none() || area.width >= WIDE {
        x += paint.text(x, area.y, room.min(area.width / 3), title, Tone::Heading);
        x += 2;
    }
    for (at, ledger) in session.ledgers.iter().enumerate() {
        let name = &session.desk.plan().def(ledger.sheet).name;
        let text = match at == session.current {
            true if ledger.is_picked() => {
                let all = session.desk.plan().rows(ledger.sheet).order().len();
                format!("{name} {} of {all}", ledger.rows(&session.desk).len())
            }
            true => format!("{name} {}", ledger.rows(&session.desk).len()),
            false => name.clone(),
        };
        let tone = if at == session.current {
            Tone::Cursor
        } else {
            Tone::Quiet
        };
        let wide = u16::try_from(width_of(&text)).unwrap_or(u16::MAX);
        if x.saturating_add(wide) >= area.x + room && at != session.current {
            break;
        }
        x += paint.text(x, area.y, (area.x + room).saturating_sub(x), &text, tone) + 1;
    }
    let mut x = area
        .right()
        .saturating_sub(u16::try_from(state_width).unwrap_or(u16::MAX))
        .max(area.x);
    for (text, tone) in state {
        x += paint.text(x, area.y, area.right().saturating_sub(x), &text, tone) + 1;
    }
}

fn width_of(text: &str) -> usize {
    unicode_width::UnicodeWidthStr::width(text)
}

fn state_pieces(session: &Session) -> Vec<(String, Tone)> {
    let counts = session.desk.standing().counts();
    let mut pieces = Vec::new();
    for (slot, severity) in [Severity::Stop, Severity::Caution, Severity::Note]
        .into_iter()
        .enumerate()
    {
        let (mark, tone) = session.theme.severity(severity);
        pieces.push((format!("{mark}{}", counts[slot]), tone));
    }
    // Apart from the counts, as it may begin with a number.
    let (state, tone) = save_state(session);
    pieces.push((format!(" {state}"), tone));
    pieces
}

fn save_state(session: &Session) -> (String, Tone) {
    match session.desk.state() {
        SaveState::Saved => ("saved".to_owned(), Tone::Quiet),
        SaveState::Unsaved(n) => (format!("{n} unsaved"), Tone::Tight),
        SaveState::Failing(_) => ("not kept!".to_owned(), Tone::Wrong),
        SaveState::ReadOnly(_) => ("read only".to_owned(), Tone::Tight),
        SaveState::InMemory(0) => ("in memory".to_owned(), Tone::Quiet),
        SaveState::InMemory(n) => (format!("{n} unsaved"), Tone::Tight),
    }
}

/// The ledger, or the page over it; gives the place of the cursor.
fn draw_body(session: &mut Session, parts: Parts, paint: &mut Paint) -> Option<(u16, u16)> {
    let body = parts.body;
    if session.leaf().is_some() {
        return draw_page(session, body, paint);
    }
    let mut body = body;
    if session.greeting && body.height >= 8 {
        for line in GREETING {
            let style = paint.theme.style(Tone::Care);
            paint.styled(body.x, body.y, body.width, line, style);
            body.y += 1;
            body.height -= 1;
        }
    }
    let ledger = &mut session.ledgers[session.current];
    ledger.keep_in_view(grid::height(body), body.width, grid::gap(body.width));
    session.drawn = grid::draw(ledger, &session.desk, body, paint);
    session.drawn.cursor
}

fn draw_page(session: &mut Session, body: Rect, paint: &mut Paint) -> Option<(u16, u16)> {
    let titled = u16::from(body.height >= 3);
    let area = Rect {
        y: body.y + titled,
        height: body.height - titled,
        ..body
    };
    session.fit_pages(usize::from(area.width), usize::from(area.height));
    let has_keys = !matches!(session.layers.last(), Some(Layer::Ask(_)));
    let leaf = session.leaf()?;
    if titled > 0 {
        draw_title(
            &leaf.page.title,
            &leaf.reading,
            leaf.page.lines.len(),
            body,
            paint,
        );
    }
    page::draw(&leaf.page, &leaf.reading, has_keys, area, paint);
    let y = leaf.reading.at.checked_sub(leaf.reading.top)?;
    Some((area.x, area.y + u16::try_from(y).ok()?))
}

fn draw_title(title: &str, reading: &page::Reading, n_lines: usize, area: Rect, paint: &mut Paint) {
    paint.rule(area.x, area.y, area.width, Glyph::Line, Tone::Quiet);
    let used = paint.text(area.x, area.y, area.width, title, Tone::Heading);
    let shown = usize::from(area.height - 1);
    if n_lines > shown {
        let last = (reading.top + shown).min(n_lines);
        let text = format!(" lines {} to {last} of {n_lines} ", reading.top + 1);
        let wide = u16::try_from(text.len()).unwrap_or(0);
        if area.width > used + wide {
            paint.text(area.right() - wide, area.y, wide, &text, Tone::Quiet);
        }
    }
    paint.text(area.x + used, area.y, 1, " ", Tone::Plain);
}

/// The short reason, or the help of an entry.
fn draw_pane(session: &Session, below: Option<Vec<Line>>, parts: Parts, paint: &mut Paint) {
    let mut area = parts.pane;
    if below.is_some() {
        let above = parts
            .line
            .y
            .checked_sub(1)
            .filter(|y| *y >= parts.body.bottom());
        if let Some(y) = above {
            paint.rule(area.x, y, area.width, Glyph::Line, Tone::Quiet);
        }
    } else if parts.beside {
        for y in area.y..area.bottom() {
            let mark = paint.theme.glyph(Glyph::Upright);
            paint.text(area.x.saturating_sub(1), y, 1, mark, Tone::Quiet);
        }
    } else if area.height > 0 {
        paint.rule(area.x, area.y, area.width, Glyph::Line, Tone::Quiet);
        take_top(&mut area, 1);
    }
    if area.height == 0 {
        return;
    }
    let lines = below.unwrap_or_else(|| short_reason(session, area));
    for (y, line) in (area.y..area.bottom()).zip(&lines) {
        page::draw_line(
            line,
            false,
            Rect {
                y,
                height: 1,
                ..area
            },
            paint,
        );
    }
}

fn short_reason(session: &Session, area: Rect) -> Vec<Line> {
    let ledger = session.ledger();
    match (ledger.head(), ledger.here(&session.desk)) {
        (Some(head), Some(row)) => {
            let findings = session.desk.findings_of(ledger.sheet, row);
            let (width, height) = (usize::from(area.width), usize::from(area.height));
            let stood = stood(session, head, row);
            let mut lines = pages::short(
                &session.desk,
                head.id,
                row,
                &findings,
                width,
                height.saturating_sub(usize::from(stood.is_some())),
                session.theme,
            );
            if let Some(line) = stood {
                lines.insert(1.min(lines.len()), line);
            }
            lines
        }
        _ => Vec::new(),
    }
}

/// What a cell is in what the open proposal stands on, where it is something else.
fn stood(session: &Session, head: &Head, row: RowId) -> Option<Line> {
    let (plan, sheet) = (session.desk.plan(), session.ledger().sheet);
    let entry = plan.stood(sheet, head.position, row)?;
    let unit = session.desk.engine().unit(head.id);
    let value = match entry {
        Entered::Empty => "nothing".to_owned(),
        Entered::Number(value) => shown(*value, unit, None),
        Entered::Text(_) | Entered::Wrong(_) => entry.text(unit, plan.names()),
    };
    let mark = session.theme.glyph(Glyph::Altered);
    let text = clean(&format!("{mark} without this proposal: {value}")).into_owned();
    Some(Line::new(text, Tone::Changed))
}

/// The entry, the question, or what the last key did.
fn draw_line(session: &Session, area: Rect, paint: &mut Paint) -> Option<(u16, u16)> {
    if area.height == 0 {
        return None;
    }
    match session.layers.last() {
        Some(Layer::Entry(entry)) => Some(Entry::draw(entry, area, paint)),
        Some(Layer::Ask(ask)) => {
            draw_ask(ask, area, paint);
            None
        }
        Some(Layer::Page(_)) | None => {
            let (text, tone) = &session.message;
            match (text.is_empty(), session.desk.state()) {
                (true, SaveState::Failing(why)) => {
                    let text = format!("steps are not kept: {why}; save under another name");
                    paint.text(area.x, area.y, area.width, &text, Tone::Wrong);
                }
                _ => {
                    paint.text(area.x, area.y, area.width, text, *tone);
                }
            }
            None
        }
    }
}

fn draw_ask(ask: &Ask, area: Rect, paint: &mut Paint) {
    let mut line = Line::new(format!("{}  ", ask.text), Tone::Care);
    for (key, words, _) in &ask.answers {
        line = line
            .with(format!("{key} "), Tone::Key)
            .with(format!("{words}  "), Tone::Plain);
    }
    line = line.with("Esc ", Tone::Key).with("neither", Tone::Plain);
    page::draw_line(&line, false, area, paint);
}

/// The actions whose keys matter here, as many as fit.
fn draw_hints(session: &Session, area: Rect, paint: &mut Paint) {
    let mut x = area.x;
    if area.height == 0 {
        return;
    }
    for (key, words) in hints(session) {
        let wide = u16::try_from(width_of(&key) + 1 + width_of(&words) + 2).unwrap_or(u16::MAX);
        if x + wide > area.right() + 2 {
            break;
        }
        x += paint.text(x, area.y, wide, &key, Tone::Key) + 1;
        x += paint.text(x, area.y, wide, &words, Tone::Quiet) + 2;
    }
}

fn hints(session: &Session) -> Vec<(String, String)> {
    let of = |actions: &[Action]| {
        let hint = |action: &Action| {
            let record = action.record();
            let key = record
                .keys
                .first()
                .map_or(String::new(), ToString::to_string);
            (key, record.hint.to_owned())
        };
        actions.iter().map(hint).collect::<Vec<_>>()
    };
    let plain = |pairs: &[(&str, &str)]| {
        let owned = |(key, words): &(&str, &str)| ((*key).to_owned(), (*words).to_owned());
        pairs.iter().map(owned).collect::<Vec<_>>()
    };
    match session.layers.last() {
        Some(Layer::Entry(_)) => plain(&[
            ("Enter", "take it"),
            ("Tab", "complete"),
            ("Esc", "leave it"),
        ]),
        Some(Layer::Ask(_)) => Vec::new(),
        Some(Layer::Page(_)) => {
            let mut list = plain(&[("Enter", "follow"), ("Esc", "back")]);
            list.extend(of(&[
                Action::Help,
                Action::Undo,
                Action::Save,
                Action::Actions,
            ]));
            list
        }
        None => of(&[
            Action::Help,
            Action::Enter,
            Action::Why,
            Action::Findings,
            Action::Picture,
            Action::Undo,
            Action::NextSheet,
            Action::Save,
            Action::Actions,
            Action::Quit,
        ]),
    }
}
