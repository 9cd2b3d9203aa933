//! The rows of one sheet: headings to columns, cells to values, whole columns into the plan.
//!
//! Nothing is dropped: unknown headings become own text columns, cells that cannot be read stay
//! as they are and count as absent.

use super::MAX_ROWS;
use crate::files::own_column::{MAX_COLUMNS, text_column, too_many_columns};
use crate::files::table_text::RowAt;
use crate::files::table_text::TableText;
use crate::files::table_text::n_line_ends;
use crate::plan::Edit;
use crate::plan::Filling;
use crate::plan::Plan;
use crate::plan::read_entry;
use crate::problem::Problem;
use crate::sheet::ColumnKind;
use crate::table::ABSENT;
use crate::table::Column;
use crate::table::MISSING;
use crate::table::NO_FLAG;
use crate::table::NamesWriter;
use crate::table::SheetId;
use crate::table::TextHash;
use crate::units::Unit;
use crate::units::Units;
use crate::units::read as read_quantity;
use std::borrow::Cow;
use std::sync::Arc;
use std::sync::mpsc::sync_channel;

/// More wrong cells or unknown keys are counted, not listed.
pub(super) const MAX_LISTED: usize = 1000;

/// What reading the blocks of a plan found so far.
#[derive(Debug, Default)]
pub(super) struct Reading {
    n_rows: usize,
    problems: Vec<Problem>,
    n_wrong: usize,
}

impl Reading {
    /// All problems, those that were not listed as one.
    pub(super) fn finish(mut self) -> Vec<Problem> {
        if self.n_wrong > MAX_LISTED {
            let n_more = self.n_wrong - MAX_LISTED;
            self.problems.push(Problem::new(
                "more-cells",
                format!("{n_more} more cells cannot be read"),
            ));
        }
        self.problems
    }

    fn note(&mut self, line: usize, source: &str, problem: Problem) {
        let problem = problem.within(format!("line {line}"), source);
        self.problems.push(problem);
    }

    fn count_row(&mut self, line: usize) -> Result<(), Problem> {
        self.n_rows += 1;
        if self.n_rows <= MAX_ROWS {
            return Ok(());
        }
        Err(
            Problem::new("too-many-rows", "the plan has more than 2,000,000 rows")
                .within(format!("line {line}"), "")
                .help("split it into several plans"),
        )
    }
}

/// Reads a block into a sheet; `line` is where it begins in the file.
pub(super) fn read(
    plan: &mut Plan,
    sheet: SheetId,
    body: &str,
    line: usize,
    reading: &mut Reading,
) -> Result<(), Problem> {
    let mut block = Block {
        plan,
        sheet,
        line,
        reading,
        builders: Vec::new(),
        n_rows: 0,
        failures: Vec::new(),
        short: None,
    };
    let mut text = TableText::new(body, ',');
    let mut cells = Vec::new();
    while let Some(at) = text.next_row(&mut cells) {
        if !cells.is_empty() {
            block.headings(&cells, &at)?;
            break;
        }
    }
    let n_lines = n_line_ends(body).min(MAX_ROWS);
    block.reserve(n_lines);
    let names = Arc::clone(block.plan.names());
    let mut names = names.writer();
    // An id is most often new.
    names.reserve(n_lines);
    let readers: Vec<Reader> = block.builders.iter().map(Builder::reader).collect();
    in_batches(text, body.len() >= LONG, &readers, |batch| {
        block.batch(batch, &mut names)
    })?;
    drop(names);
    block.finish()
}

/// A block of so many bytes is cut into cells by another thread.
const LONG: usize = 1 << 18;

/// So many batches are cut ahead, and then used again.
const N_AHEAD: usize = 32;

/// Cuts rows into cells, reads what can be read without the names of the plan, and hands them
/// over, batch by batch in order.
fn in_batches<'t>(
    mut text: TableText<'t>,
    is_long: bool,
    readers: &[Reader],
    mut take: impl FnMut(&mut Batch<'t>) -> Result<(), Problem>,
) -> Result<(), Problem> {
    if !is_long {
        let mut batch = Batch::default();
        while batch.fill(&mut text, readers) {
            take(&mut batch)?;
        }
        return Ok(());
    }
    std::thread::scope(|scope| {
        let (to_fill, empty) = sync_channel(N_AHEAD);
        let (full, to_take) = sync_channel(N_AHEAD);
        for _ in 0..N_AHEAD {
            // There is room for all of them.
            let _ = to_fill.send(Batch::default());
        }
        // Ends when the text does, or when nobody takes batches any more.
        scope.spawn(move || {
            while let Ok(mut batch) = empty.recv() {
                if !batch.fill(&mut text, readers) || full.send(batch).is_err() {
                    break;
                }
            }
        });
        for mut batch in to_take {
            take(&mut batch)?;
            let _ = to_fill.send(batch);
        }
        Ok(())
    })
}

/// So many rows are cut into cells before they are added to their columns.
const AT_ONCE: usize = 64;

/// Some rows cut into cells; their memory is used again.
#[derive(Debug, Default)]
struct Batch<'t> {
    rows: Vec<Row<'t>>,
    n_rows: usize,
}

/// A row cut into cells, with what each of them says in its column.
#[derive(Debug, Default)]
struct Row<'t> {
    at: RowAt,
    cells: Vec<Cow<'t, str>>,
    /// As many as there are headings; an empty cell where the row is shorter.
    said: Vec<Said>,
}

impl<'t> Batch<'t> {
    /// Takes the next rows, without empty lines; false when there are none.
    fn fill(&mut self, text: &mut TableText<'t>, readers: &[Reader]) -> bool {
        self.n_rows = 0;
        while self.n_rows < AT_ONCE {
            if self.rows.len() == self.n_rows {
                self.rows.push(Row::default());
            }
            let row = &mut self.rows[self.n_rows];
            match text.next_row(&mut row.cells) {
                Some(_) if row.cells.is_empty() => {}
                Some(at) => {
                    row.at = at;
                    row.said.clear();
                    for (at, reader) in readers.iter().enumerate() {
                        let cell = row.cells.get(at).map_or("", |cell| cell.as_ref());
                        row.said.push(reader.said(cell));
                    }
                    self.n_rows += 1;
                }
                None => break,
            }
        }
        self.n_rows > 0
    }

    fn rows(&mut self) -> &mut [Row<'t>] {
        &mut self.rows[..self.n_rows]
    }
}

/// What a cell says, as far as it can be told without the names of the plan.
#[derive(Debug, Clone, Copy)]
enum Said {
    Nothing,
    Number(f64),
    Text(TextHash),
    /// The word of a choice at this place.
    Word(usize),
    Wrong,
}

/// Reads the cells of one column.
#[derive(Debug)]
enum Reader {
    Number(Unit),
    Text,
    Choice(Vec<String>),
    Flag,
}

impl Reader {
    fn said(&self, text: &str) -> Said {
        if text.is_empty() {
            return Said::Nothing;
        }
        match self {
            Self::Number(unit) => Self::number(text, unit),
            // Spaces and all: what was saved comes back.
            Self::Text => Said::Text(TextHash::of(text)),
            Self::Choice(words) => Self::choice(text, words),
            Self::Flag => Said::Wrong,
        }
    }

    fn number(text: &str, unit: &Unit) -> Said {
        let value = match bare_number(text) {
            Some(value) => Some(unit.to_base(value)).filter(|value| value.is_finite()),
            None if text.trim().is_empty() => return Said::Nothing,
            None => read_quantity(text, unit).ok(),
        };
        value.map_or(Said::Wrong, Said::Number)
    }

    /// A word in any case.
    fn choice(text: &str, words: &[String]) -> Said {
        let trimmed = text.trim();
        if trimmed.is_empty() {
            return Said::Nothing;
        }
        let exact = words.iter().position(|word| word == trimmed);
        let at = exact.or_else(|| {
            let lower = trimmed.to_lowercase();
            words.iter().position(|word| word.to_lowercase() == lower)
        });
        at.map_or(Said::Wrong, Said::Word)
    }
}

/// A block while it is read.
struct Block<'p> {
    plan: &'p mut Plan,
    sheet: SheetId,
    line: usize,
    reading: &'p mut Reading,
    builders: Vec<Builder>,
    n_rows: usize,
    failures: Vec<Failure>,
    /// Rows with fewer cells than headings: how many, and the line of the first.
    short: Option<(usize, usize)>,
}

/// A cell that could not be read.
struct Failure {
    column: usize,
    row: usize,
    line: usize,
    id: String,
    text: String,
}

impl Block<'_> {
    fn sheet_name(&self) -> String {
        self.plan.def(self.sheet).name.clone()
    }

    /// Takes rows that were cut into cells.
    fn batch(&mut self, batch: &mut Batch<'_>, names: &mut NamesWriter<'_>) -> Result<(), Problem> {
        self.expect(batch.rows(), names);
        for row in batch.rows() {
            if row.at.open {
                self.open_quote(self.line + row.at.line - 1);
            }
            self.row(row, names)?;
        }
        Ok(())
    }

    fn open_quote(&mut self, line: usize) {
        let problem = Problem::new(
            "quote-open",
            format!("a quote opened in `{}` is never closed", self.sheet_name()),
        )
        .help("close it where its cell ends; it took in all rows below");
        self.reading.note(line, "", problem);
    }

    fn headings(&mut self, cells: &[Cow<'_, str>], at: &RowAt) -> Result<(), Problem> {
        let line = self.line + at.line - 1;
        if at.open {
            self.open_quote(line);
        }
        for heading in cells {
            let def = self.plan.def(self.sheet);
            let known = def.column(heading).or_else(|| def.column(heading.trim()));
            let free = |at: &usize| {
                let taken = self.builders.iter().any(|builder| builder.column == *at);
                self.plan.column(self.sheet, *at).entered() && !taken
            };
            let column = match known.filter(free) {
                Some(column) => column,
                None => self.own_column(heading, line)?,
            };
            self.builders
                .push(Builder::new(self.plan, self.sheet, column));
        }
        Ok(())
    }

    fn reserve(&mut self, n_rows: usize) {
        for builder in &mut self.builders {
            match &mut builder.values {
                Column::Numbers(values) => values.spread().reserve(n_rows),
                Column::Codes(codes) => codes.spread().reserve(n_rows),
                Column::Flags(flags) => flags.spread().reserve(n_rows),
            }
        }
    }

    /// Adds a text column for a heading that is none of ours, and says so.
    fn own_column(&mut self, heading: &str, line: usize) -> Result<usize, Problem> {
        if self.plan.def(self.sheet).columns.len() >= MAX_COLUMNS {
            return Err(too_many_columns().within(format!("line {line}"), ""));
        }
        let def = text_column(self.plan.def(self.sheet), heading);
        let problem = Problem::new(
            "unknown-key",
            format!("`{}` has no entered column `{heading}`", self.sheet_name()),
        );
        let columns = self.plan.def(self.sheet).columns.iter();
        let problem = problem
            .did_you_mean(heading, columns.map(|column| column.name.as_str()))
            .help(format!(
                "its cells are kept as the text column `{}`",
                def.name
            ));
        self.reading.note(line, heading, problem);
        self.plan.apply(Edit::AddColumn {
            sheet: self.sheet,
            def,
        })?;
        Ok(self.plan.def(self.sheet).columns.len() - 1)
    }

    /// Has the places of texts looked at in columns that are full of new ones.
    fn expect(&mut self, rows: &[Row<'_>], names: &mut NamesWriter<'_>) {
        for (at, builder) in self.builders.iter_mut().enumerate() {
            if std::mem::take(&mut builder.n_new) > AT_ONCE / 4 {
                names.expect(rows.iter().filter_map(|row| match row.said.get(at) {
                    Some(Said::Text(hash)) => Some(*hash),
                    Some(Said::Nothing | Said::Number(_) | Said::Word(_) | Said::Wrong) | None => {
                        None
                    }
                }));
            }
        }
    }

    fn row(&mut self, row: &mut Row<'_>, names: &mut NamesWriter<'_>) -> Result<(), Problem> {
        let line = self.line + row.at.line - 1;
        let cells = &mut row.cells;
        self.reading.count_row(line)?;
        while cells.len() > self.builders.len() && cells.last().is_some_and(|cell| cell.is_empty())
        {
            cells.pop();
        }
        while cells.len() > self.builders.len() {
            let column = self.own_column("", line)?;
            let mut builder = Builder::new(self.plan, self.sheet, column);
            builder.values.resize(self.n_rows);
            self.builders.push(builder);
        }
        if cells.len() < self.builders.len() {
            let (n, first) = self.short.unwrap_or((0, line));
            self.short = Some((n + 1, first));
        }
        for (at, builder) in self.builders.iter_mut().enumerate() {
            let cell = cells.get(at).map_or("", |cell| cell.as_ref());
            // A column without a heading was not known when the row was read.
            let said = row.said.get(at).copied();
            let said = said.unwrap_or_else(|| Reader::Text.said(cell));
            if !builder.push(said, cell, names) {
                self.failures.push(Failure {
                    column: builder.column,
                    row: self.n_rows,
                    line,
                    id: String::new(),
                    text: cell.to_owned(),
                });
            }
        }
        self.name_failures(cells);
        self.n_rows += 1;
        Ok(())
    }

    /// Gives the failures of this row its id.
    fn name_failures(&mut self, cells: &[Cow<'_, str>]) {
        let id = self.builders.iter().position(|builder| builder.column == 0);
        let id = id.and_then(|at| cells.get(at));
        let row = self.n_rows;
        for failure in self.failures.iter_mut().rev() {
            if failure.row != row {
                break;
            }
            failure.id = id.map(|id| id.to_string()).unwrap_or_default();
        }
    }

    fn finish(self) -> Result<(), Problem> {
        let mut wrong = Vec::with_capacity(self.failures.len());
        for failure in self.failures {
            self.reading.n_wrong += 1;
            if self.reading.n_wrong <= MAX_LISTED {
                let problem = failure.problem(self.plan, self.sheet);
                self.reading.note(failure.line, &failure.text, problem);
            }
            wrong.push((failure.column, failure.row, failure.text));
        }
        if let Some((n_short, line)) = self.short {
            let sheet = &self.plan.def(self.sheet).name;
            let problem = Problem::new(
                "row-short",
                format!("`{sheet}`: rows with fewer cells than headings: {n_short}"),
            )
            .help(format!(
                "the cells that are not there count as empty; the block begins on line {}",
                self.line
            ));
            self.reading.note(line, "", problem);
        }
        let columns = self.builders.into_iter();
        self.plan.fill(
            self.sheet,
            Filling {
                n_rows: self.n_rows,
                columns: columns
                    .map(|builder| (builder.column, builder.values))
                    .collect(),
                wrong,
            },
        )
    }
}

impl Failure {
    fn problem(&self, plan: &Plan, sheet: SheetId) -> Problem {
        let (sheet_name, column) = (&plan.def(sheet).name, &plan.column(sheet, self.column).name);
        let why = read_entry(plan, sheet, self.column, &self.text)
            .err()
            .unwrap_or_else(|| Problem::new("cell-wrong", "this cell cannot be read"));
        Problem {
            message: format!("{sheet_name} `{}`, `{column}`: {}", self.id, why.message),
            ..why
        }
    }
}

/// The values of one column while they are read.
struct Builder {
    column: usize,
    kind: ColumnKind,
    unit: Unit,
    /// The words of a choice with their codes, filled as they come.
    choices: Vec<(String, Option<u32>)>,
    values: Column,
    /// The text before this one with its code: neighbours are often equal.
    last: (String, u32),
    /// How many texts of this batch nobody had before.
    n_new: usize,
}

impl Builder {
    fn new(plan: &Plan, sheet: SheetId, column: usize) -> Self {
        let def = plan.column(sheet, column);
        let unit = Units::builtin().unit(&def.unit);
        Self {
            column,
            kind: def.kind,
            unit: unit.unwrap_or_else(|_| Unit::none()),
            choices: def
                .choices
                .iter()
                .map(|word| (word.clone(), None))
                .collect(),
            values: match def.kind {
                ColumnKind::Number => Column::of_numbers(Vec::new()),
                ColumnKind::Flag => Column::of_flags(Vec::new()),
                ColumnKind::Text | ColumnKind::Choice | ColumnKind::Row => {
                    Column::of_codes(Vec::new())
                }
            },
            last: (String::new(), ABSENT),
            n_new: 0,
        }
    }

    /// Reads the cells of this column.
    fn reader(&self) -> Reader {
        match self.kind {
            ColumnKind::Number => Reader::Number(self.unit.clone()),
            ColumnKind::Text | ColumnKind::Row => Reader::Text,
            ColumnKind::Choice => {
                Reader::Choice(self.choices.iter().map(|(word, _)| word.clone()).collect())
            }
            ColumnKind::Flag => Reader::Flag,
        }
    }

    /// Adds a cell; false where it cannot be read and counts as absent.
    fn push(&mut self, said: Said, text: &str, names: &mut NamesWriter<'_>) -> bool {
        let code = match said {
            Said::Text(hash) => self.text(text, hash, names),
            Said::Word(at) => self.word(at, names),
            Said::Nothing | Said::Number(_) | Said::Wrong => ABSENT,
        };
        match &mut self.values {
            Column::Numbers(values) => values.spread().push(match said {
                Said::Number(value) => value,
                Said::Nothing | Said::Text(_) | Said::Word(_) | Said::Wrong => MISSING,
            }),
            Column::Codes(codes) => codes.spread().push(code),
            Column::Flags(flags) => {
                let n_rows = flags.len() + 1;
                flags.resize(n_rows, NO_FLAG);
            }
        }
        !matches!(said, Said::Wrong)
    }

    fn text(&mut self, text: &str, hash: TextHash, names: &mut NamesWriter<'_>) -> u32 {
        if self.last.0 != text {
            self.last.0.clear();
            self.last.0.push_str(text);
            let n_known = names.len();
            self.last.1 = names.code_of(text, hash);
            self.n_new += names.len() - n_known;
        }
        self.last.1
    }

    fn word(&mut self, at: usize, names: &mut NamesWriter<'_>) -> u32 {
        let (word, code) = &mut self.choices[at];
        *code.get_or_insert_with(|| names.code(word))
    }
}

/// A number that stands alone in its plainest form, read without looking for a unit.
fn bare_number(text: &str) -> Option<f64> {
    let plain = |byte: u8| matches!(byte, b'0'..=b'9' | b'.' | b'-' | b'+' | b'e' | b'E');
    if !text.bytes().all(plain) {
        return None;
    }
    text.parse().ok()
}
