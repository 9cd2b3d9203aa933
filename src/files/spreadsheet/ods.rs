//! Pages of OpenDocument spreadsheets, row by row.
//!
//! An own reading of `content.xml`: a file of this form can say that a cell is repeated millions
//! of times, so that it must not be unfolded before it is counted.

use super::grid::Kind;
use super::package::{Found, attribute, unescaped};
use super::serve::{Pages, Sheet, Stop, damaged, failed};
use super::{Area, Form, MAX_CELL_TEXT};
use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};
use rustc_hash::FxHashSet;
use std::borrow::Cow;
use std::io::{BufRead, BufReader, Cursor, Write};
use zip::ZipArchive;

/// The most columns of a page; the largest that programs make have as many.
const MAX_COLUMNS: u32 = 16_384;

/// The most rows of a page.
const MAX_ROWS: u32 = 1_048_576;

/// Sends the pages that are wanted.
pub(super) fn read<W: Write>(
    bytes: &[u8],
    found: &Found,
    pages: &mut Pages<'_, W>,
) -> Result<(), Stop> {
    let mut zip = ZipArchive::new(Cursor::new(bytes)).map_err(damaged)?;
    if is_protected(&mut zip) {
        let what = "the file is protected by a password";
        return Err(failed("password", what));
    }
    let n_pages = n_pages(&mut zip)?;
    pages.begin(Form::Ods, false, &found.properties, &found.notes)?;
    let part = zip.by_name("content.xml").map_err(damaged)?;
    let mut xml = Xml::new(BufReader::with_capacity(1 << 16, part));
    let (mut hidden, mut style) = (FxHashSet::default(), None);
    let mut at = 0;
    loop {
        match xml.next()? {
            Step::Open(tag) => match tag.name {
                "style" => style = tag.of("name"),
                "table-properties" if tag.of("display").as_deref() == Some("false") => {
                    hidden.extend(style.clone());
                }
                "table" => {
                    let name = tag.of("name").unwrap_or_default();
                    let is_hidden = tag
                        .of("style-name")
                        .is_some_and(|style| hidden.contains(&style));
                    if pages.wants(at) {
                        let (mut done, is_empty) = (false, tag.is_empty);
                        pages.page(&name, is_hidden, n_pages, |to| {
                            let merged = match is_empty {
                                true => Vec::new(),
                                false => table(&mut xml, to)?,
                            };
                            done = true;
                            Ok(merged)
                        })?;
                        // What stopped a page leaves the place in the file unknown.
                        if !done {
                            return Ok(());
                        }
                    } else if !tag.is_empty {
                        xml.skip("table")?;
                    }
                    at += 1;
                }
                _ => {}
            },
            Step::Close(_) | Step::Text(_) => {}
            Step::End => return Ok(()),
        }
    }
}

fn is_protected(zip: &mut ZipArchive<Cursor<&[u8]>>) -> bool {
    let Ok(part) = zip.by_name("META-INF/manifest.xml") else {
        return false;
    };
    let mut xml = Xml::new(BufReader::new(part));
    loop {
        match xml.next() {
            Ok(Step::Open(tag)) if tag.name == "encryption-data" => return true,
            Ok(Step::End) | Err(_) => return false,
            Ok(Step::Open(_) | Step::Close(_) | Step::Text(_)) => {}
        }
    }
}

/// How many pages there are.
fn n_pages(zip: &mut ZipArchive<Cursor<&[u8]>>) -> Result<usize, Stop> {
    let part = zip.by_name("content.xml").map_err(damaged)?;
    let mut text = BufReader::with_capacity(1 << 16, part);
    let (word, mut n, mut seam) = (b"<table:table ", 0, Vec::new());
    let finder = memchr::memmem::Finder::new(word);
    loop {
        let piece = text.fill_buf().map_err(damaged)?;
        if piece.is_empty() {
            return Ok(n);
        }
        let len = piece.len();
        // One that begins in the piece before ends here.
        let most = word.len() - 1;
        seam.extend_from_slice(&piece[..len.min(most)]);
        n += finder.find_iter(&seam).count() + finder.find_iter(piece).count();
        if len > most {
            seam.clear();
            seam.extend_from_slice(&piece[len - most..]);
        }
        seam.drain(..seam.len().saturating_sub(most));
        text.consume(len);
    }
}

/// One step through the text.
enum Step {
    Open(Tag),
    Close(&'static str),
    Text(String),
    End,
}

/// An element that opens.
struct Tag {
    name: &'static str,
    attributes: BytesStart<'static>,
    /// Whether it closes at once; then a step of closing is not coming.
    is_empty: bool,
}

impl Tag {
    fn of(&self, name: &str) -> Option<String> {
        attribute(&self.attributes, name)
    }

    fn number(&self, name: &str, or: u32) -> u32 {
        self.of(name)
            .and_then(|text| text.parse().ok())
            .unwrap_or(or)
    }
}

/// The name of an element without its prefix; empty for those that nobody asks for.
fn known(name: &str) -> &'static str {
    const NAMES: [&str; 15] = [
        "table-cell",
        "p",
        "table-row",
        "covered-table-cell",
        "s",
        "tab",
        "line-break",
        "h",
        "annotation",
        "shapes",
        "table",
        "style",
        "table-properties",
        "encryption-data",
        "",
    ];
    let same = NAMES.iter().find(|known| **known == name);
    same.copied().unwrap_or_default()
}

/// The text of a part, by elements without their prefixes.
struct Xml<B: BufRead> {
    reader: Reader<B>,
    buffer: Vec<u8>,
}

impl<B: BufRead> Xml<B> {
    fn new(from: B) -> Self {
        Self {
            reader: Reader::from_reader(from),
            buffer: Vec::new(),
        }
    }

    fn next(&mut self) -> Result<Step, Stop> {
        loop {
            self.buffer.clear();
            let event = self.reader.read_event_into(&mut self.buffer);
            return Ok(match event.map_err(damaged)? {
                Event::Start(tag) => Step::Open(Tag {
                    name: known(tag.local_name().as_ref()),
                    attributes: tag.into_owned(),
                    is_empty: false,
                }),
                Event::Empty(tag) => Step::Open(Tag {
                    name: known(tag.local_name().as_ref()),
                    attributes: tag.into_owned(),
                    is_empty: true,
                }),
                Event::End(tag) => Step::Close(known(tag.local_name().as_ref())),
                Event::Text(text) => Step::Text(unescaped(&text)),
                Event::CData(text) => Step::Text(text.to_string()),
                Event::GeneralRef(entity) => Step::Text(entity_text(&entity)?),
                Event::Eof => Step::End,
                Event::Comment(_) | Event::Decl(_) | Event::PI(_) | Event::DocType(_) => continue,
            });
        }
    }

    /// Goes on behind the end of the element that was opened last, one of its name inside it
    /// counted.
    fn skip(&mut self, name: &str) -> Result<(), Stop> {
        let mut depth = 1;
        while depth > 0 {
            match self.next()? {
                Step::Open(tag) if tag.name == name && !tag.is_empty => depth += 1,
                Step::Close(closed) if closed == name => depth -= 1,
                Step::End => return Err(damaged("it breaks off")),
                Step::Open(_) | Step::Close(_) | Step::Text(_) => {}
            }
        }
        Ok(())
    }
}

/// One of the five entities or a character by its number; others are not followed.
fn entity_text(entity: &str) -> Result<String, Stop> {
    let text = format!("&{entity};");
    let unescaped = quick_xml::escape::unescape(&text);
    Ok(unescaped.map_err(damaged)?.into_owned())
}

/// A cell as it was read.
struct Read {
    column: u32,
    n_times: u32,
    kind: Kind,
    text: String,
    formula: Option<String>,
}

/// Sends the rows of a table, which is open; gives its merged cells.
fn table<B: BufRead, W: Write>(xml: &mut Xml<B>, to: &mut Sheet<'_, W>) -> Result<Vec<Area>, Stop> {
    let (mut merged, mut row) = (Vec::new(), 1_u32);
    loop {
        match xml.next()? {
            Step::Open(tag) if tag.name == "table-row" => {
                let n_times = tag.number("number-rows-repeated", 1);
                let is_hidden =
                    matches!(tag.of("visibility").as_deref(), Some("collapse" | "filter"));
                let cells = match tag.is_empty {
                    true => Vec::new(),
                    false => cells(xml, row, &mut merged)?,
                };
                let n_sent = if cells.is_empty() { 0 } else { n_times };
                for _ in 0..n_sent {
                    if row > MAX_ROWS || !send(to, row, is_hidden, &cells)? {
                        xml.skip("table")?;
                        return Ok(merged);
                    }
                    row += 1;
                }
                row = row.saturating_add(n_times - n_sent.min(n_times));
            }
            Step::Close("table") => return Ok(merged),
            Step::End => return Err(damaged("it breaks off")),
            Step::Open(_) | Step::Close(_) | Step::Text(_) => {}
        }
    }
}

/// Sends a row; `false` where no more are wanted.
fn send<W: Write>(
    to: &mut Sheet<'_, W>,
    row: u32,
    is_hidden: bool,
    cells: &[Read],
) -> Result<bool, Stop> {
    if !to.begin_row(row, is_hidden)? {
        return Ok(false);
    }
    for cell in cells {
        for column in cell.column..cell.column.saturating_add(cell.n_times).min(MAX_COLUMNS) {
            to.cell(column, cell.kind, &cell.text, cell.formula.as_deref())?;
        }
    }
    Ok(true)
}

/// The cells of a row, which is open, that hold something.
fn cells<B: BufRead>(
    xml: &mut Xml<B>,
    row: u32,
    merged: &mut Vec<Area>,
) -> Result<Vec<Read>, Stop> {
    let (mut cells, mut column) = (Vec::new(), 0_u32);
    loop {
        match xml.next()? {
            Step::Open(tag) if matches!(tag.name, "table-cell" | "covered-table-cell") => {
                let text = match tag.is_empty {
                    true => String::new(),
                    false => paragraphs(xml, tag.name)?,
                };
                let said = Said::of(&tag.attributes);
                let [n_times, across, down] =
                    [said.n_times, said.across, said.down].map(|n| n.unwrap_or(1));
                if (across > 1 || down > 1) && merged.len() < 100_000 {
                    merged.push(Area {
                        top: row,
                        bottom: row.saturating_add(down.max(1) - 1),
                        left: column,
                        right: column.saturating_add(across.max(1) - 1),
                    });
                }
                if tag.name == "table-cell"
                    && let Some((kind, text, formula)) = content(said, text)
                {
                    cells.push(Read {
                        column,
                        n_times,
                        kind,
                        text,
                        formula,
                    });
                }
                column = column.saturating_add(n_times);
            }
            Step::Close("table-row") => return Ok(cells),
            Step::End => return Err(damaged("it breaks off")),
            Step::Open(_) | Step::Close(_) | Step::Text(_) => {}
        }
    }
}

/// The text of a cell, which is open: its paragraphs as lines, remarks left out.
fn paragraphs<B: BufRead>(xml: &mut Xml<B>, cell: &str) -> Result<String, Stop> {
    let (mut text, mut n_paragraphs, mut depth) = (String::new(), 0, 0);
    loop {
        match xml.next()? {
            Step::Open(tag) => match tag.name {
                "annotation" | "shapes" if !tag.is_empty => xml.skip(tag.name)?,
                "p" | "h" => {
                    if n_paragraphs > 0 {
                        text.push('\n');
                    }
                    n_paragraphs += 1;
                    depth += usize::from(!tag.is_empty);
                }
                "s" => {
                    let n = tag.number("c", 1).min(1000) as usize;
                    text.extend(std::iter::repeat_n(' ', n));
                }
                "tab" => text.push('\t'),
                "line-break" => text.push('\n'),
                // A table within a cell would end it too early.
                "table" if !tag.is_empty => xml.skip("table")?,
                _ => {}
            },
            Step::Close(name) if name == cell => return Ok(text),
            Step::Close(name) => depth -= usize::from(matches!(name, "p" | "h")).min(depth),
            Step::Text(piece) if depth > 0 => {
                if text.len() + piece.len() > MAX_CELL_TEXT {
                    let what = "a cell holds more than 1 MB of text";
                    return Err(failed("too-many-cells", what));
                }
                text.push_str(&piece);
            }
            Step::Text(_) => {}
            Step::End => return Err(damaged("it breaks off")),
        }
    }
}

/// What the attributes of a cell say, each looked for without its prefix; the first of a name
/// counts.
#[derive(Default)]
struct Said<'t> {
    n_times: Option<u32>,
    across: Option<u32>,
    down: Option<u32>,
    /// Errors are texts to older readers; a second attribute of the same name says the truth.
    is_error: bool,
    value_type: Option<Cow<'t, str>>,
    value: Option<Cow<'t, str>>,
    date: Option<Cow<'t, str>>,
    flag: Option<Cow<'t, str>>,
    string: Option<Cow<'t, str>>,
    formula: Option<Cow<'t, str>>,
}

impl<'t> Said<'t> {
    fn of(element: &'t BytesStart<'static>) -> Self {
        let mut said = Self::default();
        let mut attributes = element.attributes();
        for known in attributes.with_checks(false).filter_map(Result::ok) {
            let number = |of: &mut Option<u32>| {
                of.get_or_insert_with(|| unescaped(&known.value).parse().unwrap_or(1));
            };
            let text = |of: &mut Option<Cow<'t, str>>, value| {
                of.get_or_insert(value);
            };
            match known.key.local_name().as_ref() {
                "number-columns-repeated" => number(&mut said.n_times),
                "number-columns-spanned" => number(&mut said.across),
                "number-rows-spanned" => number(&mut said.down),
                "value-type" => {
                    said.is_error |= &*known.value == "error";
                    text(&mut said.value_type, known.value);
                }
                "value" => text(&mut said.value, known.value),
                "date-value" => text(&mut said.date, known.value),
                "boolean-value" => text(&mut said.flag, known.value),
                "string-value" => text(&mut said.string, known.value),
                "formula" => text(&mut said.formula, known.value),
                _ => {}
            }
        }
        said
    }
}

/// What a cell holds; none for an empty one.
fn content(said: Said<'_>, shown: String) -> Option<(Kind, String, Option<String>)> {
    let text = |said: Option<Cow<'_, str>>| said.map(|text| unescaped(&text));
    let formula = text(said.formula).map(|formula| {
        let text = formula.split_once('=').map(|(_, text)| text.to_owned());
        text.unwrap_or(formula)
    });
    if said.is_error {
        return Some((Kind::Error, shown, formula));
    }
    let number = |text: Option<String>| {
        let value = text.as_deref().and_then(|text| text.parse::<f64>().ok())?;
        let mut text = String::new();
        let kind = super::serve::put_number(&mut text, value);
        Some((kind, text))
    };
    let (kind, text) = match text(said.value_type).as_deref() {
        Some("float" | "percentage" | "currency") => {
            number(text(said.value)).unwrap_or((Kind::Text, shown))
        }
        Some("date") => {
            let date = text(said.date).unwrap_or(shown);
            let date = date.strip_suffix("T00:00:00").unwrap_or(&date);
            (Kind::Date, date.replacen('T', " ", 1))
        }
        Some("time") => (Kind::Date, shown),
        Some("boolean") => {
            let is_true = text(said.flag).as_deref() == Some("true");
            (
                Kind::Flag,
                if is_true { "TRUE" } else { "FALSE" }.to_owned(),
            )
        }
        Some("string") => (Kind::Text, text(said.string).unwrap_or(shown)),
        Some(_) | None => match (&formula, shown.is_empty()) {
            (Some(_), true) => (Kind::NotCalculated, String::new()),
            (_, _) => (Kind::Text, shown),
        },
    };
    let is_something = !text.is_empty() || formula.is_some() || kind == Kind::NotCalculated;
    is_something.then_some((kind, text, formula))
}
