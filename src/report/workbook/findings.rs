//! The page of findings: what the checks found, worst first, with what to do.

use super::super::Request;
use super::super::printable;
use super::look::{Look, colour_words, heighten, print};
use rust_xlsxwriter::Worksheet;
use rust_xlsxwriter::XlsxError;

/// The widths of its columns, in characters.
const WIDTHS: [f64; 7] = [10.0, 11.0, 16.0, 18.0, 60.0, 60.0, 36.0];

/// Writes the page.
///
/// # Errors
/// A file that cannot be written.
pub fn write(sheet: &mut Worksheet, request: &Request<'_>, look: &Look) -> Result<(), XlsxError> {
    for (at, width) in WIDTHS.into_iter().enumerate() {
        sheet.set_column_width(super::sheet::column_number(at), width)?;
    }
    sheet.write_with_format(0, 0, "Findings", &look.title)?;
    let [stops, cautions, notes] = request.findings.counts;
    let told = request.findings.list.len();
    let words = match stops + cautions + notes > told {
        true => format!(
            "The first {told} of {} findings, as they were when this was written.",
            stops + cautions + notes
        ),
        false => "As they were when this was written; the verdicts on the other pages are live."
            .to_owned(),
    };
    sheet.write_with_format(1, 0, words, &look.quiet)?;
    let heads = [
        "Weight",
        "Kind",
        "Row",
        "Check",
        "What is wrong",
        "What to do",
        "Source",
    ];
    for (at, head) in heads.into_iter().enumerate() {
        sheet.write_with_format(
            3,
            super::sheet::column_number(at),
            head,
            &look.head_computed,
        )?;
    }
    for (at, finding) in request.findings.list.iter().enumerate() {
        let row = 4 + u32::try_from(at).unwrap_or(0);
        let cells = [
            finding.severity.word().to_owned(),
            request.plan.def(finding.sheet).row_word().to_owned(),
            request.plan.id(finding.sheet, finding.row),
            finding.check.clone(),
            finding.sentence.clone(),
            finding.advice.clone(),
            finding.source.clone(),
        ];
        heighten(sheet, row, cells.iter().map(String::as_str).zip(WIDTHS))?;
        for (column, text) in cells.iter().enumerate() {
            let column = super::sheet::column_number(column);
            sheet.write_string_with_format(row, column, printable(text), &look.words)?;
        }
    }
    let last = 4 + u32::try_from(told.max(1)).unwrap_or(1) - 1;
    sheet.set_freeze_panes(4, 0)?;
    sheet.autofilter(3, 0, last, 6)?;
    colour_words(sheet, 0, 4, last)?;
    print(sheet, Some((3, 3)))
}
