//! A workbook that comes back: read, compared with the open plan, and what is taken made one step.
//!
//! How files are read is in `files`, how they are compared in `report`.

use super::{Desk, Progress, Step};
use crate::engine::Engine;
use crate::files::import;
use crate::files::plan_file;
use crate::files::save;
use crate::files::spreadsheet::Book;
use crate::files::spreadsheet::Form;
use crate::files::spreadsheet::Reader;
use crate::files::spreadsheet::Wanted;
use crate::plan::Plan;
use crate::problem::Problem;
use crate::report::giveback;
use crate::report::giveback::{Class, Comparison, Difference};
use crate::trade;
use std::fs::File;
use std::io::{Read, Seek};
use std::path::Path;

/// A workbook that came back.
#[derive(Debug)]
pub struct Returned {
    /// The name of its file.
    pub name: String,
    book: Book,
    /// Whether it is one page that was saved as text.
    is_text: bool,
    /// The id of its plan; none where programs dropped it.
    id: Option<String>,
    /// The plan as it was exported; else why there is none.
    base: Result<Box<Plan>, String>,
}

impl Returned {
    /// Reads a workbook; nothing is compared yet.
    ///
    /// # Errors
    /// A file that cannot be read, is no spreadsheet, or was not exported from a plan.
    pub fn read(path: &Path, reader: &Reader, progress: Progress<'_>) -> Result<Self, Problem> {
        let mut file = save::open(path, import::MAX_BYTES as u64)?;
        let mut start = Vec::new();
        let read = file.by_ref().take(8).read_to_end(&mut start);
        let read = read.and_then(|_| file.rewind());
        read.map_err(|error| save::unread(path, &error))?;
        let is_text = !import::is_spreadsheet(&start);
        let book = match is_text {
            true => page_of_text(file, path)?,
            false => reader.read(file, Wanted::All, &mut |n| progress(Step::Read(n)))?,
        };
        let origin = match (giveback::origin(&book), is_text) {
            (Err(_), true) => return Err(no_page(path)),
            (origin, _) => origin?,
        };
        let base = origin.base.map_err(str::to_owned).and_then(|text| {
            let read = plan_file::read(&text, trade::empty_plan);
            read.map(|(plan, _)| Box::new(plan))
                .map_err(|problem| problem.message)
        });
        let of_base = base.as_deref().ok().map(|plan: &Plan| plan.id.clone());
        let name = path.file_name().unwrap_or_default();
        Ok(Self {
            name: name.to_string_lossy().into_owned(),
            book,
            is_text,
            id: origin.id.or(of_base.filter(|id| !id.is_empty())),
            base,
        })
    }

    /// The plan as it was exported, where it came back undamaged.
    pub fn base(&self) -> Option<&Plan> {
        self.base.as_deref().ok()
    }

    /// Compares it with a plan.
    ///
    /// # Errors
    /// The workbook of another plan, or a plan in which a proposal is open.
    pub fn compare(&self, plan: &Plan) -> Result<Comparison, Problem> {
        let compare = || giveback::compare(plan, self.base(), &self.book);
        self.compare_by(plan, compare)
    }

    /// The same with what is computed already: of the plan as it was exported, or of the plan it is
    /// compared with where there is none.
    ///
    /// # Errors
    /// The workbook of another plan, or a plan in which a proposal is open.
    pub fn compare_with(&self, plan: &Plan, engine: &Engine) -> Result<Comparison, Problem> {
        let compare = || giveback::compare_with(plan, self.base(), engine, &self.book);
        self.compare_by(plan, compare)
    }

    fn compare_by(
        &self,
        plan: &Plan,
        compare: impl FnOnce() -> Comparison,
    ) -> Result<Comparison, Problem> {
        if let Some(name) = plan.within() {
            let what = format!("the proposal `{name}` is open, and a workbook belongs to the base");
            return Err(Problem::new("proposal-open", what).help("leave the proposal first"));
        }
        let mut found = Vec::new();
        match (&self.id, plan.id.is_empty()) {
            (Some(id), false) if *id != plan.id => {
                let what = format!("`{}` is the workbook of another plan", self.name);
                return Err(Problem::new("other-plan", what).help(
                    "save the page of links as csv and add it with: portledger import PLAN FILE",
                ));
            }
            (Some(_), false) => {}
            (None, _) | (Some(_), true) => {
                found.push(
                    "no id says whose workbook it is; its rows are matched by their ids alone"
                        .to_owned(),
                );
            }
        }
        if let Err(why) = &self.base {
            found.push(format!(
                "{why}, so everything that differs from the plan as it is asks for a decision"
            ));
        }
        let mut compared = compare();
        if self.is_text {
            // What is computed stands there as it was shown, with few digits.
            let is_entered = |one: &Difference| one.class != Class::Overwritten;
            compared.differences.retain(is_entered);
            found.push("a page as text: only its entered cells are compared".to_owned());
        }
        found.append(&mut compared.notes);
        compared.notes = found;
        Ok(compared)
    }
}

/// A page of a workbook that was saved as text, as a workbook of that page alone.
fn page_of_text(file: File, path: &Path) -> Result<Book, Problem> {
    let mut bytes = Vec::new();
    let read = file
        .take(import::MAX_BYTES as u64 + 1)
        .read_to_end(&mut bytes);
    read.map_err(|error| save::unread(path, &error))?;
    let source = import::Source::of_text(&bytes, "", &import::Wish::default());
    let page = source.map_err(|_| no_page(path))?.into_page();
    let page = giveback::named(page).ok_or_else(|| no_page(path))?;
    Ok(Book {
        form: Form::Text,
        pages: vec![page],
        properties: Vec::new(),
        notes: Vec::new(),
        from_1904: false,
    })
}

/// What is said of a file that is neither a workbook nor a page of one.
fn no_page(path: &Path) -> Problem {
    let what = format!(
        "`{}` is neither a workbook that was exported nor a page of one",
        path.display()
    );
    Problem::new("not-a-workbook", what)
        .help(
            "ask for the workbook itself, or for its page as csv with the lines above the headings",
        )
        .help("links that are not in the plan yet are added with: portledger import PLAN FILE")
}

/// What taking changes from a workbook with a name is called.
pub fn merge_label(name: &str) -> String {
    format!("merge {name}")
}

impl Desk {
    /// Compares a workbook that came back with the plan.
    ///
    /// # Errors
    /// The workbook of another plan, or a proposal that is open.
    pub fn compare_returned(&self, returned: &Returned) -> Result<Comparison, Problem> {
        match returned.base() {
            Some(_) => returned.compare(&self.plan),
            None => returned.compare_with(&self.plan, &self.engine),
        }
    }

    /// Takes differences by their positions, as one step; says how many were taken.
    ///
    /// # Errors
    /// A plan that changed since so that they do not fit, or may not be changed now; nothing is
    /// changed then.
    pub fn merge(
        &mut self,
        found: &Comparison,
        taken: &[usize],
        name: &str,
    ) -> Result<usize, Problem> {
        let open = |at: &&usize| {
            found
                .differences
                .get(**at)
                .is_some_and(giveback::Difference::is_open)
        };
        let n_taken = taken.iter().filter(open).count();
        if let Some(edit) = giveback::edit_of(&self.plan, found, taken) {
            self.apply(&merge_label(name), edit)?;
        }
        Ok(n_taken)
    }
}
