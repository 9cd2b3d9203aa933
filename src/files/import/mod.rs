//! A cable list from a spreadsheet as links of a plan.
//!
//! Gives one edit, so that an import can be taken back, and says everything it read in another
//! way than it stood. Every row of the source becomes a link or is set aside with its number.
//! Bytes to text is in `decode.rs`, headings in `headings.rs`, words in `words.rs`, one row in
//! `row.rs`.

mod decode;
mod headings;
mod report;
mod row;
mod words;

pub use report::{Reason, SetAside};

use crate::files::own_column::{MAX_COLUMNS, too_many_columns};
use crate::files::plan_file::MAX_ROWS;
use crate::files::table_text::TableText;
use crate::plan::Edit;
use crate::plan::Entry;
use crate::plan::Plan;
use crate::problem::Problem;
use crate::table::SheetId;
use headings::Columns;
use report::Report;
use row::{Link, Rows};
use rustc_hash::FxHashSet;
use std::borrow::Cow;

/// The largest file that is imported: 64 MB.
pub const MAX_BYTES: usize = 64_000_000;

/// The most cells that are imported; an empty row counts as one.
pub const MAX_CELLS: usize = 10_000_000;

/// What a table becomes.
#[derive(Debug)]
pub struct Import {
    /// Own columns, links and switches to be added, as one step.
    pub edit: Edit,
    /// How many links are added.
    pub n_links: usize,
    /// How many switches are added.
    pub n_switches: usize,
    /// What was read in another way than it stood, one sentence each.
    pub notes: Vec<String>,
    /// Rows that became no link.
    pub set_aside: Vec<SetAside>,
}

/// Reads a table of cells separated by comma, semicolon, tab or bar as links for a plan.
///
/// `map` says which heading is which column, as `column` or `column:unit`; it wins over what the
/// headings say themselves. The plan is not changed.
///
/// # Errors
/// A file beyond the limits, a map that names something unknown, or a table in which no heading
/// names a link or one of its ends.
pub fn links(plan: &Plan, bytes: &[u8], map: &[(String, String)]) -> Result<Import, Problem> {
    if bytes.len() > MAX_BYTES {
        return Err(beyond("file-too-large", "the file is larger than 64 MB"));
    }
    let sheet = plan.sheet("links").ok_or_else(|| {
        Problem::new("no-such-sheet", "there is no sheet `links`").help("use a plan with links")
    })?;
    let mut report = Report::default();
    let text = decode::text(bytes, &mut report);
    let (text, separator) = decode::separator(&text);
    let mut source = Source {
        text: TableText::new(text, separator),
        n_rows: 0,
        n_cells: 0,
    };
    let headings = source.headings()?;
    let columns = Columns::new(plan, sheet, &headings, map, &mut report)?;
    let mut rows = Rows::new(plan, sheet, columns);
    let mut cells = Vec::new();
    while source.next(&mut cells)? {
        rows.read(source.n_rows, &cells, &mut report);
    }
    finished(plan, sheet, rows, report)
}

fn beyond(code: &'static str, message: &str) -> Problem {
    Problem::new(code, message).help("split it into several files")
}

/// The rows of the source, counted against the limits.
struct Source<'t> {
    text: TableText<'t>,
    n_rows: usize,
    n_cells: usize,
}

impl<'t> Source<'t> {
    fn next(&mut self, cells: &mut Vec<Cow<'t, str>>) -> Result<bool, Problem> {
        if self.text.next_row(cells).is_none() {
            return Ok(false);
        }
        self.n_rows += 1;
        self.n_cells += cells.len().max(1);
        if self.n_cells > MAX_CELLS {
            return Err(beyond(
                "too-many-cells",
                "the file has more than 10,000,000 cells",
            ));
        }
        let last = cells.iter().rposition(|cell| !cell.trim().is_empty());
        if last.is_some_and(|last| last >= MAX_COLUMNS) {
            return Err(too_many_columns());
        }
        Ok(true)
    }

    /// The first row that holds anything.
    fn headings(&mut self) -> Result<Vec<String>, Problem> {
        let mut cells = Vec::new();
        while self.next(&mut cells)? {
            let last = cells.iter().rposition(|cell| !cell.trim().is_empty());
            if let Some(last) = last {
                let headings = cells[..=last].iter();
                return Ok(headings.map(|cell| cell.trim().to_owned()).collect());
            }
        }
        Err(Problem::new("nothing-to-import", "the file has no rows")
            .help("name a table with a row of headings"))
    }
}

/// Everything that was read as one edit.
fn finished(
    plan: &Plan,
    sheet: SheetId,
    rows: Rows<'_>,
    mut report: Report,
) -> Result<Import, Problem> {
    let (mut links, columns) = rows.into_links(&mut report);
    must_fit(plan, sheet, links.len())?;
    number(plan, sheet, &mut links, &mut report);
    let switches = new_switches(plan, sheet, &links);
    if !switches.is_empty() {
        report.note(format!(
            "{} added: every device at the `to` end of a link",
            if switches.len() == 1 {
                "1 switch".to_owned()
            } else {
                format!("{} switches", switches.len())
            }
        ));
    }
    if plan.def(sheet).columns.len() + columns.len() > MAX_COLUMNS {
        return Err(too_many_columns());
    }
    let (n_links, n_switches) = (links.len(), switches.len());
    let mut edits: Vec<Edit> = columns
        .into_iter()
        .map(|def| Edit::AddColumn { sheet, def })
        .collect();
    edits.push(rows_at_the_end(
        plan,
        sheet,
        links.into_iter().map(|link| link.cells).collect(),
    ));
    if let Some(sheet) = plan.sheet("switches") {
        edits.push(rows_at_the_end(plan, sheet, switches));
    }
    let (notes, set_aside) = report.finish();
    Ok(Import {
        edit: Edit::Group(edits),
        n_links,
        n_switches,
        notes,
        set_aside,
    })
}

fn rows_at_the_end(plan: &Plan, sheet: SheetId, rows: Vec<Vec<(usize, Entry)>>) -> Edit {
    Edit::AddRows {
        sheet,
        at: plan.rows(sheet).order().len(),
        rows,
    }
}

/// A plan with more rows could be saved but not opened again.
fn must_fit(plan: &Plan, sheet: SheetId, n_links: usize) -> Result<(), Problem> {
    if plan.rows(sheet).order().len() + n_links <= MAX_ROWS {
        return Ok(());
    }
    Err(beyond(
        "too-many-rows",
        "the plan would have more than 2,000,000 rows",
    ))
}

/// Gives links without an id the next free `L1`, `L2`, and tells of ids that stand twice.
fn number(plan: &Plan, sheet: SheetId, links: &mut [Link], report: &mut Report) {
    let mut taken: FxHashSet<String> = ids(plan, sheet).collect();
    for link in links.iter() {
        let Some(id) = link.id(plan) else { continue };
        if !taken.insert(id.to_lowercase()) {
            report.twice(&id, link.row);
        }
    }
    let (mut next, mut n_numbered) = (1_usize, 0);
    for link in links.iter_mut().filter(|link| link.id(plan).is_none()) {
        while taken.contains(&format!("l{next}")) {
            next += 1;
        }
        let code = plan.names().code(&format!("L{next}"));
        link.cells.push((0, Entry::Text(code)));
        next += 1;
        n_numbered += 1;
    }
    if n_numbered > 0 {
        let links = report::counted(n_numbered, "link");
        report.note(format!("numbered {links} without an id"));
    }
}

/// The ids of a sheet in lower case.
fn ids(plan: &Plan, sheet: SheetId) -> impl Iterator<Item = String> {
    let order = plan.rows(sheet).order().iter();
    order.map(move |row| plan.id(sheet, *row).to_lowercase())
}

/// A row for every device at an upper end that has none, in order of appearance.
fn new_switches(plan: &Plan, sheet: SheetId, links: &[Link]) -> Vec<Vec<(usize, Entry)>> {
    let (Some(to), Some(switches)) = (plan.def(sheet).column("to"), plan.sheet("switches")) else {
        return Vec::new();
    };
    let mut known: FxHashSet<String> = ids(plan, switches).collect();
    let ends = links.iter().filter_map(|link| link.code(to));
    ends.filter(|code| known.insert(plan.names().text(*code).to_lowercase()))
        .map(|code| vec![(0, Entry::Text(code))])
        .collect()
}

#[cfg(test)]
mod tests;
