//! The whole plan for programs: every sheet with entered and computed cells, findings, assumptions and
//! where they come from.
//!
//! The text is one object, its keys always in the same order, one row a line:
//!
//! ```text
//! {"format": "portledger plan 1", "about": "...",
//!  "plan": {"title", "name", "id", "revision", "date", "program"},
//!  "counts": {"stop", "caution", "note"},
//!  "findings": [{"severity", "check", "sheet", "row", "finding", "advice", "source"}],
//!  "assumptions": [{"name", "title", "value", "unit", "source", "confidence", "yours", "about"}],
//!  "proposal": null or {"title", "sentences", "heads", "rows"},
//!  "order": null or {"sentences", "heads", "rows"},
//!  "sheets": [{"name", "title", "reference",
//!              "columns": [{"name", "title", "unit", "kind", "entered", "formula", "source"}],
//!              "rows": [{column: number, text or flag}]}]}
//! ```
//!
//! Numbers stand in the unit of their column. A cell in which nothing is left out of its row: missing is
//! neither 0 nor an empty text. A change that a reader would notice raises the number in `format`.

use super::Done;
use super::Format;
use super::Request;
use super::Sink;
use super::Written;
use super::fields;
use super::fields::Field;
use super::stored::Datum;
use super::unwritten;
use crate::plan::Assumption;
use crate::plan::Entry;
use crate::problem::Problem;
use crate::problem::clean;
use crate::sheet::ColumnKind;
use crate::table::SheetId;
use crate::trade::Finding;
use crate::units::exact;
use serde::Serialize;
use serde::Serializer;
use serde::ser::SerializeMap;
use serde_json::ser::Formatter;
use std::borrow::Cow;
use std::io;
use std::io::BufWriter;
use std::io::Write;

/// The format.
pub(super) const FORMAT: Format = Format {
    name: "data",
    endings: &["json"],
    doc: "all sheets for programs, with units, verdicts, findings, assumptions and sources; --sheet takes some",
    leaves_out: "how columns are ordered and hidden; what is missing has no key",
    shows_studies: true,
    most_findings: MOST_FINDINGS,
    write,
};

/// So many findings are written out.
const MOST_FINDINGS: usize = 100_000;

/// What the text is, and in which version.
const NAME: &str = "portledger plan 1";

const ABOUT: &str = "Numbers stand in the unit of their column. A cell in which nothing stands has no key: missing is \
                     not 0. Never look into a fibre or port; local codes and licensed practice rule.";

fn write(
    request: &Request<'_>,
    out: &mut dyn Sink,
    progress: &mut dyn FnMut(Done),
) -> Result<Written, Problem> {
    request.all_states("json")?;
    let sheets = match request.choice.sheets.is_empty() {
        true => fields::filled(request),
        false => request.choice.sheets.clone(),
    };
    let rows = sheets
        .iter()
        .map(|sheet| request.plan.rows(*sheet).order().len());
    let mut writer = Writer {
        out: BufWriter::new(out),
        done: Done {
            rows: 0,
            of: rows.sum(),
        },
        progress,
        written: Written::default(),
    };
    writer
        .whole(request, &sheets)
        .map_err(|error| unwritten(&error))?;
    Ok(writer.written)
}

/// Writes everything that a terminal may obey, or that turns text around unseen, as an escape.
struct Visible;

impl Formatter for Visible {
    fn write_string_fragment<W: ?Sized + Write>(
        &mut self,
        out: &mut W,
        fragment: &str,
    ) -> io::Result<()> {
        if matches!(clean(fragment), Cow::Borrowed(_)) {
            return out.write_all(fragment.as_bytes());
        }
        for c in fragment.chars() {
            let text = c.encode_utf8(&mut [0; 4]).to_owned();
            if matches!(clean(&text), Cow::Borrowed(_)) {
                out.write_all(text.as_bytes())?;
                continue;
            }
            for half in c.encode_utf16(&mut [0; 2]) {
                write!(out, "\\u{half:04x}")?;
            }
        }
        Ok(())
    }
}

struct Writer<'w> {
    out: BufWriter<&'w mut dyn Sink>,
    done: Done,
    progress: &'w mut dyn FnMut(Done),
    written: Written,
}

impl Writer<'_> {
    fn whole(&mut self, request: &Request<'_>, sheets: &[SheetId]) -> io::Result<()> {
        self.text("{\n\"format\":")?;
        self.value(&NAME)?;
        self.key("about", &ABOUT)?;
        self.key("plan", &Plan::new(request))?;
        let [stop, caution, note] = request.findings.counts;
        self.key(
            "counts",
            &Counts {
                stop,
                caution,
                note,
            },
        )?;
        let findings = request
            .findings
            .list
            .iter()
            .map(|one| Found::new(request, one));
        self.list("findings", findings)?;
        let known = request.plan.assumptions().iter();
        self.list("assumptions", known.map(|one| Assumed::new(request, one)))?;
        self.key(
            "proposal",
            &request.proposal.as_ref().map(|page| Page {
                title: Some(&page.title),
                sentences: &page.sentences,
                heads: &page.heads,
                rows: &page.rows,
            }),
        )?;
        self.key(
            "order",
            &request.order.as_ref().map(|page| Page {
                title: None,
                sentences: &page.sentences,
                heads: &page.heads,
                rows: &page.rows,
            }),
        )?;
        self.text(",\n\"sheets\":[")?;
        for (at, sheet) in sheets.iter().enumerate() {
            self.text(if at == 0 { "\n" } else { ",\n" })?;
            self.sheet(request, *sheet)?;
        }
        self.text("\n]\n}\n")?;
        self.out.flush()
    }

    fn sheet(&mut self, request: &Request<'_>, sheet: SheetId) -> io::Result<()> {
        let def = request.plan.def(sheet);
        self.text("{\"name\":")?;
        self.value(&def.name)?;
        self.key("title", &def.title)?;
        self.key("reference", &def.reference)?;
        let fields = fields::all(request, sheet);
        self.list(
            "columns",
            fields.iter().map(|field| Column::new(request, field)),
        )?;
        self.text(",\n\"rows\":[")?;
        for row in 0..request.plan.rows(sheet).order().len() {
            self.text(if row == 0 { "\n" } else { ",\n" })?;
            self.value(&Row {
                fields: &fields,
                row,
            })?;
            self.done.rows += 1;
            if self.done.rows.is_multiple_of(256) {
                (self.progress)(self.done);
            }
        }
        self.written.pages.push(def.title.clone());
        self.written.n_values += fields.len() * request.plan.rows(sheet).order().len();
        self.text("\n]}")
    }

    fn text(&mut self, text: &str) -> io::Result<()> {
        self.out.write_all(text.as_bytes())
    }

    fn value(&mut self, value: &impl Serialize) -> io::Result<()> {
        let mut serializer = serde_json::Serializer::with_formatter(&mut self.out, Visible);
        value.serialize(&mut serializer).map_err(io::Error::from)
    }

    fn key(&mut self, key: &str, value: &impl Serialize) -> io::Result<()> {
        self.text(",\n")?;
        self.value(&key)?;
        self.text(":")?;
        self.value(value)
    }

    fn list<T: Serialize>(&mut self, key: &str, all: impl Iterator<Item = T>) -> io::Result<()> {
        self.text(",\n")?;
        self.value(&key)?;
        self.text(":[")?;
        for (at, one) in all.enumerate() {
            self.text(if at == 0 { "\n" } else { ",\n" })?;
            self.value(&one)?;
        }
        self.text("\n]")
    }
}

#[derive(Serialize)]
struct Plan<'a> {
    title: &'a str,
    name: &'a str,
    id: &'a str,
    revision: &'a str,
    date: Option<String>,
    program: String,
}

impl<'a> Plan<'a> {
    fn new(request: &'a Request<'_>) -> Self {
        Self {
            title: &request.plan.title,
            name: &request.name,
            id: &request.identity.id,
            revision: &request.identity.revision,
            date: request
                .date
                .map(|(year, month, day)| format!("{year:04}-{month:02}-{day:02}")),
            program: format!("portledger {}", env!("CARGO_PKG_VERSION")),
        }
    }
}

#[derive(Serialize)]
struct Counts {
    stop: usize,
    caution: usize,
    note: usize,
}

#[derive(Serialize)]
struct Found<'a> {
    severity: &'a str,
    check: &'a str,
    sheet: &'a str,
    row: String,
    finding: &'a str,
    advice: &'a str,
    source: &'a str,
}

impl<'a> Found<'a> {
    fn new(request: &'a Request<'_>, finding: &'a Finding) -> Self {
        Self {
            severity: finding.severity.word(),
            check: &finding.check,
            sheet: &request.plan.def(finding.sheet).name,
            row: request.plan.id(finding.sheet, finding.row),
            finding: &finding.sentence,
            advice: &finding.advice,
            source: &finding.source,
        }
    }
}

#[derive(Serialize)]
struct Assumed<'a> {
    name: &'a str,
    title: &'a str,
    value: Value<'a>,
    unit: &'a str,
    source: &'a str,
    confidence: Option<&'a str>,
    yours: bool,
    about: &'a str,
}

impl<'a> Assumed<'a> {
    fn new(request: &Request<'_>, known: &'a Assumption) -> Self {
        Self {
            name: &known.def.name,
            title: &known.def.title,
            value: Value(match &known.entry {
                Entry::Empty => Datum::Empty,
                Entry::Number(base) => {
                    let typed = exact(*base, &known.unit).parse();
                    Datum::Number(typed.unwrap_or_else(|_| known.unit.from_base(*base)))
                }
                Entry::Text(code) => Datum::Text(request.plan.names().text(*code).into()),
                Entry::Wrong(text) => Datum::Text(text.as_str().into()),
            }),
            unit: &known.unit.symbol,
            source: &known.source,
            // A value that a person set has a source of theirs, and no mark of ours.
            confidence: (!known.own).then_some(&*known.def.confidence),
            yours: known.own,
            about: &known.def.doc,
        }
    }
}

#[derive(Serialize)]
struct Page<'a> {
    #[serde(skip_serializing_if = "Option::is_none")]
    title: Option<&'a str>,
    sentences: &'a [String],
    heads: &'a [String],
    rows: &'a [Vec<String>],
}

#[derive(Serialize)]
struct Column<'a> {
    name: &'a str,
    title: &'a str,
    unit: &'a str,
    kind: &'a str,
    entered: bool,
    formula: Option<&'a str>,
    source: &'a str,
}

impl<'a> Column<'a> {
    fn new(request: &'a Request<'_>, field: &Field<'a>) -> Self {
        let formula = request.engine.formula(field.id);
        let own = formula.map(|formula| formula.text.as_str());
        Self {
            name: &field.def.name,
            title: &field.def.title,
            unit: &field.def.unit,
            kind: match field.def.kind {
                ColumnKind::Number => "number",
                ColumnKind::Text => "text",
                ColumnKind::Choice => "choice",
                ColumnKind::Row => "row",
                ColumnKind::Flag => "flag",
            },
            entered: field.def.entered(),
            formula: own.or(field.def.formula.as_deref()),
            source: &field.def.source,
        }
    }
}

struct Row<'r> {
    fields: &'r [Field<'r>],
    row: usize,
}

impl Serialize for Row<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(None)?;
        for field in self.fields {
            let datum = field.at(self.row);
            if datum != Datum::Empty {
                map.serialize_entry(&field.def.name, &Value(datum))?;
            }
        }
        map.end()
    }
}

struct Value<'a>(Datum<'a>);

impl Serialize for Value<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match &self.0 {
            Datum::Empty => serializer.serialize_none(),
            Datum::Number(value) => serializer.serialize_f64(*value),
            Datum::Flag(flag) => serializer.serialize_bool(*flag),
            Datum::Text(text) => serializer.serialize_str(text),
        }
    }
}
