//! What a workbook of a plan holds, page by page: headings, and which column stands under each.
//!
//! For telling what was changed in a workbook that comes back. What stands where is decided in
//! `layout.rs`; nothing is written here.

use super::book::Content;
use super::layout::{Laid, Layout, PAGES, titled};
use super::stored::{Datum, Values};
use crate::engine::Engine;
use crate::engine::Source;
use crate::plan::Plan;
use crate::table::SheetId;

/// The pages of the sheets of a plan, as an export would send them.
pub struct Sent<'a> {
    plan: &'a Plan,
    engine: &'a Engine,
    layout: Layout,
}

/// The page of a sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SentPage {
    /// Its name.
    pub name: String,
    /// The sheet.
    pub sheet: SheetId,
    /// Its columns for people, then those entered columns that were left out.
    pub columns: Vec<SentColumn>,
    /// Headings of columns that only serve formulas.
    pub serving: Vec<String>,
}

/// A column of a page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SentColumn {
    /// What stands above it.
    pub heading: String,
    /// Its name in the plan.
    pub name: String,
    /// What stands in its cells.
    pub holds: Holds,
}

/// What stands in the cells of a column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Holds {
    /// What a person entered, in the column of the sheet with this position.
    Entered(usize),
    /// The same, but the column was left out, since it held nothing.
    LeftOut(usize),
    /// Formulas.
    Formulas,
    /// Values that were computed.
    Values,
}

impl Holds {
    /// The position of an entered column in its sheet.
    pub fn entered(self) -> Option<usize> {
        match self {
            Self::Entered(column) | Self::LeftOut(column) => Some(column),
            Self::Formulas | Self::Values => None,
        }
    }
}

impl<'a> Sent<'a> {
    /// What an export of a plan sends.
    pub fn new(plan: &'a Plan, engine: &'a Engine) -> Self {
        let layout = Layout::new(plan, engine, super::MOST_CELLS);
        Self {
            plan,
            engine,
            layout,
        }
    }

    /// The pages of sheets, those of empty sheets as well, since rows may have come to them.
    pub fn pages(&self) -> Vec<SentPage> {
        let sheets = PAGES
            .iter()
            .filter_map(|(sheet, page)| Some((self.plan.sheet(sheet)?, *page)));
        sheets
            .map(|(sheet, page)| SentPage {
                name: page.to_owned(),
                sheet,
                columns: self.columns(sheet),
                serving: self.serving(sheet),
            })
            .collect()
    }

    fn serving(&self, sheet: SheetId) -> Vec<String> {
        let laid = self.layout.page_of(sheet);
        let columns = laid
            .into_iter()
            .flat_map(|laid| laid.columns.iter().skip(laid.n_shown));
        columns.map(|placed| placed.heading.clone()).collect()
    }

    fn columns(&self, sheet: SheetId) -> Vec<SentColumn> {
        let mut columns = Vec::new();
        if let Some(laid) = self.layout.page_of(sheet) {
            for placed in laid.columns.iter().take(laid.n_shown) {
                let col = self.layout.col(placed.place);
                let Some(def) = col.column.and_then(|column| self.engine.def(column)) else {
                    continue;
                };
                let node = col
                    .column
                    .and_then(|column| self.engine.graph().nodes.get(column.at()));
                let holds = match (&col.content, node.map(|node| &node.source)) {
                    (_, Some(Source::Entered(position))) => Holds::Entered(*position),
                    (Content::Formula(_), _) => Holds::Formulas,
                    (Content::Value(_) | Content::Pending | Content::Entered, _) => Holds::Values,
                };
                columns.push(SentColumn {
                    heading: placed.heading.clone(),
                    name: def.name.clone(),
                    holds,
                });
            }
        }
        for position in self.plan.entered(sheet) {
            let is_there = |one: &SentColumn| one.holds == Holds::Entered(position);
            let def = self.plan.column(sheet, position);
            let unit = self.engine.unit(self.engine.column(sheet, position));
            let heading = titled(&def.title, &unit.symbol);
            let is_taken = columns.iter().any(|one| one.heading == heading);
            if !is_taken && !columns.iter().any(is_there) {
                columns.push(SentColumn {
                    heading,
                    name: def.name.clone(),
                    holds: Holds::LeftOut(position),
                });
            }
        }
        columns
    }

    /// The computed values that stand under a heading of a page, by row; none where there is no
    /// such heading.
    pub fn computed(&self, sheet: SheetId, heading: &str) -> Option<Computed<'_>> {
        let laid = self.layout.page_of(sheet)?;
        let placed = laid.columns.iter().find(|one| one.heading == heading)?;
        let values = self.layout.values(self.plan, self.engine, placed.place);
        Some(Computed {
            values,
            n_rows: self.n_rows(laid),
        })
    }

    fn n_rows(&self, laid: &Laid) -> usize {
        self.layout.blocks[laid.block].rows.len()
    }
}

/// The computed values of a column.
pub struct Computed<'a> {
    values: Values<'a>,
    n_rows: usize,
}

impl Computed<'_> {
    /// The number in a row, from 0, or the text of anything else.
    pub fn at(&self, row: usize) -> Result<f64, String> {
        if row >= self.n_rows {
            return Err(String::new());
        }
        match self.values.at(row) {
            Datum::Empty => Err(String::new()),
            Datum::Number(number) => Ok(number),
            Datum::Text(text) => Err(super::printable(&text)),
            Datum::Flag(true) => Err("TRUE".to_owned()),
            Datum::Flag(false) => Err("FALSE".to_owned()),
        }
    }
}
