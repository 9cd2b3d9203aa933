//! Proposals beside the base: `compare`.
//!
//! What differs is found in `study`; here it becomes lines and tables.

use super::Outcome;
use super::args::{Compare, Form};
use super::pick;
use super::print::Printer;
use super::table::{Datum, Heading, Table};
use crate::problem::Problem;
use crate::problem::clean;
use crate::problem::several;
use crate::study::compare::{Compared, Comparison, Found, Outlook, RowChange, Side};

/// So many rows of a proposal are written for a person unless all are asked for.
const MOST_ROWS: usize = 20;

/// So many cells of a row, unless all are asked for; those that were entered always.
const MOST_CELLS: usize = 4;

/// Holds proposals of a plan beside its base.
pub fn compare(asked: &Compare, form: Form, out: &mut Printer) -> Result<Outcome, Vec<Problem>> {
    let desk = pick::open(&asked.plan, out)?;
    let compared = desk.compare(&asked.proposals)?;
    let misfits = compared.proposals.iter().flat_map(|one| &one.misfits);
    out.remarks(misfits.filter(|problem| !desk.problems().any(|known| known == *problem)));
    match (form, asked.rows) {
        (Form::Table, all) => write(&compared, all, out),
        (Form::Csv | Form::Json, false) => totals(&compared).write(form, out),
        (Form::Csv | Form::Json, true) => rows(&compared).write(form, out),
    }
    Ok(Outcome::Quiet)
}

fn write(compared: &Comparison, all: bool, out: &mut Printer) {
    if compared.proposals.is_empty() {
        out.line("this plan has no proposals; make one with: portledger propose PLAN NAME");
        return;
    }
    let names = compared.proposals.iter().map(|one| one.name.as_str());
    let names: Vec<&str> = ["", "base"].into_iter().chain(names).collect();
    let lines = compared.lines().into_iter();
    let lines = lines.map(|(what, texts)| std::iter::once(what).chain(texts).collect());
    Table::of_texts(&names, lines.collect()).write(Form::Table, out);
    for one in &compared.proposals {
        out.line("");
        write_one(one, all, out);
    }
}

fn write_one(one: &Compared, all: bool, out: &mut Printer) {
    let on = one
        .on
        .as_ref()
        .map_or(String::new(), |on| format!(" on {on}"));
    let note = match one.note.is_empty() {
        true => String::new(),
        false => format!(" ({})", one.note),
    };
    out.wrapped("", 2, &clean(&format!("{}{on}{note}", one.name)));
    for setting in &one.settings {
        let text = format!("{}: {} -> {}", setting.name, setting.old, setting.new);
        out.wrapped("  ", 4, &clean(&text));
    }
    let shown = if all { one.rows.len() } else { MOST_ROWS };
    for row in one.rows.iter().take(shown) {
        out.wrapped("  ", 4, &clean(&row_text(row, all)));
    }
    let n_more = one.n_rows.saturating_sub(shown.min(one.rows.len()));
    if n_more > 0 {
        let more = several(n_more, "more row differs", "more rows differ");
        let hint = if all { "" } else { "; --rows writes them" };
        out.line(&format!("  {more}{hint}"));
    }
    for (word, list, n) in [
        ("gone", &one.went, one.n_went),
        ("new", &one.came, one.n_came),
    ] {
        for found in list.iter().take(if all { list.len() } else { MOST_ROWS }) {
            out.wrapped("  ", 4, &clean(&format!("{word}: {}", found_text(found))));
        }
        if !all && n > MOST_ROWS {
            out.line(&format!(
                "  {} more {word}; --rows writes them",
                n - MOST_ROWS
            ));
        }
    }
    let gone = several(one.n_went, "finding gone", "findings gone");
    out.line(&format!("  {gone}, {} new", one.n_came));
}

fn found_text(found: &Found) -> String {
    format!(
        "{} {} {} {}: {}",
        found.severity().word(),
        found.word,
        found.row,
        found.check,
        found.sentence
    )
}

/// A row that differs in one line: what was entered, then what follows.
fn row_text(row: &RowChange, all: bool) -> String {
    let most = if all { usize::MAX } else { MOST_CELLS };
    let parts: Vec<String> = row.told(most).map(|cell| cell.text()).collect();
    let verdict = match &row.verdicts {
        [old, new] if old == new => String::new(),
        [old, new] => format!("; verdict {} -> {}", or_none(old), or_none(new)),
    };
    let name = format!("{} {} {}", row.word, row.id, row.kind.word());
    match parts.is_empty() {
        true => format!("{name}{verdict}"),
        false => format!("{name}: {}{verdict}", parts.join(", ")),
    }
}

fn or_none(text: &str) -> &str {
    if text.is_empty() { "none" } else { text }
}

/// The totals, a column for the base and for each proposal.
fn totals(compared: &Comparison) -> Table<'_> {
    let outlooks: Vec<&Outlook> = std::iter::once(&compared.base)
        .chain(compared.proposals.iter().map(|one| &one.outlook))
        .collect();
    let mut headings = ["what", "unit"].map(Heading::text).to_vec();
    let names = compared.proposals.iter().map(|one| one.name.as_str());
    headings.extend(std::iter::once("base").chain(names).map(|name| Heading {
        is_number: true,
        ..Heading::text(name)
    }));
    let n_totals = compared.base.totals.len();
    Table::new(headings, n_totals + compared.base.paths.len(), move |at| {
        let of = |one: &Outlook| match at.checked_sub(n_totals) {
            None => one.totals.get(at).cloned(),
            Some(path) => {
                let name = &compared.base.paths[path].name;
                one.paths.iter().find(|one| one.name == *name).cloned()
            }
        };
        let first = of(&compared.base);
        let (title, unit) = first.map_or_else(Default::default, |one| (one.title, one.unit));
        let mut cells = vec![Datum::Text(title), Datum::Text(unit)];
        cells.extend(outlooks.iter().map(|one| {
            let number = of(one).and_then(|total| total.number);
            number.map_or(Datum::NoNumber, |number| Datum::Number(number, None))
        }));
        cells
    })
}

/// Every cell that differs.
fn rows(compared: &Comparison) -> Table<'_> {
    let names = [
        "proposal", "sheet", "row", "what", "column", "unit", "entered", "old", "new",
    ];
    let mut lines: Vec<Vec<Datum>> = Vec::new();
    for one in &compared.proposals {
        for row in &one.rows {
            let start = || {
                [&one.name, &row.sheet, &row.id]
                    .map(Datum::text)
                    .into_iter()
                    .chain([Datum::text(row.kind.word())])
            };
            for cell in &row.cells {
                let side = |side: &Side| match side.number {
                    Some(number) => Datum::Number(number, None),
                    None => Datum::text(&side.text),
                };
                let mut line: Vec<Datum> = start().collect();
                line.extend([
                    Datum::text(&cell.column),
                    Datum::text(&cell.unit),
                    Datum::Flag(cell.is_entered),
                    side(&cell.old),
                    side(&cell.new),
                ]);
                lines.push(line);
            }
            let [old, new] = &row.verdicts;
            if old != new {
                let mut line: Vec<Datum> = start().collect();
                line.extend([
                    Datum::text("verdict"),
                    Datum::text(""),
                    Datum::Flag(false),
                    Datum::text(old),
                    Datum::text(new),
                ]);
                lines.push(line);
            }
        }
    }
    let headings = names.map(Heading::text).to_vec();
    Table::new(headings, lines.len(), move |at| lines[at].clone())
}
