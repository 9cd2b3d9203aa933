//! The comparison: each row and each cell on three sides.
//!
//! A cell that came back as it was exported is no change, whatever the plan has by now; one that is
//! the same on both sides is settled. Rows of the plan and of the workbook are paired with those
//! that were exported, and what is left on either side came there.

use super::cells::{Read, Reading, Slot, Value, is_near, unit_of};
use super::forms::{Form, usual};
use super::returned::Table;
use super::rows::{Pairs, key, pairs};
use super::{Class, Comparison, Difference, SetAside, Take};
use crate::engine::Engine;
use crate::files::import::is_total;
use crate::files::spreadsheet::Book;
use crate::files::spreadsheet::Cell;
use crate::files::spreadsheet::Kind;
use crate::files::spreadsheet::RowView;
use crate::files::spreadsheet::address;
use crate::plan::Plan;
use crate::report::as_returned;
use crate::report::sent::{Computed, Holds, Sent, SentPage};
use crate::sheet::ColumnKind;
use crate::table::{RowId, SheetId};
use crate::trade;
use crate::units::Unit;
use rustc_hash::{FxHashMap, FxHashSet};
use std::collections::BTreeSet;

/// A computed number that differs by more than this part of itself was written over.
const WRITTEN_OVER: f64 = 1e-6;

/// So much of a row that is set aside is told.
const MOST_TOLD: usize = 60;

/// Compares a plan with a returned workbook; without the plan as it was exported, everything that
/// differs asks for a decision.
pub fn compare(plan: &Plan, base: Option<&Plan>, book: &Book) -> Comparison {
    let engine = trade::engine(base.unwrap_or(plan));
    compare_with(plan, base, &engine, book)
}

/// The same with what was computed of the plan as it was exported; of the plan where that is not
/// known.
pub fn compare_with(plan: &Plan, base: Option<&Plan>, engine: &Engine, book: &Book) -> Comparison {
    let exported = base.unwrap_or(plan);
    let sent = Sent::new(exported, engine);
    let mut found = Comparison::default();
    let pages = sent.pages();
    for page in &pages {
        let has_rows = !exported.rows(page.sheet).order().is_empty();
        match Table::find(book, &pages, page) {
            Some(mut table) => {
                know_columns(&mut table, exported, page, &mut found);
                let sheet = plan.sheet(&exported.def(page.sheet).name);
                let Some(mine) = sheet else {
                    continue;
                };
                Sheet::new(plan, mine, exported, base.is_some(), page, &table)
                    .tell(&sent, &mut found);
            }
            None if has_rows => found.notes.push(format!(
                "page {} did not come back; nothing of it is compared",
                page.name
            )),
            None => {}
        }
    }
    super::assumed::tell(plan, exported, base.is_some(), book, &mut found);
    found
}

/// Finds columns whose headings were changed, and tells what is found and what is not.
fn know_columns(table: &mut Table<'_>, base: &Plan, sent: &SentPage, found: &mut Comparison) {
    let page = &sent.name;
    for (heading, meant) in table.know_by_content(base, sent) {
        found.notes.push(format!(
            "{page}: the column `{heading}` is taken for {meant}, which it holds"
        ));
    }
    for (at, one) in sent.columns.iter().enumerate() {
        if table.columns[at].is_none() && matches!(one.holds, Holds::Entered(_)) {
            found.notes.push(format!(
                "{page}: the column {} did not come back; it is taken as unchanged",
                one.heading
            ));
        }
    }
    let strange = table.others.iter();
    let strange: Vec<String> = strange.map(|(_, heading)| format!("`{heading}`")).collect();
    if !strange.is_empty() {
        found.notes.push(format!(
            "{page}: not read, as no column of the plan has these headings: {}",
            strange.join(", ")
        ));
    }
}

/// An entered column on its three sides.
struct Column<'p> {
    /// Its position in the plan that was exported.
    base: usize,
    /// Its position in the plan; none where it is gone.
    mine: Option<usize>,
    /// Its column on the page; none where it did not come back.
    theirs: Option<usize>,
    name: &'p str,
    kind: ColumnKind,
    unit: Unit,
    reading: Reading<'p>,
}

/// A sheet on its three sides.
struct Sheet<'p> {
    plan: &'p Plan,
    sheet: SheetId,
    base: &'p Plan,
    is_known: bool,
    sent: &'p SentPage,
    table: &'p Table<'p>,
    columns: Vec<Column<'p>>,
    base_rows: Vec<RowId>,
    mine_rows: Vec<RowId>,
    rows: Vec<RowView<'p>>,
    /// Keys of ids that are taken.
    ids: FxHashSet<String>,
}

/// A cell that cannot be read: its column, its text, and why.
type Unread<'s, 'p> = (&'s Column<'p>, String, String);

/// A row on its three sides.
#[derive(Clone, Copy)]
struct Three<'p> {
    base: Option<RowId>,
    mine: Option<RowId>,
    theirs: RowView<'p>,
}

impl<'p> Sheet<'p> {
    fn new(
        plan: &'p Plan,
        sheet: SheetId,
        base: &'p Plan,
        is_known: bool,
        sent: &'p SentPage,
        table: &'p Table<'p>,
    ) -> Self {
        let columns = sent.columns.iter().enumerate().filter_map(|(at, one)| {
            let position = one.holds.entered()?;
            let mine = plan.def(sheet).column(&one.name);
            Some(Column {
                base: position,
                mine: mine.filter(|mine| plan.column(sheet, *mine).entered()),
                theirs: table.columns[at],
                name: &one.name,
                kind: base.column(sent.sheet, position).kind,
                unit: unit_of(base, sent.sheet, position),
                reading: Reading {
                    plan: base,
                    slot: Slot::Column(sent.sheet, position),
                    unit: table.units[at].clone(),
                },
            })
        });
        let mine_rows = plan.rows(sheet).order().to_vec();
        Self {
            columns: columns.collect(),
            base_rows: base.rows(sent.sheet).order().to_vec(),
            ids: mine_rows
                .iter()
                .map(|row| key(&plan.id(sheet, *row)))
                .collect(),
            mine_rows,
            rows: table.rows.clone(),
            plan,
            sheet,
            base,
            is_known,
            sent,
            table,
        }
    }

    fn id_column(&self) -> Option<usize> {
        self.columns.iter().find(|one| one.base == 0)?.theirs
    }

    fn tell(mut self, sent: &Sent<'_>, found: &mut Comparison) {
        let Some(id) = self.id_column() else {
            found.notes.push(format!(
                "{}: the column of ids did not come back; nothing of the page is compared",
                self.sent.name
            ));
            return;
        };
        self.rows.retain(|row| {
            row.cells()
                .any(|cell| !cell.text.trim().is_empty() || cell.formula.is_some())
        });
        let base_keys: Vec<String> = self
            .base_rows
            .iter()
            .map(|row| key(&self.base.id(self.sent.sheet, *row)))
            .collect();
        let mine_keys: Vec<String> = self
            .mine_rows
            .iter()
            .map(|row| key(&self.plan.id(self.sheet, *row)))
            .collect();
        let their_keys: Vec<String> = self
            .rows
            .iter()
            .map(|row| row.cell(id).map_or(String::new(), |cell| key(cell.text)))
            .collect();
        let theirs = pairs(&base_keys, &their_keys, &|base, other| {
            self.came_back_as(self.base_rows[base], self.rows[other])
        });
        let mine = pairs(&base_keys, &mine_keys, &|base, other| {
            self.is_as(self.base_rows[base], self.mine_rows[other])
        });
        for at in 0..self.base_rows.len() {
            let their = theirs.of_first[at].map(|at| self.rows[at]);
            let own = mine.of_first[at].map(|at| self.mine_rows[at]);
            self.known_row(self.base_rows[at], own, their, found);
        }
        self.new_rows(&theirs, &mine, [&their_keys, &mine_keys], found);
        self.computed(sent, &theirs, found);
    }

    /// Whether a row came back as it was exported.
    fn came_back_as(&self, base: RowId, row: RowView<'_>) -> bool {
        self.columns.iter().filter(|one| one.base != 0).all(|one| {
            let Some(at) = one.theirs else {
                return true;
            };
            let value = Value::of(self.base, self.sent.sheet, one.base, base);
            match one.reading.read(row.cell(at), &value) {
                Read::Value(theirs) => theirs.is_same(&value, one.kind),
                Read::Unreadable(_, _) => false,
            }
        })
    }

    /// Whether a row of the plan is as it was exported.
    fn is_as(&self, base: RowId, mine: RowId) -> bool {
        self.columns.iter().filter(|one| one.base != 0).all(|one| {
            let value = Value::of(self.base, self.sent.sheet, one.base, base);
            self.mine(one, Some(mine)).is_same(&value, one.kind)
        })
    }

    /// Whether a row of the plan holds what a returned one does, ids aside.
    fn holds(&self, mine: RowId, row: RowView<'_>) -> bool {
        self.columns.iter().filter(|one| one.base != 0).all(|one| {
            let Some(at) = one.theirs else {
                return true;
            };
            match one.reading.read(row.cell(at), &Value::Empty) {
                Read::Value(theirs) => self.mine(one, Some(mine)).is_same(&theirs, one.kind),
                Read::Unreadable(_, _) => true,
            }
        })
    }

    fn mine(&self, column: &Column<'_>, row: Option<RowId>) -> Value {
        match (column.mine, row) {
            (Some(position), Some(row)) => Value::of(self.plan, self.sheet, position, row),
            (None, _) | (_, None) => Value::Empty,
        }
    }

    fn blank(&self, class: Class, row: String, take: Take) -> Difference {
        Difference {
            class,
            sheet: self.plan.def(self.sheet).name.clone(),
            row,
            column: String::new(),
            base: String::new(),
            theirs: String::new(),
            mine: String::new(),
            at: String::new(),
            note: String::new(),
            take,
        }
    }

    fn at(&self, column: usize, row: RowView<'_>) -> String {
        format!("{} {}", self.table.page.name, address(column, row.number()))
    }

    /// A row that was exported.
    fn known_row(
        &self,
        base: RowId,
        mine: Option<RowId>,
        theirs: Option<RowView<'p>>,
        found: &mut Comparison,
    ) {
        let id = self.base.id(self.sent.sheet, base);
        match (theirs, mine) {
            (Some(theirs), Some(_)) => {
                let three = Three {
                    base: Some(base),
                    mine,
                    theirs,
                };
                self.cells(three, &id, found);
            }
            (None, Some(mine)) => {
                let mut one = self.blank(Class::Missing, id, Take::Remove(self.sheet, mine));
                if !self.is_as(base, mine) {
                    one.note = "changed in the plan since".to_owned();
                }
                found.differences.push(one);
            }
            (Some(theirs), None) if self.came_back_as(base, theirs) => {
                let mut one = self.blank(Class::Mine, id, Take::Nothing);
                one.note = "removed in the plan".to_owned();
                found.differences.push(one);
            }
            (Some(theirs), None) => {
                let (cells, _) = self.cells_of(theirs, Some(base));
                let take = Take::Add(self.sheet, with_id(cells, &id));
                let mut one = self.blank(Class::Conflict, id, take);
                one.note = "removed in the plan, changed in the workbook".to_owned();
                one.at = self.at(0, theirs);
                found.differences.push(one);
            }
            (None, None) => {
                let mut one = self.blank(Class::Both, id, Take::Nothing);
                one.note = "removed on both sides".to_owned();
                found.differences.push(one);
            }
        }
    }

    /// The cells of a row; says whether any differ.
    fn cells(&self, three: Three<'_>, id: &str, found: &mut Comparison) -> bool {
        let n_before = found.differences.len();
        for column in self.columns.iter().filter(|one| one.base != 0) {
            let base = match three.base {
                Some(row) => Value::of(self.base, self.sent.sheet, column.base, row),
                None => Value::Empty,
            };
            found
                .differences
                .extend(self.cell(three, id, column, &base));
        }
        found.differences.len() > n_before
    }

    fn cell(
        &self,
        three: Three<'_>,
        id: &str,
        column: &Column<'_>,
        base: &Value,
    ) -> Option<Difference> {
        let mine = self.mine(column, three.mine);
        let read = match column.theirs {
            Some(at) => column.reading.read(three.theirs.cell(at), base),
            None => Read::Value(base.clone()),
        };
        let (class, theirs, note) = match &read {
            Read::Value(theirs) => {
                let class = class_of([base, theirs, &mine], column.kind, self.is_known)?;
                (class, theirs.shown(&column.unit), String::new())
            }
            Read::Unreadable(text, why) => {
                let is_same = matches!(&mine, Value::Wrong(wrong) if as_returned(wrong) == *text);
                let class = if is_same {
                    Class::Both
                } else {
                    Class::Unreadable
                };
                (class, text.clone(), why.clone())
            }
        };
        let (take, note) = match (class, read, column.mine, three.mine) {
            (Class::Theirs | Class::Conflict, Read::Value(value), Some(position), Some(row)) => {
                (Take::Cell(self.sheet, row, position, value), note)
            }
            (Class::Theirs | Class::Conflict, _, None, _) => (
                Take::Nothing,
                "the plan has no such column any more".to_owned(),
            ),
            (_, _, _, _) => (Take::Nothing, note),
        };
        Some(Difference {
            column: column.name.to_owned(),
            base: match self.is_known {
                true => base.shown(&column.unit),
                false => "unknown".to_owned(),
            },
            theirs,
            mine: mine.shown(&column.unit),
            at: column
                .theirs
                .map_or(String::new(), |at| self.at(at, three.theirs)),
            note,
            ..self.blank(class, id.to_owned(), take)
        })
    }

    /// The cells of a returned row for a row to be added, and those that cannot be read.
    fn cells_of(
        &self,
        row: RowView<'_>,
        base: Option<RowId>,
    ) -> (Vec<(usize, Value)>, Vec<Unread<'_, 'p>>) {
        let (mut cells, mut wrong) = (Vec::new(), Vec::new());
        for column in self.columns.iter().filter(|one| one.base != 0) {
            let exported = match base {
                Some(base) => Value::of(self.base, self.sent.sheet, column.base, base),
                None => Value::Empty,
            };
            let read = match column.theirs {
                Some(at) => column.reading.read(row.cell(at), &exported),
                None => Read::Value(exported),
            };
            match (read, column.mine) {
                (Read::Value(Value::Empty), _) | (Read::Value(_), None) => {}
                (Read::Value(value), Some(position)) => cells.push((position, value)),
                (Read::Unreadable(text, why), _) => wrong.push((column, text, why)),
            }
        }
        (cells, wrong)
    }

    /// Rows that were not exported: of the workbook, then of the plan.
    fn new_rows(
        &mut self,
        theirs: &Pairs,
        mine: &Pairs,
        keys: [&[String]; 2],
        found: &mut Comparison,
    ) {
        let mut own: BTreeSet<usize> = mine.left.iter().map(|(at, _)| *at).collect();
        let by_key: FxHashMap<&str, usize> =
            own.iter().map(|at| (keys[1][*at].as_str(), *at)).collect();
        for (at, is_known) in &theirs.left {
            let (row, id) = (self.rows[*at], keys[0][*at].as_str());
            if let Some(why) = self.why_aside(row, *is_known) {
                found.set_aside.push(SetAside {
                    page: self.table.page.name.clone(),
                    row: row.number(),
                    why,
                    text: told(row),
                });
                continue;
            }
            let same = match !id.is_empty() && !*is_known {
                true => by_key.get(id).copied().filter(|at| own.contains(at)),
                false => {
                    let mut same = own
                        .iter()
                        .filter(|at| self.holds(self.mine_rows[**at], row));
                    same.next().copied()
                }
            };
            match same {
                Some(same) => {
                    own.remove(&same);
                    self.on_both(self.mine_rows[same], row, found);
                }
                None => self.new_row(row, *is_known, found),
            }
        }
        for at in own {
            let id = self.plan.id(self.sheet, self.mine_rows[at]);
            let mut one = self.blank(Class::Mine, id, Take::Nothing);
            one.note = "added in the plan".to_owned();
            found.differences.push(one);
        }
    }

    /// A row that came on both sides.
    fn on_both(&self, mine: RowId, theirs: RowView<'_>, found: &mut Comparison) {
        let id = self.plan.id(self.sheet, mine);
        let three = Three {
            base: None,
            mine: Some(mine),
            theirs,
        };
        if !self.cells(three, &id, found) {
            let mut one = self.blank(Class::Both, id, Take::Nothing);
            one.note = "added on both sides".to_owned();
            found.differences.push(one);
        }
    }

    fn new_row(&mut self, row: RowView<'_>, is_twice: bool, found: &mut Comparison) {
        let column = self.id_column().unwrap_or(0);
        let cell = row.cell(column);
        let given = cell.map_or(String::new(), |cell| as_returned(cell.text));
        let id = self.free_id(&given);
        let (cells, wrong) = self.cells_of(row, None);
        let take = Take::Add(self.sheet, with_id(cells, &id));
        let class = if is_twice {
            Class::Duplicate
        } else {
            Class::New
        };
        let mut one = self.blank(class, id.clone(), take);
        one.at = self.at(column, row);
        one.theirs = told(row);
        one.note = match (is_twice, given.is_empty()) {
            (true, _) => format!("`{given}` stands there twice; this one would come as `{id}`"),
            (false, true) => format!("it has no id; it would come as `{id}`"),
            (false, false) if cell.is_some_and(|cell| cell.kind == Kind::Date) => {
                "its id is a date; a spreadsheet may have made one of it".to_owned()
            }
            (false, false) => String::new(),
        };
        let wrong = wrong.into_iter().map(|(column, text, why)| Difference {
            column: column.name.to_owned(),
            theirs: text,
            at: column.theirs.map_or(String::new(), |at| self.at(at, row)),
            note: why,
            ..self.blank(Class::Unreadable, id.clone(), Take::Nothing)
        });
        let wrong: Vec<Difference> = wrong.collect();
        found.differences.push(one);
        found.differences.extend(wrong);
    }

    /// The id of a new row: its own where no other row has it.
    fn free_id(&mut self, given: &str) -> String {
        let stem = if given.is_empty() { "NEW" } else { given };
        let numbered = (1_u32..).map(|n| match (n, given.is_empty()) {
            (1, false) => given.to_owned(),
            (n, _) => format!("{stem}-{n}"),
        });
        let mut free = numbered.filter(|id| !self.ids.contains(&key(id)));
        let id = free.next().unwrap_or_default();
        self.ids.insert(key(&id));
        id
    }

    /// Why a row with an unknown id is no row of the sheet.
    fn why_aside(&self, row: RowView<'_>, is_known: bool) -> Option<&'static str> {
        let column = self.id_column()?;
        let id = row.cell(column).map_or("", |cell| cell.text.trim());
        let heading = self
            .sent
            .columns
            .iter()
            .find(|one| one.holds.entered() == Some(0));
        let first = row.cells().find(|cell| !cell.text.trim().is_empty());
        let first = first.filter(|cell| cell.kind == Kind::Text);
        if is_known {
            return None;
        }
        if first.is_some_and(|cell| is_total(cell.text)) {
            return Some("a total");
        }
        if heading.is_some_and(|one| one.heading.eq_ignore_ascii_case(id)) {
            return Some("the headings again");
        }
        let mut others = self.columns.iter().filter(|one| one.base != 0);
        let holds = |one: &Column<'_>| {
            let cell = one.theirs.and_then(|at| row.cell(at));
            cell.filter(|cell| !cell.text.trim().is_empty())
        };
        match id.is_empty() {
            true => {
                let named =
                    others.any(|one| one.kind != ColumnKind::Number && holds(one).is_some());
                (!named).then_some("it names nothing")
            }
            false => {
                (!others.any(|one| holds(one).is_some())).then_some("nothing but an id or a remark")
            }
        }
    }

    /// Computed cells that hold something else than was exported.
    fn computed(&self, sent: &Sent<'_>, theirs: &Pairs, found: &mut Comparison) {
        for (at, one) in self.sent.columns.iter().enumerate() {
            let (Some(column), None) = (self.table.columns[at], one.holds.entered()) else {
                continue;
            };
            let Some(values) = sent.computed(self.sent.sheet, &one.heading) else {
                continue;
            };
            let paired = theirs.of_first.iter().enumerate();
            let paired = paired.filter_map(|(base, other)| Some((base, self.rows[(*other)?])));
            let paired: Vec<(usize, RowView<'_>)> = paired.collect();
            let mut cells = paired.iter().filter_map(|(_, row)| row.cell(column));
            let is_live = one.holds == Holds::Formulas && cells.any(|cell| cell.formula.is_some());
            let forms = paired.iter().filter_map(|(_, row)| form_of(*row, column));
            let usual = usual(forms).filter(|_| is_live);
            for (base, row) in paired {
                let cell = row.cell(column);
                let form = form_of(row, column);
                let is_other = usual.is_some() && form.is_some() && form != usual;
                let done = match is_other {
                    true => Some((
                        was(&values, base),
                        "its formula was replaced by another one",
                    )),
                    false => written_over(cell, &values, base, is_live, self.is_known),
                };
                let Some((was, note)) = done else {
                    continue;
                };
                let id = self.base.id(self.sent.sheet, self.base_rows[base]);
                found.differences.push(Difference {
                    column: one.name.clone(),
                    base: was,
                    theirs: cell.map_or(String::new(), |cell| as_returned(cell.text)),
                    at: self.at(column, row),
                    note: note.to_owned(),
                    ..self.blank(Class::Overwritten, id, Take::Nothing)
                });
            }
        }
    }
}

/// The formula of a cell as others of its column have it.
fn form_of(row: RowView<'_>, column: usize) -> Option<Form> {
    Form::of(row.cell(column)?.formula?, row.number())
}

/// What was exported to a computed cell, for a person.
fn was(values: &Computed<'_>, base: usize) -> String {
    match values.at(base) {
        Ok(number) => crate::units::significant(number, 6),
        Err(words) => words,
    }
}

/// What was exported to a computed cell and what was done to it; none where nothing was.
fn written_over(
    cell: Option<Cell<'_>>,
    values: &Computed<'_>,
    base: usize,
    is_live: bool,
    is_known: bool,
) -> Option<(String, &'static str)> {
    if cell.is_some_and(|cell| cell.formula.is_some()) {
        return None;
    }
    let text = cell.map_or(String::new(), |cell| as_returned(cell.text));
    let was = values.at(base);
    let is_same = match &was {
        Ok(number) => text
            .parse::<f64>()
            .is_ok_and(|now| is_near(now, *number, WRITTEN_OVER)),
        Err(words) => as_returned(words) == text,
    };
    let shown = self::was(values, base);
    match (is_live, is_same) {
        (true, false) => Some((shown, "its formula was written over")),
        // Some texts are exported without a formula.
        (true, true) if was.is_ok() => Some((shown, "its formula was replaced by its value")),
        (false, false) if is_known => Some((shown, "it differs from what was exported")),
        (true, true) | (false, _) => None,
    }
}

/// The class of a value on three sides: as exported, theirs, mine; none where all are the same.
pub(super) fn class_of(
    [base, theirs, mine]: [&Value; 3],
    kind: ColumnKind,
    is_known: bool,
) -> Option<Class> {
    let is_theirs = !theirs.is_same(base, kind);
    let is_mine = !mine.is_same(base, kind);
    match (is_theirs, is_mine) {
        (false, false) => None,
        (false, true) => Some(Class::Mine),
        (true, _) if theirs.is_same(mine, kind) => Some(Class::Both),
        (true, false) if is_known => Some(Class::Theirs),
        (true, _) => Some(Class::Conflict),
    }
}

fn with_id(mut cells: Vec<(usize, Value)>, id: &str) -> Vec<(usize, Value)> {
    if !id.is_empty() {
        cells.insert(0, (0, Value::Text(id.to_owned())));
    }
    cells
}

/// What stands in a row, as much as fits a line.
fn told(row: RowView<'_>) -> String {
    let cells = row.cells().filter(|cell| cell.formula.is_none());
    let texts = cells
        .map(|cell| as_returned(cell.text))
        .filter(|text| !text.is_empty());
    let text = texts.take(8).collect::<Vec<_>>().join(" | ");
    match text.chars().count() > MOST_TOLD {
        true => text.chars().take(MOST_TOLD).chain(['…']).collect(),
        false => text,
    }
}
