//! Pages for people outside the program: a workbook that calculates by itself.
//!
//! Makes pages from a plan and what is computed from it. It knows no terminal and no open plan, and
//! names no file; whoever asks brings something to write into. One record a format.

mod aside;
mod book;
mod express;
mod facts;
mod fields;
mod fold;
mod gather;
pub mod giveback;
mod html;
mod identity;
mod json;
mod layout;
mod list;
mod ods;
mod sent;
mod stored;
mod translate;
mod workbook;
mod worklist;

pub use identity::Identity;
pub use identity::{Base, new_id};
pub use workbook::property;
pub use workbook::{BASE, decoded};

use crate::engine::Engine;
use crate::plan::Plan;
use crate::problem::Problem;
use crate::table::SheetId;
use crate::trade::Findings;
use std::io::{Seek, Write};
use std::path::Path;

/// Where a format is written to.
pub trait Sink: Write + Seek + Send {}

impl<T: Write + Seek + Send> Sink for T {}

/// How far an export is, in rows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Done {
    /// Rows written.
    pub rows: usize,
    /// Rows in all.
    pub of: usize,
}

/// What is to be exported.
pub struct Request<'a> {
    /// The plan.
    pub plan: &'a Plan,
    /// Everything computed from it.
    pub engine: &'a Engine,
    /// What the checks found, worst first.
    pub findings: &'a Findings,
    /// Gives the text of the plan as its file has it.
    pub base: Base<'a>,
    /// By what the plan and this state of it are known.
    pub identity: Identity,
    /// What the plan is called where it has no title, such as the name of its file.
    pub name: String,
    /// The day, as year, month and day; none where nobody said.
    pub date: Option<(u16, u8, u8)>,
    /// A proposal beside the plan; none where there is none.
    pub proposal: Option<ProposalPage>,
    /// What is to be ordered; none where nobody worked it out.
    pub order: Option<OrderPage>,
    /// What of the plan is asked for.
    pub choice: Choice,
    /// Columns that serve formulas are added while a page has no more cells than this.
    pub most_cells: usize,
}

/// So many findings stand on a page for people: nobody reads more, and each row has its verdict.
const MOST_FOR_PEOPLE: usize = 10_000;

/// So many cells a page may have with its columns that serve formulas.
pub const MOST_CELLS: usize = 4_000_000;

/// A proposal as a page shows it; made by whoever compares proposals.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ProposalPage {
    /// The name of the proposal.
    pub title: String,
    /// What it comes to, in sentences.
    pub sentences: Vec<String>,
    /// The heads of the table of changes.
    pub heads: Vec<String>,
    /// The table of changes: what, before, after, and so on.
    pub rows: Vec<Vec<String>>,
}

/// An order list as a page shows it; made by whoever works orders out.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct OrderPage {
    /// What it comes to, in sentences; a part without a price is said to be not priced.
    pub sentences: Vec<String>,
    /// What all of it comes to, such as `363.60, and 10 lines not priced`.
    pub total: String,
    /// What each family comes to, as far as its parts have a price.
    pub costs: Vec<(String, f64)>,
    /// The heads of the table of parts.
    pub heads: Vec<String>,
    /// The table of parts: how many of what, price, and so on.
    pub rows: Vec<Vec<String>>,
}

/// What of a plan is asked for; by itself a format knows.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Choice {
    /// These sheets alone; none: those that the format takes by itself.
    pub sheets: Vec<SheetId>,
    /// Links in every state, where a format takes only those that are to be built.
    pub every_state: bool,
}

/// A column that stands as values, since a workbook cannot compute it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AsValue {
    /// The page.
    pub page: String,
    /// The column.
    pub column: String,
    /// Whether it is for people, or serves formulas.
    pub shown: bool,
    /// Why.
    pub why: String,
}

/// What was written.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Written {
    /// The pages, in order.
    pub pages: Vec<String>,
    /// How many cells are formulas.
    pub n_formulas: usize,
    /// How many cells are values.
    pub n_values: usize,
    /// Cells of live columns that stand as values, since a program would take them for another.
    pub n_as_values: usize,
    /// Columns that stand as values.
    pub values: Vec<AsValue>,
    /// Live columns for people that hang on one of those, by page and heading.
    pub leaning: Vec<(String, String)>,
}

/// Writes a plan in a format, and says now and then how far it is.
pub type Writer = fn(&Request<'_>, &mut dyn Sink, &mut dyn FnMut(Done)) -> Result<Written, Problem>;

/// A format that a plan can be exported as.
#[derive(Debug)]
pub struct Format {
    /// What it is called.
    pub name: &'static str,
    /// The endings of its files, without the point.
    pub endings: &'static [&'static str],
    /// What it is, in one line.
    pub doc: &'static str,
    /// What it leaves out; empty where it leaves out nothing that matters.
    pub leaves_out: &'static str,
    /// Whether it shows what was studied beside the plan: proposals and the order list.
    pub shows_studies: bool,
    /// So many findings are written out at most; how many there are in all is told.
    pub most_findings: usize,
    /// Writes it.
    pub write: Writer,
}

/// The formats, in the order of the manual.
pub const FORMATS: &[Format] = &[
    Format {
        name: "workbook",
        endings: &["xlsx"],
        doc: "a workbook with a summary in front, which calculates by itself",
        leaves_out: "columns that hold nothing, and tables that no formula looks into",
        shows_studies: true,
        most_findings: MOST_FOR_PEOPLE,
        write: workbook::write,
    },
    ods::FORMAT,
    html::FORMAT,
    list::COMMAS,
    list::TABS,
    json::FORMAT,
    worklist::FORMAT,
];

/// The format that the ending of a file asks for.
///
/// # Errors
/// An ending of no format.
pub fn format_of(path: &Path) -> Result<&'static Format, Problem> {
    let ending = path
        .extension()
        .map(|ending| ending.to_string_lossy().to_lowercase());
    let ending = ending.unwrap_or_default();
    let found = FORMATS
        .iter()
        .find(|format| format.endings.contains(&&*ending));
    let all: Vec<&str> = FORMATS
        .iter()
        .flat_map(|format| format.endings)
        .copied()
        .collect();
    found.ok_or_else(|| {
        let name = path.display();
        Problem::new(
            "no-such-format",
            format!("`{name}` does not say what to export it as"),
        )
        .help(format!("end the name with one of: {}", all.join(", ")))
    })
}

impl Request<'_> {
    /// Refuses a choice of sheets where a format takes none.
    fn whole_plan(&self, what: &str) -> Result<(), Problem> {
        match self.choice.sheets.is_empty() {
            true => Ok(()),
            false => Err(
                Problem::new("no-sheets", format!("{what} has no sheets to choose from"))
                    .help("leave --sheet away, or export as csv, tsv, json or html"),
            ),
        }
    }

    /// Refuses a choice of states where a format takes all rows anyway.
    fn all_states(&self, what: &str) -> Result<(), Problem> {
        match self.choice.every_state {
            false => Ok(()),
            true => Err(Problem::new(
                "no-states",
                format!("{what} holds links in every state anyway"),
            )
            .help("leave --every-state away, or export a work list as txt")),
        }
    }

    /// What the plan is called.
    pub fn title(&self) -> &str {
        match self.plan.title.is_empty() {
            true => &self.name,
            false => &self.plan.title,
        }
    }
}

/// A text as it comes back from a cell: what no cell may hold is gone, runs of blanks are one.
fn as_returned(text: &str) -> String {
    let printable = printable(text);
    printable.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The longest text of a cell; a workbook takes 32,767 units of UTF-16.
const MOST_OF_A_CELL: usize = 16_000;

/// A text without what no cell may hold, and no longer than a cell may be.
fn printable(text: &str) -> String {
    let is_bad = |c: char| c.is_control() && c != '\n' || matches!(c, '\u{fffe}' | '\u{ffff}');
    cut(match text.contains(is_bad) {
        true => text.replace(is_bad, " "),
        false => text.to_owned(),
    })
}

/// A text no longer than a cell may be; where it was, it says so.
fn cut(mut text: String) -> String {
    if text.len() > MOST_OF_A_CELL
        && let Some((end, _)) = text.char_indices().nth(MOST_OF_A_CELL)
    {
        text.truncate(end);
        text.push_str(CUT);
    }
    text
}

/// The end of a text that was cut.
const CUT: &str = " (cut here)";

/// A file that could not be written.
pub fn unwritten(error: &std::io::Error) -> Problem {
    Problem::new(
        "not-written",
        format!("the export could not be written: {error}"),
    )
    .help("make room on the disk, or name another folder")
}
