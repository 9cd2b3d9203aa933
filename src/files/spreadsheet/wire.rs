//! What goes from the process that reads to the one that asked: length-prefixed records.
//!
//! A record is four bytes of length, one of kind, then its body; numbers in a body are of variable
//! length, seven bits a byte, lowest first. The receiving side trusts nothing of it.

use super::grid::Kind;
use super::{Area, Book, Form, MAX_CELLS, Page};
use std::io::{self, Write};

/// The longest record that is taken, in bytes.
const MAX_RECORD: usize = 8_000_000;

/// Rows are sent together up to about so many bytes.
const BATCH: usize = 60_000;

/// The kinds of records.
mod kind {
    pub const BOOK: u8 = b'B';
    pub const PROPERTY: u8 = b'C';
    pub const NOTE: u8 = b'N';
    pub const PAGE: u8 = b'P';
    pub const ROWS: u8 = b'R';
    pub const MERGED: u8 = b'M';
    pub const PAGE_END: u8 = b'E';
    pub const FAILED: u8 = b'F';
    pub const END: u8 = b'Z';
}

/// A problem as it goes between processes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Failure {
    /// What is wrong, as a code that `apart.rs` knows.
    pub code: String,
    /// One line.
    pub message: String,
}

/// The sending side.
pub struct Sender<W: Write> {
    to: W,
    rows: Vec<u8>,
    /// The cells of the row that is being made.
    row: Vec<u8>,
    n_row_cells: u64,
    row_at: Option<(u32, bool)>,
    n_cells: usize,
}

impl<W: Write> Sender<W> {
    /// Over a stream.
    pub fn new(to: W) -> Self {
        Self {
            to,
            rows: Vec::new(),
            row: Vec::new(),
            n_row_cells: 0,
            row_at: None,
            n_cells: 0,
        }
    }

    fn record(&mut self, kind: u8, body: &[u8]) -> io::Result<()> {
        let n = u32::try_from(body.len() + 1).map_err(|_| io::ErrorKind::InvalidData)?;
        self.to.write_all(&n.to_le_bytes())?;
        self.to.write_all(&[kind])?;
        self.to.write_all(body)
    }

    /// What kind of file it is.
    pub fn book(&mut self, form: Form, from_1904: bool) -> io::Result<()> {
        let form = match form {
            Form::Xlsx => 0,
            Form::Xlsb => 1,
            Form::Xls => 2,
            Form::Ods => 3,
            Form::Text => 4,
        };
        self.record(kind::BOOK, &[form, u8::from(from_1904)])
    }

    /// A custom property.
    pub fn property(&mut self, name: &str, value: &str) -> io::Result<()> {
        let mut body = Vec::new();
        put_text(&mut body, name);
        put_text(&mut body, value);
        self.record(kind::PROPERTY, &body)
    }

    /// Something to be known of the file.
    pub fn note(&mut self, note: &str) -> io::Result<()> {
        self.record(kind::NOTE, note.as_bytes())
    }

    /// Begins a page.
    pub fn page(&mut self, name: &str, is_hidden: bool) -> io::Result<()> {
        let mut body = vec![u8::from(is_hidden)];
        body.extend(name.as_bytes());
        self.record(kind::PAGE, &body)
    }

    /// Begins a row; the one before is done.
    pub fn begin_row(&mut self, number: u32, hidden: bool) -> io::Result<()> {
        self.end_row()?;
        self.row_at = Some((number, hidden));
        Ok(())
    }

    /// A cell of the row begun last.
    pub fn cell(
        &mut self,
        column: u32,
        kind: Kind,
        text: &str,
        formula: Option<&str>,
    ) -> io::Result<()> {
        let mark = kind.number() << 1 | u8::from(formula.is_some());
        put_number(&mut self.row, u64::from(column));
        self.row.push(mark);
        put_text(&mut self.row, text);
        if let Some(formula) = formula {
            put_text(&mut self.row, formula);
        }
        self.n_row_cells += 1;
        self.n_cells += 1;
        Ok(())
    }

    /// How many cells were sent.
    pub fn n_cells(&self) -> usize {
        self.n_cells
    }

    fn end_row(&mut self) -> io::Result<()> {
        let Some((number, hidden)) = self.row_at.take() else {
            return Ok(());
        };
        put_number(&mut self.rows, u64::from(number) << 1 | u64::from(hidden));
        put_number(&mut self.rows, self.n_row_cells);
        self.rows.append(&mut self.row);
        self.n_row_cells = 0;
        match self.rows.len() >= BATCH {
            true => self.flush_rows(),
            false => Ok(()),
        }
    }

    fn flush_rows(&mut self) -> io::Result<()> {
        let rows = std::mem::take(&mut self.rows);
        if !rows.is_empty() {
            self.record(kind::ROWS, &rows)?;
        }
        self.rows = rows;
        self.rows.clear();
        Ok(())
    }

    /// Ends a page.
    pub fn end_page(
        &mut self,
        merged: &[Area],
        is_whole: bool,
        trouble: Option<&str>,
    ) -> io::Result<()> {
        self.end_row()?;
        self.flush_rows()?;
        let mut body = Vec::new();
        for area in merged {
            for number in [area.top, area.bottom, area.left, area.right] {
                put_number(&mut body, u64::from(number));
            }
        }
        self.record(kind::MERGED, &body)?;
        let mut body = vec![u8::from(is_whole)];
        body.extend(trouble.unwrap_or_default().as_bytes());
        self.record(kind::PAGE_END, &body)
    }

    /// The file cannot be read.
    pub fn failed(&mut self, failure: &Failure) -> io::Result<()> {
        let mut body = Vec::new();
        put_text(&mut body, &failure.code);
        put_text(&mut body, &failure.message);
        self.record(kind::FAILED, &body)?;
        self.to.flush()
    }

    /// Everything was sent.
    pub fn end(&mut self) -> io::Result<()> {
        self.record(kind::END, &[])?;
        self.to.flush()
    }
}

fn put_number(to: &mut Vec<u8>, mut number: u64) {
    while number >= 0x80 {
        to.push(number.to_le_bytes()[0] | 0x80);
        number >>= 7;
    }
    to.push(number.to_le_bytes()[0]);
}

fn put_text(to: &mut Vec<u8>, text: &str) {
    put_number(to, text.len() as u64);
    to.extend(text.as_bytes());
}

/// What has arrived so far.
#[derive(Debug, Default)]
pub struct Arrived {
    bytes: Vec<u8>,
    at: usize,
    book: Option<Book>,
    /// Whether a page is being received.
    in_page: bool,
    /// Whether everything was said.
    pub is_done: bool,
    /// How many rows have arrived.
    pub n_rows: usize,
    n_cells: usize,
}

/// Bytes that are no records of ours, or more than is taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Refusal {
    /// No records of ours.
    Broken,
    /// More cells or text than is taken.
    TooMuch,
    /// The other side says why it cannot go on.
    Said(Failure),
}

impl Arrived {
    /// Takes bytes as they come.
    ///
    /// # Errors
    /// Records that are none, that are too much, or that say what is wrong.
    pub fn take(&mut self, bytes: &[u8]) -> Result<(), Refusal> {
        self.bytes.extend_from_slice(bytes);
        while let Some(head) = self.bytes.get(self.at..self.at + 4) {
            let n = u32::from_le_bytes([head[0], head[1], head[2], head[3]]) as usize;
            if n == 0 || n > MAX_RECORD || self.is_done {
                return Err(Refusal::Broken);
            }
            let span = self.at + 4..self.at + 4 + n;
            if self.bytes.len() < span.end {
                break;
            }
            let whole = std::mem::take(&mut self.bytes);
            let taken = self.record(&whole[span.clone()]);
            self.bytes = whole;
            self.at = span.end;
            taken?;
        }
        self.bytes.drain(..self.at);
        self.at = 0;
        Ok(())
    }

    /// The book, when everything was said.
    pub fn book(self) -> Option<Book> {
        let mut book = self.book.filter(|_| self.is_done && !self.in_page)?;
        for page in &mut book.pages {
            page.grid.in_order();
        }
        Some(book)
    }

    fn record(&mut self, record: &[u8]) -> Result<(), Refusal> {
        let (kind, body) = record.split_first().ok_or(Refusal::Broken)?;
        match *kind {
            kind::BOOK => self.begin(body),
            kind::PROPERTY => {
                let mut rest = body;
                let (name, value) = (text(&mut rest)?.to_owned(), text(&mut rest)?.to_owned());
                self.open()?.properties.push((name, value));
                Ok(())
            }
            kind::NOTE => {
                let note = utf8(body)?.to_owned();
                self.open()?.notes.push(note);
                Ok(())
            }
            kind::PAGE => self.page(body),
            kind::ROWS => self.rows(body),
            kind::MERGED => self.merged(body),
            kind::PAGE_END => self.page_end(body),
            kind::FAILED => {
                let mut rest = body;
                Err(Refusal::Said(Failure {
                    code: text(&mut rest)?.to_owned(),
                    message: text(&mut rest)?.to_owned(),
                }))
            }
            kind::END => {
                self.is_done = true;
                Ok(())
            }
            _ => Err(Refusal::Broken),
        }
    }

    fn open(&mut self) -> Result<&mut Book, Refusal> {
        self.book.as_mut().ok_or(Refusal::Broken)
    }

    fn begin(&mut self, body: &[u8]) -> Result<(), Refusal> {
        let form = match body.first() {
            Some(0) => Form::Xlsx,
            Some(1) => Form::Xlsb,
            Some(2) => Form::Xls,
            Some(3) => Form::Ods,
            Some(_) | None => return Err(Refusal::Broken),
        };
        self.book = Some(Book {
            form,
            pages: Vec::new(),
            properties: Vec::new(),
            notes: Vec::new(),
            from_1904: body.get(1) == Some(&1),
        });
        Ok(())
    }

    fn page(&mut self, body: &[u8]) -> Result<(), Refusal> {
        let (hidden, name) = body.split_first().ok_or(Refusal::Broken)?;
        let page = Page {
            name: utf8(name)?.to_owned(),
            is_hidden: *hidden == 1,
            ..Page::default()
        };
        self.open()?.pages.push(page);
        self.in_page = true;
        Ok(())
    }

    fn here(&mut self) -> Result<&mut Page, Refusal> {
        let in_page = self.in_page;
        let page = self.open()?.pages.last_mut().filter(|_| in_page);
        page.ok_or(Refusal::Broken)
    }

    fn rows(&mut self, mut body: &[u8]) -> Result<(), Refusal> {
        let (mut n_rows, mut n_cells) = (0, self.n_cells);
        let page = self.here()?;
        while !body.is_empty() {
            let head = number(&mut body)?;
            let row = u32::try_from(head >> 1).map_err(|_| Refusal::Broken)?;
            page.grid.begin_row(row, head & 1 == 1);
            n_rows += 1;
            for _ in 0..number(&mut body)? {
                n_cells += 1;
                if n_cells > MAX_CELLS {
                    return Err(Refusal::TooMuch);
                }
                cell(&mut page.grid, &mut body)?;
            }
        }
        self.n_rows += n_rows;
        self.n_cells = n_cells;
        Ok(())
    }

    fn merged(&mut self, mut body: &[u8]) -> Result<(), Refusal> {
        let page = self.here()?;
        while !body.is_empty() {
            let mut next = || -> Result<u32, Refusal> {
                u32::try_from(number(&mut body)?).map_err(|_| Refusal::Broken)
            };
            page.merged.push(Area {
                top: next()?,
                bottom: next()?,
                left: next()?,
                right: next()?,
            });
        }
        Ok(())
    }

    fn page_end(&mut self, body: &[u8]) -> Result<(), Refusal> {
        let (is_whole, trouble) = body.split_first().ok_or(Refusal::Broken)?;
        let (is_whole, trouble) = (*is_whole == 1, utf8(trouble)?.to_owned());
        let page = self.here()?;
        page.is_whole = is_whole;
        page.trouble = Some(trouble).filter(|trouble| !trouble.is_empty());
        self.in_page = false;
        Ok(())
    }
}

fn cell(grid: &mut super::Grid, body: &mut &[u8]) -> Result<(), Refusal> {
    let column = usize::try_from(number(body)?).map_err(|_| Refusal::Broken)?;
    let (mark, rest) = body.split_first().ok_or(Refusal::Broken)?;
    *body = rest;
    let kind = Kind::ALL.get(usize::from(mark >> 1));
    let kind = *kind.ok_or(Refusal::Broken)?;
    let mut fits = grid.push(column, kind, text(body)?);
    if mark & 1 == 1 {
        fits &= grid.formula(text(body)?);
    }
    match fits {
        true => Ok(()),
        false => Err(Refusal::TooMuch),
    }
}

fn number(from: &mut &[u8]) -> Result<u64, Refusal> {
    let mut out = 0_u64;
    for shift in (0..63).step_by(7) {
        let (byte, rest) = from.split_first().ok_or(Refusal::Broken)?;
        *from = rest;
        out |= u64::from(byte & 0x7f) << shift;
        if byte & 0x80 == 0 {
            return Ok(out);
        }
    }
    Err(Refusal::Broken)
}

fn text<'b>(from: &mut &'b [u8]) -> Result<&'b str, Refusal> {
    let n = usize::try_from(number(from)?).map_err(|_| Refusal::Broken)?;
    let (text, rest) = from.split_at_checked(n).ok_or(Refusal::Broken)?;
    *from = rest;
    utf8(text)
}

fn utf8(bytes: &[u8]) -> Result<&str, Refusal> {
    std::str::from_utf8(bytes).map_err(|_| Refusal::Broken)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn sent() -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut to = Sender::new(&mut bytes);
        to.book(Form::Ods, true).unwrap();
        to.property("plan", "7").unwrap();
        to.note("has macros").unwrap();
        to.page("halls", true).unwrap();
        to.begin_row(3, false).unwrap();
        to.cell(0, Kind::Text, "tank", None).unwrap();
        to.cell(300, Kind::Number, "1.5", Some("A1*2")).unwrap();
        to.begin_row(9, true).unwrap();
        to.cell(1, Kind::Error, "#DIV/0!", None).unwrap();
        let area = Area {
            top: 1,
            bottom: 2,
            left: 0,
            right: 4,
        };
        to.end_page(&[area], true, None).unwrap();
        to.end().unwrap();
        bytes
    }

    #[test]
    fn what_is_sent_arrives_in_any_pieces() {
        let bytes = sent();
        for piece in [1, 2, 7, bytes.len()] {
            let mut arrived = Arrived::default();
            for piece in bytes.chunks(piece) {
                arrived.take(piece).unwrap();
            }
            let book = arrived.book().unwrap();
            assert_eq!((book.form, book.from_1904), (Form::Ods, true));
            assert_eq!(book.properties, [("plan".to_owned(), "7".to_owned())]);
            let page = &book.pages[0];
            assert!(page.is_hidden && page.is_whole && page.trouble.is_none());
            assert_eq!(page.merged.len(), 1);
            let row = page.grid.row(0).unwrap();
            assert_eq!((row.number(), row.width()), (3, 301));
            let cell = row.cell(300).unwrap();
            assert_eq!((cell.text, cell.formula), ("1.5", Some("A1*2")));
            assert!(page.grid.row(1).unwrap().is_hidden());
        }
    }

    #[test]
    fn what_breaks_off_is_no_book() {
        let bytes = sent();
        for n in 0..bytes.len() {
            let mut arrived = Arrived::default();
            arrived.take(&bytes[..n]).unwrap();
            assert!(arrived.book().is_none(), "{n}");
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn any_bytes_are_taken_or_refused(at in 0_usize..200, with in prop::collection::vec(any::<u8>(), 1..9)) {
            let mut bytes = sent();
            let at = at.min(bytes.len());
            let end = (at + with.len()).min(bytes.len());
            bytes.splice(at..end, with);
            let mut arrived = Arrived::default();
            let _ = arrived.take(&bytes).is_ok() && arrived.book().is_some();
        }
    }
}
