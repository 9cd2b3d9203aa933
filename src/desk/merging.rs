//! A workbook that comes back: read, compared with the open plan, and what is taken made one step.
//!
//! How files are read is in `files`, how they are compared in `report`.

use super::{Desk, Progress, Step};
use crate::files::import;
use crate::files::plan_file;
use crate::files::save;
use crate::files::spreadsheet::Book;
use crate::files::spreadsheet::Reader;
use crate::files::spreadsheet::Wanted;
use crate::plan::Plan;
use crate::problem::Problem;
use crate::report::giveback;
use crate::report::giveback::Comparison;
use crate::trade;
use std::io::{Read, Seek};
use std::path::Path;

/// A workbook that came back.
#[derive(Debug)]
pub struct Returned {
    /// The name of its file.
    pub name: String,
    book: Book,
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
        if !import::is_spreadsheet(&start) {
            let what = format!("`{}` is no workbook", path.display());
            return Err(Problem::new("not-a-workbook", what)
                .help("a table of text is added with: portledger import PLAN FILE"));
        }
        let book = reader.read(file, Wanted::All, &mut |n| progress(Step::Read(n)))?;
        let origin = giveback::origin(&book)?;
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
            id: origin.id.or(of_base.filter(|id| !id.is_empty())),
            base,
        })
    }

    /// Compares it with a plan.
    ///
    /// # Errors
    /// The workbook of another plan, or a plan in which a proposal is open.
    pub fn compare(&self, plan: &Plan) -> Result<Comparison, Problem> {
        if let Some(name) = plan.within() {
            let what = format!("the proposal `{name}` is open, and a workbook belongs to the base");
            return Err(Problem::new("proposal-open", what).help("leave the proposal first"));
        }
        let base = self.base.as_deref();
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
        if let Err(why) = base {
            found.push(format!(
                "{why}, so everything that differs from the plan as it is asks for a decision"
            ));
        }
        let mut compared = giveback::compare(plan, base.ok(), &self.book);
        found.append(&mut compared.notes);
        compared.notes = found;
        Ok(compared)
    }
}

impl Desk {
    /// Compares a workbook that came back with the plan.
    ///
    /// # Errors
    /// The workbook of another plan, or a proposal that is open.
    pub fn compare_returned(&self, returned: &Returned) -> Result<Comparison, Problem> {
        returned.compare(&self.plan)
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
            self.apply(&format!("merge {name}"), edit)?;
        }
        Ok(n_taken)
    }
}
