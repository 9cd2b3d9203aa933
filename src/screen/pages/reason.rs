//! Where the value of a cell comes from: whole on a page, in short beside the ledger.
//!
//! The derivation itself is made by the engine.

use super::lay::Lay;
use super::lay::Piece;
use super::lay::first_lines;
use super::lay::piece;
use super::row::Row;
use crate::desk::Desk;
use crate::engine::Reason;
use crate::problem::clean;
use crate::screen::page::Line;
use crate::screen::page::Page;
use crate::screen::page::Target;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;
use crate::sheet::ColumnDef;
use crate::sheet::ColumnKind;
use crate::table::{ColumnId, RowId};
use crate::trade::Finding;
use crate::trade::why;

/// The deepest indent in steps; what lies deeper stands under the same edge.
const DEEPEST: usize = 8;

/// The derivation of a cell, inputs indented under what reads them; each leads to its own cell.
pub fn reason(desk: &Desk, column: ColumnId, row: RowId, width: usize, theme: Theme) -> Page {
    let told = why(desk.plan(), desk.engine(), column, row);
    let place = Row::new(desk, sheet_of(desk, column), row);
    let mut lay = Lay::new(
        &format!("Why: {} of {}", told.name, place.name()),
        width,
        theme,
    );
    if let Some(def) = desk.engine().def(column) {
        lay.say(0, &def.doc, Tone::Quiet);
        lay.gap();
    }
    step(&mut lay, desk, &told, 0, Target::None);
    lay.page()
}

fn sheet_of(desk: &Desk, column: ColumnId) -> crate::table::SheetId {
    desk.engine().graph().nodes[column.at()].sheet
}

/// One value with its formula, then what the formula reads.
fn step(lay: &mut Lay, desk: &Desk, told: &Reason, depth: usize, target: Target) {
    let indent = 2 * depth.min(DEEPEST);
    let mut pieces = vec![piece(format!("{}: ", told.name), Tone::Plain)];
    pieces.extend(value(told, lay.theme));
    pieces.extend(origin(&told.origin));
    lay.item(indent, indent + 4, &pieces, target);
    if let Some(formula) = &told.formula {
        lay.item(indent + 2, indent + 6, &equation(formula), Target::None);
        if let Some(numbers) = told.numbers.as_ref().filter(|numbers| *numbers != formula) {
            lay.item(indent + 2, indent + 6, &equation(numbers), Target::None);
        }
    }
    for input in &told.inputs {
        step(lay, desk, input, depth + 1, target_of(desk, input));
    }
}

fn equation(text: &str) -> [Piece; 2] {
    [piece("= ", Tone::Quiet), piece(text, Tone::Plain)]
}

/// The value with its mark where it is a verdict, and with a tone that says what kind it is.
fn value(told: &Reason, theme: Theme) -> Vec<Piece> {
    if told.name == "verdict" {
        let (mark, tone) = theme.verdict(&told.value);
        return vec![piece(format!("{mark} {}", told.value), tone)];
    }
    let tone = match told.value.as_str() {
        "unknown" | "not entered" => Tone::Unknown,
        text if text.ends_with("could not be read") => Tone::Wrong,
        _ if told.formula.is_some() => Tone::Computed,
        _ => Tone::Entered,
    };
    vec![piece(&told.value, tone)]
}

/// Where a value comes from; a figure from memory stands out.
fn origin(text: &str) -> Vec<Piece> {
    if text.is_empty() {
        return Vec::new();
    }
    const MARK: &str = "from memory";
    let mut pieces = vec![piece("   [", Tone::Quiet)];
    match text.split_once(MARK) {
        Some((before, after)) => pieces.extend([
            piece(before, Tone::Quiet),
            piece(MARK, Tone::Tight),
            piece(format!("{after}]"), Tone::Quiet),
        ]),
        None => pieces.push(piece(format!("{text}]"), Tone::Quiet)),
    }
    pieces
}

fn target_of(desk: &Desk, input: &Reason) -> Target {
    match (input.cell, input.assumption) {
        (Some((column, row)), _) => Target::Cell(sheet_of(desk, column), row, column),
        (None, Some(param)) => Target::Assumption(param),
        (None, None) => Target::None,
    }
}

/// The reason of a cell in a few lines, then the worst of what was found in its row.
///
/// Where there are too few lines each thing gets one before any gets a second.
pub fn short(
    desk: &Desk,
    column: ColumnId,
    row: RowId,
    findings: &[Finding],
    width: usize,
    height: usize,
    theme: Theme,
) -> Vec<Line> {
    let told = why(desk.plan(), desk.engine(), column, row);
    let sheet = sheet_of(desk, column);
    let of_row = |finding: &&Finding| finding.sheet == sheet && finding.row == row;
    let mut parts = about(desk, column, &told, theme);
    for finding in findings.iter().filter(of_row).take(height) {
        let (mark, tone) = theme.severity(finding.severity);
        parts.push((
            1,
            vec![
                piece(format!("{mark} "), tone),
                piece(&finding.sentence, tone),
            ],
        ));
        parts.push((3, vec![piece(&finding.advice, Tone::Quiet)]));
    }
    let laid = parts.into_iter().map(|(weight, pieces)| {
        let mut lay = Lay::new("", width, theme);
        lay.item(0, 2, &pieces, Target::None);
        (weight, lay.page().lines)
    });
    shared(laid.collect(), height, width, theme)
}

/// What is said of the cell itself, each part with its weight: 0 comes first.
fn about(desk: &Desk, column: ColumnId, told: &Reason, theme: Theme) -> Vec<(u8, Vec<Piece>)> {
    let Some(def) = desk.engine().def(column) else {
        return Vec::new();
    };
    let mut first = vec![piece(&def.name, Tone::Heading)];
    if !def.title.is_empty() && def.title.to_lowercase().replace(' ', "_") != def.name {
        first.push(piece(format!(" ({})", def.title), Tone::Quiet));
    }
    first.push(piece(": ", Tone::Plain));
    first.extend(value(told, theme));
    let mut parts = vec![(0, first)];
    match &told.formula {
        Some(formula) => {
            parts.push((2, equation(formula).to_vec()));
            let numbers = told.numbers.as_ref().filter(|numbers| *numbers != formula);
            parts.extend(numbers.map(|numbers| (1, equation(numbers).to_vec())));
            if !told.origin.is_empty() {
                parts.push((
                    4,
                    vec![piece(format!("source: {}", told.origin), Tone::Quiet)],
                ));
            }
        }
        None => {
            parts.push((
                2,
                vec![piece(format!("{} {}", def.doc, takes(def)), Tone::Quiet)],
            ));
            if !told.origin.is_empty() && told.origin != "entered" {
                parts.push((4, origin(&told.origin)));
            }
        }
    }
    parts
}

/// What may be entered in a column.
fn takes(def: &ColumnDef) -> String {
    match def.kind {
        ColumnKind::Choice => format!("One of: {}.", def.choices.join(", ")),
        ColumnKind::Number if !def.unit.is_empty() => format!("In {}.", clean(&def.unit)),
        ColumnKind::Row => format!("A row of {}.", def.to.as_deref().unwrap_or("a sheet")),
        ColumnKind::Number | ColumnKind::Text | ColumnKind::Flag => String::new(),
    }
}

/// Gives each part one line in the order of weights, then further lines in the same order.
fn shared(parts: Vec<(u8, Vec<Line>)>, height: usize, width: usize, theme: Theme) -> Vec<Line> {
    let mut given = vec![0; parts.len()];
    let mut order: Vec<usize> = (0..parts.len()).collect();
    order.sort_by_key(|at| parts[*at].0);
    let mut left = height;
    for at in &order {
        let one = usize::from(left > 0 && !parts[*at].1.is_empty());
        given[*at] = one;
        left -= one;
    }
    for at in &order {
        let more = left.min(parts[*at].1.len() - given[*at]);
        given[*at] += more;
        left -= more;
    }
    let parts = parts.into_iter().zip(given);
    parts
        .flat_map(|((_, lines), most)| first_lines(lines, most, width, theme))
        .collect()
}
