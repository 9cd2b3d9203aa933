//! Two general calculation engines, each behind the same few calls: all cells of a workbook put in,
//! a number changed, everything calculated, a value read.
//!
//! Neither is told anything that is not in the workbook.

use crate::book::At;
use crate::book::Book;
use crate::book::Page;
use crate::book::Place;
use calamine::CellErrorType;
use calamine::Data;
use formualizer::LiteralValue;
use formualizer::Workbook;
use formualizer::WorkbookConfig;
use ironcalc_base::Model;
use ironcalc_base::cell::CellValue;
use std::collections::BTreeMap;

/// An engine with a workbook in it.
pub trait Calculator {
    /// The name and version.
    const NAME: &'static str;
    /// With which power of the links its time may grow.
    const GROWS: i32;

    /// Puts all cells in; what belongs to that, such as a graph, is made here as well.
    fn of(book: &Book) -> Self;

    /// Changes a number; nothing need follow before `calculate`.
    fn set(&mut self, place: &Place, value: f64);

    /// Brings every cell up to date.
    fn calculate(&mut self);

    /// What stands in a cell; an error is an error, whatever it is.
    fn value(&self, page: &str, at: At) -> Data;
}

/// `formualizer`, without its list of changes, on as many threads as it takes.
pub struct Formualizer(Workbook);

impl Calculator for Formualizer {
    const NAME: &'static str = "formualizer 0.13.0";
    // It keeps an index of what is searched.
    const GROWS: i32 = 1;

    fn of(book: &Book) -> Self {
        let mut workbook = Workbook::new_with_config(WorkbookConfig::ephemeral());
        for page in &book.pages {
            if !workbook.has_sheet(&page.name) {
                workbook.add_sheet(&page.name).expect("a page is added");
            }
        }
        for page in &book.pages {
            let entered = entered(page).map(|(at, value)| (at, literal(value)));
            for run in runs(entered) {
                let rows: Vec<Vec<LiteralValue>> =
                    run.cells.into_iter().map(|cell| vec![cell]).collect();
                let set = workbook.set_values(&page.name, run.row, run.column, &rows);
                set.expect("values are set");
            }
        }
        for page in &book.pages {
            let formulas = page.formulas.iter();
            for run in runs(formulas.map(|(at, text)| (*at, format!("={text}")))) {
                let rows: Vec<Vec<String>> = run.cells.into_iter().map(|cell| vec![cell]).collect();
                let set = workbook.set_formulas(&page.name, run.row, run.column, &rows);
                set.expect("formulas are set");
            }
        }
        workbook.prepare_graph_all().expect("the graph is made");
        Self(workbook)
    }

    fn set(&mut self, place: &Place, value: f64) {
        let (row, column) = place.at;
        let value = LiteralValue::Number(value);
        let set = self.0.set_value(&place.page, row + 1, column + 1, value);
        set.expect("the cell is set");
    }

    fn calculate(&mut self) {
        self.0.evaluate_all().expect("it calculates");
    }

    fn value(&self, page: &str, (row, column): At) -> Data {
        match self.0.get_value(page, row + 1, column + 1) {
            None | Some(LiteralValue::Empty) => Data::Empty,
            Some(LiteralValue::Number(value)) => Data::Float(value),
            Some(LiteralValue::Int(value)) => Data::Float(value as f64),
            Some(LiteralValue::Text(text)) => Data::String(text),
            Some(LiteralValue::Boolean(value)) => Data::Bool(value),
            Some(_) => Data::Error(CellErrorType::Value),
        }
    }
}

/// `ironcalc_base`.
pub struct Ironcalc {
    model: Model<'static>,
    sheets: BTreeMap<String, u32>,
}

impl Calculator for Ironcalc {
    const NAME: &'static str = "ironcalc_base 0.9.1";
    // Every search goes through all rows.
    const GROWS: i32 = 2;

    fn of(book: &Book) -> Self {
        let mut model = Model::new_empty("book", "en", "UTC", "en").expect("a model is made");
        let mut sheets = BTreeMap::new();
        for (at, page) in (0_u32..).zip(&book.pages) {
            if at == 0 {
                let named = model.rename_sheet_by_index(0, &page.name);
                named.expect("a page is named");
            } else {
                model.add_sheet(&page.name).expect("a page is added");
            }
            sheets.insert(page.name.clone(), at);
        }
        for page in &book.pages {
            let sheet = sheets[&page.name];
            for ((row, column), value) in entered(page) {
                let (row, column) = (row as i32 + 1, column as i32 + 1);
                let set = match value {
                    Data::Float(value) => model.update_cell_with_number(sheet, row, column, *value),
                    Data::Int(value) => {
                        model.update_cell_with_number(sheet, row, column, *value as f64)
                    }
                    Data::Bool(value) => model.update_cell_with_bool(sheet, row, column, *value),
                    other => model.update_cell_with_text(sheet, row, column, &other.to_string()),
                };
                set.expect("the cell is set");
            }
            for ((row, column), text) in &page.formulas {
                let (row, column) = (*row as i32 + 1, *column as i32 + 1);
                let text = format!("={text}");
                let set = model.update_cell_with_formula(sheet, row, column, text);
                set.expect("the formula is set");
            }
        }
        Self { model, sheets }
    }

    fn set(&mut self, place: &Place, value: f64) {
        let sheet = self.sheets[&place.page];
        let (row, column) = (place.at.0 as i32 + 1, place.at.1 as i32 + 1);
        let set = self
            .model
            .update_cell_with_number(sheet, row, column, value);
        set.expect("the cell is set");
    }

    fn calculate(&mut self) {
        self.model.evaluate();
    }

    fn value(&self, page: &str, (row, column): At) -> Data {
        let (row, column) = (row as i32 + 1, column as i32 + 1);
        let value = self
            .model
            .get_cell_value_by_index(self.sheets[page], row, column);
        match value.expect("the page is there") {
            CellValue::None => Data::Empty,
            CellValue::String(text) => Data::String(text),
            CellValue::Number(value) => Data::Float(value),
            CellValue::Boolean(value) => Data::Bool(value),
        }
    }
}

/// The cells that hold a value and no formula.
fn entered(page: &Page) -> impl Iterator<Item = (At, &Data)> {
    let values = page.values.iter();
    values
        .filter(|(at, _)| !page.formulas.contains_key(at))
        .map(|(at, value)| (*at, value))
}

fn literal(value: &Data) -> LiteralValue {
    match value {
        Data::Float(value) => LiteralValue::Number(*value),
        Data::Int(value) => LiteralValue::Number(*value as f64),
        Data::Bool(value) => LiteralValue::Boolean(*value),
        other => LiteralValue::Text(other.to_string()),
    }
}

/// Cells below one another.
struct Run<T> {
    /// The first row, from 1.
    row: u32,
    /// The column, from 1.
    column: u32,
    cells: Vec<T>,
}

/// Cells as runs, the longest first: so a page has its length before the rest comes.
fn runs<T>(cells: impl Iterator<Item = (At, T)>) -> Vec<Run<T>> {
    let mut columns: BTreeMap<u32, Vec<Run<T>>> = BTreeMap::new();
    for ((row, column), cell) in cells {
        let (row, column) = (row + 1, column + 1);
        let runs = columns.entry(column).or_default();
        match runs.last_mut() {
            Some(last) if last.row + last.cells.len() as u32 == row => last.cells.push(cell),
            _ => runs.push(Run {
                row,
                column,
                cells: vec![cell],
            }),
        }
    }
    let mut all: Vec<Run<T>> = columns.into_values().flatten().collect();
    all.sort_by_key(|run| std::cmp::Reverse(run.cells.len()));
    all
}
