//! Formula text to a typed program over columns.
//!
//! Text is lexed here, grouped by evalexpr over numbered placeholders, then named, typed and
//! lowered to a flat program. Nothing runs here; the engine runs programs.

pub mod program;

use crate::table::{ColumnId, Names, ParamId, SheetId};
use crate::units::{Measure, Unit};

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
