//! A sweep as curves, a strip of verdicts, and the places where they turn.
//!
//! Marks alone carry the meaning, so that it works without colour and in ASCII.

use super::lay::Lay;
use super::lay::Piece;
use super::lay::piece;
use crate::desk::Desk;
use crate::problem::Problem;
use crate::screen::page::Page;
use crate::screen::page::Target;
use crate::screen::theme::Glyph;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;
use crate::study::Look;
use crate::study::curve::bounds;
use crate::study::curve::curves;
use crate::study::curve::ticks;
use crate::study::sweep::Asked;
use crate::study::sweep::Axis;
use crate::study::sweep::Knob;
use crate::study::sweep::Swept;
use crate::study::sweep::Watch;
use crate::study::sweep::sweep as study;
use crate::study::sweep::usual_watches;
use crate::table::{Cell, RowId, SheetId};
use crate::units::significant;

/// Lines of one curve.
const HEIGHT: usize = 8;

/// Cells of the numbers left of a curve.
const LEFT: usize = 10;

/// The most cells of a curve.
const LONGEST: usize = 100;

/// A knob turned over a range, and what becomes of a row.
pub fn sweep(
    desk: &Desk,
    knob: Knob,
    of: (SheetId, RowId),
    range: &str,
    width: usize,
    theme: Theme,
) -> Page {
    let title = match Axis::new(desk.plan(), knob, range) {
        Ok(axis) => format!("Sweep of {}", axis.name),
        Err(_) => "Sweep".to_owned(),
    };
    let mut lay = Lay::new(&title, width, theme);
    match swept(desk, knob, of, range) {
        Ok(swept) => tell(&mut lay, desk, of, &swept),
        Err(problem) => {
            lay.say(0, &problem.message, Tone::Wrong);
            for help in &problem.help {
                lay.say(2, help, Tone::Quiet);
            }
        }
    }
    lay.page()
}

fn swept(
    desk: &Desk,
    knob: Knob,
    (sheet, row): (SheetId, RowId),
    range: &str,
) -> Result<Swept, Problem> {
    let (plan, engine) = (desk.plan(), desk.engine());
    let look = Look {
        plan,
        engine,
        sheet,
    };
    let watches = usual_watches(look).into_iter();
    let watches =
        watches.filter_map(|name| Watch::new(plan, engine, name, Some((sheet, row))).ok());
    let asked = Asked {
        axes: vec![Axis::new(plan, knob, range)?],
        watches: watches.collect(),
        with: Vec::new(),
    };
    study(plan, engine, asked)
}

fn tell(lay: &mut Lay, desk: &Desk, (sheet, row): (SheetId, RowId), swept: &Swept) {
    let axis = &swept.axes[0];
    let id = desk.plan().id(sheet, row);
    let told = format!(
        "What becomes of {id} from {} to {}, in {} steps. The plan stays as it is.",
        swept.said(0, axis.from),
        swept.said(0, axis.to),
        axis.n_steps
    );
    lay.say(0, &told, Tone::Quiet);
    for watch in 0..swept.watches.len() {
        match curves(swept, watch).into_iter().next() {
            Some(curve) => draw(lay, swept, watch, &curve.points),
            None => strip(lay, swept, watch),
        }
    }
    turns(lay, swept);
}

/// Where the first axis stands along the line.
struct Scale {
    from: f64,
    to: f64,
    cells: usize,
}

impl Scale {
    fn of(lay: &Lay, swept: &Swept) -> Self {
        let axis = &swept.axes[0];
        Self {
            from: axis.from.min(axis.to),
            to: axis.from.max(axis.to),
            cells: lay.width.saturating_sub(LEFT + 1).clamp(4, LONGEST),
        }
    }

    fn at(&self, value: f64) -> usize {
        let share = (value - self.from) / (self.to - self.from);
        let last = self.cells - 1;
        ((share * last as f64).round().max(0.0) as usize).min(last)
    }
}

fn draw(lay: &mut Lay, swept: &Swept, watch: usize, points: &[(f64, Option<f64>)]) {
    let shown = &swept.watches[watch];
    let unit = match shown.unit.symbol.as_str() {
        "" => String::new(),
        symbol => format!(", {symbol}"),
    };
    lay.heading(&format!("{}{unit}", shown.name));
    let Some((low, high)) = bounds(points.iter().filter_map(|(_, y)| *y)) else {
        return;
    };
    let scale = Scale::of(lay, swept);
    let last = HEIGHT - 1;
    let line_of = |y: f64| {
        let share = (high - y) / (high - low);
        ((share * last as f64).round().max(0.0) as usize).min(last)
    };
    let mut cells = vec![vec![None; scale.cells]; HEIGHT];
    for turn in &swept.turns {
        for line in &mut cells {
            line[scale.at(turn.last)] = Some(Glyph::Limit);
        }
    }
    for (x, y) in points {
        if let Some(y) = y {
            cells[line_of(*y)][scale.at(*x)] = Some(Glyph::Reading);
        }
    }
    for (at, line) in cells.iter().enumerate() {
        let value = high - (high - low) * at as f64 / last as f64;
        let number = match at % 3 == 0 || at == last {
            true => significant(value, 4),
            false => String::new(),
        };
        let mut pieces = vec![piece(
            format!("{number:>width$} ", width = LEFT - 1),
            Tone::Quiet,
        )];
        for cell in line {
            pieces.push(match cell {
                Some(Glyph::Limit) => piece(lay.theme.glyph(Glyph::Limit), Tone::Quiet),
                Some(glyph) => piece(lay.theme.glyph(*glyph), Tone::Computed),
                None => piece(" ", Tone::Plain),
            });
        }
        lay.line(joined(pieces), Target::None);
    }
    foot(lay, swept, &scale);
}

/// The line under a curve, and round numbers along it.
fn foot(lay: &mut Lay, swept: &Swept, scale: &Scale) {
    let line = lay.theme.glyph(Glyph::Line).repeat(scale.cells);
    let blank = " ".repeat(LEFT);
    lay.line(
        vec![piece(format!("{blank}{line}"), Tone::Quiet)],
        Target::None,
    );
    let mut numbers = String::new();
    for value in ticks(scale.from, scale.to, (scale.cells / 9).max(1)) {
        let text = significant(value, 5);
        let start = scale.at(value).saturating_sub(text.len() / 2);
        let free = numbers.is_empty() || numbers.len() < start;
        if free && start + text.len() <= scale.cells + 1 {
            numbers.push_str(&" ".repeat(start.saturating_sub(numbers.len())));
            numbers.push_str(&text);
        }
    }
    let axis = &swept.axes[0];
    let under = format!("{blank}{numbers}");
    lay.line(vec![piece(under, Tone::Quiet)], Target::None);
    let unit = match axis.unit.symbol.as_str() {
        "" => String::new(),
        symbol => format!(", {symbol}"),
    };
    lay.say(LEFT, &format!("{}{unit}", axis.name), Tone::Quiet);
}

/// Words and flags along the line, as marks with their words under it.
fn strip(lay: &mut Lay, swept: &Swept, watch: usize) {
    let shown = &swept.watches[watch];
    lay.heading(&shown.name);
    let scale = Scale::of(lay, swept);
    let mut cells: Vec<Option<(&'static str, Tone)>> = vec![None; scale.cells];
    let mut words: Vec<(String, &'static str, Tone)> = Vec::new();
    for (point, values) in swept.points.iter().zip(&swept.values) {
        let (mark, tone) = mark(lay.theme, &values[watch]);
        let word = shown.said(&values[watch]);
        if !words.iter().any(|(known, _, _)| *known == word) {
            words.push((word, mark, tone));
        }
        cells[scale.at(point[0])] = Some((mark, tone));
    }
    let mut pieces = vec![piece(" ".repeat(LEFT), Tone::Plain)];
    for cell in cells {
        pieces.push(match cell {
            Some((mark, tone)) => piece(mark, tone),
            None => piece(" ", Tone::Plain),
        });
    }
    lay.line(joined(pieces), Target::None);
    let mut legend = Vec::new();
    for (word, mark, tone) in words {
        legend.push(piece(format!("{mark} {word}"), tone));
        legend.push(piece("  ", Tone::Plain));
    }
    lay.item(LEFT, LEFT, &legend, Target::None);
}

/// The mark of a word or a flag.
fn mark(theme: Theme, cell: &Cell) -> (&'static str, Tone) {
    match cell {
        Cell::Text(word) => theme.verdict(word),
        Cell::Flag(true) => (theme.glyph(Glyph::Full), Tone::Computed),
        Cell::Flag(false) => (theme.glyph(Glyph::Empty), Tone::Computed),
        Cell::Number(_) => (theme.glyph(Glyph::Note), Tone::Computed),
        Cell::Missing | Cell::Failed => (theme.glyph(Glyph::Unknown), Tone::Unknown),
    }
}

fn turns(lay: &mut Lay, swept: &Swept) {
    lay.heading("Where it turns");
    if swept.turns.is_empty() {
        lay.say(0, "Nowhere in this range.", Tone::Plain);
    }
    for turn in &swept.turns {
        lay.say(0, &swept.say(turn), Tone::Plain);
        let new = turn.came.iter().map(|finding| ("new", finding));
        let gone = turn.went.iter().map(|finding| ("gone", finding));
        for (word, finding) in new.chain(gone) {
            let (mark, tone) = lay.theme.severity(finding.severity);
            let pieces = [
                piece(format!("{word} {mark} {}: ", finding.check), tone),
                piece(finding.sentence.clone(), Tone::Plain),
            ];
            lay.item(2, 4, &pieces, Target::None);
        }
    }
}

/// Pieces of the same tone that stand side by side as one.
fn joined(pieces: Vec<Piece>) -> Vec<Piece> {
    let mut out: Vec<Piece> = Vec::new();
    for (text, tone) in pieces {
        match out.last_mut() {
            Some((last, same)) if *same == tone => last.push_str(&text),
            Some(_) | None => out.push((text, tone)),
        }
    }
    out
}
