//! The first page: what was found, what it costs, what is assumed, how fresh it is, and the charts
//! that a decision needs.

use super::super::Request;
use super::super::layout::Layout;
use super::super::printable;
use super::Tally;
use super::charts;
use super::look::{Look, heighten, print_in_parts};
use crate::problem::Severity;
use crate::report::facts::Facts;
use crate::units::significant;
use rust_xlsxwriter::Formula;
use rust_xlsxwriter::Worksheet;
use rust_xlsxwriter::XlsxError;

/// So many findings stand on the first page; the others have a page of their own.
const MOST_FINDINGS: usize = 7;

/// The widths of its columns, in characters; sentences go over all of them.
const WIDTHS: [f64; 8] = [14.0, 21.0, 14.0, 8.0, 8.0, 8.0, 8.0, 6.0];

/// The row with the plan's id and revision, from 0: `B2` and `D2`.
const IDENTITY: u32 = 1;

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
    let facts = Facts::new(request, layout);
    for (at, width) in WIDTHS.into_iter().enumerate() {
        sheet.set_column_width(super::sheet::column_number(at), width)?;
    }
    let mut at = Lines {
        sheet,
        look,
        row: 0,
    };
    at.title(request.title())?;
    at.identity(request)?;
    at.findings(request)?;
    at.part("Decision")?;
    for sentence in facts.decision(request) {
        at.sentence(&sentence)?;
    }
    at.part("Money")?;
    for sentence in &facts.money {
        at.sentence(sentence)?;
    }
    at.risk(request, layout, &facts, tally)?;
    at.part("Assumptions")?;
    at.sentence(&facts.assumptions)?;
    at.part("How fresh it is")?;
    for sentence in facts.freshness(request) {
        at.sentence(&sentence)?;
    }
    at.part("Care")?;
    at.sentence(
        "Never look into a fibre or port, lit or not. Clean and inspect before mating. Fibre, not copper, \
         between buildings. Local codes and licensed practice rule.",
    )?;
    let row = at.row + 1;
    let (row, breaks) = charts::write(sheet, layout, &facts, look, tally, row)?;
    sheet.set_print_area(0, 0, row, 7)?;
    print_in_parts(sheet, &breaks)
}

/// The lines of the page from top to bottom.
struct Lines<'s> {
    sheet: &'s mut Worksheet,
    look: &'s Look,
    row: u32,
}

impl Lines<'_> {
    fn title(&mut self, title: &str) -> Result<(), XlsxError> {
        self.sheet
            .write_string_with_format(self.row, 0, printable(title), &self.look.title)?;
        self.row += 1;
        Ok(())
    }

    fn identity(&mut self, request: &Request<'_>) -> Result<(), XlsxError> {
        debug_assert_eq!(self.row, IDENTITY);
        let identity = &request.identity;
        let cells = ["Plan", &identity.id, "Revision", &identity.revision];
        for (column, text) in cells.into_iter().enumerate() {
            let column = super::sheet::column_number(column);
            self.sheet
                .write_string_with_format(self.row, column, text, &self.look.quiet)?;
        }
        self.row += 1;
        Ok(())
    }

    fn part(&mut self, title: &str) -> Result<(), XlsxError> {
        self.row += 1;
        self.sheet
            .write_string_with_format(self.row, 0, title, &self.look.part)?;
        self.row += 1;
        Ok(())
    }

    /// A sentence over the width of the page.
    fn sentence(&mut self, text: &str) -> Result<(), XlsxError> {
        let text = printable(text);
        heighten(self.sheet, self.row, [(&*text, WIDTHS.iter().sum())])?;
        self.sheet
            .merge_range(self.row, 0, self.row, 7, &text, &self.look.words)?;
        self.row += 1;
        Ok(())
    }

    fn findings(&mut self, request: &Request<'_>) -> Result<(), XlsxError> {
        self.part("What was found")?;
        let all: usize = request.findings.counts.iter().sum();
        if all == 0 {
            return self.sentence("The checks found nothing to object to.");
        }
        for finding in request.findings.list.iter().take(MOST_FINDINGS) {
            let word = match finding.severity {
                Severity::Stop => "■ stop",
                Severity::Caution => "▲ caution",
                Severity::Note => "· note",
            };
            let row = request.plan.def(finding.sheet).row_word();
            let id = request.plan.id(finding.sheet, finding.row);
            self.sentence(&format!(
                "{word}: {row} {id}: {}. {}",
                finding.sentence, finding.advice
            ))?;
        }
        match all.checked_sub(MOST_FINDINGS) {
            Some(more) if more > 0 => {
                self.sentence(&format!("And {more} more on the page Findings."))
            }
            Some(_) | None => Ok(()),
        }
    }

    /// How many rows fit, are tight, fail or are unknown, live; and the worst figures.
    fn risk(
        &mut self,
        request: &Request<'_>,
        layout: &Layout,
        facts: &Facts,
        tally: &mut Tally<'_>,
    ) -> Result<(), XlsxError> {
        self.part("Risk")?;
        let [stops, cautions, notes] = request.findings.counts;
        self.sentence(&format!(
            "Findings when this was written: {stops} of weight stop, {cautions} of weight caution, {notes} of weight note."
        ))?;
        for sentence in &facts.risk {
            self.sentence(sentence)?;
        }
        let words = ["", "fits", "tight", "fails", "unknown"];
        for (column, word) in words.into_iter().enumerate() {
            let column = super::sheet::column_number(column);
            self.sheet.write_string_with_format(
                self.row,
                column,
                word,
                &self.look.head_computed,
            )?;
        }
        self.row += 1;
        for laid in &layout.pages {
            let Some((_, verdict)) = layout.find(request.engine, laid, "verdict") else {
                continue;
            };
            let spot = &layout.grid.blocks[laid.block];
            let last = spot.first + spot.n_rows.max(1) - 1;
            self.sheet
                .write_string_with_format(self.row, 0, &laid.page, &self.look.computed)?;
            for (column, word) in words.into_iter().enumerate().skip(1) {
                let range = format!("{}!${verdict}${}:${verdict}${last}", laid.page, spot.first);
                let n = facts.verdicts(&laid.page, word);
                let formula = Formula::new(format!("COUNTIFS({range},\"{word}\")"));
                let column = super::sheet::column_number(column);
                self.sheet.write_formula_with_format(
                    self.row,
                    column,
                    formula.set_result(significant(n as f64, 15)),
                    &self.look.computed,
                )?;
                tally.written.n_formulas += 1;
            }
            self.row += 1;
        }
        Ok(())
    }
}
