//! The values that go into the cells: what a person entered, what we computed, and what the columns
//! beside them hold. Values only; how they are written is in `workbook`.

use super::book::{Block, Place, Stored};
use super::gather::LOST;
use crate::engine::Engine;
use crate::engine::Source;
use crate::formula::Node;
use crate::formula::Typed;
use crate::plan::Entry;
use crate::plan::Plan;
use crate::table::{ABSENT, Column, ColumnId, RowId, SheetId};
use crate::units::Unit;
use crate::units::exact;
use std::borrow::Cow;

/// What stands in a cell.
#[derive(Debug, Clone, PartialEq)]
pub enum Datum<'a> {
    /// Nothing.
    Empty,
    /// A number in the unit of its column; finite.
    Number(f64),
    /// A text.
    Text(Cow<'a, str>),
    /// Yes or no.
    Flag(bool),
}

/// The values of a column, by row of its block.
pub enum Values<'a> {
    /// Read from the plan row by row.
    Column(Reader<'a>),
    /// Numbers; not a number is nothing.
    Numbers(Vec<f64>),
    /// Numbers, with the word for one that is lost where it is infinite.
    Counted(Vec<f64>),
    /// Yes, no, or nothing.
    Flags(Vec<Option<bool>>),
    /// Codes of texts.
    Codes(&'a Plan, Vec<u32>),
    /// Texts; an empty one is nothing.
    Texts(Vec<String>),
}

/// Reads a column of the plan.
#[derive(Clone, Copy)]
pub struct Reader<'a> {
    plan: &'a Plan,
    engine: &'a Engine,
    column: ColumnId,
    unit: &'a Unit,
    sheet: SheetId,
    rows: &'a [RowId],
}

impl<'a> Values<'a> {
    /// What stands in a row of the block, from 0.
    pub fn at(&self, row: usize) -> Datum<'_> {
        match self {
            Self::Column(reader) => reader.at(row),
            Self::Numbers(values) => number(values.get(row)),
            Self::Counted(values) => match values.get(row) {
                Some(value) if value.is_infinite() => Datum::Text(Cow::Borrowed(LOST)),
                value => number(value),
            },
            Self::Flags(flags) => match flags.get(row) {
                Some(Some(flag)) => Datum::Flag(*flag),
                Some(None) | None => Datum::Empty,
            },
            Self::Codes(plan, codes) => match codes.get(row) {
                Some(code) if *code != ABSENT => text(Cow::Owned(plan.names().text(*code))),
                Some(_) | None => Datum::Empty,
            },
            Self::Texts(texts) => texts
                .get(row)
                .map_or(Datum::Empty, |one| text(Cow::Borrowed(one))),
        }
    }
}

fn number(value: Option<&f64>) -> Datum<'static> {
    match value {
        Some(value) if value.is_finite() => Datum::Number(*value),
        Some(_) | None => Datum::Empty,
    }
}

fn text(text: Cow<'_, str>) -> Datum<'_> {
    match text.is_empty() {
        true => Datum::Empty,
        false => Datum::Text(text),
    }
}

impl<'a> Reader<'a> {
    /// Reads a column for rows of its sheet.
    pub fn new(plan: &'a Plan, engine: &'a Engine, column: ColumnId, rows: &'a [RowId]) -> Self {
        Self {
            plan,
            engine,
            column,
            unit: engine.unit(column),
            sheet: engine.graph().nodes[column.at()].sheet,
            rows,
        }
    }

    fn at(&self, row: usize) -> Datum<'a> {
        let Some(row) = self.rows.get(row).copied() else {
            return Datum::Empty;
        };
        let node = &self.engine.graph().nodes[self.column.at()];
        if let Source::Entered(position) = node.source {
            return match self.plan.entry(self.sheet, position, row) {
                Entry::Empty => Datum::Empty,
                Entry::Number(value) => Datum::Number(as_entered(value, self.unit)),
                Entry::Text(code) => text(Cow::Owned(self.plan.names().text(code))),
                Entry::Wrong(wrong) => text(Cow::Owned(wrong)),
            };
        }
        match self.engine.values(self.column) {
            Column::Numbers(values) => match values.get(row.at()) {
                Some(value) if value.is_finite() => Datum::Number(self.unit.from_base(*value)),
                Some(_) | None => Datum::Empty,
            },
            Column::Flags(flags) => match flags.get(row.at()) {
                Some(1) => Datum::Flag(true),
                Some(0) => Datum::Flag(false),
                Some(_) | None => Datum::Empty,
            },
            Column::Codes(codes) => match (codes.get(row.at()), node.ty) {
                (Some(code), crate::formula::Ty::Row(to)) if *code != ABSENT => {
                    text(Cow::Owned(self.plan.id(to, RowId(*code))))
                }
                (Some(code), _) if *code != ABSENT => {
                    text(Cow::Owned(self.plan.names().text(*code)))
                }
                _ => Datum::Empty,
            },
        }
    }
}

/// A number as a person would type it in a unit: `5`, not `5.000000000000001`.
fn as_entered(base: f64, unit: &Unit) -> f64 {
    let typed = exact(base, unit).parse::<f64>();
    typed.unwrap_or_else(|_| unit.from_base(base))
}

/// The values of a column of a block.
pub fn values<'a>(
    plan: &'a Plan,
    engine: &'a Engine,
    blocks: &'a [Block],
    place: Place,
) -> Values<'a> {
    let block = &blocks[place.block];
    let col = &block.columns[place.column];
    let part = |part: &Typed| part_values(plan, engine, block, part, col.scale);
    match &col.stored {
        Stored::Column(column) => Values::Column(Reader::new(plan, engine, *column, &block.rows)),
        Stored::Part(typed) => part(typed),
        Stored::At(typed, to) => {
            let found = engine.part_of_rows(plan, block.sheet, typed);
            let positions = &blocks[*to].positions;
            // A row finds its own place by its id.
            let is_lost = |row: &RowId| {
                matches!(typed.node, Node::This)
                    && block.is_nameless
                    && plan.id(block.sheet, *row).is_empty()
            };
            let at = |row: &RowId| match found.codes().get(row.at()) {
                Some(code) => match positions.get(*code as usize) {
                    Some(_) if is_lost(row) => f64::NAN,
                    Some(position) if *position > 0 => f64::from(*position),
                    Some(_) | None => f64::NAN,
                },
                None => f64::NAN,
            };
            Values::Numbers(block.rows.iter().map(at).collect())
        }
        Stored::Pair(a, b) => {
            let (a, b) = (
                values(plan, engine, blocks, *a),
                values(plan, engine, blocks, *b),
            );
            let pair = |row| match (a.at(row), b.at(row)) {
                (Datum::Number(a), Datum::Number(b)) => format!("{a}|{b}"),
                _ => String::new(),
            };
            Values::Texts((0..block.rows.len()).map(pair).collect())
        }
        Stored::Counted {
            conditions,
            value,
            scale,
        } => {
            let flags = conditions.iter();
            let flags: Vec<Column> = flags
                .map(|one| engine.part_of_rows(plan, block.sheet, one))
                .collect();
            let value = value
                .as_ref()
                .map(|one| engine.part_of_rows(plan, block.sheet, one));
            let counts = |row: &RowId| flags.iter().all(|flags| is_yes(flags, row.at()));
            let one = |row: &RowId| match (&value, counts(row)) {
                (_, false) => f64::NAN,
                (None, true) => 1.0,
                (Some(value), true) => match value.numbers().get(row.at()) {
                    Some(value) if value.is_finite() => value / scale,
                    Some(_) | None => f64::INFINITY,
                },
            };
            Values::Counted(block.rows.iter().map(one).collect())
        }
        Stored::Rank { of, by, falling } => {
            let (of, by) = (
                values(plan, engine, blocks, *of),
                values(plan, engine, blocks, *by),
            );
            Values::Numbers(ranks(block.rows.len(), &of, &by, *falling))
        }
    }
}

fn is_yes(flags: &Column, row: usize) -> bool {
    matches!(flags, Column::Flags(flags) if flags.get(row) == Some(&1))
}

fn part_values<'a>(
    plan: &'a Plan,
    engine: &'a Engine,
    block: &Block,
    part: &Typed,
    scale: f64,
) -> Values<'a> {
    let column = engine.part_of_rows(plan, block.sheet, part);
    let rows = block.rows.iter().map(|row| row.at());
    match column {
        Column::Numbers(values) => {
            let one = |row: usize| values.get(row).map_or(f64::NAN, |value| value / scale);
            Values::Numbers(rows.map(one).collect())
        }
        Column::Flags(flags) => {
            let one = |row: usize| match flags.get(row) {
                Some(1) => Some(true),
                Some(0) => Some(false),
                Some(_) | None => None,
            };
            Values::Flags(rows.map(one).collect())
        }
        Column::Codes(codes) => {
            let codes = rows.map(|row| codes.get(row).copied().unwrap_or(ABSENT));
            match part.ty {
                crate::formula::Ty::Row(sheet) => {
                    let id = |code| match code {
                        ABSENT => String::new(),
                        row => plan.id(sheet, RowId(row)),
                    };
                    Values::Texts(codes.map(id).collect())
                }
                _ => Values::Codes(plan, codes.collect()),
            }
        }
    }
}

/// How many values of the same group come before each.
fn ranks(n_rows: usize, of: &Values<'_>, by: &Values<'_>, falling: bool) -> Vec<f64> {
    let mut groups = std::collections::BTreeMap::<u64, Vec<(usize, f64)>>::new();
    for row in 0..n_rows {
        if let (Datum::Number(value), Datum::Number(group)) = (of.at(row), by.at(row)) {
            groups
                .entry(group.to_bits())
                .or_default()
                .push((row, value));
        }
    }
    let mut out = vec![f64::NAN; n_rows];
    for group in groups.values() {
        for (row, value) in group {
            let slack = value.abs() * 1e-12;
            let before = group.iter().filter(|(_, other)| match falling {
                true => *other > value + slack,
                false => *other < value - slack,
            });
            out[*row] = before.count() as f64;
        }
    }
    out
}
