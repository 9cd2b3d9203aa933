//! Where a page has its headings: the row whose cells name most of our columns.
//!
//! Titles may stand above, and headings may be spread over two rows, groups over their parts or
//! units under their names. What the headings mean is in `headings.rs`.

use super::headings::{Known, known_unit, must_be_known};
use super::source::Wish;
use crate::files::spreadsheet::Area;
use crate::files::spreadsheet::Kind;
use crate::files::spreadsheet::Page;
use crate::files::spreadsheet::RowView;
use crate::plan::Plan;
use crate::problem::Problem;

/// So many rows are looked at for headings.
const LOOKED_AT: usize = 100;

/// Where the headings are and what they say.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Layout {
    /// The position of the first row of headings.
    pub(super) first: usize,
    /// How many rows they take.
    pub(super) n_rows: usize,
    /// One for each column, empty where none stands.
    pub(super) headings: Vec<String>,
}

/// How much headings say: whether a link is named, and how many columns.
type Score = (bool, usize);

/// How much the best headings of a page say.
pub(super) fn score(plan: &Plan, page: &Page, wish: &Wish) -> Score {
    let Some(known) = Known::new(plan, &wish.map) else {
        return (false, 0);
    };
    best(&known, page).map_or((false, 0), |(score, _)| score)
}

/// Finds the headings.
///
/// # Errors
/// A page without rows, or without the row that the person names.
pub(super) fn find(plan: &Plan, page: &Page, wish: &Wish) -> Result<Layout, Problem> {
    let known = Known::new(plan, &wish.map).ok_or_else(must_be_known)?;
    if let Some(number) = wish.heading_row {
        let at = page.grid.rows().position(|row| row.number() == number);
        let at = at.filter(|at| {
            page.grid
                .row(*at)
                .is_some_and(|row| row.cells().next().is_some())
        });
        return at.map(|at| one_row(page, at)).ok_or_else(|| {
            Problem::new("no-headings", format!("row {number} holds nothing"))
                .help("name the row in which the headings stand")
        });
    }
    if let Some((_, layout)) = best(&known, page) {
        return Ok(layout);
    }
    // The first row that holds anything, so that it can be said what stands there.
    let first = page
        .grid
        .rows()
        .position(|row| row.cells().next().is_some());
    first.map(|at| one_row(page, at)).ok_or_else(|| {
        Problem::new("nothing-to-import", "the file has no rows")
            .help("name a table with a row of headings")
    })
}

/// The headings that say most; the upper ones of several.
fn best(known: &Known<'_>, page: &Page) -> Option<(Score, Layout)> {
    let mut best: Option<(Score, Layout)> = None;
    for at in 0..page.grid.n_rows().min(LOOKED_AT) {
        for layout in layouts(known, page, at) {
            let score = known.score(&layout.headings);
            let is_better = best.as_ref().is_none_or(|(known, _)| score > *known);
            if score.1 > 0 && is_better {
                best = Some((score, layout));
            }
        }
    }
    best
}

/// What headings there could be at a row, alone or with the row below it.
fn layouts(known: &Known<'_>, page: &Page, at: usize) -> Vec<Layout> {
    let one = one_row(page, at);
    let Some((upper, lower)) = page.grid.row(at).zip(page.grid.row(at + 1)) else {
        return vec![one];
    };
    if lower.number() != upper.number() + 1 || lower.cells().next().is_none() {
        return vec![one];
    }
    if are_units(lower) {
        let mut layout = one;
        layout.n_rows = 2;
        for cell in lower.cells() {
            if let Some(heading) = layout.headings.get_mut(cell.column)
                && !heading.is_empty()
            {
                *heading = format!("{heading} ({})", cell.text.trim());
            }
        }
        return vec![layout];
    }
    let two = two_rows(page, at, upper, lower);
    let single = known
        .score(&one.headings)
        .max(known.score(&one_row(page, at + 1).headings));
    match known.score(&two.headings) > single {
        true => vec![two],
        false => vec![one],
    }
}

/// Whether a row holds units and nothing else.
fn are_units(row: RowView<'_>) -> bool {
    let is_unit = |text: &str| {
        let text = text.trim().trim_matches(['(', ')', '[', ']']);
        let unit = known_unit(text);
        unit.is_some_and(|unit| !unit.symbol.is_empty())
    };
    row.cells()
        .all(|cell| cell.kind == Kind::Text && is_unit(cell.text))
}

fn one_row(page: &Page, at: usize) -> Layout {
    let row = page.grid.row(at);
    let mut headings = Vec::new();
    for cell in row.into_iter().flat_map(RowView::cells) {
        put(&mut headings, cell.column, one_line(cell.text));
    }
    trimmed(&mut headings);
    Layout {
        first: at,
        n_rows: 1,
        headings,
    }
}

/// Groups above and their parts below as one heading each.
fn two_rows(page: &Page, at: usize, upper: RowView<'_>, lower: RowView<'_>) -> Layout {
    let (above, below) = (one_row(page, at).headings, one_row(page, at + 1).headings);
    let n_columns = above.len().max(below.len());
    let none = String::new();
    let (mut headings, mut group) = (Vec::new(), None);
    for column in 0..n_columns {
        let own = above.get(column).unwrap_or(&none);
        let part = below.get(column).unwrap_or(&none);
        if !own.is_empty() {
            // A heading without a part below it is no group that goes on to the right.
            group = Some(own.clone()).filter(|_| !part.is_empty());
        }
        let merged = spanning(&page.merged, upper.number(), column);
        let over = match (own.is_empty(), merged) {
            (false, _) => Some(own.clone()),
            (true, Some(area)) => above.get(area.left as usize).cloned(),
            (true, None) => group.clone(),
        };
        let text = match (over, part.as_str()) {
            (Some(over), "") => {
                if own.is_empty() {
                    String::new()
                } else {
                    over
                }
            }
            (Some(over), part) if !over.eq_ignore_ascii_case(part) => format!("{over} {part}"),
            (_, part) => part.to_owned(),
        };
        headings.push(text);
    }
    trimmed(&mut headings);
    debug_assert!(lower.number() > upper.number());
    Layout {
        first: at,
        n_rows: 2,
        headings,
    }
}

/// The merged cells over a place.
pub(super) fn spanning(merged: &[Area], row: usize, column: usize) -> Option<&Area> {
    merged.iter().find(|area| {
        (area.top as usize..=area.bottom as usize).contains(&row)
            && (area.left as usize..=area.right as usize).contains(&column)
    })
}

fn put(headings: &mut Vec<String>, column: usize, text: String) {
    if headings.len() <= column {
        headings.resize(column + 1, String::new());
    }
    headings[column] = text;
}

fn trimmed(headings: &mut Vec<String>) {
    while headings.last().is_some_and(String::is_empty) {
        headings.pop();
    }
}

/// A heading without line breaks, marks of layout and doubled spaces.
fn one_line(text: &str) -> String {
    let text = text.replace("<br>", " ").replace("<br/>", " ");
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    words.trim_matches(['*', '`', '\u{feff}']).trim().to_owned()
}
