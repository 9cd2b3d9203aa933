//! Which columns, formulas and checks a sheet has, from the files in `sheets/`.
//!
//! Definitions only; rows are in the plan, values in the engine.

mod builtin;
#[cfg(test)]
mod load;

pub use builtin::{assumptions, builtin, builtin_rows, rows_of};
#[cfg(test)]
pub use load::load;

use crate::problem::Severity;
use serde::Deserialize;
use serde::Serialize;

/// A sheet: its columns and checks.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SheetDef {
    /// The name used in formulas, files and commands, e.g. `links`.
    pub name: String,
    /// What one row is called in a sentence, e.g. `link`; the name where it has no such word.
    #[serde(default)]
    pub one: String,
    /// The heading a person reads.
    pub title: String,
    /// What a row of it is.
    pub doc: String,
    /// Whether it comes with rows of its own, each with source and confidence.
    #[serde(default)]
    pub reference: bool,
    /// Columns that a ledger shows first, after the id and the verdict; the rest follow in order.
    #[serde(default)]
    pub ledger: Vec<String>,
    /// Its columns in order; the first is the id.
    #[serde(rename = "column")]
    pub columns: Vec<ColumnDef>,
    /// Its checks in order.
    #[serde(default, rename = "check")]
    pub checks: Vec<CheckDef>,
}

/// A column: entered or computed.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct ColumnDef {
    /// The name used in formulas, files and commands.
    pub name: String,
    /// The heading a person reads.
    pub title: String,
    /// What it holds, for help.
    pub doc: String,
    /// The unit it is shown and entered in; none for plain numbers and for texts.
    #[serde(default)]
    pub unit: String,
    /// What kind of value it holds.
    pub kind: ColumnKind,
    /// The words of a choice.
    #[serde(default)]
    pub choices: Vec<String>,
    /// The sheet a column of rows points to.
    #[serde(default)]
    pub to: Option<String>,
    /// The formula of a computed column; none for an entered one.
    #[serde(default)]
    pub formula: Option<String>,
    /// Places after the point shown to a person.
    #[serde(default)]
    pub decimals: Option<u8>,
    /// Where the rule of the formula comes from.
    #[serde(default)]
    pub source: String,
    /// Whether it stays out of the ledger unless asked for.
    #[serde(default)]
    pub quiet: bool,
}

/// What kind of value a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum ColumnKind {
    /// A number in the unit of the column.
    Number,
    /// Any text.
    Text,
    /// One of a few words.
    Choice,
    /// The id of a row of another sheet; text that names no row is kept and points nowhere.
    Row,
    /// Yes or no; computed only.
    Flag,
}

/// A rule, and what is said where it is broken.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CheckDef {
    /// The name of the check, e.g. `reach`.
    pub name: String,
    /// What it is about, for help.
    pub doc: String,
    /// Where the rule comes from.
    pub source: String,
    /// Its cases; each can find a row.
    #[serde(rename = "case", default)]
    pub cases: Vec<CaseDef>,
}

/// One way to break a rule.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CaseDef {
    /// A formula that says yes where the rule is broken.
    pub when: String,
    /// How much it weighs.
    #[serde(deserialize_with = "severity")]
    pub severity: Severity,
    /// The sentence, with formulas in braces: `{length} is more than the reach, {reach}`.
    pub say: String,
    /// What to do about it, same form.
    pub advise: String,
}

fn severity<'de, D: serde::Deserializer<'de>>(from: D) -> Result<Severity, D::Error> {
    let word = String::deserialize(from)?;
    Severity::from_word(&word).ok_or_else(|| {
        serde::de::Error::custom(format!("severity `{word}` is not stop, caution or note"))
    })
}

/// A named value of the whole plan, as it comes with the program.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AssumptionDef {
    /// The name used in formulas after `assume.`.
    pub name: String,
    /// The heading a person reads.
    pub title: String,
    /// What it does, for help.
    pub doc: String,
    /// The unit it is shown in; none for plain numbers and for texts.
    #[serde(default)]
    pub unit: String,
    /// Whether it is a text instead of a number.
    #[serde(default)]
    pub text: bool,
    /// The value as a person would type it.
    pub value: String,
    /// Where the value comes from.
    pub source: String,
    /// `seen` or `memory`: whether the source was read or recalled.
    pub confidence: String,
}

impl SheetDef {
    /// What one row is called in a sentence.
    pub fn row_word(&self) -> &str {
        if self.one.is_empty() {
            &self.name
        } else {
            &self.one
        }
    }

    /// The position of a column by name.
    pub fn column(&self, name: &str) -> Option<usize> {
        self.columns.iter().position(|column| column.name == name)
    }
}

impl ColumnDef {
    /// Whether a person enters it.
    pub fn entered(&self) -> bool {
        self.formula.is_none()
    }
}
