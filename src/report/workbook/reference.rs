//! The page with the tables that formulas look into, each row with where it comes from.

use super::super::Request;
use super::super::layout::{Layout, origins};
use super::super::printable;
use super::super::stored::{Datum, Reader, Values};
use super::Tally;
use super::look::{Look, print};
use super::sheet::{Cells, column_number};
use rust_xlsxwriter::Worksheet;
use rust_xlsxwriter::XlsxError;

/// Writes the page.
///
/// # Errors
/// A file that cannot be written.
pub fn write(
    sheet: &mut Worksheet,
    request: &Request<'_>,
    layout: &Layout,
    look: &Look,
    tally: &mut Tally<'_>,
) -> Result<(), XlsxError> {
    sheet.set_column_width(0, 26)?;
    sheet.write_with_format(0, 0, "Reference", &look.title)?;
    let words = "The tables that formulas look into, one below the other. `seen` means that the figure was read in \
                 its source, `memory` that it has to be looked up before you stake an order on it.";
    sheet.write_with_format(1, 0, words, &look.quiet)?;
    sheet.write_with_format(2, 0, HOW, &look.quiet)?;
    for table in &layout.tables {
        let block = &layout.blocks[table.block];
        let def = request.plan.def(block.sheet);
        // The title and the heads stand right above the values.
        let (title, heads) = (table.first - 3, table.first - 2);
        sheet.write_with_format(title, 0, printable(&def.title), &look.part)?;
        sheet.write_with_format(title, 1, printable(&def.doc), &look.quiet)?;
        let from = origins(request.plan, request.engine, block.sheet);
        for (at, placed) in table.columns.iter().enumerate() {
            let heading = printable(&placed.heading);
            sheet.write_with_format(heads, column_number(at), heading, &look.head_computed)?;
        }
        let n_columns = table.columns.len();
        for (at, column) in from.iter().enumerate() {
            let heading = request
                .engine
                .def(*column)
                .map_or("", |def| def.title.as_str());
            let column = column_number(n_columns + at);
            sheet.write_with_format(heads, column, printable(heading), &look.head_computed)?;
        }
        let cells = table.columns.iter();
        let cells: Vec<Cells<'_>> = cells
            .map(|placed| Cells::new(request, layout, placed.place, &table.page))
            .collect();
        let from = from.iter().map(|column| {
            Values::Column(Reader::new(
                request.plan,
                request.engine,
                *column,
                &block.rows,
            ))
        });
        let from: Vec<Values<'_>> = from.collect();
        let mut text = String::new();
        for row in 0..block.rows.len() {
            let at = table.first - 1 + u32::try_from(row).unwrap_or(0);
            for (column, cell) in cells.iter().enumerate() {
                cell.write(
                    sheet,
                    at,
                    column_number(column),
                    row,
                    &mut text,
                    look,
                    tally,
                )?;
            }
            for (column, values) in from.iter().enumerate() {
                if let Datum::Text(words) = values.at(row) {
                    let column = column_number(n_columns + column);
                    sheet.write_string_with_format(at, column, printable(&words), &look.text)?;
                }
            }
            tally.row();
        }
    }
    sheet.set_freeze_panes(3, 1)?;
    print(sheet, None)
}

/// How the formulas of the workbook are to be read.
const HOW: &str = "In formulas A5/(A5<>\"\") is A5, or an error where A5 is empty; IFERROR turns an error into an empty \
                   cell, so that what is missing stays missing. INDEX and MATCH find a row of a table, SUMIFS and \
                   COUNTIFS go through the rows of a page.";
