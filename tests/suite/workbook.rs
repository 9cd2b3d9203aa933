//! Exported workbooks: an independent engine calculates them anew and has to come to our values, also
//! after cells were changed; and what stands in them is read back.

use calamine::{Data, Reader, Xlsx};
use ironcalc_base::Model;
use ironcalc_base::cell::CellValue;
use ironcalc_base::expressions::types::Area;
use portledger::desk::Desk;
use portledger::report::{FORMATS, Identity, MOST_CELLS, Request, Written};
use std::collections::BTreeMap;
use std::io::Cursor;

/// A workbook that was written, read back.
pub struct Book {
    pub bytes: Vec<u8>,
    pub written: Written,
    pub pages: Vec<Page>,
}

/// A page: cells by row and column from 0.
pub struct Page {
    pub name: String,
    pub values: BTreeMap<(u32, u32), Data>,
    pub formulas: BTreeMap<(u32, u32), String>,
}

/// Exports what stands on a desk.
pub fn export(desk: &Desk) -> Book {
    export_with(desk, MOST_CELLS)
}

pub fn export_with(desk: &Desk, most_cells: usize) -> Book {
    let base = portledger::files::plan_file::write(desk.plan());
    let findings = desk.findings();
    let request = Request {
        plan: desk.plan(),
        engine: desk.engine(),
        findings: &findings,
        base: &base,
        identity: Identity::new(None, &base),
        name: "reef.plan".to_owned(),
        date: Some((2031, 5, 28)),
        proposal: None,
        most_cells,
    };
    let mut out = Cursor::new(Vec::new());
    let written = (FORMATS[0].write)(&request, &mut out, &mut |_| {}).unwrap();
    let bytes = out.into_inner();
    Book {
        pages: pages(&bytes),
        bytes,
        written,
    }
}

fn pages(bytes: &[u8]) -> Vec<Page> {
    let mut book: Xlsx<_> = calamine::open_workbook_from_rs(Cursor::new(bytes)).unwrap();
    book.sheet_names()
        .into_iter()
        .map(|name| {
            let range = book.worksheet_range(&name).unwrap();
            let (top, left) = range.start().unwrap_or((0, 0));
            let values = range.used_cells().map(|(row, column, value)| {
                let at = (top + row as u32, left + column as u32);
                (at, value.clone())
            });
            let values = values.collect();
            let range = book.worksheet_formula(&name).unwrap();
            let (top, left) = range.start().unwrap_or((0, 0));
            let formulas = range.used_cells().map(|(row, column, text)| {
                let at = (top + row as u32, left + column as u32);
                (at, text.clone())
            });
            Page {
                formulas: formulas.collect(),
                values,
                name,
            }
        })
        .collect()
}

/// An independent engine with all cells of a workbook in it.
pub struct Calculator {
    model: Model<'static>,
    sheets: BTreeMap<String, u32>,
}

impl Calculator {
    pub fn new(book: &Book) -> Self {
        let mut model = Model::new_empty("book", "en", "UTC", "en").unwrap();
        let mut sheets = BTreeMap::new();
        for (at, page) in book.pages.iter().enumerate() {
            let at = at as u32;
            if at == 0 {
                model.rename_sheet_by_index(0, &page.name).unwrap();
            } else {
                model.add_sheet(&page.name).unwrap();
            }
            sheets.insert(page.name.clone(), at);
        }
        let mut all = Self { model, sheets };
        for page in &book.pages {
            if page.name == portledger::report::BASE {
                continue;
            }
            for (at, value) in &page.values {
                if !page.formulas.contains_key(at) {
                    all.set(&page.name, *at, value);
                }
            }
            for ((row, column), formula) in &page.formulas {
                let sheet = all.sheets[&page.name];
                let formula = format!("={formula}");
                let (row, column) = (*row as i32 + 1, *column as i32 + 1);
                let set = all.model.update_cell_with_formula(sheet, row, column, formula.clone());
                set.unwrap_or_else(|why| panic!("{formula}: {why}"));
            }
        }
        all.model.evaluate();
        all
    }

    /// Changes a cell; nothing follows before `evaluate`.
    pub fn set(&mut self, page: &str, at: (u32, u32), value: &Data) {
        let sheet = self.sheets[page];
        let (row, column) = (at.0 as i32 + 1, at.1 as i32 + 1);
        let model = &mut self.model;
        match value {
            Data::Float(value) => model.update_cell_with_number(sheet, row, column, *value),
            Data::Int(value) => model.update_cell_with_number(sheet, row, column, *value as f64),
            Data::Bool(value) => model.update_cell_with_bool(sheet, row, column, *value),
            Data::String(text) => model.update_cell_with_text(sheet, row, column, text),
            Data::Empty => model.range_clear_contents(&Area {
                sheet,
                row,
                column,
                width: 1,
                height: 1,
            }),
            other => panic!("{page} {at:?}: {other:?}"),
        }
        .unwrap();
    }

    pub fn evaluate(&mut self) {
        self.model.evaluate();
    }

    pub fn value(&self, page: &str, at: (u32, u32)) -> CellValue {
        let sheet = self.sheets[page];
        let (row, column) = (at.0 as i32 + 1, at.1 as i32 + 1);
        self.model.get_cell_value_by_index(sheet, row, column).unwrap()
    }
}

/// Whether the engine came to a value of ours.
pub fn agree(ours: Option<&Data>, theirs: &CellValue) -> bool {
    match (ours.unwrap_or(&Data::Empty), theirs) {
        (Data::Empty, CellValue::None) => true,
        (Data::Empty, CellValue::String(text)) => text.is_empty(),
        (Data::String(ours), CellValue::None) => ours.is_empty(),
        (Data::String(ours), CellValue::String(theirs)) => ours == theirs,
        (Data::Bool(ours), CellValue::Boolean(theirs)) => ours == theirs,
        (Data::Float(ours), CellValue::Number(theirs)) => close(*ours, *theirs),
        (Data::Int(ours), CellValue::Number(theirs)) => close(*ours as f64, *theirs),
        _ => false,
    }
}

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * a.abs().max(b.abs()).max(1e-3)
}

/// Every formula cell in which the engine came to something else.
pub fn differences(book: &Book, calculator: &Calculator) -> Vec<String> {
    let mut all = Vec::new();
    for page in &book.pages {
        for (at, formula) in &page.formulas {
            let theirs = calculator.value(&page.name, *at);
            let ours = page.values.get(at);
            if !agree(ours, &theirs) {
                let head = head(page, *at);
                all.push(format!("{} {at:?} {head}: ours {ours:?}, theirs {theirs:?}\n    ={formula}", page.name));
            }
        }
    }
    all
}

fn head(page: &Page, at: (u32, u32)) -> String {
    let above = page.values.range(..at).rev().find(|((_, column), value)| {
        *column == at.1 && matches!(value, Data::String(_))
    });
    above.map_or(String::new(), |(_, value)| value.to_string())
}

#[test]
fn an_independent_engine_calculates_the_demo_alike() {
    let book = export(&Desk::demo().unwrap());
    let calculator = Calculator::new(&book);
    let differ = differences(&book, &calculator);
    for one in &book.written.values {
        eprintln!("{} {} {} {}", one.page, one.column, one.shown, one.why);
    }
    let n: usize = book.pages.iter().map(|page| page.formulas.len()).sum();
    eprintln!("{n} formulas, {} differ", differ.len());
    assert!(n > 2_000, "{n}");
    assert!(differ.is_empty(), "{} differ\n{}", differ.len(), differ[..differ.len().min(40)].join("\n"));
}
