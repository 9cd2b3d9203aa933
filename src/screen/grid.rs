//! Draws a ledger: heads with name and unit, a rule that tells entered from computed columns, and
//! the rows in view. Only cells in view are looked at.

use super::ledger::cell_text;
use super::ledger::{Filling, Head, Ledger};
use super::paint::{Paint, Side};
use super::theme::{Glyph, Tone};
use crate::desk::Desk;
use crate::plan::RowMark;
use crate::table::RowId;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Lines above the first row.
pub const HEAD_LINES: u16 = 3;

/// Where things were drawn, so that a click finds them.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Drawn {
    /// The first line of rows.
    pub top: u16,
    /// For each column in view: its position among those shown, its first cell and its width.
    pub columns: Vec<(usize, u16, u16)>,
    /// How many rows fit.
    pub height: usize,
    /// Where the cursor stands, for the cursor of the terminal.
    pub cursor: Option<(u16, u16)>,
}

/// The blank cells between two columns.
pub fn gap(width: u16) -> u16 {
    if width >= 100 { 2 } else { 1 }
}

/// How many rows fit into an area.
pub fn height(area: Rect) -> usize {
    usize::from(area.height.saturating_sub(HEAD_LINES))
}

/// Draws the ledger; it has been scrolled to fit before.
pub fn draw(ledger: &Ledger, desk: &Desk, area: Rect, paint: &mut Paint) -> Drawn {
    let mut drawn = Drawn {
        top: area.y + HEAD_LINES.min(area.height),
        columns: columns_in_view(ledger, area),
        height: height(area),
        cursor: None,
    };
    for (at, x, width) in &drawn.columns {
        draw_head(
            &ledger.heads[*at],
            ledger,
            Rect::new(*x, area.y, *width, area.height),
            paint,
        );
    }
    mark_more(ledger, &drawn, area, paint);
    let rows = ledger.rows(desk);
    let last = rows.len().min(ledger.top + drawn.height);
    for (y, at) in (drawn.top..area.bottom()).zip(ledger.top..last) {
        draw_row(ledger, desk, (at, rows[at]), y, &mut drawn, paint);
    }
    if rows.is_empty() && drawn.height > 0 {
        let word = match ledger.is_picked() {
            true => "no row is kept",
            false => "no rows yet",
        };
        paint.text(area.x, drawn.top, area.width, word, Tone::Quiet);
    }
    drawn
}

/// The columns that fit: those that stay, then from the first scrolled one on.
fn columns_in_view(ledger: &Ledger, area: Rect) -> Vec<(usize, u16, u16)> {
    let mut columns = Vec::new();
    let mut x = area.x;
    let fixed = 0..ledger.n_fixed.min(ledger.heads.len());
    for at in fixed.chain(ledger.left.max(ledger.n_fixed)..ledger.heads.len()) {
        let room = area.right().saturating_sub(x);
        let width = ledger.heads[at].width.min(room);
        // A column that is cut is shown only where nothing better fits.
        if width == 0 || (width < ledger.heads[at].width && columns.len() > ledger.n_fixed) {
            break;
        }
        columns.push((at, x, width));
        x = x.saturating_add(width + gap(area.width));
    }
    columns
}

fn draw_head(head: &Head, ledger: &Ledger, area: Rect, paint: &mut Paint) {
    let side = side(head);
    let mut name = head.name.clone();
    let ordered = ledger.order.iter().find(|(column, _)| *column == head.id);
    if let Some((_, falling)) = ordered {
        let glyph = if *falling {
            Glyph::Falling
        } else {
            Glyph::Rising
        };
        name.push_str(paint.theme.glyph(glyph));
    }
    let is_here = ledger.head().is_some_and(|here| here.id == head.id);
    let tone = if is_here { Tone::Key } else { Tone::Heading };
    let line = |y: u16| Rect {
        y: area.y + y,
        height: 1,
        ..area
    };
    let style = paint.theme.style(tone);
    if area.height > 0 {
        paint.cell(line(0), &name, side, style);
    }
    let quiet = paint.theme.style(Tone::Quiet);
    if area.height > 1 {
        paint.cell(line(1), &head.unit, side, quiet);
    }
    let glyph = match head.filling {
        Filling::Entered => Glyph::RuleEntered,
        Filling::Computed => Glyph::RuleComputed,
        Filling::Own => Glyph::RuleOwn,
    };
    if area.height > 2 {
        paint.rule(area.x, area.y + 2, area.width, glyph, Tone::Quiet);
    }
}

/// Says at the ends of the line of units that there are columns to either side.
fn mark_more(ledger: &Ledger, drawn: &Drawn, area: Rect, paint: &mut Paint) {
    if area.height < 2 {
        return;
    }
    let last = drawn.columns.last().map_or(0, |(at, _, _)| *at);
    if ledger.left > ledger.n_fixed
        && let Some((_, x, _)) = drawn
            .columns
            .iter()
            .find(|(at, _, _)| *at >= ledger.n_fixed)
    {
        let glyph = paint.theme.glyph(Glyph::MoreLeft);
        paint.text(x.saturating_sub(1), area.y, 1, glyph, Tone::Key);
    }
    if last + 1 < ledger.heads.len() && area.width > 1 {
        let glyph = paint.theme.glyph(Glyph::MoreRight);
        paint.text(area.right() - 1, area.y, 1, glyph, Tone::Key);
    }
}

fn draw_row(
    ledger: &Ledger,
    desk: &Desk,
    (at, row): (usize, RowId),
    y: u16,
    drawn: &mut Drawn,
    paint: &mut Paint,
) {
    let ((first, last), (from, to)) = ledger.block();
    let in_rows = ledger.mark.is_some() && (first..=last).contains(&at);
    for (column, x, width) in &drawn.columns {
        let head = &ledger.heads[*column];
        let is_here = at == ledger.row && *column == ledger.column;
        if is_here {
            drawn.cursor = Some((*x, y));
        }
        let place = match (is_here, in_rows && (from..=to).contains(column)) {
            (true, _) => Some(Tone::Cursor),
            (false, true) => Some(Tone::Block),
            (false, false) => None,
        };
        let area = Rect::new(*x, y, *width, 1);
        draw_cell(head, desk, row, place, area, paint);
        let is_altered = desk
            .plan()
            .stood(ledger.sheet, head.position, row)
            .is_some();
        if is_altered && *x > 0 {
            let glyph = paint.theme.glyph(Glyph::Altered);
            paint.text(*x - 1, y, 1, glyph, Tone::Changed);
        }
    }
    mark_row(ledger, desk, row, y, drawn, paint);
}

/// Says behind the id that the open proposal changes or adds the row.
fn mark_row(ledger: &Ledger, desk: &Desk, row: RowId, y: u16, drawn: &Drawn, paint: &mut Paint) {
    let Some((_, x, width)) = drawn.columns.first() else {
        return;
    };
    let glyph = match desk.plan().row_mark(ledger.sheet, row) {
        Some(RowMark::Added) => Glyph::Added,
        Some(RowMark::Changed) => Glyph::Altered,
        None => return,
    };
    let glyph = paint.theme.glyph(glyph);
    paint.text(x + width, y, 1, glyph, Tone::Changed);
}

fn draw_cell(
    head: &Head,
    desk: &Desk,
    row: RowId,
    place: Option<Tone>,
    area: Rect,
    paint: &mut Paint,
) {
    let text = cell_text(desk.engine(), desk, head.id, row);
    let mut style = paint.theme.style(tone_of(head));
    if head.is_verdict {
        let (mark, tone) = paint.theme.verdict(&text);
        style = paint.theme.style(tone);
        put(
            area,
            &format!("{mark} {text}"),
            head,
            with_place(style, place, paint),
            paint,
        );
        return;
    }
    if desk.wrong_text(head.id, row).is_some() {
        style = paint.theme.style(Tone::Wrong);
    }
    put(area, &text, head, with_place(style, place, paint), paint);
}

fn with_place(style: Style, place: Option<Tone>, paint: &Paint) -> Style {
    match place {
        Some(tone) => style.patch(paint.theme.style(tone)),
        None => style,
    }
}

fn put(area: Rect, text: &str, head: &Head, style: Style, paint: &mut Paint) {
    paint.cell(area, text, side(head), style);
}

fn side(head: &Head) -> Side {
    if head.is_number {
        Side::Right
    } else {
        Side::Left
    }
}

fn tone_of(head: &Head) -> Tone {
    match head.filling {
        Filling::Entered => Tone::Entered,
        Filling::Computed | Filling::Own => Tone::Computed,
    }
}
