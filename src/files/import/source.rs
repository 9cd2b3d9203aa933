//! A file as one page of cells, whatever form it has.
//!
//! A table of text is read here, as what it may take is bounded by its size; a spreadsheet goes to
//! a process of its own. Of several pages the one is taken that is named, or whose headings say
//! most. What the cells mean is read elsewhere.

use super::MAX_BYTES;
use super::MAX_CELLS;
use super::block::n_threads;
use super::decode;
use super::layout;
use super::numbers::Decimal;
use crate::files::own_column::{MAX_COLUMNS, too_many_columns};
use crate::files::save;
use crate::files::spreadsheet::Book;
use crate::files::spreadsheet::Grid;
use crate::files::spreadsheet::Kind;
use crate::files::spreadsheet::Page;
use crate::files::spreadsheet::Reader;
use crate::files::spreadsheet::Wanted;
use crate::files::table_text::{TableText, unguarded};
use crate::plan::Plan;
use crate::problem::Problem;
use std::borrow::Cow;
use std::fs::File;
use std::io::{Read, Seek};
use std::ops::Range;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;

/// What a person says about a file, beyond its name.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Wish {
    /// Which heading is which column: a heading, then `column`, `column:unit`, `text` for a column
    /// of text, or `-` for none.
    pub map: Vec<(String, String)>,
    /// The page of a spreadsheet.
    pub page: Option<String>,
    /// The number of the row of headings.
    pub heading_row: Option<usize>,
    /// The encoding of a text.
    pub encoding: Option<String>,
    /// The decimal sign of numbers that are text.
    pub decimal: Option<Decimal>,
    /// Whether hidden rows are left out.
    pub leaves_hidden: bool,
    /// Whether an id that stands more than once gets a number at its end.
    pub tells_apart: bool,
    /// The name under which a mapping is kept; without it, the name of the file.
    pub name: Option<String>,
}

/// A page that was read of a file.
#[derive(Debug, Clone)]
pub struct Source {
    /// Its cells.
    pub(super) page: Page,
    /// What it is called for a mapping that is kept.
    pub(super) name: String,
    /// Other pages, which were not taken.
    pub(super) others: Vec<String>,
    /// What is to be told of the reading.
    pub(super) notes: Vec<String>,
    /// What separated the cells of a text; none for a spreadsheet.
    pub(super) separator: Option<char>,
    /// Whether serial days count from 1904.
    pub(super) from_1904: bool,
}

/// Whether bytes begin like a spreadsheet that is read in a process of its own.
pub fn is_spreadsheet(start: &[u8]) -> bool {
    const COMPOUND: [u8; 4] = [0xd0, 0xcf, 0x11, 0xe0];
    start.starts_with(b"PK\x03\x04")
        || start.starts_with(b"PK\x05\x06")
        || start.starts_with(&COMPOUND)
}

impl Source {
    /// Reads a file. `progress` gets the number of rows that have come, now and then; where it gives `false`, reading is stopped.
    ///
    /// # Errors
    /// A file that is no regular one, is too large, is neither a table nor a spreadsheet, is
    /// damaged, or has no such page.
    pub fn read(
        plan: &Plan,
        path: &Path,
        wish: &Wish,
        reader: &Reader,
        progress: &mut dyn FnMut(usize) -> bool,
    ) -> Result<Self, Problem> {
        let mut file = save::open(path, MAX_BYTES as u64)?;
        let mut start = Vec::new();
        let read = file.by_ref().take(8).read_to_end(&mut start);
        let read = read.and_then(|_| file.rewind());
        read.map_err(|error| save::unread(path, &error))?;
        let name = path.file_stem().unwrap_or_default().to_string_lossy();
        if is_spreadsheet(&start) {
            return Self::of_spreadsheet(plan, &file, &name, wish, reader, progress);
        }
        let mut bytes = Vec::new();
        let read = file.take(MAX_BYTES as u64 + 1).read_to_end(&mut bytes);
        read.map_err(|error| save::unread(path, &error))?;
        Self::of_text_told(&bytes, &name, wish, progress)
    }

    /// A table of text with commas, semicolons, tabs or bars between its cells.
    ///
    /// # Errors
    /// Bytes that are no text, or more than is taken.
    pub fn of_text(bytes: &[u8], name: &str, wish: &Wish) -> Result<Self, Problem> {
        Self::of_text_told(bytes, name, wish, &mut |_| true)
    }

    fn of_text_told(
        bytes: &[u8],
        name: &str,
        wish: &Wish,
        progress: &mut dyn FnMut(usize) -> bool,
    ) -> Result<Self, Problem> {
        if bytes.len() > MAX_BYTES {
            return Err(super::beyond(
                "file-too-large",
                "the file is larger than 64 MB",
            ));
        }
        if let Some(page) = &wish.page {
            let what = format!("a table of text has no page `{page}`");
            return Err(Problem::new("no-page", what).help("leave --page out"));
        }
        let mut notes = Vec::new();
        let text = decode::text(bytes, wish.encoding.as_deref(), &mut notes)?;
        decode::must_be_table(&text)?;
        let (text, separator) = decode::separator(&text);
        if separator != ',' {
            let shown = match separator {
                '\t' => "tabs".to_owned(),
                other => format!("`{other}`"),
            };
            notes.push(format!("cells are separated by {shown}"));
        }
        Ok(Self {
            page: Page {
                grid: cells(text, separator, n_threads(), progress)?,
                is_whole: true,
                ..Page::default()
            },
            name: name.to_owned(),
            others: Vec::new(),
            notes,
            separator: Some(separator),
            from_1904: false,
        })
    }

    fn of_spreadsheet(
        plan: &Plan,
        mut file: &File,
        name: &str,
        wish: &Wish,
        reader: &Reader,
        progress: &mut dyn FnMut(usize) -> bool,
    ) -> Result<Self, Problem> {
        let again = |file: &File| {
            let copy = file.try_clone();
            copy.map_err(|error| {
                Problem::new("unreadable", format!("the file cannot be read: {error}"))
            })
        };
        let mut book = reader.read(again(file)?, Wanted::OnlyOrHeads, progress)?;
        if is_ours(&book) {
            let what = "this is the workbook of a plan";
            return Err(Problem::new("own-workbook", what)
                .help("bring what was changed in it back with: portledger merge PLAN FILE"));
        }
        let at = chosen(plan, &book, wish)?;
        if !book.pages[at].is_whole {
            let rewound = file.rewind();
            rewound.map_err(|error| {
                Problem::new("unreadable", format!("the file cannot be read: {error}"))
            })?;
            let page = reader
                .read(again(file)?, Wanted::Page(at), progress)?
                .pages
                .pop();
            book.pages[at] = page.ok_or_else(|| no_pages(&book))?;
        }
        let mut notes = book.notes;
        let mut others: Vec<String> = book.pages.iter().map(|page| page.name.clone()).collect();
        others.remove(at);
        let page = book.pages.swap_remove(at);
        if let Some(trouble) = &page.trouble {
            let what = format!("page `{}` cannot be read: {trouble}", page.name);
            let mut problem = Problem::new("file-damaged", what);
            if !others.is_empty() {
                problem = problem.help(format!(
                    "other pages are: {}; name one with --page",
                    others.join(", ")
                ));
            }
            return Err(problem.help("save the table as csv and name that"));
        }
        notes.insert(0, format!("{} file, page `{}`", book.form, page.name));
        if page.is_hidden {
            notes.push("the page was hidden".to_owned());
        }
        if !others.is_empty() {
            let list = others.join(", ");
            notes.push(format!(
                "other pages were not read: {list}; name one with --page"
            ));
        }
        Ok(Self {
            page,
            name: name.to_owned(),
            others,
            notes,
            separator: None,
            from_1904: book.from_1904,
        })
    }

    /// The page alone.
    pub fn into_page(self) -> Page {
        self.page
    }

    /// The name of the page, where it has one.
    pub fn page_name(&self) -> &str {
        &self.page.name
    }

    /// The names of the pages that were not taken.
    pub fn other_pages(&self) -> &[String] {
        &self.others
    }
}

/// The page that is named, or the one whose headings say most; visible ones first.
fn chosen(plan: &Plan, book: &Book, wish: &Wish) -> Result<usize, Problem> {
    if let Some(name) = &wish.page {
        let lower = name.trim().to_lowercase();
        let at = book
            .pages
            .iter()
            .position(|page| page.name.trim().to_lowercase() == lower);
        return at.ok_or_else(|| {
            let names: Vec<&str> = book.pages.iter().map(|page| page.name.as_str()).collect();
            Problem::new("no-page", format!("there is no page `{name}`"))
                .did_you_mean(name, names.iter().copied())
                .help(format!("the pages are: {}", names.join(", ")))
        });
    }
    let scores = book.pages.iter().enumerate().map(|(at, page)| {
        let score = layout::score(plan, page, wish);
        (
            (
                score,
                !page.is_hidden,
                page.grid.n_rows() > 0,
                std::cmp::Reverse(at),
            ),
            at,
        )
    });
    let best = scores.max_by_key(|(score, _)| *score);
    best.map(|(_, at)| at).ok_or_else(|| no_pages(book))
}

fn no_pages(book: &Book) -> Problem {
    Problem::new(
        "nothing-to-import",
        format!("the {} file has no pages", book.form),
    )
    .help("name a file with a table in it")
}

/// Whether this program made the file: a property, or a cell near the top, names the plan.
fn is_ours(book: &Book) -> bool {
    let is_name = |text: &str| {
        let letters = text.chars().filter(char::is_ascii_alphanumeric);
        let letters: String = letters.flat_map(char::to_lowercase).collect();
        letters == "planid" || letters == "portledgerplan"
    };
    let named = book.properties.iter().any(|(name, _)| is_name(name));
    let shown = book.pages.iter().take(2).any(|page| {
        let mut rows = page.grid.rows().take(15);
        rows.any(|row| {
            let mut cells = row.cells();
            let named = cells.find(|cell| cell.kind == Kind::Text && is_name(cell.text));
            named.is_some() && cells.next().is_some()
        })
    });
    named || shown
}

/// A text of so many bytes is cut into cells by several threads.
const LONG: usize = 1 << 20;

/// The cells of a text; rows have the numbers that count rows, not lines. The grid keeps the text, in
/// which its cells stand.
fn cells(
    text: &str,
    separator: char,
    n_threads: usize,
    progress: &mut dyn FnMut(usize) -> bool,
) -> Result<Grid, Problem> {
    // Between quotes a line end is none, so where there are any the text is one piece.
    let is_cut = n_threads > 1 && memchr::memchr(b'"', text.as_bytes()).is_none();
    let n_pieces = if is_cut { n_threads } else { 1 };
    let mut pieces = pieces(text, n_pieces).into_iter();
    let first = pieces.next().unwrap_or_default();
    let is_stopped = AtomicBool::new(false);
    let mut cut = thread::scope(|scope| {
        let others = pieces.map(|piece| {
            let is_stopped = &is_stopped;
            let go_on = move |_: usize| !is_stopped.load(Ordering::Relaxed);
            scope.spawn(move || Cut::of(text, piece, separator, &mut { go_on }))
        });
        let others: Vec<_> = others.collect();
        let mut told = |n_rows: usize| {
            let goes_on = progress(n_rows * n_pieces);
            is_stopped.store(!goes_on, Ordering::Relaxed);
            goes_on
        };
        let mut cut = Cut::of(text, first, separator, &mut told);
        if cut.is_err() {
            is_stopped.store(true, Ordering::Relaxed);
        }
        for other in others {
            let other = other.join().unwrap_or_else(|_| Err(super::stopped()));
            if let Ok(cut) = &mut cut {
                cut.append(other?)?;
            }
        }
        cut
    })?;
    let mut text = text.to_owned();
    text.push_str(&cut.beside);
    cut.beside = String::new();
    Ok(cut.grid.over(text))
}

/// A text in pieces of about the same length that begin where lines do.
fn pieces(text: &str, n_pieces: usize) -> Vec<Range<usize>> {
    let n_each = (text.len() / n_pieces.max(1)).max(LONG);
    let (mut all, mut start) = (Vec::new(), 0);
    while start < text.len() {
        let from = (start + n_each).min(text.len());
        let end = memchr::memchr(b'\n', &text.as_bytes()[from..]);
        let end = end.map_or(text.len(), |at| from + at + 1);
        all.push(start..end);
        start = end;
    }
    all
}

/// The cells of a piece of a text.
struct Cut {
    grid: Grid,
    /// The content of cells that do not stand in the text as they are, behind it.
    beside: String,
    n_cells: usize,
}

impl Cut {
    fn of(
        text: &str,
        piece: Range<usize>,
        separator: char,
        progress: &mut dyn FnMut(usize) -> bool,
    ) -> Result<Self, Problem> {
        let mut reader = TableText::new(&text[piece], separator);
        let mut cells = Vec::new();
        let mut cut = Self {
            grid: Grid::default(),
            beside: String::new(),
            n_cells: 0,
        };
        let mut n_rows = 0_u32;
        while reader.next_row(&mut cells).is_some() {
            n_rows += 1;
            if (n_rows as usize).is_multiple_of(super::TOLD_EVERY) && !progress(n_rows as usize) {
                return Err(super::stopped());
            }
            cut.n_cells += cells.len().max(1);
            cut.must_fit()?;
            cut.grid.begin_row(n_rows, false);
            cut.grid.widen(cells.len());
            for (column, cell) in cells.iter().enumerate() {
                let content = unguarded(cell.trim());
                if content.is_empty() {
                    continue;
                }
                if column >= MAX_COLUMNS {
                    return Err(too_many_columns());
                }
                let start = match cell {
                    // Both are parts of one text.
                    Cow::Borrowed(_) => content.as_ptr() as usize - text.as_ptr() as usize,
                    Cow::Owned(_) => {
                        cut.beside.push_str(content);
                        text.len() + cut.beside.len() - content.len()
                    }
                };
                if !cut.grid.push_at(column, start, content.len()) {
                    return Err(super::beyond(
                        "file-too-large",
                        "the file holds too much text",
                    ));
                }
            }
        }
        Ok(cut)
    }

    /// Adds the piece that follows.
    fn append(&mut self, later: Self) -> Result<(), Problem> {
        self.n_cells += later.n_cells;
        self.grid.append(later.grid);
        self.must_fit()
    }

    fn must_fit(&self) -> Result<(), Problem> {
        match self.n_cells > MAX_CELLS {
            false => Ok(()),
            true => Err(super::beyond(
                "too-many-cells",
                "the file has more than 10,000,000 cells",
            )),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Number and width of a row, and its cells by column.
    type Shown = (usize, usize, Vec<(usize, String)>);

    fn shown(grid: &Grid) -> Vec<Shown> {
        let row = |row: crate::files::spreadsheet::RowView<'_>| {
            let cells = row.cells().map(|cell| (cell.column, cell.text.to_owned()));
            (row.number(), row.width(), cells.collect())
        };
        grid.rows().map(row).collect()
    }

    #[test]
    fn a_long_text_in_pieces_has_the_same_cells() {
        let row = |at: usize| format!("L{at}, reef {at} ,'=1,,{}\r\n", at % 7);
        let text: String = (0..200_000).map(row).collect();
        let whole = cells(&text, ',', 1, &mut |_| true).unwrap();
        let parts = cells(&text, ',', 3, &mut |_| true).unwrap();
        assert_eq!(shown(&whole), shown(&parts));
        assert!(pieces(&text, 3).len() > 2);
        let stopped = cells(&text, ',', 3, &mut |_| false);
        assert_eq!(stopped.unwrap_err().code, "stopped");
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn cells_stand_in_the_grid_as_in_the_text(text in "[ab,;\"\r\n é']{0,60}") {
            let grid = cells(&text, ',', 1, &mut |_| true).unwrap();
            let (mut reader, mut row, mut expected) = (TableText::new(&text, ','), Vec::new(), Vec::new());
            while reader.next_row(&mut row).is_some() {
                let cells = row.iter().enumerate();
                let cells = cells.map(|(at, cell)| (at, unguarded(cell.trim()).to_owned()));
                let cells = cells.filter(|(_, cell)| !cell.is_empty()).collect();
                expected.push((expected.len() + 1, row.len(), cells));
            }
            prop_assert_eq!(shown(&grid), expected);
        }
    }
}
