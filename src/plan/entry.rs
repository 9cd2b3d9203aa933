//! The content of one entered cell, and how typed text becomes one.
//!
//! A wrong text is a [`Problem`] here; whether it is refused or kept as wrong is decided by the
//! caller (an edit refuses it, a file keeps it).

use super::Plan;
use crate::problem::Problem;
use crate::sheet::ColumnKind;
use crate::table::Names;
use crate::table::ParamId;
use crate::table::SheetId;
use crate::units::Unit;
use crate::units::Units;
use crate::units::exact;
use crate::units::read;

/// The content of an entered cell.
#[derive(Debug, Clone, PartialEq)]
pub enum Entry {
    /// Nothing entered.
    Empty,
    /// A number in base units.
    Number(f64),
    /// The code of a text.
    Text(u32),
    /// A text that could not be read for its column; it counts as absent and is kept.
    Wrong(String),
}

/// Reads typed text for a column.
///
/// # Errors
/// A number that cannot be read, a wrong unit, or a word that is not among the choices.
pub fn read_entry(
    plan: &Plan,
    sheet: SheetId,
    column: usize,
    text: &str,
) -> Result<Entry, Problem> {
    let def = plan.column(sheet, column);
    let unit = Units::builtin().unit(&def.unit)?;
    read_value(text, def.kind, &unit, &def.choices, plan.names())
}

/// Reads typed text for an assumption.
///
/// # Errors
/// A number that cannot be read, or a wrong unit.
pub fn read_assumption(plan: &Plan, param: ParamId, text: &str) -> Result<Entry, Problem> {
    let assumption = &plan.assumptions()[param.at()];
    let kind = if assumption.def.text {
        ColumnKind::Text
    } else {
        ColumnKind::Number
    };
    read_value(text, kind, &assumption.unit, &[], plan.names())
}

/// Reads typed text for a kind of value.
pub(super) fn read_value(
    text: &str,
    kind: ColumnKind,
    unit: &Unit,
    choices: &[String],
    names: &Names,
) -> Result<Entry, Problem> {
    let trimmed = text.trim();
    if trimmed.is_empty() {
        return Ok(Entry::Empty);
    }
    match kind {
        ColumnKind::Number => read(trimmed, unit).map(Entry::Number),
        ColumnKind::Text | ColumnKind::Row => Ok(Entry::Text(names.code(trimmed))),
        ColumnKind::Choice => choice(trimmed, choices).map(|word| Entry::Text(names.code(word))),
        ColumnKind::Flag => Err(Problem::new("not-entered", "this column is computed")),
    }
}

/// The choice meant by a word in any case.
fn choice<'a>(word: &str, choices: &'a [String]) -> Result<&'a str, Problem> {
    if let Some(same) = choices.iter().find(|choice| *choice == word) {
        return Ok(same);
    }
    let lower = word.to_lowercase();
    let found = choices.iter().find(|choice| choice.to_lowercase() == lower);
    found.map(String::as_str).ok_or_else(|| {
        Problem::new(
            "not-a-choice",
            format!("`{word}` is not one of the choices"),
        )
        .did_you_mean(word, choices.iter().map(String::as_str))
        .help(format!("write one of: {}", choices.join(", ")))
    })
}

impl Entry {
    /// The entry as text that reads back to the same entry in a column of this unit.
    pub fn text(&self, unit: &Unit, names: &Names) -> String {
        match self {
            Self::Empty => String::new(),
            Self::Number(value) => exact(*value, unit),
            Self::Text(code) => names.text(*code),
            Self::Wrong(text) => text.clone(),
        }
    }
}
