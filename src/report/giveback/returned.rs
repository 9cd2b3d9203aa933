//! Whose workbook came back, the plan that it carries along, and where its columns stand by now.
//!
//! Pages and columns are found by what stands above them, whatever their order; a column whose
//! heading was changed is known by what it holds. Cells are read in `cells.rs`.

use super::cells::{Read, Reading, Slot, Value};
use super::rows::key;
use crate::files::checksum;
use crate::files::spreadsheet::Book;
use crate::files::spreadsheet::Kind;
use crate::files::spreadsheet::Page;
use crate::files::spreadsheet::RowView;
use crate::plan::Plan;
use crate::problem::Problem;
use crate::report::as_returned;
use crate::report::layout::{ASSUMPTIONS, PAGES};
use crate::report::property;
use crate::report::sent::{Holds, SentColumn, SentPage};
use crate::report::{BASE, decoded};
use crate::table::RowId;
use crate::units::Units;
use rustc_hash::{FxHashMap, FxHashSet};

/// So many rows of a page are looked at for its headings.
const N_ABOVE: usize = 60;

/// A column without a known heading is taken for another one where so many of a hundred of its
/// cells hold what was exported.
const KNOWN_BY: usize = 60;

/// Pages that hold no sheet.
const NAMES: [&str; 7] = [
    "Summary",
    "Findings",
    "Proposal",
    "Order",
    ASSUMPTIONS,
    "Reference",
    BASE,
];

/// Where a workbook comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Origin {
    /// The id of its plan; none where programs dropped it.
    pub id: Option<String>,
    /// The text of the plan as it was exported, where it came back undamaged; else why not.
    pub base: Result<String, &'static str>,
}

/// Tells whose workbook it is, and takes the plan out of it that was exported.
///
/// # Errors
/// A spreadsheet that no plan was exported to.
pub fn origin(book: &Book) -> Result<Origin, Problem> {
    let page = book.pages.iter().find(|page| page.name == BASE);
    let shown = shown_identity(book);
    let id = property_of(book, property::PLAN).or_else(|| shown.clone().map(|(id, _)| id));
    if page.is_none() && id.is_none() {
        let what = "no plan was exported to this spreadsheet";
        return Err(Problem::new("no-own-workbook", what)
            .help("add its rows to the plan with: portledger import PLAN FILE"));
    }
    let sum = property_of(book, property::BASE).or_else(|| shown.map(|(_, revision)| revision));
    let base = match page {
        None => Err("the hidden page with the plan as it was exported did not come back"),
        Some(page) => base_text(page, sum.as_deref()),
    };
    Ok(Origin { id, base })
}

fn base_text(page: &Page, sum: Option<&str>) -> Result<String, &'static str> {
    let cells = page.grid.rows().filter(|row| row.number() > 1);
    let cells: Vec<&str> = cells
        .filter_map(|row| row.cell(0).map(|cell| cell.text))
        .collect();
    let text = decoded(cells.into_iter());
    let text = text.ok_or("the hidden page with the plan as it was exported was damaged")?;
    match sum {
        Some(sum) if sum == checksum(text.as_bytes()) => Ok(text),
        Some(_) => Err("the hidden page with the plan as it was exported was changed"),
        None => Err("the checksum of the plan as it was exported did not come back"),
    }
}

fn property_of(book: &Book, wanted: &str) -> Option<String> {
    let mut all = book.properties.iter();
    let found = all.find(|(name, _)| name.eq_ignore_ascii_case(wanted))?;
    let text = found.1.trim();
    (!text.is_empty()).then(|| text.to_owned())
}

/// Id and revision as they stand on the first page: `Plan`, the id, `Revision`, the revision.
fn shown_identity(book: &Book) -> Option<(String, String)> {
    let near = book.pages.iter().take(3);
    let rows = || {
        let near = near.clone();
        near.flat_map(|page| page.grid.rows().take(N_ABOVE))
    };
    let of_page = || rows().find_map(|row| row.cells().find_map(|cell| identity_in(cell.text)));
    rows()
        .find_map(|row| {
            let texts: Vec<&str> = row.cells().map(|cell| cell.text.trim()).collect();
            let found = texts
                .windows(4)
                .find(|four| four[0] == "Plan" && four[2] == "Revision")?;
            Some((found[1].to_owned(), found[3].to_owned()))
        })
        .or_else(of_page)
}

/// A page that was saved alone, called as the first line on it says; `None` where that is no page
/// of a sheet.
pub fn named(mut page: Page) -> Option<Page> {
    let first = page.grid.row(0)?.cell(0)?.text.trim().to_owned();
    let mut pages = PAGES.iter().map(|(_, page)| *page);
    page.name = pages
        .find(|known| first.eq_ignore_ascii_case(known))?
        .to_owned();
    Some(page)
}

/// Id and revision at the end of the words above the headings of a page: `Plan ID, revision REV.`
fn identity_in(text: &str) -> Option<(String, String)> {
    let (_, after) = text.trim().rsplit_once(" Plan ")?;
    let (id, revision) = after.strip_suffix('.')?.split_once(", revision ")?;
    let is_hex = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_hexdigit());
    (is_hex(id) && is_hex(revision)).then(|| (id.to_owned(), revision.to_owned()))
}

/// The page of a sheet as it came back.
pub struct Table<'b> {
    /// The page.
    pub page: &'b Page,
    /// The rows below the headings.
    pub rows: Vec<RowView<'b>>,
    /// For each column that was sent, the column of the page.
    pub columns: Vec<Option<usize>>,
    /// For each, the unit in its heading where it is another one.
    pub units: Vec<Option<String>>,
    /// Headings above columns that nobody sent, with their columns.
    pub others: Vec<(usize, String)>,
}

/// The headings of a page that was sent, as they come back.
struct Known<'s> {
    columns: Vec<KnownColumn<'s>>,
    /// Those of columns that only serve formulas.
    serving: FxHashSet<String>,
}

/// The heading of a column that was sent.
struct KnownColumn<'s> {
    sent: &'s SentColumn,
    text: String,
    /// The same in small letters.
    lower: String,
}

impl<'s> Known<'s> {
    fn of(sent: &'s SentPage) -> Self {
        let columns = sent.columns.iter().map(|one| {
            let text = as_returned(&one.heading);
            let lower = text.to_lowercase();
            KnownColumn {
                sent: one,
                text,
                lower,
            }
        });
        Self {
            columns: columns.collect(),
            serving: sent.serving.iter().map(|one| as_returned(one)).collect(),
        }
    }
}

impl<'b> Table<'b> {
    /// Finds the page of a sheet: by its name, else by its headings among the pages that have no
    /// name of ours.
    pub fn find(book: &'b Book, all: &[SentPage], sent: &SentPage) -> Option<Self> {
        let known = Known::of(sent);
        let is_named = |page: &Page, name: &str| page.name.trim().eq_ignore_ascii_case(name);
        let named = book.pages.iter().find(|page| is_named(page, &sent.name));
        if let Some(table) = named.and_then(|page| Self::of(page, sent, &known)) {
            return Some(table);
        }
        let is_free = |page: &&Page| {
            let mut names = all.iter().map(|one| one.name.as_str()).chain(NAMES);
            !names.any(|name| is_named(page, name))
        };
        let tables = book.pages.iter().filter(is_free);
        let tables = tables.filter_map(|page| Self::of(page, sent, &known));
        let best = tables.max_by_key(Self::n_known)?;
        let n_sent = sent.columns.iter().filter(|one| is_always_there(one));
        (best.n_known() * 2 > n_sent.count()).then_some(best)
    }

    fn of(page: &'b Page, sent: &SentPage, known: &Known<'_>) -> Option<Self> {
        let heads = page.grid.rows().take(N_ABOVE);
        let heads = heads.map(|row| (row, Self::under(page, row, known)));
        let (row, mut best) = heads
            .enumerate()
            .max_by_key(|(at, (_, table))| (table.n_known(), std::cmp::Reverse(*at)))?
            .1;
        // Where rows have nothing but their ids, that is the only heading.
        let n_sent = sent.columns.iter().filter(|one| is_always_there(one));
        let least = if n_sent.count() == 1 { 1 } else { 2 };
        if best.n_known() < least {
            return None;
        }
        let rows = page.grid.rows();
        best.rows = rows.filter(|below| below.number() > row.number()).collect();
        Some(best)
    }

    fn n_known(&self) -> usize {
        self.columns.iter().flatten().count()
    }

    /// The table whose headings stand in a row, without the rows below.
    fn under(page: &'b Page, row: RowView<'b>, known: &Known<'_>) -> Self {
        let n_columns = known.columns.len();
        let mut table = Self {
            page,
            rows: Vec::new(),
            columns: vec![None; n_columns],
            units: vec![None; n_columns],
            others: Vec::new(),
        };
        let headings: Vec<(usize, String)> = row
            .cells()
            .filter(|cell| cell.kind == Kind::Text)
            .map(|cell| (cell.column, as_returned(cell.text)))
            .filter(|(_, heading)| !heading.is_empty())
            .collect();
        // Exactly as sent first, since those that serve formulas have names much like others.
        let mut inexact = Vec::new();
        for (column, heading) in headings {
            match known.columns.iter().position(|one| one.text == heading) {
                Some(at) if table.columns[at].is_none() => table.columns[at] = Some(column),
                Some(_) | None if known.serving.contains(&heading) => {}
                Some(_) | None => inexact.push((column, heading)),
            }
        }
        let mut left = Vec::new();
        for (column, heading) in inexact {
            let lower = heading.to_lowercase();
            match known.columns.iter().position(|one| one.lower == lower) {
                Some(at) if table.columns[at].is_none() => table.columns[at] = Some(column),
                Some(_) | None => left.push((column, heading)),
            }
        }
        for (column, heading) in left {
            match table.loosely(known, &heading) {
                Some((at, unit)) => {
                    table.columns[at] = Some(column);
                    table.units[at] = unit;
                }
                None => table.others.push((column, heading)),
            }
        }
        table
    }

    /// The column that a heading without its unit, with another one, or with the plain name means,
    /// where it is the only one.
    fn loosely(&self, known: &Known<'_>, heading: &str) -> Option<(usize, Option<String>)> {
        let (title, unit) = split_unit(heading);
        let (title, whole) = (title.to_lowercase(), heading.to_lowercase());
        let means =
            |one: &KnownColumn<'_>| split_unit(&one.lower).0 == title || one.sent.name == whole;
        let free = known.columns.iter().enumerate();
        let mut free = free.filter(|(at, one)| self.columns[*at].is_none() && means(one));
        let (at, one) = free.next().filter(|_| free.next().is_none())?;
        let of_sent = split_unit(&one.sent.heading).1;
        let is_same =
            unit.is_none() || unit.map(str::to_lowercase) == of_sent.map(str::to_lowercase);
        let unit = unit.filter(|_| !is_same);
        // Words in brackets may be a remark.
        let unit = unit.filter(|unit| Units::builtin().unit(unit).is_ok());
        Some((at, unit.map(str::to_owned)))
    }

    /// Gives columns without a known heading to those that were sent and did not come back, where
    /// they hold what was exported; gives heading and name of each.
    pub fn know_by_content(&mut self, base: &Plan, sent: &SentPage) -> Vec<(String, String)> {
        let mut known = Vec::new();
        let id = sent
            .columns
            .iter()
            .position(|one| one.holds.entered() == Some(0));
        let mut lost: Vec<usize> = (0..sent.columns.len()).collect();
        lost.retain(|at| {
            self.columns[*at].is_none() && sent.columns[*at].holds.entered().is_some()
        });
        lost.sort_by_key(|at| Some(*at) != id);
        let order = base.rows(sent.sheet).order();
        let ids = order
            .iter()
            .map(|row| (key(&base.id(sent.sheet, *row)), *row));
        let ids: FxHashMap<String, RowId> = ids.collect();
        for at in lost {
            let Some(position) = sent.columns[at].holds.entered() else {
                continue;
            };
            let scores = self.others.iter().enumerate().map(|(other, (column, _))| {
                let score = match Some(at) == id {
                    true => self.ids_in(*column, &ids),
                    false => self.alike(id, *column, base, sent, position, &ids),
                };
                (score, std::cmp::Reverse(other))
            });
            let Some((score, other)) = scores.max().filter(|(score, _)| *score >= KNOWN_BY) else {
                continue;
            };
            debug_assert!(score <= 100);
            let (column, heading) = self.others.remove(other.0);
            self.columns[at] = Some(column);
            known.push((heading, sent.columns[at].heading.clone()));
        }
        known
    }

    /// How many of a hundred ids stand in a column.
    fn ids_in(&self, column: usize, ids: &FxHashMap<String, RowId>) -> usize {
        let cells = self.rows.iter().filter_map(|row| row.cell(column));
        let n = cells
            .filter(|cell| ids.contains_key(&key(cell.text)))
            .count();
        (n * 100).checked_div(ids.len()).unwrap_or(0).min(100)
    }

    /// How many of a hundred cells hold what was exported.
    fn alike(
        &self,
        id: Option<usize>,
        column: usize,
        base: &Plan,
        sent: &SentPage,
        position: usize,
        ids: &FxHashMap<String, RowId>,
    ) -> usize {
        let Some(id) = id.and_then(|id| self.columns[id]) else {
            return 0;
        };
        let kind = base.column(sent.sheet, position).kind;
        let reading = Reading {
            plan: base,
            slot: Slot::Column(sent.sheet, position),
            unit: None,
        };
        let (mut n, mut alike) = (0, 0);
        for row in &self.rows {
            let known = row.cell(id).and_then(|cell| ids.get(&key(cell.text)));
            let Some(known) = known else {
                continue;
            };
            let value = Value::of(base, sent.sheet, position, *known);
            let read = reading.read(row.cell(column), &value);
            match (&value, &read) {
                (Value::Empty, Read::Value(Value::Empty)) => {}
                (value, Read::Value(theirs)) if value.is_same(theirs, kind) => {
                    n += 1;
                    alike += 1;
                }
                (_, Read::Value(_) | Read::Unreadable(_, _)) => n += 1,
            }
        }
        usize::checked_div(alike * 100, n).unwrap_or(0)
    }
}

/// Whether a column stands in every workbook of its plan.
fn is_always_there(one: &SentColumn) -> bool {
    !matches!(one.holds, Holds::LeftOut(_))
}

/// A heading apart from the unit in brackets at its end.
fn split_unit(heading: &str) -> (&str, Option<&str>) {
    let inner = heading.trim_end().strip_suffix(')');
    match inner.and_then(|inner| inner.rsplit_once('(')) {
        Some((title, unit)) => (title.trim_end(), Some(unit.trim())),
        None => (heading.trim(), None),
    }
}
