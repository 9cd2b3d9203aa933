//! An OpenDocument spreadsheet: the pages of the workbook with values and live formulas, without its
//! charts, lists of choices and colours, and the plan as it was behind them.
//!
//! Written row by row into the package. Where things stand comes from `layout.rs`; a formula is printed
//! anew in `open_formula.rs`.

mod open_formula;
mod package;
mod pages;

use super::Done;
use super::Format;
use super::Request;
use super::Sink;
use super::Written;
use super::layout::FIRST_ROW;
use super::layout::Layout;
use crate::problem::Problem;

/// The format.
pub(super) const FORMAT: Format = Format {
    name: "open spreadsheet",
    endings: &["ods"],
    doc: "an OpenDocument spreadsheet with the pages of the workbook, which calculates by itself",
    leaves_out: "charts, lists of choices, colours of verdicts, notes with sources, columns that hold nothing, and tables that no formula looks into",
    shows_studies: true,
    most_findings: super::MOST_FOR_PEOPLE,
    write,
};

/// The rows that a page has below its heads.
const MOST_ROWS: usize = 1_048_576 - FIRST_ROW as usize;

fn write(
    request: &Request<'_>,
    out: &mut dyn Sink,
    progress: &mut dyn FnMut(Done),
) -> Result<Written, Problem> {
    request.whole_plan("an OpenDocument spreadsheet")?;
    request.all_states("an OpenDocument spreadsheet")?;
    let layout = Layout::new(request.plan, request.engine, request.most_cells);
    if let Some(page) = layout
        .pages
        .iter()
        .find(|laid| layout.blocks[laid.block].rows.len() > MOST_ROWS)
    {
        let message = format!(
            "{} has more rows than a page of a spreadsheet, 1,048,576",
            page.page
        );
        return Err(Problem::new("too-many-rows", message).help("export it as csv"));
    }
    package::write(request, &layout, out, progress).map_err(|error| super::unwritten(&error))
}
