//! The charts of the first page, each with the table that it is drawn from and the finding as title.
//!
//! The order of a table is that of the day of the export; its figures are live.

use super::super::layout::Layout;
use super::super::printable;
use super::Tally;
use super::look::{Look, ROWS_OF_A_PAGE};
use super::sheet::column_number;
use crate::report::facts::{Bars, Facts};
use rust_xlsxwriter::Chart;
use rust_xlsxwriter::ChartAxisLabelPosition;
use rust_xlsxwriter::ChartType;
use rust_xlsxwriter::Formula;
use rust_xlsxwriter::Worksheet;
use rust_xlsxwriter::XlsxError;

/// Colours that differ in lightness too, one for each series.
const FILLS: [u32; 2] = [0x24566B, 0xD9A441];

/// Rows that a chart needs below its table.
const HEIGHT: u32 = 18;

/// Writes tables and charts from a row on; the last row, and the rows that begin a page, so that no
/// chart is cut in two.
///
/// # Errors
/// A file that cannot be written.
pub fn write(
    sheet: &mut Worksheet,
    layout: &Layout,
    facts: &Facts,
    look: &Look,
    tally: &mut Tally<'_>,
    mut row: u32,
) -> Result<(u32, Vec<u32>), XlsxError> {
    let mut breaks: Vec<u32> = Vec::new();
    for bars in &facts.bars {
        let n_rows = u32::try_from(bars.rows.len()).unwrap_or(0) + 3 + HEIGHT;
        let begun = breaks.last().copied();
        if begun.is_none_or(|begun| row + n_rows - begun > ROWS_OF_A_PAGE) {
            breaks.push(row);
        }
        row = chart(sheet, layout, bars, look, tally, row)? + 1;
    }
    Ok((row, breaks))
}

fn chart(
    sheet: &mut Worksheet,
    layout: &Layout,
    bars: &Bars,
    look: &Look,
    tally: &mut Tally<'_>,
    row: u32,
) -> Result<u32, XlsxError> {
    sheet.write_string_with_format(row, 0, printable(&bars.title), &look.part)?;
    let heads = row + 1;
    sheet.write_string_with_format(heads, 0, &bars.of, &look.head_computed)?;
    for (at, name) in bars.series.iter().enumerate() {
        sheet.write_string_with_format(heads, column_number(at + 1), name, &look.head_computed)?;
    }
    for (at, (name, values)) in bars.rows.iter().enumerate() {
        let line = heads + 1 + u32::try_from(at).unwrap_or(0);
        sheet.write_string_with_format(line, 0, printable(name), &look.text)?;
        for (column, value) in values.iter().enumerate() {
            let number = column_number(column + 1);
            let source = bars.sources.get(column).and_then(Option::as_ref);
            match source {
                Some((block, letters)) => {
                    let spot = &layout.grid.blocks[*block];
                    let last = spot.first + spot.n_rows.max(1) - 1;
                    let ids = spot
                        .letters
                        .first()
                        .and_then(Option::as_deref)
                        .unwrap_or("A");
                    let (page, first) = (&spot.page, spot.first);
                    let found = format!(
                        "INDEX({page}!${letters}${first}:${letters}${last},MATCH($A{},{page}!${ids}${first}:${ids}${last},0))",
                        line + 1
                    );
                    // An empty cell would come out as 0.
                    let text = format!("IFERROR(IF({found}=\"\",\"\",{found}),\"\")");
                    let result = value.map_or_else(String::new, |value| value.to_string());
                    sheet.write_formula_with_format(
                        line,
                        number,
                        Formula::new(text).set_result(result),
                        &look.figure,
                    )?;
                    tally.written.n_formulas += 1;
                }
                None => {
                    if let Some(value) = value {
                        sheet.write_number_with_format(line, number, *value, &look.figure)?;
                    }
                }
            }
        }
    }
    let last = heads + u32::try_from(bars.rows.len()).unwrap_or(0);
    let mut chart = Chart::new(ChartType::Bar);
    for at in 0..bars.series.len() {
        let column = column_number(at + 1);
        chart
            .add_series()
            .set_name(("Summary", heads, column))
            .set_categories(("Summary", heads + 1, 0, last, 0))
            .set_values(("Summary", heads + 1, column, last, column))
            .set_format(rust_xlsxwriter::ChartFormat::new().set_solid_fill(
                rust_xlsxwriter::ChartSolidFill::new().set_color(FILLS[at % FILLS.len()]),
            ));
    }
    let title = printable(&bars.title);
    chart.title().set_name(title.as_str());
    // Of a bar chart the upright axis has the names; the first of them stands on top.
    chart
        .y_axis()
        .set_reverse()
        .set_label_interval(1)
        .set_label_position(ChartAxisLabelPosition::Low);
    chart.x_axis().set_name(&bars.unit);
    if bars.series.len() == 1 {
        chart.legend().set_hidden();
    }
    chart
        .set_alt_text(printable(&bars.title))
        .set_width(640)
        .set_height(330);
    sheet.insert_chart(last + 1, 0, &chart)?;
    Ok(last + 1 + HEIGHT)
}
