//! One sheet as rows of text, with commas or tabs between the cells.
//!
//! Numbers stand as exact values in the unit of their heading. A text that a spreadsheet program would
//! take for a formula gets a mark in front (`files::table_text::guarded`).

use super::Done;
use super::Format;
use super::Request;
use super::Sink;
use super::Written;
use super::fields::Field;
use super::fields::of_ledger;
use super::stored::Datum;
use super::unwritten;
use crate::files::table_text::guarded;
use crate::files::table_text::push_row_with;
use crate::problem::Problem;
use crate::table::SheetId;
use std::borrow::Cow;

/// With commas.
pub(super) const COMMAS: Format = Format {
    name: "list",
    endings: &["csv"],
    doc: "one sheet as rows with commas, links unless --sheet names another; exact values, units in the heading",
    leaves_out: LEAVES_OUT,
    shows_studies: false,
    most_findings: 0,
    write: |request, out, progress| write(request, out, progress, ','),
};

/// With tabs.
pub(super) const TABS: Format = Format {
    name: "tabbed list",
    endings: &["tsv"],
    doc: "one sheet as rows with tabs, links unless --sheet names another; exact values, units in the heading",
    leaves_out: LEAVES_OUT,
    shows_studies: false,
    most_findings: 0,
    write: |request, out, progress| write(request, out, progress, '\t'),
};

const LEAVES_OUT: &str = "all sheets but one, formulas, findings, assumptions and sources; columns that hold nothing; \
                          control characters stand as pictures, and a text that begins like a formula has a ' in \
                          front";

/// Rows are handed on in pieces of about so many bytes.
const PIECE: usize = 64 * 1024;

/// Tells spreadsheet programs that the text is UTF-8.
const MARK: &str = "\u{feff}";

fn write(
    request: &Request<'_>,
    out: &mut dyn Sink,
    progress: &mut dyn FnMut(Done),
    separator: char,
) -> Result<Written, Problem> {
    request.all_states("a list")?;
    let sheet = one_sheet(request)?;
    let fields = of_ledger(request, sheet);
    let n_rows = request.plan.rows(sheet).order().len();
    let mut written = Written {
        pages: vec![request.plan.def(sheet).title.clone()],
        ..Written::default()
    };
    let mut text = MARK.to_owned();
    push_row_with(
        &mut text,
        separator,
        fields
            .iter()
            .map(|field| Cow::Owned(words(&field.heading()))),
    );
    for row in 0..n_rows {
        push_row_with(
            &mut text,
            separator,
            fields.iter().map(|field| cell(field, row, &mut written)),
        );
        if text.len() >= PIECE {
            out.write_all(text.as_bytes())
                .map_err(|error| unwritten(&error))?;
            text.clear();
            progress(Done {
                rows: row + 1,
                of: n_rows,
            });
        }
    }
    out.write_all(text.as_bytes())
        .and_then(|()| out.flush())
        .map_err(|error| unwritten(&error))?;
    Ok(written)
}

fn one_sheet(request: &Request<'_>) -> Result<SheetId, Problem> {
    match request.choice.sheets.as_slice() {
        [sheet] => Ok(*sheet),
        [] => request.plan.sheet("links").ok_or_else(|| {
            Problem::new("no-such-sheet", "there is no sheet `links`")
                .help("name a sheet with --sheet")
        }),
        several => {
            let message = format!("a list holds one sheet, not {}", several.len());
            Err(Problem::new("too-many-sheets", message)
                .help("export each sheet to a file of its own"))
        }
    }
}

fn cell<'f>(field: &'f Field<'_>, row: usize, written: &mut Written) -> Cow<'f, str> {
    let text = match field.at(row) {
        Datum::Empty => return Cow::Borrowed(""),
        Datum::Number(value) => Cow::Owned(field.exact(value)),
        Datum::Flag(true) => Cow::Borrowed("yes"),
        Datum::Flag(false) => Cow::Borrowed("no"),
        Datum::Text(text) => Cow::Owned(words(&text)),
    };
    written.n_values += 1;
    text
}

/// A text without what acts: control characters become pictures, but for breaks of lines and tabs;
/// then a mark in front where it begins like a formula.
fn words(text: &str) -> String {
    let acts = |c: char| c.is_control() && !matches!(c, '\n' | '\t');
    let pictured: String = text
        .chars()
        .map(|c| match (acts(c), u32::from(c)) {
            (false, _) => c,
            (true, code @ 0..0x20) => char::from_u32(0x2400 + code).unwrap_or('\u{fffd}'),
            (true, _) => '\u{fffd}',
        })
        .collect();
    guarded(&pictured).into_owned()
}
