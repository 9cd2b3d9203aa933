//! Pages of what was studied beside the plan: what proposals change and come to, and what is to
//! be ordered.

use super::super::OrderPage;
use super::super::ProposalPage;
use super::super::printable;
use super::look::{Look, heighten, print};
use rust_xlsxwriter::Worksheet;
use rust_xlsxwriter::XlsxError;

/// Writes the page of proposals.
///
/// # Errors
/// A file that cannot be written.
pub fn write(sheet: &mut Worksheet, page: &ProposalPage, look: &Look) -> Result<(), XlsxError> {
    let (sentences, heads, rows) = (&page.sentences, &page.heads, &page.rows);
    texts(sheet, &page.title, sentences, heads, rows, look)
}

/// Writes the order list.
///
/// # Errors
/// A file that cannot be written.
pub fn write_order(sheet: &mut Worksheet, page: &OrderPage, look: &Look) -> Result<(), XlsxError> {
    let (sentences, heads, rows) = (&page.sentences, &page.heads, &page.rows);
    texts(sheet, "What is to be ordered", sentences, heads, rows, look)
}

fn texts(
    sheet: &mut Worksheet,
    title: &str,
    sentences: &[String],
    heads: &[String],
    rows: &[Vec<String>],
    look: &Look,
) -> Result<(), XlsxError> {
    sheet.write_with_format(0, 0, printable(title), &look.title)?;
    for (at, sentence) in sentences.iter().enumerate() {
        let row = 1 + u32::try_from(at).unwrap_or(0);
        sheet.write_with_format(row, 0, printable(sentence), &look.computed)?;
    }
    let widths = widths(heads, rows);
    let head = 2 + u32::try_from(sentences.len()).unwrap_or(0);
    for (at, text) in heads.iter().enumerate() {
        let column = super::sheet::column_number(at);
        sheet.set_column_width(column, widths[at])?;
        sheet.write_with_format(head, column, printable(text), &look.head_computed)?;
    }
    for (at, cells) in rows.iter().enumerate() {
        let row = head + 1 + u32::try_from(at).unwrap_or(0);
        let texts = cells.iter().map(String::as_str);
        heighten(sheet, row, texts.zip(widths.iter().copied()))?;
        for (column, text) in cells.iter().enumerate() {
            let column = super::sheet::column_number(column);
            sheet.write_string_with_format(row, column, printable(text), &look.words)?;
        }
    }
    print(sheet, Some((head, head)))
}

/// The widths of the columns in characters: as their texts need, within bounds.
fn widths(heads: &[String], rows: &[Vec<String>]) -> Vec<f64> {
    let needed = |at: usize| {
        let texts = rows.iter().filter_map(|row| row.get(at));
        let lengths = texts.map(|text| text.chars().count());
        lengths.max().unwrap_or(0).max(heads[at].chars().count())
    };
    let in_bounds = |length: usize| (length + 2).clamp(9, 42);
    let all = (0..heads.len()).map(|at| in_bounds(needed(at)));
    all.map(|width| f64::from(u8::try_from(width).unwrap_or(u8::MAX)))
        .collect()
}
