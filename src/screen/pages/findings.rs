//! What the checks found: all of it worst first, and what the last step brought and took.
//!
//! Sentences and advice come as they are from the checks.

use super::care::BESIDE_FINDINGS;
use super::lay::Lay;
use super::lay::piece;
use super::row::Row;
use crate::desk::Desk;
use crate::engine::Engine;
use crate::engine::Source;
use crate::engine::Via;
use crate::problem::several;
use crate::screen::action::Action;
use crate::screen::ledger::shown_columns;
use crate::screen::page::Line;
use crate::screen::page::Page;
use crate::screen::page::Target;
use crate::screen::theme::Theme;
use crate::screen::theme::Tone;
use crate::sheet::ColumnKind;
use crate::table::{Cell, ColumnId, SheetId};
use crate::trade::Finding;
use std::collections::HashSet;

/// How many findings are told; nobody reads more, and a page is made anew after each step.
const MOST: usize = 1_000;

/// The findings, worst first, under their counts of stops, cautions and notes in all.
pub fn findings(
    desk: &Desk,
    list: &[Finding],
    counts: [usize; 3],
    width: usize,
    theme: Theme,
) -> Page {
    let mut lay = Lay::new("Findings", width, theme);
    lay.say(0, &counted(counts), Tone::Heading);
    for finding in list.iter().take(MOST) {
        lay.gap();
        tell(&mut lay, desk, finding);
    }
    let all: usize = counts.iter().sum();
    let untold = all.saturating_sub(list.len().min(MOST));
    if untold > 0 {
        lay.gap();
        let key = Action::KeepVerdict.record().keys[0];
        let text = format!(
            "{untold} more are not listed; `{key}` in the ledger keeps the rows that fail."
        );
        lay.say(0, &text, Tone::Quiet);
    }
    lay.gap();
    lay.say(0, BESIDE_FINDINGS, Tone::Care);
    lay.page()
}

/// What the last step brought and took away.
pub fn changes(
    desk: &Desk,
    label: &str,
    came: &[Finding],
    went: &[Finding],
    width: usize,
    theme: Theme,
) -> Page {
    let mut lay = Lay::new("What changed", width, theme);
    match label.is_empty() {
        true => lay.say(0, "No step was made yet.", Tone::Plain),
        false => lay.say(0, &format!("The last step: {label}"), Tone::Plain),
    }
    for (heading, list) in [("Came", came), ("Gone", went)] {
        if list.is_empty() {
            continue;
        }
        lay.heading(&format!("{heading}: {}", list.len()));
        for finding in list.iter().take(MOST) {
            tell(&mut lay, desk, finding);
        }
        if list.len() > MOST {
            let text = format!("{} more are not listed.", list.len() - MOST);
            lay.say(0, &text, Tone::Quiet);
        }
    }
    if came.is_empty() && went.is_empty() {
        lay.gap();
        lay.say(0, "No finding came or went with it.", Tone::Plain);
    }
    lay.page()
}

/// What the checks found of one row, to stand under its reason; empty where they found nothing.
pub fn of_row(desk: &Desk, list: &[Finding], width: usize, theme: Theme) -> Vec<Line> {
    let mut lay = Lay::new("", width, theme);
    if list.is_empty() {
        return Vec::new();
    }
    lay.heading("What the checks say of this row");
    for finding in list {
        tell(&mut lay, desk, finding);
    }
    let mut lines = vec![Line::empty()];
    lines.extend(lay.page().lines);
    lines
}

fn tell(lay: &mut Lay, desk: &Desk, finding: &Finding) {
    let (mark, tone) = lay.theme.severity(finding.severity);
    let row = Row::new(desk, finding.sheet, finding.row);
    let is_live = desk.plan().rows(finding.sheet).is_live(finding.row);
    let target = match best_column(desk, finding) {
        Some(column) if is_live => Target::Cell(finding.sheet, finding.row, column),
        Some(_) | None => Target::None,
    };
    let pieces = [
        piece(format!("{mark} {:<7}", finding.severity.word()), tone),
        piece(format!("  {}", row.name()), Tone::Heading),
        piece(format!("  {}", finding.check), Tone::Plain),
    ];
    lay.item(0, 2, &pieces, target);
    lay.say(2, &finding.sentence, Tone::Plain);
    lay.say(2, &finding.advice, Tone::Quiet);
}

/// The cell to look at first: of the columns in the order of the ledger the first that a person
/// enters and that the condition rests on, so that what is wrong can be changed there; else the
/// name of the row.
fn best_column(desk: &Desk, finding: &Finding) -> Option<ColumnId> {
    let engine = desk.engine();
    let def = engine.schema().get(finding.sheet.at())?;
    let conditions =
        def.columns.iter().enumerate().filter(|(_, column)| {
            column.title == finding.check && column.name.starts_with("found_")
        });
    let found = conditions
        .map(|(at, _)| engine.column(finding.sheet, at))
        .find(|column| engine.cell(desk.plan(), *column, finding.row) == Cell::Flag(true));
    let best = found.and_then(|column| {
        let beneath = beneath(engine, finding.sheet, column);
        let shown = shown_columns(desk, finding.sheet).into_iter().skip(1);
        let enters = |at: &usize| def.columns[*at].entered();
        let mut entered = shown
            .filter(enters)
            .map(|at| engine.column(finding.sheet, at));
        entered.find(|column| beneath.contains(column))
    });
    best.or_else(|| engine.find_column(finding.sheet, "id"))
}

/// The columns of its own row that a column rests on, at whatever depth.
fn beneath(engine: &Engine, sheet: SheetId, column: ColumnId) -> HashSet<ColumnId> {
    let (mut seen, mut open) = (HashSet::new(), vec![column]);
    while let Some(column) = open.pop() {
        let reads = engine.graph().nodes[column.at()].reads.iter();
        // A shared place is told by its two columns; the one that is a text is the port.
        let is_shared = matches!(
            engine.graph().nodes[column.at()].source,
            Source::Shared { .. }
        );
        let is_text = |column: &ColumnId| {
            engine
                .def(*column)
                .is_some_and(|def| def.kind == ColumnKind::Text)
        };
        let own = reads.filter_map(|read| match read.via {
            _ if is_shared => Some(read.column).filter(is_text),
            Via::Row => Some(read.column),
            Via::Through(column) => column,
            Via::Any => None,
        });
        for read in own {
            if engine.graph().nodes[read.at()].sheet == sheet && seen.insert(read) {
                open.push(read);
            }
        }
    }
    seen
}

/// The counts in words.
pub fn counted(counts: [usize; 3]) -> String {
    let words = [
        ("stop", "stops"),
        ("caution", "cautions"),
        ("note", "notes"),
    ];
    if counts == [0; 3] {
        return "The checks found nothing.".to_owned();
    }
    let parts = counts.into_iter().zip(words);
    let parts: Vec<String> = parts
        .map(|(n, (one, more))| several(n, one, more))
        .collect();
    parts.join(", ")
}
