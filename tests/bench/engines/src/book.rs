//! A workbook of ours as another engine gets it: every cell with its formula and with the value
//! that we stored beside it.
//!
//! Does not calculate.

use calamine::Data;
use calamine::Reader;
use calamine::Xlsx;
use portledger::desk::Desk;
use portledger::desk::Wanted;
use std::collections::BTreeMap;
use std::path::Path;

/// Row and column, from 0.
pub type At = (u32, u32);

/// The row that holds the headings of a page of rows; the kinds of the columns stand above it.
const HEADS: u32 = 3;
/// The column of Assumptions in which a person puts a value of their own.
const OWN: u32 = 3;

/// One page.
pub struct Page {
    /// Its name.
    pub name: String,
    /// Values, also those stored beside a formula.
    pub values: BTreeMap<At, Data>,
    /// Formulas, without the sign in front.
    pub formulas: BTreeMap<At, String>,
}

/// All pages on which something can be calculated.
pub struct Book {
    /// The pages in order.
    pub pages: Vec<Page>,
}

/// A cell: its page, row and column.
#[derive(Debug, Clone)]
pub struct Place {
    /// The name of the page.
    pub page: String,
    /// Where on it.
    pub at: At,
}

impl Book {
    /// Exports a plan into a folder and reads the workbook back.
    ///
    /// # Panics
    /// Where it cannot be written or read: then there is nothing to measure.
    pub fn of(desk: &mut Desk, folder: &Path) -> Self {
        let path = folder.join("book.xlsx");
        let wanted = Wanted {
            replace: true,
            ..Wanted::default()
        };
        desk.export(&path, &wanted, &mut |_| {})
            .expect("the workbook is written");
        let mut book: Xlsx<_> = calamine::open_workbook(&path).expect("the workbook opens");
        let names = book.sheet_names();
        let names = names
            .into_iter()
            .filter(|name| name != portledger::report::BASE);
        let pages = names.map(|name| read(&mut book, name)).collect();
        Self { pages }
    }

    /// How many cells have a formula.
    pub fn n_formulas(&self) -> usize {
        self.pages.iter().map(|page| page.formulas.len()).sum()
    }

    /// Whether another workbook has the same formulas in the same cells.
    pub fn has_formulas_of(&self, other: &Self) -> bool {
        let formulas = |book: &Self| -> Vec<(String, BTreeMap<At, String>)> {
            let pages = book.pages.iter();
            pages
                .map(|page| (page.name.clone(), page.formulas.clone()))
                .collect()
        };
        formulas(self) == formulas(other)
    }

    /// The entered cell of a link under a heading.
    ///
    /// # Panics
    /// Where there is none.
    pub fn entered(&self, id: &str, heading: &str) -> Place {
        let page = self.page("Links");
        let is = |at: At, wanted: &str| matches!(page.values.get(&at), Some(Data::String(text)) if text == wanted);
        let mut heads = page.values.range((HEADS, 0)..(HEADS + 1, 0));
        let column = heads.find(|(at, _)| is(**at, heading) && is((HEADS - 1, at.1), "entered"));
        let column = column.expect("the column is on the page").0.1;
        let mut rows = page.values.keys().filter(|at| at.1 == 0);
        let row = rows.find(|at| is(**at, id)).expect("the link is there").0;
        Place {
            page: page.name.clone(),
            at: (row, column),
        }
    }

    /// The cell in which a person puts their own value of an assumption.
    ///
    /// # Panics
    /// Where there is none.
    pub fn assumed(&self, name: &str) -> Place {
        let page = self.page("Assumptions");
        let wanted = format!("assume.{name}");
        let mut values = page.values.iter();
        let found = values.find(|(_, value)| value.to_string() == wanted);
        let row = found.expect("the assumption is on the page").0.0;
        Place {
            page: page.name.clone(),
            at: (row, OWN),
        }
    }

    fn page(&self, name: &str) -> &Page {
        let mut pages = self.pages.iter();
        pages
            .find(|page| page.name == name)
            .expect("the page is there")
    }
}

fn read(book: &mut Xlsx<std::io::BufReader<std::fs::File>>, name: String) -> Page {
    let range = book.worksheet_range(&name).expect("the page is read");
    let (top, left) = range.start().unwrap_or((0, 0));
    let values = range
        .used_cells()
        .map(|(row, column, value)| ((top + row as u32, left + column as u32), value.clone()))
        .collect();
    let range = book.worksheet_formula(&name).expect("formulas are read");
    let (top, left) = range.start().unwrap_or((0, 0));
    let formulas = range
        .used_cells()
        .map(|(row, column, text)| ((top + row as u32, left + column as u32), text.clone()))
        .collect();
    Page {
        name,
        values,
        formulas,
    }
}

/// How many formula cells an engine brought to what we stored there, and the first few others.
pub struct Agreement {
    /// Cells that agree.
    pub n_agree: usize,
    /// All cells with a formula.
    pub n_all: usize,
    /// Some that differ, to be printed.
    pub others: Vec<String>,
}

impl Agreement {
    /// Asks an engine for every formula cell of a book.
    pub fn of(book: &Book, value: impl Fn(&str, At) -> Data) -> Self {
        let (mut n_agree, mut n_all, mut others) = (0, 0, Vec::new());
        for page in &book.pages {
            for (at, formula) in &page.formulas {
                n_all += 1;
                let ours = page.values.get(at).unwrap_or(&Data::Empty);
                let theirs = value(&page.name, *at);
                if agree(ours, &theirs) {
                    n_agree += 1;
                } else if others.len() < 3 {
                    let start: String = formula.chars().take(200).collect();
                    others.push(format!(
                        "{} {at:?}: ours {ours:?}, theirs {theirs:?} of ={start}",
                        page.name
                    ));
                }
            }
        }
        Self {
            n_agree,
            n_all,
            others,
        }
    }
}

/// Texts and flags have to be the same, numbers to 1e-9 of themselves; an empty text is an empty cell.
fn agree(ours: &Data, theirs: &Data) -> bool {
    let number = |data: &Data| match data {
        Data::Float(value) => Some(*value),
        Data::Int(value) => Some(*value as f64),
        _ => None,
    };
    let is_empty = |data: &Data| match data {
        Data::Empty => true,
        Data::String(text) => text.is_empty(),
        _ => false,
    };
    match (number(ours), number(theirs)) {
        (Some(a), Some(b)) => (a - b).abs() <= 1e-9 * a.abs().max(b.abs()),
        _ => (is_empty(ours) && is_empty(theirs)) || ours == theirs,
    }
}
