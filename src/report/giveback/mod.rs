//! What was changed in a workbook that comes back, as a list of differences to take or to leave.
//!
//! Three states are compared, cell by cell: the plan as it was exported, the plan as it is, and the
//! returned pages. `returned.rs` finds whose workbook it is and where its columns stand, `cells.rs` reads
//! one cell, `rows.rs` pairs rows by their ids, `forms.rs` knows formulas again, `compare.rs` tells the differences of sheets and `assumed.rs` those of assumptions, `take.rs` makes one edit of those that
//! are taken. Nothing here reads a file or changes a plan.

mod assumed;
mod cells;
mod compare;
mod forms;
mod returned;
mod rows;
mod take;

pub(super) use assumed::exported_source;
pub use compare::{compare, compare_with};
pub use returned::{Origin, named, origin};
pub use take::{Choice, chosen, edit_of};

use crate::table::{ParamId, RowId, SheetId};
use cells::Value;

/// What kind of difference it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Class {
    /// Changed there and here, to different things; or nobody knows what was exported.
    Conflict,
    /// Changed there alone.
    Theirs,
    /// A row that came there.
    New,
    /// A row that is not there any more.
    Missing,
    /// A row with an id that another row has.
    Duplicate,
    /// A cell that cannot be read for its column.
    Unreadable,
    /// A computed cell that holds something else; it is told and never taken.
    Overwritten,
    /// The same change on both sides.
    Both,
    /// Changed here alone.
    Mine,
}

impl Class {
    /// All of them, those that ask for a decision first.
    pub const ALL: [Self; 9] = [
        Self::Conflict,
        Self::Theirs,
        Self::New,
        Self::Missing,
        Self::Duplicate,
        Self::Unreadable,
        Self::Overwritten,
        Self::Both,
        Self::Mine,
    ];

    /// As a word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Conflict => "conflict",
            Self::Theirs => "theirs",
            Self::New => "new",
            Self::Missing => "missing",
            Self::Duplicate => "duplicate",
            Self::Unreadable => "unreadable",
            Self::Overwritten => "overwritten",
            Self::Both => "both",
            Self::Mine => "mine",
        }
    }

    /// What it means, in one line.
    pub fn doc(self) -> &'static str {
        match self {
            Self::Conflict => "changed there and here, to different things",
            Self::Theirs => "changed in the workbook alone",
            Self::New => "rows that came in the workbook",
            Self::Missing => "rows that are not in the workbook any more",
            Self::Duplicate => "rows with an id that another row has",
            Self::Unreadable => "cells that cannot be read for their column",
            Self::Overwritten => "computed cells that were written over; never taken",
            Self::Both => "the same on both sides by now",
            Self::Mine => "changed in the plan alone",
        }
    }

    /// Whether nobody has to look at it: it is in the plan already.
    pub fn is_settled(self) -> bool {
        matches!(self, Self::Both | Self::Mine)
    }
}

/// One difference.
#[derive(Debug, Clone, PartialEq)]
pub struct Difference {
    /// Which kind.
    pub class: Class,
    /// The name of the sheet; `assume` for assumptions.
    pub sheet: String,
    /// The id of the row, or the name of the assumption.
    pub row: String,
    /// The column; empty where the whole row is meant.
    pub column: String,
    /// What was exported.
    pub base: String,
    /// What came back.
    pub theirs: String,
    /// What the plan has.
    pub mine: String,
    /// Where it stands in the workbook, as `Links F12`; empty where it stands nowhere.
    pub at: String,
    /// What else is to be known of it; mostly empty.
    pub note: String,
    take: Take,
}

impl Difference {
    /// Whether it can be taken.
    pub fn is_open(&self) -> bool {
        self.take != Take::Nothing
    }
}

/// What is done when a difference is taken.
#[derive(Debug, Clone, PartialEq)]
enum Take {
    /// It cannot be taken.
    Nothing,
    /// A cell is written.
    Cell(SheetId, RowId, usize, Value),
    /// A row is added.
    Add(SheetId, Vec<(usize, Value)>),
    /// A row is removed.
    Remove(SheetId, RowId),
    /// An assumption gets another value, with the source that was given for it.
    Assume(ParamId, Value, Option<String>),
    /// An assumption gets another source.
    Source(ParamId, String),
}

/// A row of the workbook that is no row of a sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SetAside {
    /// The page.
    pub page: String,
    /// Its number.
    pub row: usize,
    /// Why.
    pub why: &'static str,
    /// What stands in it, as much as fits a line.
    pub text: String,
}

impl SetAside {
    /// As one line.
    pub fn line(&self) -> String {
        let (page, row, why) = (&self.page, self.row, self.why);
        match self.text.is_empty() {
            true => format!("{page} row {row} set aside: {why}"),
            false => format!("{page} row {row} set aside: {why} (`{}`)", self.text),
        }
    }
}

/// What a returned workbook differs in.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Comparison {
    /// The differences, sheet by sheet in the order of the plan as it was exported.
    pub differences: Vec<Difference>,
    /// What is to be known of the whole, one sentence each.
    pub notes: Vec<String>,
    /// Rows that are no rows of a sheet.
    pub set_aside: Vec<SetAside>,
}

impl Comparison {
    /// How many differences of a class there are.
    pub fn count(&self, class: Class) -> usize {
        let of_it = self.differences.iter().filter(|one| one.class == class);
        of_it.count()
    }

    /// How many can be taken.
    pub fn n_open(&self) -> usize {
        self.differences.iter().filter(|one| one.is_open()).count()
    }

    /// The classes that are there with their numbers, as `2 theirs, 1 conflict`.
    pub fn counts(&self) -> String {
        let counts = Class::ALL
            .iter()
            .filter_map(|class| match self.count(*class) {
                0 => None,
                n => Some(format!("{n} {}", class.word())),
            });
        counts.collect::<Vec<_>>().join(", ")
    }
}
