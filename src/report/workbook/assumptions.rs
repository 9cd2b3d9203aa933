//! The page of assumptions, each with its value, which may be changed, and its source; and the list
//! of columns that stand as values.

use super::super::Request;
use super::super::giveback::exported_source;
use super::super::layout::{ASSUMED, FIRST_ROW, Layout, assumption_row};
use super::super::printable;
use super::Tally;
use super::look::{Look, heighten, print};
use crate::plan::Entry;
use crate::table::ParamId;
use rust_xlsxwriter::Formula;
use rust_xlsxwriter::Worksheet;
use rust_xlsxwriter::XlsxError;

/// The widths of its columns, in characters.
const WIDTHS: [f64; 7] = [36.0, 34.0, 9.0, 12.0, 12.0, 44.0, 70.0];

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
    for (at, width) in WIDTHS.into_iter().enumerate() {
        sheet.set_column_width(super::sheet::column_number(at), width)?;
    }
    sheet.write_with_format(0, 0, "Assumptions", &look.title)?;
    sheet.write_with_format(
        1,
        0,
        "Change a value and every page follows. An empty one is missing, not 0.",
        &look.quiet,
    )?;
    let heads = [
        "Assumption",
        "Name in formulas",
        "Unit",
        "Value",
        "As counted",
        "Source",
        "What it does",
    ];
    for (at, head) in heads.into_iter().enumerate() {
        let format = match at {
            3 => &look.head,
            _ => &look.head_computed,
        };
        sheet.write_with_format(FIRST_ROW - 2, super::sheet::column_number(at), head, format)?;
    }
    for (at, known) in request.plan.assumptions().iter().enumerate() {
        let row = assumption_row(ParamId(u16::try_from(at).unwrap_or(0))) - 1;
        let source = exported_source(known);
        let doc = &known.def.doc;
        heighten(sheet, row, [(&*source, WIDTHS[5]), (doc, WIDTHS[6])])?;
        let unit = &known.unit;
        let name = format!("assume.{}", known.def.name);
        for (column, text) in [(0, &known.def.title), (1, &name), (2, &unit.symbol)] {
            sheet.write_with_format(row, column, printable(text), &look.computed)?;
        }
        let formula = format!("IF(D{0}=\"\",\"\",D{0})", row + 1);
        debug_assert_eq!(ASSUMED, "E");
        let result = match &known.entry {
            Entry::Number(base) => {
                let value = crate::units::exact(*base, unit)
                    .parse()
                    .unwrap_or_else(|_| unit.from_base(*base));
                sheet.write_with_format(row, 3, value, &look.entered)?;
                f64::to_string(&value)
            }
            Entry::Text(code) => {
                let text = printable(&request.plan.names().text(*code));
                sheet.write_string_with_format(row, 3, &text, &look.entered_text)?;
                text
            }
            Entry::Empty | Entry::Wrong(_) => {
                sheet.write_blank(row, 3, &look.entered)?;
                String::new()
            }
        };
        sheet.write_formula_with_format(
            row,
            4,
            Formula::new(formula).set_result(result),
            &look.computed,
        )?;
        tally.written.n_formulas += 1;
        sheet.write_with_format(row, 5, printable(&source), &look.words)?;
        sheet.write_with_format(row, 6, printable(doc), &look.words)?;
    }
    as_values(sheet, request, layout, look)?;
    sheet.set_freeze_panes(FIRST_ROW - 1, 1)?;
    print(sheet, Some((FIRST_ROW - 2, FIRST_ROW - 2)))
}

/// The columns that stand as values, and why.
fn as_values(
    sheet: &mut Worksheet,
    request: &Request<'_>,
    layout: &Layout,
    look: &Look,
) -> Result<(), XlsxError> {
    let mut row = FIRST_ROW + u32::try_from(request.plan.assumptions().len()).unwrap_or(0) + 1;
    sheet.write_with_format(row, 0, "Columns that stand as values", &look.part)?;
    row += 1;
    sheet.write_with_format(
        row,
        0,
        "These do not follow a change in this workbook; what hangs on them follows in everything else.",
        &look.quiet,
    )?;
    for (laid, col, why) in layout.values_only() {
        row += 1;
        heighten(sheet, row, [(why, WIDTHS[5])])?;
        let title = format!("{}: {}", laid.page, col.title);
        sheet.write_with_format(row, 0, printable(&title), &look.computed)?;
        sheet.write_with_format(row, 5, printable(why), &look.words)?;
    }
    Ok(())
}
