//! Importing a table: the file that was read, what a person says of it, and taking it as one step.
//!
//! How tables are read is in `files`, the page about it in `pages`.

use super::{Effect, Layer, Session, Shown};
use crate::files::import;
use crate::files::import::Import;
use crate::files::import::Source;
use crate::files::import::Wish;
use crate::files::spreadsheet::Reader;
use crate::problem::Problem;
use crate::screen::entry::Purpose;
use crate::screen::theme::Tone;
use std::path::{Path, PathBuf};

/// A table that was read and not taken yet.
#[derive(Debug)]
pub struct Importing {
    path: PathBuf,
    source: Source,
    wish: Wish,
    read: Import,
}

impl Importing {
    /// What it would become.
    pub fn read(&self) -> &Import {
        &self.read
    }

    /// Pages of the file that are not read.
    pub fn others(&self) -> &[String] {
        self.source.other_pages()
    }
}

impl Session {
    /// Asks the run loop to let the file be read, which may take a while.
    pub(super) fn ask_table(&mut self, text: &str) -> Result<(), Problem> {
        let path = PathBuf::from(text.trim());
        if path.as_os_str().is_empty() {
            return Err(Problem::new("no-name", "no file is named")
                .help("type the name of a table, such as cables.xlsx"));
        }
        self.say(format!("reading {} ...", text.trim()), Tone::Quiet);
        self.effects.push(Effect::Read(path, Wish::default()));
        Ok(())
    }

    /// Reads a table and shows what would become of it; a problem is told and nothing is changed.
    pub fn read_table(&mut self, path: &Path, wish: Wish) {
        let read = self.try_read(path, wish);
        match read {
            Ok(importing) => {
                self.importing = Some(importing);
                self.layers.clear();
                self.say("", Tone::Plain);
                self.open_page(Shown::Import);
            }
            Err(problem) => self.tell(&problem),
        }
    }

    fn try_read(&self, path: &Path, wish: Wish) -> Result<Importing, Problem> {
        let reader = match &self.reader {
            Some(reader) => reader.clone(),
            None => Reader::of_this_program()?,
        };
        let source = Source::read(self.desk.plan(), path, &wish, &reader, &mut |_| true)?;
        let read = import::links(self.desk.plan(), &source, &wish)?;
        Ok(Importing {
            path: path.to_owned(),
            source,
            wish,
            read,
        })
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
            (_, import::How::LeftOut) => "-".to_owned(),
            (_, import::How::Unknown) => "text".to_owned(),
            (Some(unit), _) => format!("{}:{unit}", mapped.column),
            (None, _) => mapped.column.clone(),
        };
        let heading = mapped.heading.clone();
        self.open_entry(Purpose::Heading { heading, now });
    }

    /// Sends the cells under a heading somewhere else; an empty text leaves it to the heading.
    pub(super) fn map_heading(&mut self, heading: &str, text: &str) -> Result<(), Problem> {
        let Some(importing) = &mut self.importing else {
            return Ok(());
        };
        let mut wish = importing.wish.clone();
        wish.map.retain(|(known, _)| known != heading);
        if !text.trim().is_empty() {
            wish.map.push((heading.to_owned(), text.trim().to_owned()));
        }
        importing.read = import::links(self.desk.plan(), &importing.source, &wish)?;
        importing.wish = wish;
        self.refresh_pages();
        Ok(())
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
            self.effects
                .push(Effect::Read(importing.path.clone(), wish));
        }
    }

    /// Makes the links part of the plan, as one step.
    pub(super) fn take_import(&mut self) {
        let Some(importing) = self.importing.take() else {
            return;
        };
        // Anew, as the plan may have been changed since.
        let read = import::links(self.desk.plan(), &importing.source, &importing.wish);
        match read {
            Ok(read) => {
                self.layers.retain(|layer| !matches!(layer, Layer::Page(_)));
                self.apply("import", read.edit);
            }
            Err(problem) => self.tell(&problem),
        }
    }
}
