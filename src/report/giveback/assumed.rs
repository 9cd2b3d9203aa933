//! The page of assumptions: values and sources, each known by the name that formulas use.

use super::cells::{Read, Reading, Slot, Value};
use super::compare::class_of;
use super::{Class, Comparison, Difference, Take};
use crate::files::spreadsheet::Book;
use crate::files::spreadsheet::Cell;
use crate::files::spreadsheet::Page;
use crate::files::spreadsheet::RowView;
use crate::files::spreadsheet::address;
use crate::plan::Assumption;
use crate::plan::Plan;
use crate::report::as_returned;
use crate::report::layout::ASSUMPTIONS;
use crate::sheet::ColumnKind;
use crate::table::ParamId;
use rustc_hash::FxHashMap;

/// What stands before the name of an assumption.
const PREFIX: &str = "assume.";

/// What stands before the source of a value that was set in the plan.
pub const SET_HERE: &str = "set in this plan; ";

/// Tells what was changed of assumptions.
pub fn tell(plan: &Plan, base: &Plan, is_known: bool, book: &Book, found: &mut Comparison) {
    let named = book.pages.iter();
    let mut named = named.filter(|page| page.name.trim().eq_ignore_ascii_case(ASSUMPTIONS));
    let table = named.next().and_then(Table::of);
    let table = table.or_else(|| book.pages.iter().find_map(Table::of));
    let Some(table) = table else {
        let what = "the assumptions did not come back; nothing of them is compared";
        found.notes.push(what.to_owned());
        return;
    };
    let mut rows = FxHashMap::default();
    for row in table.page.grid.rows() {
        if let Some(name) = table.name(row) {
            rows.entry(name).or_insert(row);
        }
    }
    let mut n_gone = 0;
    for (at, known) in base.assumptions().iter().enumerate() {
        let (Some(row), Ok(at)) = (rows.get(known.def.name.as_str()), u16::try_from(at)) else {
            n_gone += 1;
            continue;
        };
        let Some(mine) = plan.assumption(&known.def.name) else {
            continue;
        };
        let one = One {
            plan,
            base,
            is_known,
            table: &table,
            row: *row,
            of_base: ParamId(at),
            of_mine: mine,
        };
        found.differences.extend(one.value());
        found.differences.extend(one.source());
    }
    if n_gone > 0 {
        found.notes.push(format!(
            "{n_gone} assumptions did not come back; they are taken as unchanged"
        ));
    }
}

/// Where the columns of the page stand.
struct Table<'b> {
    page: &'b Page,
    names: usize,
    values: usize,
    sources: Option<usize>,
}

impl<'b> Table<'b> {
    fn of(page: &'b Page) -> Option<Self> {
        let is_name = |cell: &Cell<'_>| cell.text.trim().starts_with(PREFIX);
        let mut cells = page.grid.rows().flat_map(RowView::cells);
        let names = cells.find(is_name)?.column;
        let is_heads = |row: &RowView<'_>| {
            let mut cells = row.cells();
            cells.any(|cell| cell.text.trim().eq_ignore_ascii_case("value"))
        };
        let heads = page.grid.rows().find(is_heads)?;
        let column = |heading: &str| {
            let mut cells = heads.cells();
            let found = cells.find(|cell| cell.text.trim().eq_ignore_ascii_case(heading));
            found.map(|cell| cell.column)
        };
        Some(Self {
            page,
            names,
            values: column("value")?,
            sources: column("source"),
        })
    }

    fn name(&self, row: RowView<'b>) -> Option<&'b str> {
        row.cell(self.names)?.text.trim().strip_prefix(PREFIX)
    }
}

/// An assumption on its three sides.
struct One<'a> {
    plan: &'a Plan,
    base: &'a Plan,
    is_known: bool,
    table: &'a Table<'a>,
    row: RowView<'a>,
    of_base: ParamId,
    of_mine: ParamId,
}

impl One<'_> {
    fn base(&self) -> &Assumption {
        &self.base.assumptions()[self.of_base.at()]
    }

    fn mine(&self) -> &Assumption {
        &self.plan.assumptions()[self.of_mine.at()]
    }

    fn difference(&self, class: Class, column: &str, texts: [String; 3], at: usize) -> Difference {
        let [base, theirs, mine] = texts;
        Difference {
            class,
            sheet: "assume".to_owned(),
            row: self.base().def.name.clone(),
            column: column.to_owned(),
            base: match self.is_known {
                true => base,
                false => "unknown".to_owned(),
            },
            theirs,
            mine,
            at: format!(
                "{} {}",
                self.table.page.name,
                address(at, self.row.number())
            ),
            note: String::new(),
            take: Take::Nothing,
        }
    }

    fn value(&self) -> Option<Difference> {
        let unit = &self.base().unit;
        let reading = Reading {
            plan: self.base,
            slot: Slot::Assumption(self.of_base),
            unit: None,
        };
        let base = Value::of_entry(self.base, &self.base().entry);
        let mine = Value::of_entry(self.plan, &self.mine().entry);
        let shown = |theirs: String| [base.shown(unit), theirs, mine.shown(unit)];
        let at = self.table.values;
        match reading.read(self.row.cell(at), &base) {
            Read::Value(theirs) => {
                let class = class_of([&base, &theirs, &mine], reading.kind(), self.is_known)?;
                let mut one = self.difference(class, "value", shown(theirs.shown(unit)), at);
                if matches!(class, Class::Theirs | Class::Conflict) {
                    let source = self.their_source();
                    let source = source.filter(|source| *source != self.base().source);
                    one.take = Take::Assume(self.of_mine, theirs, source);
                }
                Some(one)
            }
            Read::Unreadable(text, why) => {
                let mut one = self.difference(Class::Unreadable, "value", shown(text), at);
                one.note = why;
                Some(one)
            }
        }
    }

    /// The source as it came back; none where the page has no sources.
    fn their_source(&self) -> Option<String> {
        let text = self.row.cell(self.table.sources?);
        let text = as_returned(text.map_or("", |cell| cell.text));
        if text == as_returned(&exported_source(self.base())) {
            return Some(self.base().source.clone());
        }
        Some(text.strip_prefix(SET_HERE).unwrap_or(&text).to_owned())
    }

    fn source(&self) -> Option<Difference> {
        let (at, theirs) = (self.table.sources?, self.their_source()?);
        let base = self.base().source.clone();
        let mine = self.mine().source.clone();
        let values = [&base, &theirs, &mine].map(|text| Value::Text(text.clone()));
        let class = class_of(
            [&values[0], &values[1], &values[2]],
            ColumnKind::Text,
            self.is_known,
        )?;
        let mut one = self.difference(class, "source", [base, theirs.clone(), mine], at);
        if matches!(class, Class::Theirs | Class::Conflict) {
            one.take = Take::Source(self.of_mine, theirs);
        }
        Some(one)
    }
}

/// The source of an assumption as a workbook shows it.
pub fn exported_source(known: &Assumption) -> String {
    match known.own {
        true => format!("{SET_HERE}{}", known.source),
        false => format!("{} [{}]", known.source, known.def.confidence),
    }
}
