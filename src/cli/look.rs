//! Looking at a plan: the overview, `check`, `show` and `why`.

use super::Outcome;
use super::args::{Form, Show};
use super::pick;
use super::print::Printer;
use super::table::{Datum, Heading, Table, json_text};
use crate::desk::Desk;
use crate::engine::Reason;
use crate::plan::Entry;
use crate::problem::Problem;
use crate::problem::Severity;
use crate::problem::clean;
use crate::problem::several;
use crate::sheet::ColumnKind;
use crate::table::{Cell, ColumnId, NO_FLAG, RowId, SheetId};
use crate::trade::Finding;
use crate::trade::Findings;
use crate::trade::why as reason_of;
use std::path::Path;

/// The line that stands under every list of findings where optics or copper are planned.
const CAUTION: &str = "Never look into a fibre or port; clean and inspect before mating. Fibre, not copper, \
                       between buildings. Local codes and licensed practice rule.";

/// The width of a severity with its glyph, under which findings line up.
pub const INDENT: usize = 10;

/// The findings and the links of a plan, or of the demo.
pub fn overview(
    path: Option<&Path>,
    form: Form,
    out: &mut Printer,
) -> Result<Outcome, Vec<Problem>> {
    let desk = match path {
        Some(path) => pick::open_alone(path, out)?,
        None => Desk::demo()?,
    };
    if form != Form::Table {
        write_sheet(&desk, "links", form, out)?;
        return Ok(Outcome::Quiet);
    }
    if !desk.plan().title.is_empty() {
        out.line(&clean(&desk.plan().title));
        out.line("");
    }
    let found = desk.findings();
    write_findings(&desk, &found, out);
    for name in ["links", "switches"] {
        out.line("");
        write_sheet(&desk, name, form, out)?;
    }
    Ok(Outcome::Quiet)
}

/// All rows of a sheet with the few columns of the overview.
fn write_sheet(desk: &Desk, name: &str, form: Form, out: &mut Printer) -> Result<(), Problem> {
    let sheet = pick::sheet(desk, name)?;
    let columns = overview_columns(desk, sheet);
    let rows = desk.plan().rows(sheet).order();
    sheet_table(desk, sheet, &columns, rows).write(form, out);
    Ok(())
}

/// The few columns that fit 80 characters.
fn overview_columns(desk: &Desk, sheet: SheetId) -> Vec<ColumnId> {
    let names: &[&str] = match desk.plan().def(sheet).name.as_str() {
        "links" => &[
            "id",
            "from",
            "to",
            "interface",
            "medium",
            "length",
            "margin",
            "verdict",
        ],
        _ => &[
            "id",
            "uplink_capacity",
            "ratio",
            "worst_ratio",
            "ports_free",
            "cages_free",
            "verdict",
        ],
    };
    names
        .iter()
        .filter_map(|name| desk.engine().find_column(sheet, name))
        .collect()
}

/// Says what the checks find.
pub fn check(
    path: &Path,
    within: Option<&str>,
    form: Form,
    out: &mut Printer,
) -> Result<Outcome, Vec<Problem>> {
    let desk = pick::open_within(path, within, out)?;
    let found = desk.findings();
    match form {
        Form::Table => write_findings(&desk, &found, out),
        Form::Csv | Form::Json => findings_table(&desk, &found).write(form, out),
    }
    Ok(if found.count(Severity::Stop) > 0 {
        Outcome::Stops
    } else {
        Outcome::Quiet
    })
}

fn write_findings(desk: &Desk, found: &Findings, out: &mut Printer) {
    for finding in &found.list {
        let name = name_of(desk, finding);
        let word = format!("{} ", tinted(finding.severity, out.is_coloured()));
        let text = format!("{name} {}: {}", finding.check, finding.sentence);
        out.wrapped(&word, INDENT, &clean(&text));
        out.wrapped(&" ".repeat(INDENT), INDENT, &clean(&finding.advice));
    }
    out.line(&counted(found));
    out.wrapped("", 0, CAUTION);
}

/// How many of each there are, in words.
pub fn counted(found: &Findings) -> String {
    let parts = [
        several(found.count(Severity::Stop), "stop", "stops"),
        several(found.count(Severity::Caution), "caution", "cautions"),
        several(found.count(Severity::Note), "note", "notes"),
    ];
    parts.join(", ")
}

/// What the row of a finding is called, with its id.
pub fn name_of(desk: &Desk, finding: &Finding) -> String {
    let word = desk.plan().def(finding.sheet).row_word();
    format!("{word} {}", desk.plan().id(finding.sheet, finding.row))
}

/// A severity as glyph and word, padded so that names line up.
pub fn tinted(severity: Severity, coloured: bool) -> String {
    let (glyph, colour) = match severity {
        Severity::Stop => ('■', "31"),
        Severity::Caution => ('▲', "33"),
        Severity::Note => ('·', "36"),
    };
    let text = format!("{glyph} {:<7}", severity.word());
    if coloured {
        format!("\u{1b}[{colour}m{text}\u{1b}[0m")
    } else {
        text
    }
}

fn findings_table<'a>(desk: &'a Desk, found: &'a Findings) -> Table<'a> {
    let names = [
        "severity", "check", "sheet", "row", "finding", "advice", "source",
    ];
    let headings = names.map(Heading::text).to_vec();
    Table::new(headings, found.list.len(), |at| {
        let finding = &found.list[at];
        let texts = [
            finding.severity.word().to_owned(),
            finding.check.clone(),
            desk.plan().def(finding.sheet).name.clone(),
            desk.plan().id(finding.sheet, finding.row),
            finding.sentence.clone(),
            finding.advice.clone(),
            finding.source.clone(),
        ];
        texts.map(Datum::Text).to_vec()
    })
}

/// Shows a sheet, or the assumptions.
pub fn show(show: &Show, form: Form, out: &mut Printer) -> Result<Outcome, Vec<Problem>> {
    let desk = pick::open_within(&show.plan, show.within.as_deref(), out)?;
    if show.sheet == "assume" {
        assumptions(&desk, show, form, out)?;
        return Ok(Outcome::Quiet);
    }
    let sheet = pick::sheet(&desk, &show.sheet)?;
    let rows = match &show.condition {
        Some(formula) => rows_where(&desk, sheet, formula, out)?,
        None => desk.plan().rows(sheet).order().to_vec(),
    };
    let columns = match show.columns.is_empty() {
        true => columns_worth_showing(&desk, sheet, &rows, show.all),
        false => {
            let named = show
                .columns
                .iter()
                .map(|name| pick::column(&desk, sheet, name.trim()));
            named.collect::<Result<_, Problem>>()?
        }
    };
    sheet_table(&desk, sheet, &columns, &rows).write(form, out);
    Ok(Outcome::Quiet)
}

/// Shows the assumptions, which have no columns to choose from.
fn assumptions(desk: &Desk, show: &Show, form: Form, out: &mut Printer) -> Result<(), Problem> {
    if show.condition.is_some() || !show.columns.is_empty() {
        let message = "assumptions are shown whole, without `--columns` and `--where`";
        return Err(Problem::new("not-a-sheet", message).help("leave them away"));
    }
    assumption_table(desk).write(form, out);
    Ok(())
}

/// The assumptions of a plan with their sources.
pub fn assumption_table(desk: &Desk) -> Table<'_> {
    let names = [
        "name",
        "value",
        "unit",
        "source",
        "confidence",
        "what it does",
    ];
    let known = desk.plan().assumptions();
    Table::new(names.map(Heading::text).to_vec(), known.len(), |at| {
        let assumption = &known[at];
        let confidence = match assumption.own {
            true => "yours",
            false => &assumption.def.confidence,
        };
        vec![
            Datum::text(&assumption.def.name),
            match assumption.entry {
                Entry::Number(value) => Datum::Number(assumption.unit.from_base(value), None),
                Entry::Empty | Entry::Text(_) | Entry::Wrong(_) => {
                    Datum::Text(assumption.entry.text(&assumption.unit, desk.plan().names()))
                }
            },
            Datum::text(&assumption.unit.symbol),
            Datum::text(&assumption.source),
            Datum::text(confidence),
            Datum::text(&assumption.def.doc),
        ]
    })
}

/// The rows of a sheet where a formula says yes; those where it says nothing are counted.
pub fn rows_where(
    desk: &Desk,
    sheet: SheetId,
    text: &str,
    out: &mut Printer,
) -> Result<Vec<RowId>, Vec<Problem>> {
    let says = desk.engine().condition(desk.plan(), sheet, text)?;
    let says = |row: &RowId| says.get(row.at()).copied().unwrap_or(NO_FLAG);
    let order = desk.plan().rows(sheet).order();
    let n_silent = order.iter().filter(|row| says(row) == NO_FLAG).count();
    if n_silent > 0 {
        let rows = several(n_silent, "row is", "rows are");
        let message = format!("{rows} left out: an input of the condition is missing there");
        out.remark(&Problem::new("left-out", message));
    }
    Ok(order.iter().copied().filter(|row| says(row) == 1).collect())
}

/// Columns that hold something; quiet ones and empty ones only when all are asked for.
fn columns_worth_showing(desk: &Desk, sheet: SheetId, rows: &[RowId], all: bool) -> Vec<ColumnId> {
    let def = &desk.engine().schema()[sheet.at()];
    let columns = (0..def.columns.len()).map(|at| (at, desk.engine().column(sheet, at)));
    let worth = |(at, column): &(usize, ColumnId)| {
        let holds = |row: &RowId| desk.engine().cell(desk.plan(), *column, *row) != Cell::Missing;
        all || *at == 0 || (!def.columns[*at].quiet && rows.iter().any(holds))
    };
    let mut worthy: Vec<ColumnId> = columns.filter(worth).map(|(_, column)| column).collect();
    // A narrow terminal cuts off the end of a line, never the verdict.
    let verdict = desk.engine().find_column(sheet, "verdict");
    if let Some(at) = worthy.iter().position(|column| Some(*column) == verdict) {
        let verdict = worthy.remove(at);
        worthy.insert(1.min(worthy.len()), verdict);
    }
    worthy
}

/// Rows and columns of a sheet as a table.
pub fn sheet_table<'a>(
    desk: &'a Desk,
    sheet: SheetId,
    columns: &'a [ColumnId],
    rows: &'a [RowId],
) -> Table<'a> {
    let def = &desk.engine().schema()[sheet.at()];
    let first = desk.engine().column(sheet, 0);
    let heading = |column: &ColumnId| {
        let column_def = &def.columns[column.at() - first.at()];
        Heading {
            name: column_def.name.clone(),
            unit: column_def.unit.clone(),
            is_number: column_def.kind == ColumnKind::Number,
        }
    };
    let headings = columns.iter().map(heading).collect();
    Table::new(headings, rows.len(), |at| {
        let row = rows[at];
        let cells = columns.iter();
        cells.map(|column| datum(desk, *column, row)).collect()
    })
}

/// A cell to be written.
fn datum(desk: &Desk, column: ColumnId, row: RowId) -> Datum {
    let engine = desk.engine();
    match engine.cell(desk.plan(), column, row) {
        Cell::Number(value) => Datum::Number(
            engine.unit(column).from_base(value),
            engine.def(column).and_then(|def| def.decimals),
        ),
        Cell::Flag(flag) => Datum::Flag(flag),
        Cell::Text(word) if is_verdict(desk, column) => Datum::Marked(verdict_glyph(&word), word),
        Cell::Text(text) => Datum::Text(text),
        Cell::Missing => Datum::Text(desk.wrong_text(column, row).unwrap_or_default().to_owned()),
        Cell::Failed => Datum::NoNumber,
    }
}

fn is_verdict(desk: &Desk, column: ColumnId) -> bool {
    desk.engine()
        .def(column)
        .is_some_and(|def| def.name == "verdict")
}

/// The glyph that stands beside the word of a verdict, for the eye that runs down a column.
pub fn verdict_glyph(word: &str) -> char {
    match word {
        "fits" => '●',
        "tight" => '▲',
        "fails" => '■',
        _ => '○',
    }
}

/// Explains one cell.
pub fn why(
    path: &Path,
    names: [&str; 3],
    within: Option<&str>,
    form: Form,
    out: &mut Printer,
) -> Result<Outcome, Vec<Problem>> {
    let desk = pick::open_within(path, within, out)?;
    let [sheet, row, column] = names;
    let sheet = pick::sheet(&desk, sheet)?;
    let (row, column) = (
        pick::row(&desk, sheet, row)?,
        pick::column(&desk, sheet, column)?,
    );
    let reason = reason_of(desk.plan(), desk.engine(), column, row);
    match form {
        Form::Table | Form::Csv => reason
            .lines()
            .iter()
            .for_each(|line| out.line(&clean(line))),
        Form::Json => out.line(&reason_json(&reason)),
    }
    Ok(Outcome::Quiet)
}

fn reason_json(reason: &Reason) -> String {
    let or_null = |text: &Option<String>| match text {
        Some(text) => json_text(text),
        None => "null".to_owned(),
    };
    let inputs: Vec<String> = reason.inputs.iter().map(reason_json).collect();
    format!(
        "{{\"name\":{},\"value\":{},\"origin\":{},\"formula\":{},\"numbers\":{},\"inputs\":[{}]}}",
        json_text(&reason.name),
        json_text(&reason.value),
        json_text(&reason.origin),
        or_null(&reason.formula),
        or_null(&reason.numbers),
        inputs.join(",")
    )
}
