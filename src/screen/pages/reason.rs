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
use crate::screen::page::Line;
use crate::screen::page::Page;
use crate::screen::page::Target;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;
use crate::sheet::ColumnDef;
use crate::sheet::ColumnKind;
use crate::table::{ColumnId, RowId, SheetId};
use crate::trade::Finding;
use crate::trade::why;

/// A thing to say where there may be little room.
struct Part {
    /// What has less comes first.
    weight: u8,
    indent: usize,
    pieces: Vec<Piece>,
}

impl Part {
    fn new(weight: u8, indent: usize, pieces: impl Into<Vec<Piece>>) -> Self {
        let pieces = pieces.into();
        Self {
            weight,
            indent,
            pieces,
        }
    }
}

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

fn sheet_of(desk: &Desk, column: ColumnId) -> SheetId {
    desk.engine().graph().nodes[column.at()].sheet
}

/// One value with its formula, then what the formula reads.
fn step(lay: &mut Lay, desk: &Desk, told: &Reason, depth: usize, target: Target) {
    let indent = 2 * depth.min(DEEPEST);
    let mut pieces = vec![piece(format!("{}: ", name_of(desk, told)), Tone::Plain)];
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

/// The name of a value; the flag of a check is told as the check it is.
fn name_of(desk: &Desk, told: &Reason) -> String {
    let def = told.cell.and_then(|(column, _)| desk.engine().def(column));
    match def.filter(|def| def.name.starts_with("found_")) {
        Some(def) => format!("check {}", def.title),
        None => told.name.clone(),
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
/// Where there are too few lines each thing gets one before any gets a second; what else was found
/// gets what is left.
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
    let mut found = findings.iter().filter(of_row).take(height);
    let mut parts = about(desk, column, &told, theme);
    parts.extend(
        found
            .next()
            .into_iter()
            .flat_map(|worst| said(worst, theme)),
    );
    let mut lines = shared(parts, height, width, theme);
    let others = found.flat_map(|finding| said(finding, theme)).collect();
    let left = height - lines.len();
    lines.extend(shared(others, left, width, theme));
    lines
}

/// A finding in two parts, what is wrong before what to do.
fn said(finding: &Finding, theme: Theme) -> [Part; 2] {
    let (mark, tone) = theme.severity(finding.severity);
    let sentence = [
        piece(format!("{mark} "), tone),
        piece(&finding.sentence, tone),
    ];
    let advice = [piece(&finding.advice, Tone::Quiet)];
    [Part::new(1, 0, sentence), Part::new(4, 2, advice)]
}

/// What is said of the cell itself.
fn about(desk: &Desk, column: ColumnId, told: &Reason, theme: Theme) -> Vec<Part> {
    let Some(def) = desk.engine().def(column) else {
        return Vec::new();
    };
    let mut first = vec![piece(&def.name, Tone::Heading)];
    if !def.title.is_empty() && def.title.to_lowercase().replace(' ', "_") != def.name {
        first.push(piece(format!(" ({})", def.title), Tone::Quiet));
    }
    first.push(piece(": ", Tone::Plain));
    first.extend(value(told, theme));
    let mut parts = vec![Part::new(0, 0, first)];
    match &told.formula {
        Some(formula) => {
            parts.push(Part::new(3, 0, equation(formula)));
            let numbers = told.numbers.as_ref().filter(|numbers| *numbers != formula);
            parts.extend(numbers.map(|numbers| Part::new(2, 0, equation(numbers))));
            if !matches!(told.origin.as_str(), "" | "arithmetic") {
                let source = piece(format!("source: {}", told.origin), Tone::Quiet);
                parts.push(Part::new(5, 0, [source]));
            }
        }
        None => {
            let doc = piece(format!("{} {}", def.doc, takes(def)), Tone::Quiet);
            parts.push(Part::new(3, 0, [doc]));
            if !told.origin.is_empty() && told.origin != "entered" {
                parts.push(Part::new(5, 0, origin(&told.origin)));
            }
        }
    }
    parts
}

/// What may be entered in a column.
fn takes(def: &ColumnDef) -> String {
    match def.kind {
        ColumnKind::Choice => format!("One of: {}.", def.choices.join(", ")),
        ColumnKind::Number if !def.unit.is_empty() => format!("Unit: {}.", def.unit),
        ColumnKind::Row => format!("A row of {}.", def.to.as_deref().unwrap_or("a sheet")),
        ColumnKind::Number | ColumnKind::Text | ColumnKind::Flag => String::new(),
    }
}

/// Lays parts; each gets one line in the order of weights, then further lines in the same order.
fn shared(parts: Vec<Part>, height: usize, width: usize, theme: Theme) -> Vec<Line> {
    let laid = parts.into_iter().map(|part| {
        let mut lay = Lay::new("", width, theme);
        lay.item(part.indent, 2, &part.pieces, Target::None);
        (part.weight, lay.page().lines)
    });
    let laid: Vec<(u8, Vec<Line>)> = laid.collect();
    let mut order: Vec<usize> = (0..laid.len()).collect();
    order.sort_by_key(|at| laid[*at].0);
    let (mut given, mut left) = (vec![0; laid.len()], height);
    for most in [1, usize::MAX] {
        for at in &order {
            let more = left.min(most).min(laid[*at].1.len() - given[*at]);
            given[*at] += more;
            left -= more;
        }
    }
    let given = laid.into_iter().zip(given);
    given
        .flat_map(|((_, lines), most)| first_lines(lines, most, width, theme))
        .collect()
}
