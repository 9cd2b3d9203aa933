//! One page for people: what was found, ratios and margins as pictures, the tables behind them and the
//! assumptions, in one file that needs nothing else.
//!
//! Every text is escaped by the template. The page holds no script, no form and no address, and forbids
//! all of them to itself. Pictures are in `bars.rs`, tables in `tables.rs`, colours and paper in
//! `page.css`.

mod bars;
mod tables;

use super::Done;
use super::Format;
use super::Request;
use super::Sink;
use super::Written;
use super::facts::Facts;
use super::fields::shown;
use super::layout::Layout;
use super::unwritten;
use crate::problem::Problem;
use crate::problem::Severity;
use crate::problem::clean;
use crate::problem::several;
use crate::table::SheetId;
use crate::trade::Finding;
use maud::DOCTYPE;
use maud::Markup;
use maud::PreEscaped;
use maud::html;

/// The format.
pub(super) const FORMAT: Format = Format {
    name: "page",
    endings: &["html", "htm"],
    doc: "one page to read and print: findings, ratios, margins, links, switches, assumptions and cautions",
    leaves_out: "live formulas, sheets other than links and switches unless --sheet names them, columns that a ledger \
                 does not put first, rows beyond the first 2,000 of a sheet and findings beyond the first 500",
    shows_studies: true,
    most_findings: MOST_FINDINGS,
    write,
};

/// So many findings are told in front; the others have a section of their own.
const MOST_IN_FRONT: usize = 7;

/// So many findings are written out at all.
const MOST_FINDINGS: usize = 500;

/// What the page may do: show itself.
const POLICY: &str =
    "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'";

fn write(
    request: &Request<'_>,
    out: &mut dyn Sink,
    progress: &mut dyn FnMut(Done),
) -> Result<Written, Problem> {
    request.all_states("a page")?;
    let sheets = sheets(request);
    let n_rows = sheets
        .iter()
        .map(|sheet| tables::n_rows(request, *sheet))
        .sum();
    let mut written = Written::default();
    let mut done = Done {
        rows: 0,
        of: n_rows,
    };
    progress(done);
    let layout = Layout::new(request.plan, request.engine, 0);
    let facts = Facts::new(request, &layout);
    let mut put = |markup: Markup| -> Result<(), Problem> {
        out.write_all(markup.into_string().as_bytes())
            .map_err(|error| unwritten(&error))
    };
    put(begin(request))?;
    put(front(request, &facts))?;
    put(others(request))?;
    put(details(request))?;
    for sheet in &sheets {
        put(tables::sheet(request, *sheet))?;
        written.pages.push(request.plan.def(*sheet).title.clone());
        written.n_values += tables::n_rows(request, *sheet);
        done.rows += tables::n_rows(request, *sheet);
        progress(done);
    }
    put(tables::assumptions(request))?;
    put(PreEscaped("</main></body></html>\n".to_owned()))?;
    out.flush().map_err(|error| unwritten(&error))?;
    Ok(written)
}

fn sheets(request: &Request<'_>) -> Vec<SheetId> {
    if !request.choice.sheets.is_empty() {
        return request.choice.sheets.clone();
    }
    let usual = ["links", "switches"]
        .into_iter()
        .filter_map(|name| request.plan.sheet(name));
    usual
        .filter(|sheet| !request.plan.rows(*sheet).order().is_empty())
        .collect()
}

/// A text from the plan, with marks in place of what acts unseen.
fn said(text: &str) -> Markup {
    html! { bdi { (clean(text)) } }
}

/// Everything before the first section; what it opens is closed at the end of the page.
fn begin(request: &Request<'_>) -> Markup {
    let open = html! {
        (DOCTYPE)
        head {
            meta charset="utf-8";
            meta http-equiv="Content-Security-Policy" content=(POLICY);
            meta name="viewport" content="width=device-width, initial-scale=1";
            meta name="color-scheme" content="light dark";
            meta name="referrer" content="no-referrer";
            title { (clean(request.title())) }
            style { (PreEscaped(include_str!("page.css"))) }
        }
    };
    PreEscaped(format!(
        "{}<body><main>",
        open.into_string()
            .replacen("<head>", "<html lang=\"en\"><head>", 1)
    ))
}

/// The first page or two: what a manager reads.
fn front(request: &Request<'_>, facts: &Facts) -> Markup {
    html! {
        header {
            h1 { (said(request.title())) }
            p.quiet {
                "Plan " code { (request.identity.id) } ", revision " code { (request.identity.short_revision()) }
                @if let Some((year, month, day)) = request.date { ", " (format!("{year:04}-{month:02}-{day:02}")) }
            }
            (counts(request))
        }
        (found(request))
        section {
            h2 { "What is to be decided" }
            @for sentence in facts.decision(request) { p { (said(&sentence)) } }
        }
        section {
            h2 { "How fresh it is" }
            @for sentence in facts.freshness(request) { p { (said(&sentence)) } }
        }
        (risk(request, facts))
        (proposal(request))
        (money(request, facts))
        (care(request))
    }
}

fn counts(request: &Request<'_>) -> Markup {
    let [stops, cautions, notes] = request.findings.counts;
    html! {
        ul.counts aria-label="Findings by weight" {
            li.stop { "■ " (several(stops, "stop", "stops")) }
            li.caution { "▲ " (several(cautions, "caution", "cautions")) }
            li.note { "· " (several(notes, "note", "notes")) }
            @for (sheet, words) in [("links", "links"), ("switches", "switches")] {
                @if let Some(sheet) = request.plan.sheet(sheet) {
                    li.plain { (request.plan.rows(sheet).order().len()) " " (words) }
                }
            }
        }
    }
}

/// A severity with its mark.
fn weight(severity: Severity) -> Markup {
    let glyph = match severity {
        Severity::Stop => "■",
        Severity::Caution => "▲",
        Severity::Note => "·",
    };
    html! { b class=(severity.word()) { (glyph) " " (severity.word()) } }
}

fn name_of(request: &Request<'_>, finding: &Finding) -> Markup {
    let id = request.plan.id(finding.sheet, finding.row);
    html! { (request.plan.def(finding.sheet).row_word()) " " (said(&id)) }
}

/// The first findings in sentences.
fn found(request: &Request<'_>) -> Markup {
    let all: usize = request.findings.counts.iter().sum();
    html! {
        section {
            h2 { "What was found" }
            @if all == 0 { p { "The checks found nothing to object to." } }
            ol.found {
                @for finding in request.findings.list.iter().take(MOST_IN_FRONT) {
                    li {
                        (weight(finding.severity)) " " b { (name_of(request, finding)) } ": "
                        (said(&finding.sentence)) ". " span.advice { (said(&finding.advice)) }
                    }
                }
            }
            @if all > MOST_IN_FRONT {
                p { "And " (all - MOST_IN_FRONT) " more, in the section All findings." }
            }
        }
    }
}

/// Ratios and margins, in sentences and pictures.
fn risk(request: &Request<'_>, facts: &Facts) -> Markup {
    let pictures = [bars::ratios(request), bars::margins(request)];
    // What a picture has as its title is not said twice.
    let told: Vec<&str> = facts.bars.iter().map(|bars| bars.title.as_str()).collect();
    html! {
        section {
            h2 { "Risk" }
            @for sentence in facts.risk.iter().filter(|one| !told.contains(&one.as_str())) {
                p { (said(sentence)) }
            }
            @for picture in pictures.iter().flatten() { (picture.drawn()) }
        }
    }
}

fn proposal(request: &Request<'_>) -> Markup {
    html! {
        @if let Some(page) = &request.proposal {
            section {
                h2 { "Proposal: " (said(&page.title)) }
                @for sentence in &page.sentences { p { (said(sentence)) } }
                (tables::plain("What the proposal comes to", &page.heads, page.totals()))
                @if !page.changes().is_empty() { p { "What changes row by row stands in a section of its own." } }
            }
        }
    }
}

/// What is long of the proposals and of the order list.
fn details(request: &Request<'_>) -> Markup {
    html! {
        @if let Some(page) = request.proposal.as_ref().filter(|page| !page.changes().is_empty()) {
            section.wide {
                h2 { "What the proposal changes" }
                (tables::plain("Row by row", &page.heads, page.changes()))
            }
        }
        @if let Some(page) = request.order.as_ref().filter(|page| !page.rows.is_empty()) {
            section.wide {
                h2 { "What is to be ordered" }
                (tables::plain("Part by part", &page.heads, &page.rows))
            }
        }
    }
}

/// What it costs, as far as it is known; the order list where there is one.
fn money(request: &Request<'_>, facts: &Facts) -> Markup {
    html! {
        section {
            h2 { "Money and parts" }
            @for sentence in &facts.money { p { (said(sentence)) } }
            @if let Some(page) = &request.order {
                p {
                    (said(&page.sentences.join("; "))) "."
                    @if !page.rows.is_empty() { " The list stands in a section of its own." }
                }
            }
        }
    }
}

/// All findings that are not told in front.
fn others(request: &Request<'_>) -> Markup {
    let all: usize = request.findings.counts.iter().sum();
    let told = request.findings.list.len();
    let heads = [
        "Weight",
        "Row",
        "What is wrong, and what to do",
        "Check and source",
    ];
    html! {
        @if all > MOST_IN_FRONT {
            section.wide {
                h2 { "All findings" }
                div.scroll tabindex="0" role="region" aria-label="All findings" {
                    table.texts {
                        caption {
                            (all) " findings, worst first"
                            @if told < all { "; the first " (told) " of them" }
                        }
                        thead { tr { @for head in heads { th scope="col" { (head) } } } }
                        tbody {
                            @for finding in request.findings.list.iter().take(told) {
                                tr {
                                    td { (weight(finding.severity)) }
                                    th scope="row" { (name_of(request, finding)) }
                                    td {
                                        (said(&finding.sentence)) ". " span.advice { (said(&finding.advice)) }
                                    }
                                    td.quiet { (said(&finding.check)) ": " (said(&finding.source)) }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// The lines of the safety sheet.
fn care(request: &Request<'_>) -> Markup {
    let sheet = request.plan.sheet("cautions");
    html! {
        section {
            h2 { "Care" }
            ul.care {
                @if let Some(sheet) = sheet {
                    @for row in request.plan.rows(sheet).order() {
                        @let standard = shown(request, sheet, "standard", *row);
                        li {
                            (said(&shown(request, sheet, "say", *row)))
                            @if !standard.is_empty() { " " span.quiet { (said(&standard)) } }
                        }
                    }
                }
            }
        }
    }
}
