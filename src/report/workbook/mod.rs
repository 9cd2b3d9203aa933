//! The workbook: pages of sheets with live formulas, a summary in front, and the plan as it was
//! behind them.
//!
//! Each page is written row by row and then forgotten, so that a large plan needs little memory. What
//! stands where is decided in `layout.rs`, formulas come from `translate.rs`.

mod assumptions;
mod base;
mod charts;
mod findings;
mod look;
mod proposal;
mod reference;
mod sheet;
mod summary;

pub use base::{BASE, decoded};
pub(super) use base::{WORDS as BASE_WORDS, each_cell as each_base_cell};

use super::Done;
use super::Request;
use super::Sink;
use super::Written;
use super::layout::Layout;
use crate::problem::Problem;
use look::Look;
use rust_xlsxwriter::DocProperties;
use rust_xlsxwriter::ExcelDateTime;
use rust_xlsxwriter::Workbook;
use rust_xlsxwriter::Worksheet;
use rust_xlsxwriter::XlsxError;

/// The names of the custom properties, by which a returned workbook is known.
pub mod property {
    /// The identity of the plan.
    pub const PLAN: &str = "plan_id";
    /// The revision that was exported.
    pub const REVISION: &str = "plan_revision";
    /// The checksum of the hidden page with the plan as it was.
    pub const BASE: &str = "base_sha256";
}

/// Says how far it is, and counts what was written.
pub(super) struct Tally<'a> {
    progress: &'a mut dyn FnMut(Done),
    done: Done,
    written: Written,
}

impl Tally<'_> {
    /// A row was written.
    fn row(&mut self) {
        self.done.rows += 1;
        if self.done.rows.is_multiple_of(256) {
            (self.progress)(self.done);
        }
    }
}

/// Writes a plan as a workbook.
///
/// # Errors
/// A plan too large for a page of a workbook, or a file that cannot be written.
pub fn write(
    request: &Request<'_>,
    out: &mut dyn Sink,
    progress: &mut dyn FnMut(Done),
) -> Result<Written, Problem> {
    let mut book = Workbook::new();
    book.set_properties(&properties(request))
        .set_tempdir(std::env::temp_dir())
        .map_err(trouble)?
        .set_zip_compression_level(PACKED);
    // The last page is written first, so that its text is gone before the others are laid out.
    let mut last = new_page(&mut book, BASE).map_err(trouble)?;
    base::write(&mut last, request).map_err(trouble)?;
    let layout = Layout::new(request.plan, request.engine, request.most_cells);
    let rows = layout.pages.iter().chain(&layout.tables);
    let rows: usize = rows.map(|laid| layout.blocks[laid.block].rows.len()).sum();
    let mut tally = Tally {
        progress,
        done: Done { rows: 0, of: rows },
        written: Written::default(),
    };
    if let Some(page) = layout
        .pages
        .iter()
        .find(|laid| layout.blocks[laid.block].rows.len() > MOST_ROWS)
    {
        let message = format!(
            "{} has more rows than a page of a workbook, 1,048,576",
            page.page
        );
        return Err(Problem::new("too-many-rows", message).help("export it as csv"));
    }
    pages(&mut book, request, &layout, &mut tally).map_err(trouble)?;
    book.push_worksheet(last);
    book.save_to_writer(out).map_err(trouble)?;
    tally.written.values = layout
        .values_only()
        .map(|(laid, col, why)| super::AsValue {
            page: laid.page.clone(),
            column: col.title.clone(),
            shown: col.shown,
            why: why.to_owned(),
        })
        .collect();
    tally.written.leaning = layout.leaning();
    tally.written.pages = book.worksheets().iter().map(Worksheet::name).collect();
    Ok(tally.written)
}

/// How hard parts are packed: from here on the file gets little smaller, and takes twice as long.
const PACKED: u8 = 2;

/// The rows that a page has below its heads.
const MOST_ROWS: usize = 1_048_576 - super::layout::FIRST_ROW as usize;

fn pages(
    book: &mut Workbook,
    request: &Request<'_>,
    layout: &Layout,
    tally: &mut Tally<'_>,
) -> Result<(), XlsxError> {
    let look = Look::new();
    let new = |book: &mut Workbook, name: &str| -> Result<usize, XlsxError> {
        let page = new_page(book, name)?;
        book.push_worksheet(page);
        Ok(book.worksheets().len() - 1)
    };
    let at = new(book, "Summary")?;
    summary::write(
        book.worksheet_from_index(at)?,
        request,
        layout,
        &look,
        tally,
    )?;
    let at = new(book, "Findings")?;
    findings::write(book.worksheet_from_index(at)?, request, &look)?;
    if let Some(proposal) = &request.proposal {
        let at = new(book, "Proposal")?;
        proposal::write(book.worksheet_from_index(at)?, proposal, &look)?;
    }
    if let Some(order) = &request.order {
        let at = new(book, "Order")?;
        proposal::write_order(book.worksheet_from_index(at)?, order, &look)?;
    }
    for laid in &layout.pages {
        let at = new(book, &laid.page)?;
        sheet::write(
            book.worksheet_from_index(at)?,
            request,
            layout,
            laid,
            &look,
            tally,
        )?;
    }
    let at = new(book, super::layout::ASSUMPTIONS)?;
    assumptions::write(
        book.worksheet_from_index(at)?,
        request,
        layout,
        &look,
        tally,
    )?;
    let at = new(book, super::layout::REFERENCE)?;
    reference::write(
        book.worksheet_from_index(at)?,
        request,
        layout,
        &look,
        tally,
    )?;
    Ok(())
}

/// A page whose rows go to a file for a while as they come.
fn new_page(book: &mut Workbook, name: &str) -> Result<Worksheet, XlsxError> {
    let mut page = book.new_worksheet_with_constant_memory()?;
    // An empty result is an empty text, which the library would else make a 0 of.
    page.set_name(name)?.set_formula_result_default("");
    Ok(page)
}

fn properties(request: &Request<'_>) -> DocProperties {
    let mut all = DocProperties::new()
        .set_title(super::printable(request.title()))
        .set_comment(
            "Formulas count in the units of their columns. Never look into a fibre or port.",
        )
        .set_custom_property(property::PLAN, &*request.identity.id)
        .set_custom_property(property::REVISION, &*request.identity.revision)
        .set_custom_property(property::BASE, &*request.identity.base);
    // The same plan gives the same bytes, so a workbook has no time but the one it is given.
    let (year, month, day) = request.date.unwrap_or((2000, 1, 1));
    if let Ok(date) = ExcelDateTime::from_ymd(year, month, day) {
        all = all.set_creation_datetime(&date);
    }
    all
}

fn trouble(error: XlsxError) -> Problem {
    match error {
        XlsxError::IoError(error) => super::unwritten(&error),
        other => Problem::new(
            "no-workbook",
            format!("the workbook cannot be made: {other}"),
        ),
    }
}
