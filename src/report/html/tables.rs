//! Tables of the page: sheets as a ledger puts them first, assumptions, and tables that others made.

use super::said;
use crate::plan::Assumption;
use crate::plan::Entry;
use crate::problem::several;
use crate::report::Request;
use crate::report::fields::{Field, of_ledger};
use crate::report::stored::Datum;
use crate::sheet::ColumnKind;
use crate::table::SheetId;
use crate::units::bare;
use crate::units::shown;
use maud::Markup;
use maud::html;

/// So many rows of a sheet are written out.
const MOST_ROWS: usize = 2_000;

/// A text of so many characters stays on one line.
const SHORT: usize = 20;

/// How many rows of a sheet the page has.
pub fn n_rows(request: &Request<'_>, sheet: SheetId) -> usize {
    request.plan.rows(sheet).order().len().min(MOST_ROWS)
}

/// A sheet with the columns that a ledger puts first.
pub fn sheet(request: &Request<'_>, sheet: SheetId) -> Markup {
    let def = request.plan.def(sheet);
    let fields = of_ledger(request, sheet);
    let fields: Vec<&Field<'_>> = fields
        .iter()
        .filter(|field| is_first(request, sheet, field))
        .collect();
    let (n_rows, n_all) = (
        n_rows(request, sheet),
        request.plan.rows(sheet).order().len(),
    );
    html! {
        section.wide {
            h2 { (said(&def.title)) }
            p.quiet { (said(&def.doc)) }
            div.scroll tabindex="0" role="region" aria-label=(def.title) {
                table {
                    caption {
                        (several(n_all, "row", "rows"))
                        @if n_rows < n_all { "; the first " (n_rows) " of them" }
                    }
                    thead {
                        tr {
                            @for field in &fields {
                                th scope="col" class=[is_number(field).then_some("number")] title=(field.def.doc) {
                                    (said(&field.def.title))
                                    @if !field.def.unit.is_empty() { " " span.unit { (field.def.unit) } }
                                }
                            }
                        }
                    }
                    tbody {
                        @for row in 0..n_rows {
                            tr {
                                @for (at, field) in fields.iter().enumerate() {
                                    @if at == 0 { th scope="row" { (cell(request, field, row)) } }
                                    @else { td class=[class_of(field, row)] { (cell(request, field, row)) } }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// Whether a ledger puts a column first; of a sheet that names none, every column.
fn is_first(request: &Request<'_>, sheet: SheetId, field: &Field<'_>) -> bool {
    let led = &request.engine.schema()[sheet.at()].ledger;
    let view = &request.plan.view(sheet).order;
    let name = &field.def.name;
    let is_id = field.id == request.engine.column(sheet, 0);
    let is_named = is_id || name == "verdict" || led.contains(name) || view.contains(name);
    (led.is_empty() || is_named) && holds(request, sheet, field)
}

/// Whether anything stands in a column.
fn holds(request: &Request<'_>, sheet: SheetId, field: &Field<'_>) -> bool {
    (0..n_rows(request, sheet)).any(|row| field.at(row) != Datum::Empty)
}

/// How a cell is set: numbers to the right, short texts on one line.
fn class_of(field: &Field<'_>, row: usize) -> Option<&'static str> {
    match field.at(row) {
        _ if is_number(field) => Some("number"),
        Datum::Text(text) if text.chars().count() <= SHORT => Some("short"),
        Datum::Text(_) | Datum::Empty | Datum::Number(_) | Datum::Flag(_) => None,
    }
}

fn is_number(field: &Field<'_>) -> bool {
    field.def.kind == ColumnKind::Number
}

fn cell(request: &Request<'_>, field: &Field<'_>, row: usize) -> Markup {
    let unit = request.engine.unit(field.id);
    html! {
        @match field.at(row) {
            Datum::Empty => {},
            Datum::Number(value) => (bare(unit.to_base(value), unit, field.def.decimals)),
            Datum::Flag(flag) => (if flag { "yes" } else { "no" }),
            Datum::Text(text) if field.def.name == "verdict" => (verdict(&text)),
            Datum::Text(text) => (said(&text)),
        }
    }
}

/// A verdict with its mark, in words and not by colour alone.
fn verdict(word: &str) -> Markup {
    let (glyph, class) = match word {
        "fits" => ('●', "fits"),
        "tight" => ('▲', "caution"),
        "fails" => ('■', "stop"),
        _ => ('○', "unknown"),
    };
    html! { span.verdict.(class) { (glyph) " " (said(word)) } }
}

/// The assumptions with where they come from; those of this plan first.
pub fn assumptions(request: &Request<'_>) -> Markup {
    let known = request.plan.assumptions();
    let own = known.iter().filter(|one| one.own);
    let n_own = own.clone().count();
    let recalled = known
        .iter()
        .filter(|one| !one.own && one.def.confidence == "memory")
        .count();
    html! {
        section.wide {
            h2 { "Assumptions" }
            p.quiet {
                (n_own) " of " (known.len()) " were set in this plan; " (recalled)
                " of the others come from memory and have to be looked up before an order hangs on them."
            }
            div.scroll tabindex="0" role="region" aria-label="Assumptions" {
                table.texts {
                    caption { "What is assumed where nothing else is entered" }
                    thead { tr { @for head in ["Assumption", "Value", "Source", "What it does"] { th scope="col" { (head) } } } }
                    tbody {
                        @for one in own.chain(known.iter().filter(|one| !one.own)) {
                            tr {
                                th scope="row" { (said(&one.def.title)) }
                                td { (said(&value(request, one))) }
                                td {
                                    @if one.own { b { "set in this plan" } "; " (said(&one.source)) }
                                    @else { (said(&one.source)) " [" (one.def.confidence) "]" }
                                }
                                td.quiet { (said(&one.def.doc)) }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn value(request: &Request<'_>, one: &Assumption) -> String {
    match &one.entry {
        Entry::Number(base) => shown(*base, &one.unit, None),
        Entry::Empty => "none".to_owned(),
        Entry::Text(_) | Entry::Wrong(_) => one.entry.text(&one.unit, request.plan.names()),
    }
}

/// A table that somebody else made, as texts.
pub fn plain(caption: &str, heads: &[String], rows: &[Vec<String>]) -> Markup {
    html! {
        @if !rows.is_empty() {
            div.scroll tabindex="0" role="region" aria-label=(caption) {
                table.texts {
                    caption { (caption) }
                    thead { tr { @for head in heads { th scope="col" { (said(head)) } } } }
                    tbody { @for row in rows { tr { @for cell in row { td { (said(cell)) } } } } }
                }
            }
        }
    }
}
