//! A plan as the text of its file: the same plan gives the same bytes.
//!
//! Only text out; `save.rs` brings it to disk.

use super::extras::{self, TOP};
use super::mapping;
use super::proposal;
use super::toml_text::{BlockForm, is_verbatim, key, quoted};
use super::view;
use super::{FORMAT, KINDS, SEAL};
use crate::files::Checksum;
use crate::files::table_text::push_row;
use crate::plan::Entry;
use crate::plan::Plan;
use crate::problem::Severity;
use crate::sheet::CheckDef;
use crate::sheet::ColumnDef;
use crate::table::Column;
use crate::table::NamesView;
use crate::table::RowId;
use crate::table::SheetId;
use crate::units::Unit;
use crate::units::Units;
use crate::units::exact;
use crate::units::split_quantity;
use std::borrow::Cow;
use std::fmt::Write;

/// The whole file; of a plan in which proposals are open, the base and the proposals.
pub fn write(plan: &Plan) -> String {
    let mut out = String::with_capacity(likely_length(plan));
    write_in_pieces(plan, &mut |piece| out.push_str(piece));
    out
}

/// The same, piece by piece as it is made, so that the text of a large plan need not lie in memory.
pub fn write_in_pieces(plan: &Plan, put: &mut dyn FnMut(&str)) {
    let mut sum = Checksum::default();
    let mut pass = |piece: &str| {
        sum.add(piece.as_bytes());
        put(piece);
    };
    match plan.base() {
        Some((base, _)) => pieces(&base, &mut pass),
        None => pieces(plan, &mut pass),
    }
    put(&format!("{SEAL}{}\n", sum.digits()));
}

/// All but the last line.
fn pieces(plan: &Plan, pass: &mut dyn FnMut(&str)) {
    let mut out = String::new();
    let _ = writeln!(out, "portledger = {FORMAT}");
    if !plan.title.is_empty() {
        pair(&mut out, "title", &plan.title);
    }
    if !plan.id.is_empty() {
        pair(&mut out, "id", &plan.id);
    }
    extras::push_lines(&mut out, plan, TOP);
    assumptions(&mut out, plan);
    severities(&mut out, plan);
    view::push(&mut out, plan);
    mapping::push(&mut out, plan);
    own_columns(&mut out, plan);
    formulas(&mut out, plan);
    own_checks(&mut out, plan);
    proposal::push(&mut out, plan);
    pass(&out);
    rows(plan, pass);
}

/// About as many bytes as the rows need, so that the text of a large plan is not copied as it grows.
fn likely_length(plan: &Plan) -> usize {
    /// What a row of a usual plan takes.
    const OF_A_ROW: usize = 64;
    let rows = sheets(plan).map(|sheet| plan.rows(sheet).order().len());
    OF_A_ROW * rows.sum::<usize>()
}

pub(super) fn pair(out: &mut String, name: &str, text: &str) {
    // Writing to a string cannot fail, here and below.
    let _ = writeln!(out, "{name} = {}", quoted(text));
}

fn pair_if_given(out: &mut String, name: &str, text: &str) {
    if !text.is_empty() {
        pair(out, name, text);
    }
}

fn assumptions(out: &mut String, plan: &Plan) {
    let own = plan.assumptions().iter().filter(|known| known.own);
    let mut lines = String::new();
    for assumption in own {
        let name = &assumption.def.name;
        let value = with_symbol(
            assumption.entry.text(&assumption.unit, plan.names()),
            assumption,
        );
        let _ = writeln!(
            lines,
            "{} = {{ value = {}, source = {}{} }}",
            key(name),
            quoted(&value),
            quoted(&assumption.source),
            extras::parts(plan, &format!("assumptions {name}")),
        );
    }
    extras::push_lines(&mut lines, plan, "assumptions");
    table(out, "assumptions", &lines);
}

/// A bare number with its unit, so that a person can read it.
fn with_symbol(text: String, assumption: &crate::plan::Assumption) -> String {
    let symbol = &assumption.unit.symbol;
    let is_number = matches!(assumption.entry, Entry::Number(_));
    let is_bare = split_quantity(&text).is_some_and(|(_, rest)| rest.is_empty());
    if is_number && is_bare && !symbol.is_empty() {
        format!("{text} {symbol}")
    } else {
        text
    }
}

pub(super) fn table(out: &mut String, name: &str, lines: &str) {
    if !lines.is_empty() {
        let _ = write!(out, "\n[{name}]\n{lines}");
    }
}

fn severities(out: &mut String, plan: &Plan) {
    let mut lines = String::new();
    for (check, severity) in &plan.severities {
        let word = severity.map_or("off", Severity::word);
        pair(&mut lines, &key(check), word);
    }
    for (name, value) in extras::of_table(plan, "severities") {
        if !plan.severities.contains_key(name) {
            let _ = writeln!(lines, "{} = {value}", key(name));
        }
    }
    table(out, "severities", &lines);
}

fn own_columns(out: &mut String, plan: &Plan) {
    for (sheet, column) in places(plan) {
        if plan.is_own(sheet, column) {
            own_column(out, plan, &plan.def(sheet).name, plan.column(sheet, column));
        }
    }
    extras::push_elements(out, plan, "column");
}

/// All columns of all sheets.
fn places(plan: &Plan) -> impl Iterator<Item = (SheetId, usize)> {
    sheets(plan).flat_map(|sheet| (0..plan.def(sheet).columns.len()).map(move |at| (sheet, at)))
}

pub(super) fn sheets(plan: &Plan) -> impl Iterator<Item = SheetId> {
    (0..plan.schema().len()).filter_map(|at| u16::try_from(at).ok().map(SheetId))
}

fn own_column(out: &mut String, plan: &Plan, sheet: &str, def: &ColumnDef) {
    out.push_str("\n[[column]]\n");
    pair(out, "sheet", sheet);
    pair(out, "name", &def.name);
    pair(out, "title", &def.title);
    let kind = KINDS.iter().find(|(kind, _)| *kind == def.kind);
    pair(out, "kind", kind.map_or("text", |(_, word)| word));
    pair_if_given(out, "doc", &def.doc);
    pair_if_given(out, "unit", &def.unit);
    if !def.choices.is_empty() {
        let choices: Vec<String> = def.choices.iter().map(|word| quoted(word)).collect();
        let _ = writeln!(out, "choices = [{}]", choices.join(", "));
    }
    for (name, text) in [("to", &def.to), ("formula", &def.formula)] {
        if let Some(text) = text {
            pair(out, name, text);
        }
    }
    if let Some(decimals) = def.decimals {
        let _ = writeln!(out, "decimals = {decimals}");
    }
    pair_if_given(out, "source", &def.source);
    if def.quiet {
        out.push_str("quiet = true\n");
    }
    extras::push_lines(out, plan, &format!("column {sheet}.{}", def.name));
}

fn formulas(out: &mut String, plan: &Plan) {
    for (sheet, column) in places(plan) {
        let Some(formula) = plan.overridden(sheet, column) else {
            continue;
        };
        let (sheet, column) = (&plan.def(sheet).name, &plan.column(sheet, column).name);
        out.push_str("\n[[formula]]\n");
        pair(out, "sheet", sheet);
        pair(out, "column", column);
        pair(out, "formula", formula);
        extras::push_lines(out, plan, &format!("formula {sheet}.{column}"));
    }
    extras::push_elements(out, plan, "formula");
}

fn own_checks(out: &mut String, plan: &Plan) {
    for (sheet, check) in &plan.own_checks {
        own_check(out, plan, sheet, check);
    }
    extras::push_elements(out, plan, "check");
}

fn own_check(out: &mut String, plan: &Plan, sheet: &str, check: &CheckDef) {
    out.push_str("\n[[check]]\n");
    pair(out, "sheet", sheet);
    pair(out, "name", &check.name);
    pair_if_given(out, "doc", &check.doc);
    pair_if_given(out, "source", &check.source);
    extras::push_lines(out, plan, &format!("check {sheet}.{}", check.name));
    for case in &check.cases {
        out.push_str("[[check.case]]\n");
        pair(out, "when", &case.when);
        pair(out, "severity", case.severity.word());
        pair(out, "say", &case.say);
        pair(out, "advise", &case.advise);
    }
}

/// So many bytes are a piece of the rows.
const PIECE: usize = 1 << 16;

fn rows(plan: &Plan, pass: &mut dyn FnMut(&str)) {
    let head = "\n[rows]\n";
    let (mut out, mut is_any) = (head.to_owned(), false);
    for sheet in sheets(plan) {
        let own: Vec<RowId> = own_rows(plan, sheet);
        if !own.is_empty() {
            is_any = true;
            let _ = write!(out, "{} = ", key(&plan.def(sheet).name));
            push_sheet(&mut out, plan, sheet, &own, pass);
            out.push('\n');
        }
    }
    extras::push_lines(&mut out, plan, "rows");
    if is_any || out.len() > head.len() {
        pass(&out);
    }
}

/// The rows of a sheet as a block, passed on in pieces since those of a large plan are nearly all
/// of it.
fn push_sheet(
    out: &mut String,
    plan: &Plan,
    sheet: SheetId,
    own: &[RowId],
    pass: &mut dyn FnMut(&str),
) {
    let form = BlockForm::of(has_plain_rows(plan, sheet, own));
    form.open(out);
    each_row(plan, sheet, own, &mut |row| {
        form.push(out, row);
        if out.len() > PIECE {
            pass(out);
            out.clear();
        }
    });
    form.close(out);
}

/// Whether the rows can stand in the file word for word.
fn has_plain_rows(plan: &Plan, sheet: SheetId, own: &[RowId]) -> bool {
    // Mostly all texts of a plan are plain, and no row needs a look.
    let names = plan.names().view();
    let mut headings = plan.entered(sheet).map(|at| &plan.column(sheet, at).name);
    let all_are = plan.rows(sheet).wrong().is_empty()
        && headings.all(|name| is_verbatim(name))
        && names.texts().all(is_verbatim);
    let mut is_plain = true;
    if !all_are {
        each_row(plan, sheet, own, &mut |row| is_plain &= is_verbatim(row));
    }
    is_plain
}

/// The rows a person made, in the order shown.
fn own_rows(plan: &Plan, sheet: SheetId) -> Vec<RowId> {
    let rows = plan.rows(sheet);
    let own = rows.order().iter().filter(|row| !rows.is_builtin(**row));
    own.copied().collect()
}

/// Headings and rows as they stand in the file, one after the other; columns without any value are
/// left out, except the id.
fn each_row(plan: &Plan, sheet: SheetId, own: &[RowId], put: &mut dyn FnMut(&str)) {
    let view = plan.names().view();
    let is_blank = |at: usize| plan.rows(sheet).is_blank(at);
    let is_any_given = |at: usize| own.iter().any(|row| is_given(plan, sheet, at, *row));
    let given = |at: &usize| *at == 0 || !is_blank(*at) && is_any_given(*at);
    let mut writers: Vec<CellWriter<'_>> = plan
        .entered(sheet)
        .filter(given)
        .map(|at| CellWriter::new(plan, sheet, at, &view))
        .collect();
    let names = writers
        .iter()
        .map(|writer| plan.column(sheet, writer.at).name.as_str());
    let mut text = String::new();
    push_row(&mut text, names.map(Cow::Borrowed));
    put(&text);
    for row in own {
        text.clear();
        push_row(
            &mut text,
            writers.iter_mut().map(|writer| writer.text(*row)),
        );
        put(&text);
    }
}

fn is_given(plan: &Plan, sheet: SheetId, column: usize, row: RowId) -> bool {
    match plan.entry(sheet, column, row) {
        Entry::Empty => false,
        Entry::Number(_) => true,
        // The empty text is no text.
        Entry::Text(code) => !plan.names().view().text(code).is_empty(),
        Entry::Wrong(text) => !text.is_empty(),
    }
}

/// Writes the cells of one column.
struct CellWriter<'p> {
    plan: &'p Plan,
    sheet: SheetId,
    at: usize,
    has_wrong: bool,
    unit: Unit,
    view: &'p NamesView<'p>,
    /// The number before this one with its text: neighbours are often equal.
    last: (u64, String),
}

impl<'p> CellWriter<'p> {
    fn new(plan: &'p Plan, sheet: SheetId, at: usize, view: &'p NamesView<'p>) -> Self {
        let unit = Units::builtin().unit(&plan.column(sheet, at).unit);
        let mut wrong = plan.rows(sheet).wrong().keys();
        Self {
            plan,
            sheet,
            at,
            has_wrong: wrong.any(|(column, _)| *column == at),
            unit: unit.unwrap_or_else(|_| Unit::none()),
            view,
            last: (f64::NAN.to_bits(), String::new()),
        }
    }

    fn text(&mut self, row: RowId) -> Cow<'p, str> {
        let rows = self.plan.rows(self.sheet);
        if self.has_wrong
            && let Some(text) = rows.wrong().get(&(self.at, row))
        {
            return Cow::Borrowed(text);
        }
        match rows.column(self.at) {
            Column::Numbers(values) => Cow::Owned(self.number(values[row.at()])),
            Column::Codes(codes) => Cow::Borrowed(self.view.text(codes[row.at()])),
            Column::Flags(_) => Cow::Borrowed(""),
        }
    }

    fn number(&mut self, value: f64) -> String {
        if value.is_nan() {
            return String::new();
        }
        if self.last.0 != value.to_bits() {
            self.last = (value.to_bits(), exact(value, &self.unit));
        }
        self.last.1.clone()
    }
}
