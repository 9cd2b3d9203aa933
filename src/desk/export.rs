//! Exporting an open plan: pages for people, saved beside or elsewhere, never over another file unasked.
//!
//! The plan gets an id with its first export, as a step that can be taken back, so that a returned
//! workbook finds it. What is written is in `report`.

use super::{Desk, Gauge, Step};
use crate::files::plan_file;
use crate::files::save;
use crate::files::save::Saved;
use crate::plan::Edit;
use crate::plan::Plan;
use crate::problem::Problem;
use crate::report;
use crate::report::Choice;
use crate::report::Done;
use crate::report::Format;
use crate::report::Identity;
use crate::report::OrderPage;
use crate::report::ProposalPage;
use crate::report::Request;
use crate::report::Written;
use crate::study::order::short_order_list;
use std::fs::File;
use std::io;
use std::io::{BufWriter, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

/// What an export did.
#[derive(Debug)]
pub struct Exported {
    /// The file that was written.
    pub saved: Saved,
    /// What is in it.
    pub written: Written,
    /// The format.
    pub format: &'static Format,
    /// Whether the plan got its id by this, and is to be saved.
    pub is_named: bool,
}

impl Exported {
    /// What was written, in one sentence.
    pub fn said(&self, file: &Path) -> String {
        let pages = self.written.pages.iter();
        let n_pages = pages.filter(|page| !page.starts_with('_')).count();
        let held = match self.written.n_formulas {
            0 => String::new(),
            n => format!(": {n_pages} pages, {n} live formulas"),
        };
        format!("wrote {}, {}{held}", file.display(), self.format.doc)
    }
}

/// How an export is to be made.
#[derive(Debug, Clone, Default)]
pub struct Wanted {
    /// Whether a file that is there may be replaced.
    pub replace: bool,
    /// The day, as year, month and day.
    pub date: Option<(u16, u8, u8)>,
    /// What of the plan is asked for.
    pub choice: Choice,
}

/// A plan to be exported, apart from the desk that it lies on.
#[derive(Debug)]
pub struct Snapshot {
    plan: Plan,
    path: Option<PathBuf>,
    is_named: bool,
}

impl Snapshot {
    /// Writes pages for people into a file, as [`Desk::export`] does. `gauge` is told how far it is;
    /// where it asks to stop, what is written by then is removed.
    ///
    /// # Errors
    /// The same as there, or that it was stopped.
    pub fn export(self, path: &Path, wanted: &Wanted, gauge: &Gauge) -> Result<Exported, Problem> {
        report::format_of(path)?;
        let mut desk = Desk::of_plan(self.plan, Vec::new());
        desk.path = self.path;
        let mut told = |done: Done| {
            gauge.tell(Step::Written(done.rows, done.of));
        };
        desk.written(path, wanted, self.is_named, &mut told, gauge)
    }
}

/// A file that takes bytes without writing them once its writer was asked to stop, or once it could
/// not be written. The libraries that pack a file are not told: they would say so on the terminal.
struct Stoppable<'f> {
    inner: &'f mut File,
    gauge: &'f Gauge,
    failed: &'f mut Option<io::Error>,
}

impl Write for Stoppable<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if self.gauge.is_stopped() || self.failed.is_some() {
            return Ok(bytes.len());
        }
        match self.inner.write(bytes) {
            Err(error) if error.kind() != io::ErrorKind::Interrupted => {
                *self.failed = Some(error);
                Ok(bytes.len())
            }
            written => written,
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        self.inner.flush()
    }
}

impl Seek for Stoppable<'_> {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.inner.seek(to)
    }
}

impl Desk {
    /// Writes pages for people into a file; its ending says in which format.
    ///
    /// A plan without an id gets one first, where it may be changed.
    ///
    /// # Errors
    /// An ending of no format, a file that is there and may not be replaced, or one that cannot be
    /// written; what was there is then as it was.
    pub fn export(
        &mut self,
        path: &Path,
        wanted: &Wanted,
        progress: &mut dyn FnMut(Done),
    ) -> Result<Exported, Problem> {
        report::format_of(path)?;
        let is_named = self.give_id();
        self.written(path, wanted, is_named, progress, &Gauge::default())
    }

    /// A copy from which an export can be made elsewhere, such as on another thread.
    ///
    /// A plan without an id gets one first, where it may be changed.
    pub fn snapshot(&mut self) -> Snapshot {
        let is_named = self.give_id();
        Snapshot {
            plan: self.plan.clone(),
            path: self.path.clone(),
            is_named,
        }
    }

    fn written(
        &self,
        path: &Path,
        wanted: &Wanted,
        is_named: bool,
        progress: &mut dyn FnMut(Done),
        gauge: &Gauge,
    ) -> Result<Exported, Problem> {
        let format = report::format_of(path)?;
        let base = |put: &mut dyn FnMut(&str)| plan_file::write_in_pieces(&self.plan, put);
        let id = Some(self.plan.id.as_str()).filter(|id| !id.is_empty());
        let name = match self.path().and_then(Path::file_name) {
            Some(name) => name.to_string_lossy().into_owned(),
            None => "a plan in memory".to_owned(),
        };
        let (proposal, order) = match format.shows_studies {
            true => self.studies()?,
            false => (None, None),
        };
        // After the studies, so that what those needed for a large plan can be used again.
        let findings = (self.standing).first(&self.plan, &self.engine, format.most_findings);
        let request = Request {
            plan: &self.plan,
            engine: &self.engine,
            findings: &findings,
            base: &base,
            identity: Identity::new(id, &base),
            name,
            date: wanted.date,
            proposal,
            order,
            choice: wanted.choice.clone(),
            most_cells: report::MOST_CELLS,
        };
        let (saved, written) = save::save_by(path, wanted.replace, |file| {
            let mut failed = None;
            let out = Stoppable {
                inner: file,
                gauge,
                failed: &mut failed,
            };
            let mut out = BufWriter::with_capacity(1 << 18, out);
            let written = (format.write)(&request, &mut out, progress);
            let flushed = out.flush();
            drop(out);
            gauge.go_on()?;
            match failed.or(flushed.err()) {
                Some(error) => Err(report::unwritten(&error)),
                None => written,
            }
        })?;
        Ok(Exported {
            saved,
            written,
            format,
            is_named,
        })
    }

    /// What stands beside the plan: its proposals, and what is to be ordered.
    fn studies(&self) -> Result<(Option<ProposalPage>, Option<OrderPage>), Problem> {
        let proposal = match self.plan.proposals().is_empty() {
            true => None,
            false => ProposalPage::of(&self.compare(&[])?),
        };
        let list = short_order_list(&self.plan, &self.engine, OrderPage::MOST_NAMES)?;
        Ok((proposal, OrderPage::of(&self.plan, &list)))
    }

    /// Gives the plan an id where it has none and may be changed; says whether it did.
    fn give_id(&mut self) -> bool {
        if !self.plan.id.is_empty() || self.keep.may_edit().is_err() {
            return false;
        }
        let id = report::new_id(&|put| plan_file::write_in_pieces(&self.plan, put));
        self.apply("id for export", Edit::SetId(id)).is_ok()
    }
}
