//! What a file adds to an open plan: the links of a table, or a module from its memory dump.
//!
//! How files are read is in `files`; here a file is told apart, and what it holds becomes a step.

use super::{Desk, Step};
use crate::files::import;
use crate::files::import::Import;
use crate::files::import::Source;
use crate::files::import::Wish;
use crate::files::module_dump;
use crate::files::module_dump::Module;
use crate::files::module_dump::Place;
use crate::files::save;
use crate::files::spreadsheet::Reader;
use crate::plan::Edit;
use crate::plan::Plan;
use crate::problem::Problem;
use std::io::Read;
use std::path::Path;

/// Is told now and then how far it is, and says whether to go on.
pub type Progress<'a> = &'a mut dyn FnMut(Step) -> bool;

/// A table that was read of a file, and what it becomes in a plan.
///
/// # Errors
/// A file that cannot be read or is no table of links, or that it was stopped.
pub fn read_table(
    plan: &Plan,
    path: &Path,
    wish: &Wish,
    reader: &Reader,
    progress: Progress<'_>,
) -> Result<(Source, Import), Problem> {
    let source = Source::read(plan, path, wish, reader, &mut |n| progress(Step::Read(n)))?;
    let read = import::links_told(plan, &source, wish, &mut |n, of| {
        progress(Step::Placed(n, of))
    })?;
    Ok((source, read))
}

/// What an import made of a file.
#[derive(Debug)]
pub enum Imported {
    /// Links of a table.
    Links(Box<Import>),
    /// A module that was read from a dump.
    Module {
        /// What the dump says.
        module: Box<Module>,
        /// The id of its row.
        id: String,
        /// Whether it was in the plan already.
        is_again: bool,
    },
}

impl Desk {
    /// Adds the links of a table in a file, as one step; the result says how it was read.
    ///
    /// # Errors
    /// A file that cannot be read or is no table of links; nothing is changed then.
    pub fn import(
        &mut self,
        path: &Path,
        wish: &Wish,
        reader: &Reader,
        progress: Progress<'_>,
    ) -> Result<Import, Problem> {
        let (_, read) = read_table(self.plan(), path, wish, reader, progress)?;
        self.take_import(read)
    }

    /// Makes what was read of a table part of the plan, as one step.
    ///
    /// # Errors
    /// A plan that changed since it was read so that it does not fit, or may not be changed now.
    pub fn take_import(&mut self, mut read: Import) -> Result<Import, Problem> {
        let edit = std::mem::replace(&mut read.edit, Edit::Group(Vec::new()));
        self.apply("import", edit)?;
        Ok(read)
    }

    /// Adds what a file holds, as one step: the links of a table, or the module of a memory dump.
    /// A place is for a module alone, a wish for a table.
    ///
    /// # Errors
    /// A file that is neither, or not what the place or the wish is for; nothing is changed then.
    pub fn import_any(
        &mut self,
        path: &Path,
        wish: &Wish,
        place: &Place,
        reader: &Reader,
        progress: Progress<'_>,
    ) -> Result<Imported, Problem> {
        let is_placed = *place != Place::default();
        let dump = dump(path)?;
        let Some(bytes) = dump.filter(|bytes| is_placed || module_dump::is_dump(bytes)) else {
            if is_placed {
                let problem = Problem::new("not-a-dump", "this is not the dump of a module");
                return Err(problem.help("--link, --end and --id go with the dump of a module"));
            }
            let read = self.import(path, wish, reader, progress)?;
            return Ok(Imported::Links(Box::new(read)));
        };
        if *wish != Wish::default() {
            let problem = Problem::new("map-not-for-dump", "a dump of a module has no headings");
            return Err(problem.help("leave --map out, or name a table of links"));
        }
        self.import_module(path, &bytes, place)
    }

    fn import_module(
        &mut self,
        path: &Path,
        bytes: &[u8],
        place: &Place,
    ) -> Result<Imported, Problem> {
        let source = path.file_name().unwrap_or_default().to_string_lossy();
        let module = module_dump::read(bytes).map_err(|mut problem| {
            problem.message = format!("`{source}`: {}", problem.message);
            match module_dump::is_dump(bytes) {
                true => problem,
                false => problem.help("--link, --end and --id go with the dump of a module"),
            }
        })?;
        let placed = module_dump::place(self.plan(), &module, place, &source)?;
        self.apply(&format!("import module {}", placed.id), placed.edit)?;
        Ok(Imported::Module {
            module: Box::new(module),
            id: placed.id,
            is_again: placed.is_again,
        })
    }
}

/// The first bytes of a file that may be a dump: more than a dump has, so that one that is too
/// large is told so.
fn dump(path: &Path) -> Result<Option<Vec<u8>>, Problem> {
    const MOST: u64 = 70_000;
    let mut bytes = Vec::new();
    let file = save::open(path, import::MAX_BYTES as u64)?;
    let read = file.take(MOST).read_to_end(&mut bytes);
    read.map_err(|error| save::unread(path, &error))?;
    let is_table = import::is_spreadsheet(&bytes) || import::is_wide_text(&bytes);
    Ok((!is_table).then_some(bytes))
}
