//! Importing a table: the file that was read, what a person says of it, and taking it as one step.
//!
//! How tables are read is in `files`, the page about it in `pages`.

use super::{Layer, Session, Shown};
use crate::desk::Ahead;
use crate::desk::Gauge;
use crate::desk::Prepared;
use crate::desk::Step;
use crate::desk::read_table;
use crate::files::import;
use crate::files::import::Import;
use crate::files::import::Source;
use crate::files::import::Wish;
use crate::files::spreadsheet::Reader;
use crate::plan::Plan;
use crate::problem::Problem;
use crate::screen::entry::Purpose;
use crate::screen::theme::Tone;
use std::path::PathBuf;
use std::sync::Arc;

/// A table that was read and not taken yet.
#[derive(Debug)]
pub struct Importing {
    path: PathBuf,
    /// Shared with the thread that reads it in another way.
    source: Arc<Source>,
    wish: Wish,
    read: Import,
    /// How often the plan had been changed when it was read.
    n_changes: u64,
}

impl Importing {
    /// What it would become.
    pub fn read(&self) -> &Import {
        &self.read
    }

    /// Whether ids that stand more than once get a number.
    pub fn tells_apart(&self) -> bool {
        self.wish.tells_apart
    }

    /// Pages of the file that are not read.
    pub fn others(&self) -> &[String] {
        self.source.other_pages()
    }
}

impl Session {
    /// Lets a file be read that a person named.
    pub(super) fn ask_table(&mut self, text: &str) -> Result<(), Problem> {
        let path = PathBuf::from(text.trim());
        if path.as_os_str().is_empty() {
            return Err(Problem::new("no-name", "no file is named")
                .help("type the name of a table, such as cables.xlsx"));
        }
        self.read_table(path, Wish::default())
    }

    /// Reads a table beside the sitting and shows then what would become of it.
    fn read_table(&mut self, path: PathBuf, wish: Wish) -> Result<(), Problem> {
        let reader = self.reader()?;
        let (plan, n_changes) = (self.desk.plan().clone(), self.desk.n_changes());
        self.begin_work(format!("reading {}", path.display()), move |gauge| {
            let told = &mut |step| gauge.tell(step);
            let read = read_table(&plan, &path, &wish, &reader, told);
            let importing = read.and_then(|(source, read)| {
                gauge.go_on()?;
                Ok(Importing {
                    path,
                    source: Arc::new(source),
                    wish,
                    read,
                    n_changes,
                })
            });
            Box::new(move |session| match importing {
                Ok(importing) => {
                    session.importing = Some(importing);
                    session.layers.clear();
                    session.open_page(Shown::Import);
                }
                Err(problem) => session.tell_stopped(&problem),
            })
        })
    }

    /// What reads spreadsheets.
    pub(super) fn reader(&self) -> Result<Reader, Problem> {
        match &self.reader {
            Some(reader) => Ok(reader.clone()),
            None => Reader::of_this_program(),
        }
    }

    /// Asks where the cells under a heading go.
    pub(super) fn ask_heading(&mut self, at: usize) {
        let importing = self.importing.as_ref();
        let Some(mapped) = importing.and_then(|importing| importing.read.mapped.get(at)) else {
            return;
        };
        if mapped.heading.is_empty() {
            self.say("cells without a heading are kept as text", Tone::Quiet);
            return;
        }
        let now = match (&mapped.unit, mapped.how) {
            (_, import::How::LeftOut | import::How::Computed) => "-".to_owned(),
            (_, import::How::Unknown) => "text".to_owned(),
            (Some(unit), _) => format!("{}:{unit}", mapped.column),
            (None, _) => mapped.column.clone(),
        };
        let heading = mapped.heading.clone();
        self.open_entry(Purpose::Heading { heading, now });
    }

    /// Sends the cells under a heading somewhere else; an empty text leaves it to the heading.
    pub(super) fn map_heading(&mut self, heading: &str, text: &str) -> Result<(), Problem> {
        let Some(importing) = &self.importing else {
            return Ok(());
        };
        let mut wish = importing.wish.clone();
        wish.map.retain(|(known, _)| known != heading);
        if !text.trim().is_empty() {
            wish.map.push((heading.to_owned(), text.trim().to_owned()));
        }
        self.read_again(wish)
    }

    /// Gives ids that stand more than once a number, or leaves them as they are.
    pub(super) fn tell_apart(&mut self) {
        let Some(importing) = &self.importing else {
            return;
        };
        let mut wish = importing.wish.clone();
        wish.tells_apart = !wish.tells_apart;
        if let Err(problem) = self.read_again(wish) {
            self.tell(&problem);
        }
    }

    /// Reads the same rows in another way, beside the sitting. What is said wrongly is told at once.
    fn read_again(&mut self, wish: Wish) -> Result<(), Problem> {
        let Some(importing) = &self.importing else {
            return Ok(());
        };
        import::check(self.desk.plan(), &importing.source, &wish)?;
        let source = Arc::clone(&importing.source);
        let (plan, n_changes) = (self.desk.plan().clone(), self.desk.n_changes());
        let doing = format!("reading {}", importing.path.display());
        self.begin_work(doing, move |gauge| {
            let read = read_rows(&plan, &source, &wish, gauge);
            let read = read.and_then(|read| gauge.go_on().map(|()| read));
            Box::new(move |session| match (read, &mut session.importing) {
                (Ok(read), Some(importing)) if Arc::ptr_eq(&importing.source, &source) => {
                    importing.read = read;
                    importing.n_changes = n_changes;
                    importing.wish = wish;
                    session.refresh_pages();
                }
                // The person went on to something else.
                (Ok(_), _) => {}
                (Err(problem), _) => session.tell_stopped(&problem),
            })
        })
    }

    /// Reads another page of the same file.
    pub(super) fn other_page(&mut self, at: usize) {
        let Some(importing) = &self.importing else {
            return;
        };
        if let Some(name) = importing.others().get(at) {
            let wish = Wish {
                page: Some(name.clone()),
                ..Wish::default()
            };
            let path = importing.path.clone();
            if let Err(problem) = self.read_table(path, wish) {
                self.tell(&problem);
            }
        }
    }

    /// Makes the links part of the plan, as one step: on a copy beside the sitting, which takes the
    /// place of the plan when it is done.
    pub(super) fn take_import(&mut self) {
        if self.importing.is_some() {
            self.begin_alone(Self::begin_taking);
        }
    }

    fn begin_taking(&mut self) -> Result<(), Problem> {
        let ahead = self.desk.ahead()?;
        let Some(importing) = self.importing.take() else {
            return Ok(());
        };
        let is_as_read = importing.n_changes == self.desk.n_changes();
        let doing = format!("taking in {}", importing.path.display());
        let begun = self.begin_work(doing, move |gauge| {
            let prepared = prepared(ahead, importing, is_as_read, gauge);
            Box::new(move |session| {
                match prepared.and_then(|done| session.desk.take_prepared(done)) {
                    Ok(()) => {
                        session.greeting = false;
                        session.followed(IMPORT, "");
                    }
                    Err(problem) => session.tell_stopped(&problem),
                }
            })
        });
        self.layers.retain(|layer| !matches!(layer, Layer::Page(_)));
        begun
    }
}

/// What the step is called.
const IMPORT: &str = "import";

/// Rows that were read of a file, as links of a plan.
fn read_rows(plan: &Plan, source: &Source, wish: &Wish, gauge: &Gauge) -> Result<Import, Problem> {
    import::links_told(plan, source, wish, &mut |n, of| {
        gauge.tell(Step::Placed(n, of))
    })
}

/// The plan with the links in it; they are read anew where the plan was changed since.
fn prepared(
    ahead: Ahead,
    importing: Importing,
    is_as_read: bool,
    gauge: &Gauge,
) -> Result<Prepared, Problem> {
    let read = match is_as_read {
        true => importing.read,
        false => read_rows(ahead.plan(), &importing.source, &importing.wish, gauge)?,
    };
    drop(importing.source);
    gauge.tell(Step::Computed(read.n_links));
    ahead.make(IMPORT, read.edit, gauge)
}
