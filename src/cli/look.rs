//! Looking at a plan: the overview, `check`, `show` and `why`.

use super::Outcome;
use super::args::{Form, Show};
use super::pick;
use super::print::Printer;
use super::table::{Datum, Heading, Table};
use crate::desk::Desk;
use crate::engine::Reason;
use crate::formula::Ty;
use crate::problem::Problem;
use crate::problem::Severity;
use crate::problem::clean;
use crate::sheet::ColumnKind;
use crate::table::{Cell, ColumnId, RowId, SheetId};
use crate::trade::Finding;
use crate::trade::Findings;
use crate::trade::why as reason_of;
use crate::units::{shown, significant};
use serde_json::{Value, json};
use std::path::Path;

/// The line that stands under every list of findings where optics or copper are planned.
const CAUTION: &str = "Never look into a fibre or port; clean and inspect before mating. Fibre, not copper, \
                       between buildings. Local codes and licensed practice rule.";

/// Digits of a number in CSV and JSON: all that a decimal fraction keeps.
const DIGITS: usize = 15;

/// The width of a severity with its glyph, under which findings line up.
const INDENT: usize = 10;

/// The findings and the links of a plan, or of the demo.
pub fn overview(
    path: Option<&Path>,
    form: Form,
    out: &mut Printer,
) -> Result<Outcome, Vec<Problem>> {
    let desk = match path {
        Some(path) => pick::open(path, out)?,
        None => Desk::demo()?,
    };
    if form != Form::Table {
        let links = pick::sheet(&desk, "links")?;
        sheet_table(
            &desk,
            links,
            &overview_columns(&desk, links),
            &all_rows(&desk, links),
        )
        .write(form, out);
        return Ok(Outcome::Quiet);
    }
    if !desk.plan().title.is_empty() {
        out.line(&clean(&desk.plan().title));
        out.line("");
    }
    let found = desk.findings();
    write_findings(&desk, &found, out);
    for name in ["links", "switches"] {
        let sheet = pick::sheet(&desk, name)?;
        out.line("");
        sheet_table(
            &desk,
            sheet,
            &overview_columns(&desk, sheet),
            &all_rows(&desk, sheet),
        )
        .write(form, out);
    }
    Ok(Outcome::Quiet)
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

fn all_rows(desk: &Desk, sheet: SheetId) -> Vec<RowId> {
    desk.plan().rows(sheet).order().to_vec()
}

/// Says what the checks find.
pub fn check(path: &Path, form: Form, out: &mut Printer) -> Result<Outcome, Vec<Problem>> {
    let desk = pick::open(path, out)?;
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

/// A count with its word in the right number.
pub fn several(count: usize, one: &str, more: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { more })
}

/// What the row of a finding is called, with its id.
pub fn name_of(desk: &Desk, finding: &Finding) -> String {
    let word = desk.plan().def(finding.sheet).row_word();
    format!("{word} {}", desk.plan().id(finding.sheet, finding.row))
}

/// A severity as glyph and word, padded so that names line up.
fn tinted(severity: Severity, coloured: bool) -> String {
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

fn findings_table(desk: &Desk, found: &Findings) -> Table {
    let names = [
        "severity", "check", "sheet", "row", "finding", "advice", "source",
    ];
    let row = |finding: &Finding| {
        let texts = [
            finding.severity.word().to_owned(),
            finding.check.clone(),
            desk.plan().def(finding.sheet).name.clone(),
            desk.plan().id(finding.sheet, finding.row),
            finding.sentence.clone(),
            finding.advice.clone(),
            finding.source.clone(),
        ];
        texts.into_iter().map(Datum::text).collect()
    };
    Table {
        headings: names.iter().map(|name| Heading::text(name)).collect(),
        rows: found.list.iter().map(row).collect(),
    }
}

/// Shows a sheet.
pub fn show(show: &Show, form: Form, out: &mut Printer) -> Result<Outcome, Vec<Problem>> {
    let desk = pick::open(&show.plan, out)?;
    let sheet = pick::sheet(&desk, &show.sheet)?;
    let rows = match &show.condition {
        Some(formula) => rows_where(&desk, sheet, formula)?,
        None => all_rows(&desk, sheet),
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

/// The rows of a sheet where a formula says yes.
fn rows_where(desk: &Desk, sheet: SheetId, text: &str) -> Result<Vec<RowId>, Vec<Problem>> {
    let formula = desk.engine().compile(desk.plan(), text, Some(sheet))?;
    if formula.ty != Ty::Flag {
        return Err(
            Problem::new("not-a-condition", "this formula does not say yes or no")
                .within("formula", text)
                .help("compare something, for example `margin < 1 dB`")
                .into(),
        );
    }
    let says_yes = |row: &RowId| {
        let at = Some((sheet, *row));
        desk.engine().evaluate_part(desk.plan(), &formula.tree, at) == Cell::Flag(true)
    };
    Ok(all_rows(desk, sheet).into_iter().filter(says_yes).collect())
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
pub fn sheet_table(desk: &Desk, sheet: SheetId, columns: &[ColumnId], rows: &[RowId]) -> Table {
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
    let row = |row: &RowId| {
        columns
            .iter()
            .map(|column| datum(desk, *column, *row))
            .collect()
    };
    Table {
        headings: columns.iter().map(heading).collect(),
        rows: rows.iter().map(row).collect(),
    }
}

/// A cell both ways.
fn datum(desk: &Desk, column: ColumnId, row: RowId) -> Datum {
    let cell = desk.engine().cell(desk.plan(), column, row);
    let unit = desk.engine().unit(column);
    match cell {
        Cell::Number(value) => {
            let decimals = desk.engine().def(column).and_then(|def| def.decimals);
            let text = shown(value, unit, decimals);
            let bare = text
                .strip_suffix(&unit.symbol)
                .unwrap_or(&text)
                .trim_end()
                .to_owned();
            Datum {
                shown: bare,
                exact: number_json(&significant(unit.from_base(value), DIGITS)),
            }
        }
        Cell::Flag(flag) => Datum {
            shown: if flag { "yes" } else { "no" }.to_owned(),
            exact: json!(flag),
        },
        Cell::Text(word) if is_verdict(desk, column) => Datum {
            shown: format!("{} {word}", verdict_glyph(&word)),
            exact: json!(word),
        },
        Cell::Text(text) => Datum::text(text),
        Cell::Missing => Datum::text(wrong_text(desk, column, row)),
        Cell::Failed => Datum {
            shown: "no number".to_owned(),
            exact: Value::Null,
        },
    }
}

fn is_verdict(desk: &Desk, column: ColumnId) -> bool {
    desk.engine()
        .def(column)
        .is_some_and(|def| def.name == "verdict")
}

/// The glyph that stands beside the word of a verdict, for the eye that runs down a column.
fn verdict_glyph(word: &str) -> char {
    match word {
        "fits" => '●',
        "tight" => '▲',
        "fails" => '■',
        _ => '○',
    }
}

/// What stands in an entered cell that could not be read.
fn wrong_text(desk: &Desk, column: ColumnId, row: RowId) -> String {
    let node = &desk.engine().graph().nodes[column.at()];
    let position = column.at() - desk.engine().column(node.sheet, 0).at();
    desk.plan()
        .rows(node.sheet)
        .wrong()
        .get(&(position, row))
        .cloned()
        .unwrap_or_default()
}

/// A decimal text as a JSON number.
pub fn number_json(text: &str) -> Value {
    match text.parse::<f64>() {
        Ok(value) if value.fract() == 0.0 && value.abs() < 9e15 => json!(value as i64),
        Ok(value) => json!(value),
        Err(_) => json!(text),
    }
}

/// Explains one cell.
pub fn why(
    path: &Path,
    names: [&str; 3],
    form: Form,
    out: &mut Printer,
) -> Result<Outcome, Vec<Problem>> {
    let desk = pick::open(path, out)?;
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
        Form::Json => out.line(&reason_json(&reason).to_string()),
    }
    Ok(Outcome::Quiet)
}

fn reason_json(reason: &Reason) -> Value {
    json!({
        "name": reason.name,
        "value": reason.value,
        "origin": reason.origin,
        "formula": reason.formula,
        "numbers": reason.numbers,
        "inputs": reason.inputs.iter().map(reason_json).collect::<Vec<Value>>(),
    })
}
