//! One cell: what it holds, whether two hold the same, and how a returned one is read.
//!
//! What a spreadsheet does to a cell without anybody meaning it is no change: blanks, digits beyond
//! the fifteenth, a number with its unit, a decimal comma, a date that was a text.

use crate::files::import::Decimal;
use crate::files::import::is_unclear_number;
use crate::files::import::plain_number;
use crate::files::spreadsheet::Cell;
use crate::files::spreadsheet::Kind;
use crate::plan::Entry;
use crate::plan::Plan;
use crate::plan::read_assumption;
use crate::plan::read_entry;
use crate::problem::Problem;
use crate::report::as_returned;
use crate::sheet::ColumnKind;
use crate::table::{ParamId, RowId, SheetId};
use crate::units::Unit;
use crate::units::Units;
use crate::units::exact;

/// Numbers that differ by no more than this part of themselves are the same; programs keep fifteen
/// digits.
const SAME: f64 = 1e-12;

/// What an entered cell holds, told apart from the plan it stands in.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// Nothing.
    Empty,
    /// A number in base units.
    Number(f64),
    /// A text.
    Text(String),
    /// A text that cannot be read for its column.
    Wrong(String),
}

impl Value {
    /// What a cell of a plan holds.
    pub fn of(plan: &Plan, sheet: SheetId, column: usize, row: RowId) -> Self {
        Self::of_entry(plan, &plan.entry(sheet, column, row))
    }

    /// What an entry of a plan says.
    pub fn of_entry(plan: &Plan, entry: &Entry) -> Self {
        match entry {
            Entry::Empty => Self::Empty,
            Entry::Number(value) => Self::Number(*value),
            Entry::Text(code) => Self::Text(plan.names().text(*code)),
            Entry::Wrong(text) => Self::Wrong(text.clone()),
        }
    }

    /// As an entry of a plan.
    pub fn entry(&self, plan: &Plan) -> Entry {
        match self {
            Self::Empty => Entry::Empty,
            Self::Number(value) => Entry::Number(*value),
            Self::Text(text) => Entry::Text(plan.names().code(text)),
            Self::Wrong(text) => Entry::Wrong(text.clone()),
        }
    }

    /// For a person, in the unit of a column.
    pub fn shown(&self, unit: &Unit) -> String {
        match self {
            Self::Empty => String::new(),
            Self::Number(value) => format!("{} {}", exact(*value, unit), unit.symbol)
                .trim_end()
                .to_owned(),
            Self::Text(text) | Self::Wrong(text) => text.clone(),
        }
    }

    /// Whether two cells of a column hold the same; names and choices count in any case.
    pub fn is_same(&self, other: &Self, kind: ColumnKind) -> bool {
        match (self, other) {
            (Self::Number(a), Self::Number(b)) => is_near(*a, *b, SAME),
            (Self::Text(a) | Self::Wrong(a), Self::Text(b) | Self::Wrong(b)) => {
                is_same_text(a, b, kind)
            }
            // A text of nothing but blanks is an empty cell.
            (Self::Text(text) | Self::Wrong(text), Self::Empty)
            | (Self::Empty, Self::Text(text) | Self::Wrong(text)) => text.trim().is_empty(),
            (Self::Empty, Self::Empty) => true,
            (Self::Empty | Self::Text(_) | Self::Wrong(_), Self::Number(_))
            | (Self::Number(_), Self::Empty | Self::Text(_) | Self::Wrong(_)) => false,
        }
    }
}

fn is_same_text(a: &str, b: &str, kind: ColumnKind) -> bool {
    let (a, b) = (as_returned(a), as_returned(b));
    match kind {
        ColumnKind::Row | ColumnKind::Choice => a.to_lowercase() == b.to_lowercase(),
        ColumnKind::Text | ColumnKind::Number | ColumnKind::Flag => a == b,
    }
}

/// Whether two numbers differ by no more than a part of the larger one.
pub fn is_near(a: f64, b: f64, part: f64) -> bool {
    a == b || (a - b).abs() <= part * a.abs().max(b.abs())
}

/// A returned cell as it was read.
#[derive(Debug, Clone, PartialEq)]
pub enum Read {
    /// It holds this.
    Value(Value),
    /// It cannot be read: the text, and why.
    Unreadable(String, String),
}

/// What cells are read for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Slot {
    /// A column of a sheet.
    Column(SheetId, usize),
    /// An assumption.
    Assumption(ParamId),
}

/// How returned cells are read.
#[derive(Debug, Clone)]
pub struct Reading<'a> {
    /// The plan that was exported.
    pub plan: &'a Plan,
    /// What they are in it.
    pub slot: Slot,
    /// The unit that stands in the heading where it is another one than that of the column.
    pub unit: Option<String>,
}

impl Reading<'_> {
    /// What kind of value it is.
    pub fn kind(&self) -> ColumnKind {
        match self.slot {
            Slot::Column(sheet, column) => self.plan.column(sheet, column).kind,
            Slot::Assumption(param) => match self.plan.assumptions()[param.at()].def.text {
                true => ColumnKind::Text,
                false => ColumnKind::Number,
            },
        }
    }

    fn entry(&self, text: &str) -> Result<Entry, Problem> {
        match self.slot {
            Slot::Column(sheet, column) => read_entry(self.plan, sheet, column, text),
            Slot::Assumption(param) => read_assumption(self.plan, param, text),
        }
    }

    /// Reads a cell where this was exported.
    pub fn read(&self, cell: Option<Cell<'_>>, base: &Value) -> Read {
        let Some(cell) = cell else {
            return Read::Value(Value::Empty);
        };
        let text = as_returned(cell.text);
        let unreadable = |why: &str| Read::Unreadable(text.clone(), why.to_owned());
        match cell.kind {
            Kind::Error => return unreadable("an error of the spreadsheet"),
            Kind::NotCalculated => return unreadable("a formula without a value"),
            Kind::Text | Kind::Number | Kind::Date | Kind::Flag => {}
        }
        if text.is_empty() {
            return Read::Value(Value::Empty);
        }
        let kind = self.kind();
        // What could not be read then is no change either.
        if matches!(base, Value::Wrong(wrong) if is_same_text(wrong, &text, kind)) {
            return Read::Value(base.clone());
        }
        match kind {
            ColumnKind::Number => self.number(cell, &text, base),
            ColumnKind::Text | ColumnKind::Row | ColumnKind::Choice => self.words(&text, base),
            ColumnKind::Flag => unreadable("this column is computed"),
        }
    }

    fn words(&self, text: &str, base: &Value) -> Read {
        // `007` that a spreadsheet made a 7 of.
        let is_mangled = |known: &str| {
            let (a, b) = (known.trim().parse::<f64>(), text.parse::<f64>());
            matches!((a, b), (Ok(a), Ok(b)) if a == b)
        };
        if matches!(base, Value::Text(known) if is_mangled(known)) {
            return Read::Value(base.clone());
        }
        match self.entry(text) {
            Ok(entry) => Read::Value(Value::of_entry(self.plan, &entry)),
            Err(problem) => Read::Unreadable(text.to_owned(), problem.message),
        }
    }

    fn number(&self, cell: Cell<'_>, text: &str, base: &Value) -> Read {
        let kind = ColumnKind::Number;
        if cell.kind != Kind::Text {
            return self.quantity(text);
        }
        let read = |decimal| self.quantity(&plain_number(text, decimal));
        let both = [read(Decimal::Comma), read(Decimal::Point)];
        let is_base = |read: &&Read| matches!(read, Read::Value(v) if v.is_same(base, kind));
        if let Some(same) = both.iter().find(is_base) {
            return same.clone();
        }
        let [comma, point] = both;
        match text.contains(',') && is_unclear_number(text) {
            true => Read::Unreadable(
                text.to_owned(),
                "its comma may stand before decimals or thousands".to_owned(),
            ),
            // Only a comma says that points are no decimal ones.
            false if text.rfind(',') > text.rfind('.') => comma,
            false => point,
        }
    }

    /// Reads a number, bare in the unit of its heading or with a unit of its own.
    fn quantity(&self, text: &str) -> Read {
        let with_unit = match &self.unit {
            Some(unit) if text.parse::<f64>().is_ok() => format!("{text} {unit}"),
            Some(_) | None => text.to_owned(),
        };
        match self.entry(&with_unit) {
            Ok(entry) => Read::Value(Value::of_entry(self.plan, &entry)),
            Err(problem) => Read::Unreadable(text.to_owned(), problem.message),
        }
    }
}

/// The unit of a column, for showing its values.
pub fn unit_of(plan: &Plan, sheet: SheetId, column: usize) -> Unit {
    let unit = Units::builtin().unit(&plan.column(sheet, column).unit);
    unit.unwrap_or_else(|_| Unit::none())
}
