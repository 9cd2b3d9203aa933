//! A block of cells as text and back: what is copied, how a pasted table is read, and what
//! pasting it would do.
//!
//! Cells stand between tabs, so that other programs take them. Nothing here changes a plan: a
//! [`Pasting`] holds the edit, and what to tell about it before.

use super::entry::as_typed;
use super::entry::unit_of;
use super::page::Line;
use super::theme::Tone;
use crate::desk::Desk;
use crate::files::table_text::TableText;
use crate::files::table_text::push_row_with;
use crate::plan::Edit;
use crate::plan::Entry;
use crate::plan::Place;
use crate::plan::read_entry;
use crate::problem::Problem;
use crate::problem::several;
use crate::sheet::ColumnDef;
use crate::table::Cell;
use crate::table::RowId;
use crate::table::SheetId;
use crate::units::Unit;
use crate::units::exact;
use crate::units::split_quantity;
use rustc_hash::FxHashMap;
use rustc_hash::FxHashSet;
use std::borrow::Cow;

/// How many changes, refusals and new rows are listed one by one.
const MOST_LISTED: usize = 100;

/// The cells of a block as a table without headings, so that it can be put anywhere.
///
/// Numbers stand exactly, in the unit of their column and without it. Positions are those of the
/// engine's schema.
pub fn to_table(desk: &Desk, sheet: SheetId, rows: &[RowId], columns: &[usize]) -> String {
    let columns: Vec<Source<'_>> = columns
        .iter()
        .filter_map(|column| Source::new(desk, sheet, *column))
        .collect();
    let mut out = String::new();
    for row in rows {
        let cells = columns
            .iter()
            .map(|column| Cow::Owned(column.text(desk, sheet, *row)));
        push_row_with(&mut out, '\t', cells);
    }
    out
}

/// The same under a row of headings, each the name of its column with its unit: `length [m]`.
pub fn to_table_with_heads(
    desk: &Desk,
    sheet: SheetId,
    rows: &[RowId],
    columns: &[usize],
) -> String {
    let mut out = String::new();
    let defs = &desk.engine().schema()[sheet.at()].columns;
    let heads = columns.iter().filter_map(|column| defs.get(*column));
    let heads = heads.map(|def| match def.unit.is_empty() {
        true => Cow::Borrowed(def.name.as_str()),
        false => Cow::Owned(format!("{} [{}]", def.name, def.unit)),
    });
    push_row_with(&mut out, '\t', heads);
    out + &to_table(desk, sheet, rows, columns)
}

/// A column that is copied.
struct Source<'d> {
    def: &'d ColumnDef,
    position: usize,
    unit: Unit,
}

impl<'d> Source<'d> {
    fn new(desk: &'d Desk, sheet: SheetId, position: usize) -> Option<Self> {
        let def = desk.engine().schema()[sheet.at()].columns.get(position)?;
        Some(Self {
            def,
            position,
            unit: unit_of(&def.unit),
        })
    }

    fn text(&self, desk: &Desk, sheet: SheetId, row: RowId) -> String {
        if self.def.entered() {
            let entry = desk.plan().entry(sheet, self.position, row);
            return entry.text(&self.unit, desk.plan().names());
        }
        let column = desk.engine().column(sheet, self.position);
        match desk.engine().cell(desk.plan(), column, row) {
            Cell::Number(value) => exact(value, &self.unit),
            Cell::Text(text) => text,
            Cell::Flag(true) => "yes".to_owned(),
            Cell::Flag(false) => "no".to_owned(),
            Cell::Missing | Cell::Failed => String::new(),
        }
    }
}

/// Reads a pasted table: cells between tabs, with quotes where one holds a tab or a line break.
///
/// Any line ends are taken. Where every second line is empty, a terminal has doubled the ends,
/// and the empty ones are left out.
pub fn read_table(text: &str) -> Vec<Vec<String>> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut rows = quoted_rows(text).unwrap_or_else(|| plain_rows(text));
    let n_read = rows.len();
    while rows.last().is_some_and(Vec::is_empty) {
        rows.pop();
    }
    // A table whose last line ends once has its empty lines on purpose.
    let ends_once = rows.len() == n_read && text.ends_with(['\r', '\n']);
    if !ends_once && is_doubled(&rows) {
        rows.retain(|row| !row.is_empty());
        rows.iter_mut().flatten().for_each(halve);
    }
    for row in &mut rows {
        if row.is_empty() {
            row.push(String::new());
        }
    }
    rows
}

/// Rows by the rules of quotes; none where a quote stays open, so that it was none.
fn quoted_rows(text: &str) -> Option<Vec<Vec<String>>> {
    let (mut reader, mut cells, mut rows) = (TableText::new(text, '\t'), Vec::new(), Vec::new());
    while let Some(at) = reader.next_row(&mut cells) {
        if at.open {
            return None;
        }
        rows.push(cells.drain(..).map(Cow::into_owned).collect());
    }
    Some(rows)
}

fn plain_rows(text: &str) -> Vec<Vec<String>> {
    let text = one_kind_of_end(text);
    let lines = text.strip_suffix('\n').unwrap_or(&text).split('\n');
    let row = |line: &str| match line.is_empty() {
        true => Vec::new(),
        false => line.split('\t').map(str::to_owned).collect(),
    };
    lines.map(row).collect()
}

fn one_kind_of_end(text: &str) -> String {
    text.replace("\r\n", "\n").replace('\r', "\n")
}

fn is_doubled(rows: &[Vec<String>]) -> bool {
    let alternates = |(at, row): (usize, &Vec<String>)| row.is_empty() == (at % 2 == 1);
    rows.len() > 2 && rows.iter().enumerate().all(alternates)
}

/// Makes doubled line ends within a cell single.
fn halve(cell: &mut String) {
    if cell.contains(['\r', '\n']) {
        *cell = one_kind_of_end(cell).replace("\n\n", "\n");
    }
}

/// What pasting a table would do.
#[derive(Debug, Clone)]
pub struct Pasting {
    /// The edit that does it, as one step.
    pub edit: Edit,
    /// The name of the step.
    pub label: String,
    /// Names of the columns where the first row was taken as headings.
    pub heads: Option<Vec<String>>,
    /// How many cells change.
    pub n_changed: usize,
    /// The first of them.
    pub changed: Vec<Changed>,
    /// How many rows are added.
    pub n_added: usize,
    /// The names of the first of them.
    pub added: Vec<String>,
    /// How many cells are left out.
    pub n_refused: usize,
    /// Why; the first of them one by one, cells of one reason for a whole column together.
    pub refused: Vec<Refused>,
}

/// A cell that changes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Changed {
    /// The name of the row.
    pub row: String,
    /// The name of the column.
    pub column: String,
    /// What is there; may be empty.
    pub old: String,
    /// What will be there; may be empty.
    pub new: String,
}

/// Cells that are left out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refused {
    /// Where they are: row and column, or the column.
    pub place: String,
    /// Why.
    pub problem: Problem,
    /// How many cells.
    pub n_cells: usize,
}

/// What pasting a table at a row would do.
///
/// `rows` and `columns` are those shown; the table goes from the row at position `at` on down and
/// from the first of `columns` on to the right, so that a caller hands on the columns from the
/// cursor on. Where the first row holds nothing but names or titles of columns, it says which
/// columns are meant, shown or not. Rows beyond the last are added at the end of the sheet when
/// their names are in the table. Cells that cannot be taken are left out of the edit and told.
pub fn plan_paste(
    desk: &Desk,
    sheet: SheetId,
    at: usize,
    rows: &[RowId],
    columns: &[usize],
    table: &[Vec<String>],
) -> Pasting {
    let heads = heads(desk, sheet, table);
    let body = &table[usize::from(heads.is_some()).min(table.len())..];
    let targets = match &heads {
        Some(heads) => heads.clone(),
        None => columns
            .iter()
            .map(|column| Target::plain(*column))
            .collect(),
    };
    let mut paster = Paster::new(desk, sheet, targets);
    paster.too_wide(body);
    let below = rows.get(at.min(rows.len())..).unwrap_or_default();
    for (line, row) in body.iter().zip(below) {
        paster.change(*row, line);
    }
    paster.add(body.get(below.len()..).unwrap_or_default());
    paster.finish(heads)
}

/// Where a column of the table goes.
#[derive(Debug, Clone)]
struct Target {
    column: usize,
    /// The unit of its numbers, where a heading says another one.
    unit: Option<String>,
}

impl Target {
    fn plain(column: usize) -> Self {
        Self { column, unit: None }
    }
}

/// The columns named by the first row, when it holds nothing else and is not alone.
fn heads(desk: &Desk, sheet: SheetId, table: &[Vec<String>]) -> Option<Vec<Target>> {
    let first = table.first().filter(|_| table.len() > 1)?;
    first.iter().map(|text| head(desk, sheet, text)).collect()
}

/// The column of a heading: a name or a title in any case, perhaps with a unit in brackets.
fn head(desk: &Desk, sheet: SheetId, text: &str) -> Option<Target> {
    let text = text.trim();
    let defs = &desk.engine().schema()[sheet.at()].columns;
    let named = |name: &str| {
        let lower = name.trim().to_lowercase();
        let is_name = |def: &ColumnDef| def.name == lower;
        let is_title = |def: &ColumnDef| def.title.to_lowercase() == lower;
        let by_name = defs.iter().position(is_name);
        by_name.or_else(|| defs.iter().position(is_title))
    };
    if let Some(column) = named(text) {
        return Some(Target::plain(column));
    }
    let inner = text.strip_suffix([']', ')'])?;
    let (name, unit) = inner.rsplit_once(['[', '('])?;
    Some(Target {
        column: named(name)?,
        unit: Some(unit.trim().to_owned()),
    })
}

/// Goes through the table and collects what it does.
struct Paster<'d> {
    desk: &'d Desk,
    sheet: SheetId,
    targets: Vec<Target>,
    cells: Vec<(Place, Entry)>,
    new_rows: Vec<Vec<(usize, Entry)>>,
    changed: Vec<Changed>,
    added: Vec<String>,
    refused: Vec<Refused>,
    n_refused: usize,
    /// Refusals of a whole column, by what is wrong and the column.
    alike: FxHashMap<(&'static str, usize), usize>,
}

impl<'d> Paster<'d> {
    fn new(desk: &'d Desk, sheet: SheetId, targets: Vec<Target>) -> Self {
        Self {
            desk,
            sheet,
            targets,
            cells: Vec::new(),
            new_rows: Vec::new(),
            changed: Vec::new(),
            added: Vec::new(),
            refused: Vec::new(),
            n_refused: 0,
            alike: FxHashMap::default(),
        }
    }

    fn name(&self, column: usize) -> &'d str {
        let def = self.desk.engine().schema()[self.sheet.at()]
            .columns
            .get(column);
        def.map_or("", |def| def.name.as_str())
    }

    /// Cells that stand beyond the last column.
    fn too_wide(&mut self, body: &[Vec<String>]) {
        let n_columns = self.targets.len();
        let over = body.iter().flat_map(|line| line.iter().skip(n_columns));
        let n_over = over.filter(|text| !text.trim().is_empty()).count();
        if n_over > 0 {
            let problem = Problem::new("too-wide", format!("only {n_columns} columns stand here"))
                .help("begin further left, or show more columns");
            self.n_refused += n_over;
            self.refused.push(Refused {
                place: "beyond the last column".to_owned(),
                problem,
                n_cells: n_over,
            });
        }
    }

    fn refuse(&mut self, row: &str, column: usize, problem: Problem) {
        self.n_refused += 1;
        if self.refused.len() < MOST_LISTED {
            self.refused.push(Refused {
                place: format!("{row} {}", self.name(column)),
                problem,
                n_cells: 1,
            });
        }
    }

    /// Refuses a cell for what is true of its whole column.
    fn refuse_alike(&mut self, column: usize, problem: Problem) {
        self.n_refused += 1;
        let key = (problem.code, column);
        if let Some(at) = self.alike.get(&key) {
            self.refused[*at].n_cells += 1;
            return;
        }
        self.alike.insert(key, self.refused.len());
        self.refused.push(Refused {
            place: self.name(column).to_owned(),
            problem,
            n_cells: 1,
        });
    }

    /// What a text is for a column; none when it was refused.
    fn read(&mut self, row: &str, target: &Target, text: &str) -> Option<Entry> {
        let def = self.desk.plan().def(self.sheet).columns.get(target.column);
        let Some(def) = def.filter(|def| def.entered()) else {
            let problem = Problem::new(
                "column-computed",
                format!("`{}` is computed, not entered", self.name(target.column)),
            );
            self.refuse_alike(target.column, problem);
            return None;
        };
        let text = match &target.unit {
            Some(unit) if *unit != def.unit && is_bare(text) => {
                Cow::Owned(format!("{text} {unit}"))
            }
            Some(_) | None => Cow::Borrowed(text),
        };
        let entry = read_entry(self.desk.plan(), self.sheet, target.column, &text);
        let entry = entry.and_then(|entry| match (&entry, target.column) {
            (Entry::Empty, 0) => Err(Problem::new("name-missing", "a row needs a name")),
            _ => Ok(entry),
        });
        match entry {
            Ok(entry) => Some(entry),
            Err(problem) => {
                self.refuse(row, target.column, problem);
                None
            }
        }
    }

    /// Puts a line of the table into a row that is there.
    fn change(&mut self, row: RowId, line: &[String]) {
        let plan = self.desk.plan();
        let is_builtin = plan.rows(self.sheet).is_builtin(row);
        let mut name: Option<String> = None;
        for (at, text) in line.iter().enumerate() {
            let Some(target) = self.targets.get(at).cloned() else {
                break;
            };
            if is_builtin {
                let problem = Problem::new("row-builtin", "rows that came with the program stay")
                    .help("add a row with the same name; yours then counts");
                self.refuse_alike(target.column, problem);
                continue;
            }
            let name = name.get_or_insert_with(|| plan.id(self.sheet, row));
            let Some(entry) = self.read(name, &target, text) else {
                continue;
            };
            let old = plan.entry(self.sheet, target.column, row);
            if old == entry {
                continue;
            }
            if self.changed.len() < MOST_LISTED {
                let unit = unit_of(&plan.column(self.sheet, target.column).unit);
                self.changed.push(Changed {
                    row: name.clone(),
                    column: self.name(target.column).to_owned(),
                    old: as_typed(self.desk, &old, &unit),
                    new: as_typed(self.desk, &entry, &unit),
                });
            }
            self.cells.push(((target.column, row), entry));
        }
    }

    /// Makes new rows of the lines beyond the last row.
    fn add(&mut self, lines: &[Vec<String>]) {
        let is_given = |line: &&Vec<String>| line.iter().any(|text| !text.trim().is_empty());
        let lines: Vec<&Vec<String>> = lines.iter().filter(is_given).collect();
        if lines.is_empty() {
            return;
        }
        let Some(id_at) = self.targets.iter().position(|target| target.column == 0) else {
            self.no_names(&lines);
            return;
        };
        let mut known = self.known_names();
        for line in lines {
            self.add_one(line, id_at, &mut known);
        }
    }

    fn no_names(&mut self, lines: &[&Vec<String>]) {
        let n_columns = self.targets.len();
        let n_cells = lines.iter().map(|line| line.len().min(n_columns)).sum();
        let message = match lines.len() {
            1 => "1 row stands beyond the last row here and has no name".to_owned(),
            n => format!("{n} rows stand beyond the last row here and have no names"),
        };
        let name = self.name(0);
        self.n_refused += n_cells;
        self.refused.push(Refused {
            place: "beyond the last row".to_owned(),
            problem: Problem::new("rows-without-names", message).help(format!(
                "copy the column `{name}` with them, or add rows first"
            )),
            n_cells,
        });
    }

    /// The names that new rows cannot have, in lower case; of a reference sheet a row may take
    /// the place of another.
    fn known_names(&self) -> FxHashSet<String> {
        let plan = self.desk.plan();
        if plan.def(self.sheet).reference {
            return FxHashSet::default();
        }
        let view = plan.names().view();
        let rows = plan.rows(self.sheet);
        let ids = rows.column(0).codes();
        let codes = rows.order().iter().filter_map(|row| ids.get(row.at()));
        codes.map(|code| view.text(*code).to_lowercase()).collect()
    }

    fn add_one(&mut self, line: &[String], id_at: usize, known: &mut FxHashSet<String>) {
        let name = line.get(id_at).map_or("", |name| name.trim()).to_owned();
        let wrong = if name.is_empty() {
            Some(Problem::new("name-missing", "a new row needs a name"))
        } else if !known.insert(name.to_lowercase()) {
            let one = self.desk.plan().def(self.sheet).row_word();
            Some(Problem::new(
                "name-there",
                format!("there is already a {one} `{name}`"),
            ))
        } else {
            None
        };
        if let Some(problem) = wrong {
            self.n_refused += line.len().min(self.targets.len()).saturating_sub(1);
            self.refuse(&name, 0, problem);
            return;
        }
        let mut cells = Vec::with_capacity(line.len());
        for (at, text) in line.iter().enumerate() {
            let Some(target) = self.targets.get(at).cloned() else {
                break;
            };
            match self.read(&name, &target, text) {
                Some(Entry::Empty) | None => {}
                Some(entry) => cells.push((target.column, entry)),
            }
        }
        if self.added.len() < MOST_LISTED {
            self.added.push(name);
        }
        self.new_rows.push(cells);
    }

    fn finish(self, heads: Option<Vec<Target>>) -> Pasting {
        let heads = heads.map(|heads| {
            let names = heads
                .iter()
                .map(|target| self.name(target.column).to_owned());
            names.collect()
        });
        let (n_changed, n_added) = (self.cells.len(), self.new_rows.len());
        let mut edits = Vec::new();
        if n_changed > 0 {
            edits.push(Edit::SetCells {
                sheet: self.sheet,
                cells: self.cells,
            });
        }
        if n_added > 0 {
            edits.push(Edit::AddRows {
                sheet: self.sheet,
                at: self.desk.plan().rows(self.sheet).order().len(),
                rows: self.new_rows,
            });
        }
        let mut parts = Vec::new();
        if n_changed > 0 || n_added == 0 {
            parts.push(several(n_changed, "cell", "cells"));
        }
        if n_added > 0 {
            parts.push(several(n_added, "new row", "new rows"));
        }
        Pasting {
            edit: Edit::Group(edits),
            label: format!("paste of {}", parts.join(" and ")),
            heads,
            n_changed,
            changed: self.changed,
            n_added,
            added: self.added,
            n_refused: self.n_refused,
            refused: self.refused,
        }
    }
}

/// Whether a text is a number without a unit.
fn is_bare(text: &str) -> bool {
    split_quantity(text).is_some_and(|(_, unit)| unit.is_empty())
}

impl Pasting {
    /// Whether it would change nothing.
    pub fn is_empty(&self) -> bool {
        self.n_changed == 0 && self.n_added == 0
    }

    /// What it would do, for a look before it is done.
    pub fn lines(&self) -> Vec<Line> {
        let mut out = vec![Line::new(self.summary(), Tone::Heading)];
        if let Some(heads) = &self.heads {
            let told = format!("the first row names the columns: {}", heads.join(", "));
            out.push(Line::new(told, Tone::Quiet));
        }
        self.refused_lines(&mut out);
        self.changed_lines(&mut out);
        self.added_lines(&mut out);
        out
    }

    fn summary(&self) -> String {
        let mut parts = vec![several(self.n_changed, "cell changes", "cells change")];
        if self.n_added > 0 {
            parts.push(several(self.n_added, "row is added", "rows are added"));
        }
        if self.n_refused > 0 {
            parts.push(several(
                self.n_refused,
                "cell is left out",
                "cells are left out",
            ));
        }
        parts.join(", ")
    }

    fn refused_lines(&self, out: &mut Vec<Line>) {
        if self.refused.is_empty() {
            return;
        }
        out.push(Line::empty());
        out.push(Line::new("Left out", Tone::Heading));
        for refused in &self.refused {
            let cells = match refused.n_cells {
                1 => String::new(),
                n => format!(" ({n} cells)"),
            };
            let text = format!("{}: {}{cells}", refused.place, refused.problem.message);
            out.push(Line::new(text, Tone::Wrong));
            let steps = refused.problem.help.iter();
            out.extend(steps.map(|step| Line::new(format!("  {step}"), Tone::Quiet)));
        }
        let n_told: usize = self.refused.iter().map(|refused| refused.n_cells).sum();
        more(self.n_refused.saturating_sub(n_told), out);
    }

    fn changed_lines(&self, out: &mut Vec<Line>) {
        if self.changed.is_empty() {
            return;
        }
        out.push(Line::empty());
        out.push(Line::new("Changed", Tone::Heading));
        for changed in &self.changed {
            let line = Line::plain(format!("{} {}: ", changed.row, changed.column))
                .with(or_empty(&changed.old), Tone::Quiet)
                .with(" -> ", Tone::Plain)
                .with(or_empty(&changed.new), Tone::Entered);
            out.push(line);
        }
        more(self.n_changed - self.changed.len(), out);
    }

    fn added_lines(&self, out: &mut Vec<Line>) {
        if self.added.is_empty() {
            return;
        }
        out.push(Line::empty());
        out.push(Line::new("Added", Tone::Heading));
        out.extend(
            self.added
                .iter()
                .map(|name| Line::new(name.as_str(), Tone::Entered)),
        );
        more(self.n_added - self.added.len(), out);
    }
}

fn or_empty(text: &str) -> &str {
    if text.is_empty() { "empty" } else { text }
}

fn more(n: usize, out: &mut Vec<Line>) {
    if n > 0 {
        out.push(Line::new(format!("and {n} more"), Tone::Quiet));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::plan_file;
    use proptest::prelude::*;

    fn demo() -> (Desk, SheetId) {
        let desk = Desk::demo().unwrap();
        let links = desk.plan().sheet("links").unwrap();
        (desk, links)
    }

    fn positions(desk: &Desk, sheet: SheetId, names: &[&str]) -> Vec<usize> {
        let def = &desk.engine().schema()[sheet.at()];
        names.iter().map(|name| def.column(name).unwrap()).collect()
    }

    fn table(rows: &[&[&str]]) -> Vec<Vec<String>> {
        let row = |row: &&[&str]| row.iter().map(|cell| (*cell).to_owned()).collect();
        rows.iter().map(row).collect()
    }

    fn rows(desk: &Desk, sheet: SheetId) -> Vec<RowId> {
        desk.plan().rows(sheet).order().to_vec()
    }

    #[test]
    fn a_block_is_copied_in_the_units_of_its_columns() {
        let (desk, links) = demo();
        let columns = positions(
            &desk,
            links,
            &["id", "length", "capacity", "forwards", "verdict"],
        );
        let some = &rows(&desk, links)[..2];
        assert_eq!(
            to_table(&desk, links, some, &columns),
            "M101\t85\t20\tyes\tfits\nM102\t140\t10\tyes\tfits\n"
        );
        let whole = to_table_with_heads(&desk, links, &some[..1], &columns);
        assert_eq!(
            whole.lines().next(),
            Some("id\tlength [m]\tcapacity [Gb/s]\tforwards\tverdict")
        );
    }

    #[test]
    fn line_ends_of_every_kind_are_read() {
        let expected = table(&[&["a", "1"], &["b", "2"], &["c", "3"]]);
        for text in [
            "a\t1\nb\t2\nc\t3\n",
            "a\t1\r\nb\t2\r\nc\t3",
            "a\t1\rb\t2\rc\t3\r",
            "a\t1\r\rb\t2\r\rc\t3\r\r",
            "a\t1\n\nb\t2\n\nc\t3",
            "\u{feff}a\t1\nb\t2\nc\t3\n\n\n",
        ] {
            assert_eq!(read_table(text), expected, "{text:?}");
        }
    }

    #[test]
    fn empty_lines_that_were_meant_stay() {
        assert_eq!(read_table("a\n\nb\n"), table(&[&["a"], &[""], &["b"]]));
        assert_eq!(
            read_table("a\n\n\nb\n"),
            table(&[&["a"], &[""], &[""], &["b"]])
        );
        assert!(read_table("").is_empty());
        assert!(read_table("\r\n").is_empty());
    }

    #[test]
    fn quotes_hold_tabs_and_breaks_and_an_open_one_is_none() {
        assert_eq!(
            read_table("\"a\tb\nc\"\t\"d\"\"e\"\n"),
            table(&[&["a\tb\nc", "d\"e"]])
        );
        assert_eq!(
            read_table("\"a\r\rb\"\t1\r\rc\t2\r\rd\t3\r\r"),
            table(&[&["a\nb", "1"], &["c", "2"], &["d", "3"]])
        );
        assert_eq!(read_table("\"big\" tank\tx\n\"a\ty\n").len(), 2);
        assert_eq!(
            read_table("\"a\ty\nb\tz\n"),
            table(&[&["\"a", "y"], &["b", "z"]])
        );
    }

    #[test]
    fn pasting_says_what_it_would_do() {
        let (mut desk, links) = demo();
        let columns = positions(&desk, links, &["length", "medium", "capacity"]);
        let all = rows(&desk, links);
        let text = "85\tOM4\t1\n250 ft\tOM4\t2\nfar\tOM9\t3\n";
        let pasting = plan_paste(&desk, links, 0, &all, &columns, &read_table(text));
        let told: Vec<String> = pasting.lines().iter().map(Line::text).collect();
        assert_eq!(
            told,
            [
                "2 cells change, 4 cells are left out",
                "",
                "Left out",
                "capacity: `capacity` is computed, not entered (3 cells)",
                "M103 length: `far` is not a number",
                "  write a number with its unit, for example `10 m`",
                "",
                "Changed",
                "M102 length: 140 m -> 76.2 m",
                "M103 medium: OM3 -> OM9",
            ]
        );
        assert_eq!(pasting.label, "paste of 2 cells");
        desk.apply(&pasting.label, pasting.edit).unwrap();
        assert_eq!(to_table(&desk, links, &all[1..2], &columns[..1]), "76.2\n");
    }

    #[test]
    fn headings_say_which_columns_are_meant() {
        let (desk, links) = demo();
        let columns = positions(&desk, links, &["from", "to"]);
        let all = rows(&desk, links);
        let text = "Length [ft]\tnotes\n100\tdry\n";
        let pasting = plan_paste(&desk, links, 2, &all, &columns, &read_table(text));
        assert_eq!(
            pasting.heads,
            Some(vec!["length".to_owned(), "notes".to_owned()])
        );
        let changed: Vec<(&str, &str)> = pasting
            .changed
            .iter()
            .map(|changed| (changed.row.as_str(), changed.new.as_str()))
            .collect();
        assert_eq!(changed, [("M103", "30.48 m"), ("M103", "dry")]);
        let alone = plan_paste(&desk, links, 2, &all, &columns, &read_table("notes"));
        assert_eq!(alone.heads, None);
    }

    #[test]
    fn rows_beyond_the_last_need_names_of_their_own() {
        let (mut desk, links) = demo();
        let all = rows(&desk, links);
        let last = all.len() - 1;
        let columns = positions(&desk, links, &["id", "from", "length"]);
        let text =
            "Q111\tacc-holding\t36\nQ112\tacc-lab\t12\nm101\tacc-lab\t12\n\tacc-lab\t1\nQ112\t\t\n";
        let pasting = plan_paste(&desk, links, last, &all, &columns, &read_table(text));
        assert_eq!(pasting.added, ["Q112"]);
        assert_eq!((pasting.n_changed, pasting.n_refused), (1, 9));
        assert_eq!(pasting.label, "paste of 1 cell and 1 new row");
        desk.apply(&pasting.label, pasting.edit).unwrap();
        let new = desk.plan().find(links, "q112").unwrap();
        assert_eq!(
            to_table(&desk, links, &[new], &columns),
            "Q112\tacc-lab\t12\n"
        );

        let columns = positions(&desk, links, &["length"]);
        let nameless = plan_paste(
            &desk,
            links,
            last,
            &all,
            &columns,
            &read_table("1\n2\n3\n \n"),
        );
        assert_eq!(nameless.refused[0].problem.code, "rows-without-names");
        assert_eq!((nameless.n_changed, nameless.n_refused), (1, 2));
    }

    #[test]
    fn rows_of_the_program_and_columns_beyond_the_last_are_refused() {
        let (desk, _) = demo();
        let media = desk.plan().sheet("media").unwrap();
        let all = rows(&desk, media);
        let columns = positions(&desk, media, &["mode_core"]);
        let pasting = plan_paste(
            &desk,
            media,
            0,
            &all,
            &columns,
            &read_table("50\t1\n50\t2\t"),
        );
        assert!(pasting.is_empty());
        let codes: Vec<(&str, usize)> = pasting
            .refused
            .iter()
            .map(|refused| (refused.problem.code, refused.n_cells))
            .collect();
        assert_eq!(codes, [("too-wide", 2), ("row-builtin", 2)]);
    }

    #[test]
    fn a_copied_sheet_put_back_changes_nothing() {
        let (desk, links) = demo();
        let columns: Vec<usize> = desk.plan().entered(links).collect();
        let all = rows(&desk, links);
        for text in [
            to_table(&desk, links, &all, &columns),
            to_table_with_heads(&desk, links, &all, &columns),
        ] {
            let pasting = plan_paste(&desk, links, 0, &all, &columns, &read_table(&text));
            assert!(pasting.is_empty(), "{:?}", pasting.lines());
            assert_eq!(pasting.n_refused, 0, "{:?}", pasting.refused);
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(64) })]

        #[test]
        fn any_cells_come_back(
            table in prop::collection::vec(prop::collection::vec("[a,\"\t\r\n é']{0,6}", 1..4), 0..7),
        ) {
            let mut text = String::new();
            for row in &table {
                push_row_with(&mut text, '\t', row.iter().map(|cell| Cow::Borrowed(cell.as_str())));
            }
            prop_assert_eq!(read_table(&text), table);
        }

        #[test]
        fn any_paste_is_taken_back_exactly(
            text in "([a-z0-9 .\"\t\r\n]|OM4|10 m|M101|Length|id){0,40}",
            at in 0usize..60,
            first in 0usize..24,
        ) {
            let (mut desk, links) = demo();
            let all = rows(&desk, links);
            let before = plan_file::write(desk.plan());
            let n_columns = desk.engine().schema()[links.at()].columns.len();
            let columns: Vec<usize> = (first..n_columns).collect();
            let pasting = plan_paste(&desk, links, at, &all, &columns, &read_table(&text));
            pasting.lines();
            desk.apply(&pasting.label, pasting.edit).unwrap();
            desk.undo().unwrap();
            prop_assert_eq!(plan_file::write(desk.plan()), before);
        }
    }
}
