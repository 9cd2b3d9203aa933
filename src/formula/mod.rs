//! Formula text to a typed program over columns.
//!
//! Text is lexed here, grouped by evalexpr over numbered placeholders, then named, typed and
//! lowered to a flat program. Nothing runs here; the engine runs programs.

pub mod assist;
mod call;
mod check;
mod clash;
pub mod functions;
mod gather;
mod lex;
mod lower;
mod names;
pub mod program;
mod tree;
pub mod typed;

#[cfg(test)]
mod tests;

pub use functions::{Function, Library};
pub use lex::Infix;
pub use lex::{Piece, pieces};
pub use lower::{Lowered, lower};
pub use typed::{Form, Gathered, Node, Typed};

use crate::problem::Problem;
use crate::table::{ColumnId, Names, ParamId, SheetId};
use crate::units::{Measure, Unit};
use check::{Checker, Site};
use lex::{Kind, Token};
use program::{Aggregate, Lookup, Program};
use std::collections::BTreeSet;

/// A range of bytes of a text.
pub type Span = std::ops::Range<usize>;

/// The type of a value in a formula.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Ty {
    /// A number with its measure.
    Number(Measure),
    /// A text or a choice.
    Text,
    /// Yes or no.
    Flag,
    /// A row of a sheet.
    Row(SheetId),
}

/// A column as a formula sees it.
#[derive(Debug, Clone)]
pub struct ColumnInfo {
    /// Which column.
    pub id: ColumnId,
    /// The type of its values.
    pub ty: Ty,
    /// Whether a person enters it; an entered column of type row also has a text.
    pub entered: bool,
    /// The unit it is shown in; a plain number for other types.
    pub unit: Unit,
}

/// An assumption as a formula sees it.
#[derive(Debug, Clone)]
pub struct ParamInfo {
    /// Which assumption.
    pub id: ParamId,
    /// Its type: number or text.
    pub ty: Ty,
    /// The unit it is shown in.
    pub unit: Unit,
}

/// What names mean to a formula.
pub trait Scope {
    /// The sheet of a name.
    fn sheet(&self, name: &str) -> Option<SheetId>;
    /// The name of a sheet.
    fn sheet_name(&self, sheet: SheetId) -> &str;
    /// All sheet names, for suggestions.
    fn sheet_names(&self) -> Vec<&str>;
    /// A column of a sheet.
    fn column(&self, sheet: SheetId, name: &str) -> Option<ColumnInfo>;
    /// All column names of a sheet, for suggestions.
    fn column_names(&self, sheet: SheetId) -> Vec<&str>;
    /// The column that names the rows of a sheet; its type is text.
    fn id_column(&self, sheet: SheetId) -> ColumnId;
    /// The row of a sheet with this id, spelled in any case.
    fn row(&self, sheet: SheetId, id: &str) -> Option<u32>;
    /// All ids of a sheet, for suggestions; may stop early on a large one.
    fn row_names(&self, sheet: SheetId) -> Vec<String>;
    /// The assumption of a name.
    fn assumption(&self, name: &str) -> Option<ParamInfo>;
    /// All assumption names, for suggestions.
    fn assumption_names(&self) -> Vec<&str>;
    /// Where texts get their codes.
    fn names(&self) -> &Names;
}

/// A checked formula and its programs.
#[derive(Debug, Clone)]
pub struct Formula {
    /// The text as it was written.
    pub text: String,
    /// The type of its value.
    pub ty: Ty,
    /// The unit of the first quantity in the text that measures the same as the result.
    pub unit_hint: Option<Unit>,
    /// The formula with places and types, for explaining and exporting it.
    pub tree: Typed,
    /// What the engine runs for each row.
    pub program: Program,
    /// The aggregates the program reads.
    pub aggregates: Vec<Aggregate>,
    /// The searches the program makes.
    pub lookups: Vec<Lookup>,
}

/// Reads, checks and lowers a formula of a sheet, or of none.
///
/// # Errors
/// Every problem of the formula, each with its place in the text.
pub fn compile(
    text: &str,
    sheet: Option<SheetId>,
    scope: &dyn Scope,
    library: &Library,
) -> Result<Formula, Vec<Problem>> {
    read(text, sheet, scope, library).map_err(|problems| {
        let placed = |problem: Problem| problem.within("formula", text);
        problems.into_iter().map(placed).collect()
    })
}

fn read(
    text: &str,
    sheet: Option<SheetId>,
    scope: &dyn Scope,
    library: &Library,
) -> Result<Formula, Vec<Problem>> {
    let tokens = lex::tokens(text)?;
    let expr = tree::tree(text, &tokens).map_err(|problem| vec![problem])?;
    let mut checker = Checker::new(scope, library, text);
    let tree = match checker.check(&expr, Site::Row(sheet)) {
        Some(tree) if checker.problems.is_empty() => tree,
        _ => return Err(checker.problems),
    };
    let lowered = lower::lower(&tree, scope);
    Ok(Formula {
        text: text.to_owned(),
        ty: tree.ty,
        unit_hint: unit_hint(&tokens, tree.ty),
        tree,
        program: lowered.program,
        aggregates: lowered.aggregates,
        lookups: lowered.lookups,
    })
}

fn unit_hint(tokens: &[Token], ty: Ty) -> Option<Unit> {
    tokens.iter().find_map(|token| match &token.kind {
        Kind::Quantity(_, unit) if ty == Ty::Number(unit.measure) => Some(unit.clone()),
        _ => None,
    })
}

impl Formula {
    /// Every column that the programs read, keys of aggregates and searches included, in order.
    pub fn reads(&self) -> impl Iterator<Item = ColumnId> + use<> {
        let mut columns = BTreeSet::new();
        self.program.add_reads(&mut columns);
        for aggregate in &self.aggregates {
            aggregate.value.add_reads(&mut columns);
            columns.extend(aggregate.key);
        }
        for lookup in &self.lookups {
            columns.extend(lookup.keys.iter().map(|(column, _)| *column));
        }
        columns.into_iter()
    }

    /// The names in the formula, left to right, each with its place and type.
    ///
    /// A fetch such as `medium.attenuation` is one of them, and so is a whole aggregate or
    /// `row_of`, because what is inside has no one value for the row.
    pub fn leaves(&self) -> Vec<&Typed> {
        self.tree.leaves()
    }
}

/// Whether a formula gives what is wanted of it, e.g. by its column.
///
/// # Errors
/// The two types, and what would make them the same when it is one simple thing.
pub fn check_unit(formula: &Formula, wanted: Ty) -> Result<(), Problem> {
    let is_number = matches!(wanted, Ty::Number(_));
    if formula.ty == wanted || formula.tree.is_missing() && is_number {
        return Ok(());
    }
    Err(clash::result(formula, wanted).within("formula", formula.text.as_str()))
}
