//! A cable list from a spreadsheet or a text as links of a plan.
//!
//! Gives one edit, so that an import can be taken back, and says everything it read in another
//! way than it stood. Every row of the source becomes a link or is set aside with its number.
//! A file becomes a page of cells in `source.rs` (text by `decode.rs`, spreadsheets by
//! `files::spreadsheet`); `layout.rs` finds the headings, `headings.rs` what they mean, `survey.rs`
//! what whole columns show, `row.rs` reads one row with `words.rs`, `numbers.rs` and `ends.rs`, and
//! `block.rs` has many rows read at once.

mod block;
mod decode;
mod ends;
mod headings;
mod layout;
mod numbers;
mod report;
mod row;
mod source;
mod survey;
mod words;

pub use decode::is_wide_text;
pub use headings::How;
pub use numbers::Decimal;
pub use numbers::is_unclear as is_unclear_number;
pub use numbers::plain as plain_number;
pub use report::{Reason, SetAside, aside_lines};
pub use row::Mapped;
pub use source::{Source, Wish, is_spreadsheet};
pub use words::is_total;

use crate::files::own_column::{MAX_COLUMNS, too_many_columns};
use crate::plan::Edit;
use crate::plan::Entry;
use crate::plan::MOST_ROWS;
use crate::plan::Mapping;
use crate::plan::Plan;
use crate::problem::Problem;
use crate::problem::several;
use crate::table::ABSENT;
use crate::table::SheetId;
use block::{AT_ONCE, Body, Pace, Whole, n_threads};
use headings::{Columns, must_be_known};
use report::Report;
use row::{About, Link, Rows};
use rustc_hash::FxHashMap;
use survey::Survey;

/// The largest file that is imported: 64 MB.
pub const MAX_BYTES: usize = 64_000_000;

/// The most cells that are imported; an empty row counts as one.
pub const MAX_CELLS: usize = 10_000_000;

/// How far it is is told every so many rows.
const TOLD_EVERY: usize = 4096;

/// What a table becomes.
#[derive(Debug)]
pub struct Import {
    /// Own columns, links and switches to be added, and the mapping to be kept, as one step.
    pub edit: Edit,
    /// How many links are added.
    pub n_links: usize,
    /// How many switches are added.
    pub n_switches: usize,
    /// How many links have an id that stood before, in the table or in the plan.
    pub n_twins: usize,
    /// What was read in another way than it stood, one sentence each.
    pub notes: Vec<String>,
    /// Rows that became no link.
    pub set_aside: Vec<SetAside>,
    /// Where the cells under each heading go.
    pub mapped: Vec<Mapped>,
    /// The numbers of the rows in which the headings stand.
    pub heading_rows: Vec<usize>,
    /// The page, where the file has pages.
    pub page: String,
    /// The name of the mapping that is kept with the import, where one is.
    pub kept_as: Option<String>,
}

/// Reads a page as links for a plan, which is not changed.
///
/// What a person says in `wish` wins over what they said for the same headings before, and that
/// over what the headings say themselves.
///
/// # Errors
/// A page beyond the limits, a map that names something unknown, or a page in which no heading
/// names a link or one of its ends.
pub fn links(plan: &Plan, source: &Source, wish: &Wish) -> Result<Import, Problem> {
    links_told(plan, source, wish, &mut |_, _| true)
}

/// The same; `progress` gets now and then how many rows were looked at, of how many. Where it gives
/// `false`, reading is stopped.
///
/// # Errors
/// The same, or that it was stopped.
pub fn links_told(
    plan: &Plan,
    source: &Source,
    wish: &Wish,
    progress: &mut dyn FnMut(usize, usize) -> bool,
) -> Result<Import, Problem> {
    let pace = Pace {
        at_once: AT_ONCE,
        n_threads: n_threads(),
    };
    links_at(plan, source, wish, pace, progress)
}

/// The same with so many rows at once; that makes no other links of them.
fn links_at(
    plan: &Plan,
    source: &Source,
    wish: &Wish,
    mut pace: Pace,
    progress: &mut dyn FnMut(usize, usize) -> bool,
) -> Result<Import, Problem> {
    let sheet = plan.sheet("links").ok_or_else(must_be_known)?;
    let page = &source.page;
    let mut report = Report::default();
    for note in &source.notes {
        report.note(note.clone());
    }
    let layout = layout::find(plan, page, wish)?;
    if layout.headings.len() > MAX_COLUMNS {
        return Err(too_many_columns());
    }
    let first = page.grid.row(layout.first).map_or(1, |row| row.number());
    if first > 1 || layout.n_rows > 1 {
        let rows = match layout.n_rows {
            1 => format!("row {first}"),
            _ => format!("rows {first} and {}", first + 1),
        };
        report.note(format!("the headings stand in {rows}"));
    }
    let kept = kept_for(plan, &layout.headings);
    if let Some((name, _)) = kept {
        report.note(format!(
            "the mapping `{name}` of an earlier import was used"
        ));
    }
    let kept_columns = kept.map_or(&[][..], |(_, mapping)| &mapping.columns);
    let columns = Columns::new(
        plan,
        sheet,
        &layout.headings,
        &wish.map,
        kept_columns,
        &mut report,
    )?;
    for row in page.grid.rows().take(layout.first) {
        let text = row::in_line(row);
        let reason = if text.is_empty() {
            Reason::Empty
        } else {
            Reason::Above
        };
        report.set_aside(row.number(), reason, text);
    }
    let body = Body {
        grid: &page.grid,
        first: layout.first + layout.n_rows,
    };
    let survey = Survey::new(
        plan,
        sheet,
        &columns.targets,
        body,
        pace.n_threads,
        wish.decimal,
        source.separator,
    );
    survey::tell(plan, sheet, &columns, &survey, &mut report);
    let about = About {
        merged: &page.merged,
        is_text: source.separator.is_some(),
        from_1904: source.from_1904,
        leaves_hidden: wish.leaves_hidden,
    };
    // What is filled down comes from the rows above, wherever they are read.
    let is_filled = !columns.is_ours && (survey.has_open_end || !page.merged.is_empty());
    if is_filled {
        pace.n_threads = 1;
    }
    let rows = Rows::new(plan, sheet, columns, &survey, about);
    let n_rows = page.grid.n_rows();
    let whole = block::read(plan, rows, body, pace, &mut report, &mut |at| {
        progress(at, n_rows)
    })?;
    if !progress(n_rows, n_rows) {
        return Err(stopped());
    }
    let mut import = finished(plan, sheet, whole, wish.tells_apart, report)?;
    let heading_rows = page.grid.rows().skip(layout.first).take(layout.n_rows);
    import.heading_rows = heading_rows.map(|row| row.number()).collect();
    import.page.clone_from(&page.name);
    keep(plan, source, wish, &layout.headings, kept, &mut import);
    Ok(import)
}

/// Whether what a person says fits the headings of a page; no row is looked at but those.
///
/// # Errors
/// The same as [`links`], as far as headings are concerned.
pub fn check(plan: &Plan, source: &Source, wish: &Wish) -> Result<(), Problem> {
    let sheet = plan.sheet("links").ok_or_else(must_be_known)?;
    let headings = layout::find(plan, &source.page, wish)?.headings;
    let kept = kept_for(plan, &headings).map_or(&[][..], |(_, mapping)| &mapping.columns);
    let report = &mut Report::default();
    Columns::new(plan, sheet, &headings, &wish.map, kept, report).map(drop)
}

/// The mapping that was kept for these headings.
fn kept_for<'p>(plan: &'p Plan, headings: &[String]) -> Option<(&'p String, &'p Mapping)> {
    let is_same = |mapping: &Mapping| {
        let same = |(a, b): (&String, &String)| a.to_lowercase() == b.to_lowercase();
        mapping.headings.len() == headings.len() && mapping.headings.iter().zip(headings).all(same)
    };
    plan.mappings.iter().find(|(_, mapping)| is_same(mapping))
}

/// Adds the mapping to the step where the person said anything new.
fn keep(
    plan: &Plan,
    source: &Source,
    wish: &Wish,
    headings: &[String],
    kept: Option<(&String, &Mapping)>,
    import: &mut Import,
) {
    if wish.map.is_empty() {
        return;
    }
    // As the headings are spelled, whatever the case in which the person wrote them.
    let spelled = |(heading, column): &(String, String)| {
        let lower = heading.trim().to_lowercase();
        let known = headings.iter().find(|known| known.to_lowercase() == lower);
        (known.unwrap_or(heading).clone(), column.clone())
    };
    let mut mapping = Mapping {
        headings: headings.to_vec(),
        columns: wish.map.iter().map(spelled).collect(),
    };
    for (heading, column) in kept.map_or(&[][..], |(_, kept)| &kept.columns) {
        let lower = heading.to_lowercase();
        if mapping
            .columns
            .iter()
            .all(|(known, _)| known.to_lowercase() != lower)
        {
            mapping.columns.push((heading.clone(), column.clone()));
        }
    }
    mapping.columns.sort();
    let own = wish.name.clone();
    let name = own.or_else(|| kept.map(|(name, _)| name.clone()));
    let name = name.unwrap_or_else(|| free_name(plan, &source.name, headings));
    if plan.mappings.get(&name) == Some(&mapping) {
        return;
    }
    if let Edit::Group(edits) = &mut import.edit {
        import.kept_as = Some(name.clone());
        edits.push(Edit::SetMapping {
            name,
            mapping: Some(mapping),
        });
    }
}

/// The name of a file, with a number where a mapping of other headings has it.
fn free_name(plan: &Plan, wish: &str, headings: &[String]) -> String {
    let is_free = |name: &String| {
        let known = plan.mappings.get(name);
        known.is_none_or(|known| known.headings == headings)
    };
    let numbered = (2..).map(|at| format!("{wish} {at}"));
    let mut names = std::iter::once(wish.to_owned()).chain(numbered);
    names.find(is_free).unwrap_or_else(|| wish.to_owned())
}

/// It was stopped by whoever asked for it.
pub(super) fn stopped() -> Problem {
    Problem::new("stopped", "reading was stopped")
        .help("nothing was changed; begin again when you like")
}

pub(super) fn beyond(code: &'static str, message: &str) -> Problem {
    Problem::new(code, message).help("split it into several files")
}

/// Everything that was read as one edit.
fn finished(
    plan: &Plan,
    sheet: SheetId,
    whole: Whole,
    tells_apart: bool,
    mut report: Report,
) -> Result<Import, Problem> {
    let Whole {
        mut links,
        columns,
        mapped,
    } = whole;
    must_fit(plan, links.len())?;
    let n_twins = number(plan, sheet, &mut links, tells_apart, &mut report);
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
        n_twins,
        notes,
        set_aside,
        mapped,
        heading_rows: Vec::new(),
        page: String::new(),
        kept_as: None,
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
fn must_fit(plan: &Plan, n_links: usize) -> Result<(), Problem> {
    if plan.n_own_rows() + n_links <= MOST_ROWS {
        return Ok(());
    }
    Err(beyond(
        "too-many-rows",
        "the plan would have more than 2,000,000 rows",
    ))
}

/// Gives links without an id the next free `L1`, `L2`, and tells of ids that stand more than once;
/// where that is wanted, those get a number at their end. Says how many they are.
fn number(
    plan: &Plan,
    sheet: SheetId,
    links: &mut [Link],
    tells_apart: bool,
    report: &mut Report,
) -> usize {
    let mut taken = ids(plan, sheet);
    let view = plan.names().view();
    let mut twins = Vec::new();
    for (at, link) in links.iter().enumerate() {
        let Some(id) = link.code(0) else { continue };
        if !taken.add(view.folded(id)) {
            twins.push((at, id));
            if !tells_apart {
                report.twice(view.text(id), link.row);
            }
        }
    }
    // The names are written to below.
    drop(view);
    if tells_apart {
        tell_apart(plan, links, &twins, &mut taken, report);
    }
    let (mut next, mut n_numbered) = (1_usize, 0);
    for link in links.iter_mut().filter(|link| link.code(0).is_none()) {
        let code = loop {
            let code = plan.names().code(&format!("L{next}"));
            next += 1;
            if !taken.has(plan.names().folded(code)) {
                break code;
            }
        };
        link.cells.push((0, Entry::Text(code)));
        n_numbered += 1;
    }
    if n_numbered > 0 {
        let links = several(n_numbered, "link", "links");
        report.note(format!("numbered {links} without an id"));
    }
    twins.len()
}

/// Gives links a number at the end of their id, the first from 2 on that is free.
fn tell_apart(
    plan: &Plan,
    links: &mut [Link],
    twins: &[(usize, u32)],
    taken: &mut Codes,
    report: &mut Report,
) {
    let mut next: FxHashMap<u32, usize> = FxHashMap::default();
    for (at, id) in twins {
        let stem = plan.names().text(*id);
        let n = next.entry(plan.names().folded(*id)).or_insert(2);
        let code = loop {
            let code = plan.names().code(&format!("{stem}-{n}"));
            *n += 1;
            if taken.add(plan.names().folded(code)) {
                break code;
            }
        };
        report.parted(&stem, &plan.names().text(code), links[*at].row);
        for (column, entry) in &mut links[*at].cells {
            if *column == 0 {
                *entry = Entry::Text(code);
            }
        }
    }
}

/// The ids of a sheet without regard to case.
fn ids(plan: &Plan, sheet: SheetId) -> Codes {
    let (rows, view) = (plan.rows(sheet), plan.names().view());
    let codes = rows.column(0).codes();
    let codes = rows.order().iter().map(|row| codes[row.at()]);
    let mut all = Codes::default();
    for code in codes.filter(|code| *code != ABSENT) {
        all.add(view.folded(code));
    }
    all
}

/// A set of codes: a million of them are there, one behind the other.
#[derive(Debug, Default)]
struct Codes(Vec<bool>);

impl Codes {
    fn has(&self, code: u32) -> bool {
        self.0.get(code as usize) == Some(&true)
    }

    /// Adds a code; says whether it is new.
    fn add(&mut self, code: u32) -> bool {
        let at = code as usize;
        if self.0.len() <= at {
            self.0.resize((at + 1).next_power_of_two(), false);
        }
        !std::mem::replace(&mut self.0[at], true)
    }
}

/// A row for every device at an upper end that has none, in order of appearance.
fn new_switches(plan: &Plan, sheet: SheetId, links: &[Link]) -> Vec<Vec<(usize, Entry)>> {
    let (Some(to), Some(switches)) = (plan.def(sheet).column("to"), plan.sheet("switches")) else {
        return Vec::new();
    };
    let mut known = ids(plan, switches);
    let view = plan.names().view();
    let ends = links.iter().filter_map(|link| link.code(to));
    ends.filter(|code| known.add(view.folded(*code)))
        .map(|code| vec![(0, Entry::Text(code))])
        .collect()
}

#[cfg(test)]
mod any_table;
#[cfg(test)]
mod tests;
