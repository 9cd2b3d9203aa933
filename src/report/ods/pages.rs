//! The pages, row by row: a summary in front, findings, each sheet, assumptions and reference tables.
//!
//! A cell stands where the workbook has it, since formulas name rows and columns.

use super::open_formula::Printed;
use super::package::{opening, safe};
use crate::plan::Entry;
use crate::problem::Severity;
use crate::report::AsValue;
use crate::report::Done;
use crate::report::Request;
use crate::report::Written;
use crate::report::book::{Col, Content};
use crate::report::facts::Facts;
use crate::report::layout::{ASSUMPTIONS, FIRST_ROW, Laid, Layout, REFERENCE, origins};
use crate::report::printable;
use crate::report::stored::{Datum, Reader, Values};
use crate::report::workbook::{BASE, BASE_WORDS, each_base_cell};
use crate::units::exact;
use std::io;
use std::io::Write;

/// So many findings stand on the first page; the others have a page of their own.
const MOST_FINDINGS: usize = 7;

/// The most decimals that a style is made for.
const MOST_DECIMALS: u8 = 6;

/// Pages of running text, in which nothing has to stay in view.
const SUMMARY: &str = "Summary";
const PROPOSAL: &str = "Proposal";
const ORDER: &str = "Order";
const FINDINGS: &str = "Findings";

/// How many rows of a page stay in view.
pub fn n_heads(page: &str) -> u32 {
    match page {
        SUMMARY | PROPOSAL | ORDER => 0,
        REFERENCE => 3,
        _ => FIRST_ROW - 1,
    }
}

/// Writes the part with the content.
///
/// # Errors
/// A file that cannot be written.
pub fn write(
    request: &Request<'_>,
    layout: &Layout,
    out: &mut dyn Write,
    progress: &mut dyn FnMut(Done),
) -> io::Result<Written> {
    let rows = layout.pages.iter().chain(&layout.tables);
    let rows = rows.map(|laid| layout.blocks[laid.block].rows.len()).sum();
    let mut book = Book {
        request,
        layout,
        out,
        progress,
        done: Done { rows: 0, of: rows },
        written: Written::default(),
        text: String::new(),
        row: 0,
    };
    book.begin()?;
    book.summary()?;
    book.findings()?;
    if let Some(page) = &request.proposal {
        book.texts(
            PROPOSAL,
            &page.title,
            &page.sentences,
            &page.heads,
            &page.rows,
        )?;
    }
    if let Some(page) = &request.order {
        book.texts(
            ORDER,
            "What is to be ordered",
            &page.sentences,
            &page.heads,
            &page.rows,
        )?;
    }
    for laid in &layout.pages {
        book.sheet(laid)?;
    }
    book.assumptions()?;
    book.reference()?;
    book.base()?;
    book.out
        .write_all(b"</office:spreadsheet></office:body></office:document-content>")?;
    let mut written = book.written;
    written
        .values
        .extend(layout.values_only().map(|(laid, col, why)| AsValue {
            page: laid.page.clone(),
            column: col.title.clone(),
            shown: col.shown,
            why: why.to_owned(),
        }));
    Ok(written)
}

struct Book<'b> {
    request: &'b Request<'b>,
    layout: &'b Layout,
    out: &'b mut dyn Write,
    progress: &'b mut dyn FnMut(Done),
    done: Done,
    written: Written,
    /// A row under construction.
    text: String,
    /// The row of the page that was written last, from 1.
    row: u32,
}

impl Book<'_> {
    fn begin(&mut self) -> io::Result<()> {
        let mut text = opening("document-content");
        text.push_str("<office:automatic-styles>");
        for (name, width) in [
            ("co1", "5cm"),
            ("co2", "2.4cm"),
            ("co3", "9cm"),
            ("co4", "17cm"),
        ] {
            text.push_str(&format!(
                "<style:style style:name=\"{name}\" style:family=\"table-column\"><style:table-column-properties \
                 style:column-width=\"{width}\"/></style:style>"
            ));
        }
        text.push_str(
            "<style:style style:name=\"ta1\" style:family=\"table\" style:master-page-name=\"Default\">\
             <style:table-properties table:display=\"true\"/></style:style>",
        );
        text.push_str(
            "<style:style style:name=\"ta2\" style:family=\"table\" style:master-page-name=\"Default\">\
             <style:table-properties table:display=\"false\"/></style:style>",
        );
        for places in 0..=MOST_DECIMALS {
            text.push_str(&format!(
                "<number:number-style style:name=\"n{places}\"><number:number number:decimal-places=\"{places}\" \
                 number:min-integer-digits=\"1\"/></number:number-style>"
            ));
        }
        let style = |name: &str, data: &str, inner: &str| {
            let data = match data.is_empty() {
                true => String::new(),
                false => format!(" style:data-style-name=\"{data}\""),
            };
            format!(
                "<style:style style:name=\"{name}\" style:family=\"table-cell\"{data}>{inner}</style:style>"
            )
        };
        let bold = "<style:text-properties fo:font-weight=\"bold\"";
        text.push_str(&style(
            "title",
            "",
            &format!("{bold} fo:font-size=\"14pt\"/>"),
        ));
        text.push_str(&style(
            "part",
            "",
            &format!("{bold} fo:font-size=\"12pt\"/>"),
        ));
        let wrapped =
            "<style:table-cell-properties fo:wrap-option=\"wrap\" style:vertical-align=\"top\"";
        text.push_str(&style("words", "", &format!("{wrapped}/>")));
        text.push_str(&style(
            "quiet",
            "",
            "<style:text-properties fo:font-style=\"italic\"/>",
        ));
        text.push_str(&style(
            "head",
            "",
            &format!("{wrapped} fo:background-color=\"#c9d3dc\"/>{bold}/>"),
        ));
        text.push_str(&style(
            "derived",
            "",
            &format!("{wrapped} fo:background-color=\"#edf0f3\"/>{bold}/>"),
        ));
        for places in 0..=MOST_DECIMALS {
            text.push_str(&style(&format!("d{places}"), &format!("n{places}"), ""));
        }
        text.push_str(
            "</office:automatic-styles><office:body><office:spreadsheet><table:calculation-settings \
             table:case-sensitive=\"false\" table:search-criteria-must-apply-to-whole-cell=\"true\" \
             table:automatic-find-labels=\"false\" table:use-regular-expressions=\"false\" table:use-wildcards=\"true\"/>",
        );
        self.out.write_all(text.as_bytes())
    }

    /// Opens a page with the styles of its columns.
    fn open(&mut self, page: &str, columns: &[(&str, usize, bool)]) -> io::Result<()> {
        self.row = 0;
        self.written.pages.push(page.to_owned());
        let style = if page == BASE { "ta2" } else { "ta1" };
        let mut text = format!(
            "<table:table table:name=\"{}\" table:style-name=\"{style}\">",
            safe(page)
        );
        for (style, repeated, is_shown) in columns {
            let hidden = if *is_shown {
                ""
            } else {
                " table:visibility=\"collapse\""
            };
            text.push_str(&format!(
                "<table:table-column table:style-name=\"{style}\" table:number-columns-repeated=\"{repeated}\"{hidden}/>"
            ));
        }
        self.out.write_all(text.as_bytes())
    }

    fn close(&mut self) -> io::Result<()> {
        self.out.write_all(b"</table:table>")
    }

    /// Empty rows up to the one before `row`.
    fn go_to(&mut self, row: u32) -> io::Result<()> {
        let n = row.saturating_sub(self.row + 1);
        if n > 0 {
            let text = format!(
                "<table:table-row table:number-rows-repeated=\"{n}\"><table:table-cell/></table:table-row>"
            );
            self.out.write_all(text.as_bytes())?;
            self.row += n;
        }
        Ok(())
    }

    /// A row of texts in one style; an empty text is an empty cell.
    fn line(&mut self, texts: &[&str], style: &str) -> io::Result<()> {
        self.begin_row();
        for text in texts {
            self.cell(&Datum::Text((*text).into()), style);
        }
        self.end_row()
    }

    fn begin_row(&mut self) {
        self.text.clear();
        self.text.push_str("<table:table-row>");
    }

    fn end_row(&mut self) -> io::Result<()> {
        self.text.push_str("</table:table-row>");
        self.row += 1;
        self.out.write_all(self.text.as_bytes())
    }

    /// Heads that are printed on every sheet of paper.
    fn heads(&mut self, heads: &[(&str, &str)]) -> io::Result<()> {
        self.out.write_all(b"<table:table-header-rows>")?;
        self.begin_row();
        for (text, style) in heads {
            self.cell(&Datum::Text((*text).into()), style);
        }
        self.end_row()?;
        self.out.write_all(b"</table:table-header-rows>")
    }

    /// A value.
    fn cell(&mut self, datum: &Datum<'_>, style: &str) {
        cell(&mut self.text, datum, style, "");
        self.written.n_values += usize::from(*datum != Datum::Empty);
    }

    /// A formula with its value.
    fn live(&mut self, datum: &Datum<'_>, style: &str, formula: &str) {
        cell(&mut self.text, datum, style, formula);
        self.written.n_formulas += 1;
    }

    fn summary(&mut self) -> io::Result<()> {
        let request = self.request;
        let facts = Facts::new(request, self.layout);
        self.open(
            SUMMARY,
            &[
                ("co4", 1, true),
                ("co1", 1, true),
                ("co2", 1, true),
                ("co3", 1, true),
            ],
        )?;
        self.line(&[request.title()], "title")?;
        let identity = &request.identity;
        self.line(
            &["Plan", &identity.id, "Revision", &identity.revision],
            "quiet",
        )?;
        self.part("What was found")?;
        let all: usize = request.findings.counts.iter().sum();
        if all == 0 {
            self.line(&["The checks found nothing to object to."], "words")?;
        }
        for finding in request.findings.list.iter().take(MOST_FINDINGS) {
            let row = request.plan.def(finding.sheet).row_word();
            let id = request.plan.id(finding.sheet, finding.row);
            let word = weight(finding.severity);
            let text = format!(
                "{word}: {row} {id}: {}. {}",
                finding.sentence, finding.advice
            );
            self.line(&[&text], "words")?;
        }
        if all > MOST_FINDINGS {
            self.line(
                &[&format!(
                    "And {} more on the page Findings.",
                    all - MOST_FINDINGS
                )],
                "words",
            )?;
        }
        let parts = [
            ("Decision", facts.decision(request)),
            ("Money", facts.money.clone()),
            ("Risk", facts.risk.clone()),
            ("Assumptions", vec![facts.assumptions.clone()]),
            ("How fresh it is", facts.freshness(request)),
            ("Care", vec![CARE.to_owned()]),
        ];
        for (title, sentences) in &parts {
            self.part(title)?;
            for sentence in sentences {
                self.line(&[sentence], "words")?;
            }
        }
        self.close()
    }

    fn part(&mut self, title: &str) -> io::Result<()> {
        self.go_to(self.row + 2)?;
        self.line(&[title], "part")
    }

    fn findings(&mut self) -> io::Result<()> {
        let request = self.request;
        self.open(
            FINDINGS,
            &[("co2", 1, true), ("co2", 3, true), ("co3", 3, true)],
        )?;
        self.line(&[FINDINGS], "title")?;
        self.line(
            &["As they were when this was written; the verdicts on the other pages are live."],
            "quiet",
        )?;
        self.go_to(FIRST_ROW - 1)?;
        let heads = [
            "Weight",
            "Kind",
            "Row",
            "Check",
            "What is wrong",
            "What to do",
            "Source",
        ];
        self.heads(&heads.map(|head| (head, "derived")))?;
        for finding in &request.findings.list {
            let id = request.plan.id(finding.sheet, finding.row);
            let cells = [
                finding.severity.word(),
                request.plan.def(finding.sheet).row_word(),
                &id,
                &finding.check,
                &finding.sentence,
                &finding.advice,
                &finding.source,
            ];
            self.line(&cells, "words")?;
        }
        self.close()
    }

    /// A page of sentences and one table, made by somebody else.
    fn texts(
        &mut self,
        page: &str,
        title: &str,
        sentences: &[String],
        heads: &[String],
        rows: &[Vec<String>],
    ) -> io::Result<()> {
        self.open(page, &[("co1", heads.len().max(1), true)])?;
        self.line(&[title], "title")?;
        for sentence in sentences {
            self.line(&[sentence], "")?;
        }
        self.go_to(self.row + 2)?;
        let heads: Vec<(&str, &str)> = heads
            .iter()
            .map(|head| (head.as_str(), "derived"))
            .collect();
        self.heads(&heads)?;
        for row in rows {
            let cells: Vec<&str> = row.iter().map(String::as_str).collect();
            self.line(&cells, "words")?;
        }
        self.close()
    }

    /// The page of a sheet.
    fn sheet(&mut self, laid: &Laid) -> io::Result<()> {
        let (request, layout) = (self.request, self.layout);
        let def = request.plan.def(layout.blocks[laid.block].sheet);
        let n_hidden = laid.columns.len() - laid.n_shown;
        let mut columns = vec![("co2", laid.n_shown, true)];
        if n_hidden > 0 {
            columns.push(("co2", n_hidden, false));
        }
        self.open(&laid.page, &columns)?;
        self.line(&[&def.title], "title")?;
        let words = format!(
            "{} Cells under a dark head may be changed, all others follow. Plan {}, revision {}.",
            def.doc,
            request.identity.id,
            request.identity.short_revision()
        );
        self.line(&[&words], "quiet")?;
        let cells: Vec<Cells<'_>> = laid
            .columns
            .iter()
            .map(|placed| Cells::new(request, layout, placed.place, &laid.page))
            .collect();
        for (at, cell) in cells.iter().enumerate() {
            if cell.is_unprinted {
                let col = layout.col(laid.columns[at].place);
                self.written.values.push(AsValue {
                    page: laid.page.clone(),
                    column: col.title.clone(),
                    shown: col.shown,
                    why: "a function of it has no name in this format".to_owned(),
                });
            }
        }
        let kinds: Vec<&str> = cells
            .iter()
            .zip(&laid.columns)
            .enumerate()
            .map(
                |(at, (cell, placed))| match (&layout.col(placed.place).content, &cell.formula) {
                    (Content::Entered, _) => "entered",
                    (_, Some(_)) if at >= laid.n_shown => "serves formulas",
                    (_, Some(_)) => "computed",
                    (_, None) => "computed, as a value",
                },
            )
            .collect();
        self.line(&kinds, "quiet")?;
        let heads: Vec<(&str, &str)> = laid
            .columns
            .iter()
            .map(|placed| match layout.col(placed.place).content {
                Content::Entered => (placed.heading.as_str(), "head"),
                Content::Formula(_) | Content::Value(_) | Content::Pending => {
                    (placed.heading.as_str(), "derived")
                }
            })
            .collect();
        self.heads(&heads)?;
        self.rows(laid, &cells, &[])?;
        self.close()
    }

    fn rows(&mut self, laid: &Laid, cells: &[Cells<'_>], from: &[Values<'_>]) -> io::Result<()> {
        self.go_to(laid.first)?;
        let mut formula = String::new();
        for row in 0..self.layout.blocks[laid.block].rows.len() {
            self.begin_row();
            for cell in cells {
                let datum = cell.values.at(row);
                match &cell.formula {
                    Some(printed) => {
                        printed.write(self.row + 1, &mut formula);
                        self.live(&datum, &cell.style, &formula);
                    }
                    None => self.cell(&datum, &cell.style),
                }
            }
            for values in from {
                self.cell(&values.at(row), "");
            }
            self.end_row()?;
            self.done.rows += 1;
            if self.done.rows.is_multiple_of(256) {
                (self.progress)(self.done);
            }
        }
        Ok(())
    }

    fn assumptions(&mut self) -> io::Result<()> {
        let request = self.request;
        self.open(
            ASSUMPTIONS,
            &[("co1", 2, true), ("co2", 3, true), ("co3", 2, true)],
        )?;
        self.line(&["Assumptions"], "title")?;
        self.line(
            &["Change a value and every page follows. An empty one is missing, not 0."],
            "quiet",
        )?;
        self.go_to(FIRST_ROW - 1)?;
        let heads = [
            "Assumption",
            "Name in formulas",
            "Unit",
            "Value",
            "As counted",
            "Source",
            "What it does",
        ];
        let style = |at: usize| if at == 3 { "head" } else { "derived" };
        let heads: Vec<(&str, &str)> = heads
            .into_iter()
            .enumerate()
            .map(|(at, head)| (head, style(at)))
            .collect();
        self.heads(&heads)?;
        for known in request.plan.assumptions() {
            let source = match known.own {
                true => format!("set in this plan; {}", known.source),
                false => format!("{} [{}]", known.source, known.def.confidence),
            };
            let value = match &known.entry {
                Entry::Number(base) => {
                    let typed = exact(*base, &known.unit).parse();
                    Datum::Number(typed.unwrap_or_else(|_| known.unit.from_base(*base)))
                }
                Entry::Text(code) => Datum::Text(request.plan.names().text(*code).into()),
                Entry::Empty | Entry::Wrong(_) => Datum::Empty,
            };
            let row = self.row + 1;
            self.begin_row();
            let name = format!("assume.{}", known.def.name);
            for text in [known.def.title.as_str(), &name, &known.unit.symbol] {
                self.cell(&Datum::Text(text.into()), "");
            }
            self.cell(&value, "");
            self.live(
                &value,
                "",
                &format!("of:=IF([.D{row}]=\"\";\"\";[.D{row}])"),
            );
            for text in [source.as_str(), &known.def.doc] {
                self.cell(&Datum::Text(text.into()), "words");
            }
            self.end_row()?;
        }
        self.as_values()?;
        self.close()
    }

    /// The columns that stand as values, and why.
    fn as_values(&mut self) -> io::Result<()> {
        self.part("Columns that stand as values")?;
        self.line(&["These do not follow a change in this file; what hangs on them follows in everything else."], "quiet")?;
        let layout = self.layout;
        let mut all: Vec<(String, String)> = layout
            .values_only()
            .map(|(laid, col, why)| (format!("{}: {}", laid.page, col.title), why.to_owned()))
            .collect();
        let unprinted = self.written.values.iter();
        all.extend(unprinted.map(|one| (format!("{}: {}", one.page, one.column), one.why.clone())));
        for (title, why) in &all {
            self.line(&[title, "", "", "", "", why], "")?;
        }
        Ok(())
    }

    fn reference(&mut self) -> io::Result<()> {
        let (request, layout) = (self.request, self.layout);
        let widest = layout
            .tables
            .iter()
            .map(|table| table.columns.len() + 3)
            .max()
            .unwrap_or(1);
        self.open(REFERENCE, &[("co1", 1, true), ("co2", widest, true)])?;
        self.line(&[REFERENCE], "title")?;
        let words = "The tables that formulas look into, one below the other. `seen` means that the figure was read in \
                     its source, `memory` that it has to be looked up before you stake an order on it.";
        self.line(&[words], "quiet")?;
        for table in &layout.tables {
            let block = &layout.blocks[table.block];
            let def = request.plan.def(block.sheet);
            self.go_to(table.first - 2)?;
            self.line(&[&def.title, &def.doc], "part")?;
            let from = origins(request.plan, request.engine, block.sheet);
            let titles = from.iter().map(|column| {
                request
                    .engine
                    .def(*column)
                    .map_or("", |def| def.title.as_str())
            });
            let heads: Vec<&str> = table
                .columns
                .iter()
                .map(|placed| placed.heading.as_str())
                .chain(titles)
                .collect();
            self.line(&heads, "derived")?;
            let cells: Vec<Cells<'_>> = table
                .columns
                .iter()
                .map(|placed| Cells::new(request, layout, placed.place, &table.page))
                .collect();
            let from: Vec<Values<'_>> = from
                .iter()
                .map(|column| {
                    Values::Column(Reader::new(
                        request.plan,
                        request.engine,
                        *column,
                        &block.rows,
                    ))
                })
                .collect();
            self.rows(table, &cells, &from)?;
        }
        self.close()
    }
}

impl Book<'_> {
    /// The hidden page with the plan as it was, from which a returned file can be compared.
    fn base(&mut self) -> io::Result<()> {
        self.open(BASE, &[("co4", 1, true)])?;
        self.line(&[BASE_WORDS], "")?;
        each_base_cell(self.request.base, |cell| self.whole(cell))?;
        self.close()
    }

    /// A row of one text that is not cut; it holds nothing that a cell may not hold.
    fn whole(&mut self, text: &str) -> io::Result<()> {
        let text = quick_xml::escape::escape(text);
        write!(
            self.out,
            "<table:table-row><table:table-cell office:value-type=\"string\"><text:p>{text}</text:p>\
             </table:table-cell></table:table-row>"
        )?;
        self.row += 1;
        Ok(())
    }
}

/// The lines without which no page goes out.
const CARE: &str = "Never look into a fibre or port, lit or not. Clean and inspect before mating. Fibre, not copper, \
                    between buildings. Local codes and licensed practice rule.";

fn weight(severity: Severity) -> &'static str {
    match severity {
        Severity::Stop => "■ stop",
        Severity::Caution => "▲ caution",
        Severity::Note => "· note",
    }
}

/// The cells of a column, ready to be written.
struct Cells<'a> {
    formula: Option<Printed>,
    /// Whether a formula of the workbook has no form here.
    is_unprinted: bool,
    values: Values<'a>,
    style: String,
}

impl<'a> Cells<'a> {
    fn new(
        request: &'a Request<'_>,
        layout: &'a Layout,
        place: crate::report::book::Place,
        page: &str,
    ) -> Self {
        let col = layout.col(place);
        let formula = match &col.content {
            Content::Formula(text) => Printed::new(text, page, &layout.grid),
            Content::Entered | Content::Value(_) | Content::Pending => None,
        };
        Self {
            is_unprinted: formula.is_none() && matches!(col.content, Content::Formula(_)),
            formula,
            values: layout.values(request.plan, request.engine, place),
            style: style(request, col),
        }
    }
}

/// The style of a number with so many decimals; what was entered is shown as it was.
fn style(request: &Request<'_>, col: &Col) -> String {
    let def = col.column.and_then(|column| request.engine.def(column));
    let decimals = def
        .filter(|def| !def.entered())
        .and_then(|def| def.decimals);
    decimals.map_or(String::new(), |places| {
        format!("d{}", places.min(MOST_DECIMALS))
    })
}

fn cell(into: &mut String, datum: &Datum<'_>, style: &str, formula: &str) {
    into.push_str("<table:table-cell");
    if !style.is_empty() {
        into.push_str(&format!(" table:style-name=\"{style}\""));
    }
    if !formula.is_empty() {
        into.push_str(&format!(" table:formula=\"{}\"", safe(formula)));
    }
    match datum {
        Datum::Empty if formula.is_empty() => into.push_str("/>"),
        Datum::Empty => into.push_str(" office:value-type=\"string\" office:string-value=\"\"/>"),
        Datum::Number(value) => into.push_str(&format!(
            " office:value-type=\"float\" office:value=\"{value}\"><text:p>{value}</text:p></table:table-cell>"
        )),
        Datum::Flag(flag) => into.push_str(&format!(
            " office:value-type=\"boolean\" office:boolean-value=\"{flag}\"><text:p>{}</text:p></table:table-cell>",
            if *flag { "TRUE" } else { "FALSE" }
        )),
        Datum::Text(text) if text.is_empty() => into.push_str("/>"),
        Datum::Text(text) => {
            into.push_str(" office:value-type=\"string\">");
            paragraphs(into, text);
            into.push_str("</table:table-cell>");
        }
    }
}

/// A text in paragraphs; blanks that would run together are counted.
fn paragraphs(into: &mut String, text: &str) {
    for line in printable(text).split('\n') {
        into.push_str("<text:p>");
        let mut rest = line;
        let mut is_first = true;
        while let Some(at) = rest.find(' ') {
            into.push_str(&safe(&rest[..at]));
            let n = rest[at..].len() - rest[at..].trim_start_matches(' ').len();
            let behind = &rest[at + n..];
            // One blank between two words stands for itself.
            match n == 1 && !(is_first && at == 0) && !behind.is_empty() {
                true => into.push(' '),
                false => into.push_str(&format!("<text:s text:c=\"{n}\"/>")),
            }
            rest = behind;
            is_first = false;
        }
        into.push_str(&safe(rest));
        into.push_str("</text:p>");
    }
}
