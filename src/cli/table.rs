//! Data with headings, written as aligned text, CSV or JSON.
//!
//! Which rows and columns there are is decided by the commands. Rows are made while they are
//! written, so that a sheet of a million rows needs no memory of its own.

use super::args::Form;
use super::print::Printer;
use crate::files::table_text::push_row;
use crate::problem::clean;
use crate::units::{Unit, shown, significant};
use std::borrow::Cow;
use unicode_width::UnicodeWidthStr;

/// Digits of a number in CSV and JSON: all that a decimal fraction keeps.
const DIGITS: usize = 15;

/// A cell, to be written for a person or for programs.
#[derive(Debug, Clone, PartialEq)]
pub enum Datum {
    /// A number in the unit of its column, and how many decimals a person sees.
    Number(f64, Option<u8>),
    /// A text; empty where there is nothing.
    Text(String),
    /// A word with the glyph that stands beside it for a person.
    Marked(char, String),
    /// Yes or no.
    Flag(bool),
    /// A result that is not a number.
    NoNumber,
}

/// A heading: name and unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Heading {
    /// The name.
    pub name: String,
    /// The unit; empty where there is none.
    pub unit: String,
    /// Whether cells are numbers and stand to the right.
    pub is_number: bool,
}

/// Rows under headings.
pub struct Table<'a> {
    headings: Vec<Heading>,
    n_rows: usize,
    /// Makes a row, as long as the headings.
    row: Box<dyn Fn(usize) -> Vec<Datum> + 'a>,
}

impl Datum {
    /// A text cell.
    pub fn text(text: impl Into<String>) -> Self {
        Self::Text(text.into())
    }

    /// For a person, without the unit.
    fn shown(&self) -> String {
        match self {
            Self::Number(value, decimals) => shown(*value, &Unit::none(), *decimals),
            Self::Text(text) => clean(text).into_owned(),
            Self::Marked(glyph, word) => format!("{glyph} {}", clean(word)),
            Self::Flag(flag) => if *flag { "yes" } else { "no" }.to_owned(),
            Self::NoNumber => "no number".to_owned(),
        }
    }

    /// For a spreadsheet: a text that would be taken for a formula is held as text by a mark.
    fn csv(&self) -> String {
        match self {
            Self::Number(value, _) => significant(*value, DIGITS),
            Self::Text(text) | Self::Marked(_, text) => held(text),
            Self::Flag(flag) => flag.to_string(),
            Self::NoNumber => String::new(),
        }
    }

    /// For programs.
    pub fn json(&self) -> String {
        match self {
            Self::Number(value, _) => json_number(*value, DIGITS),
            Self::Text(text) if text.is_empty() => "null".to_owned(),
            Self::Text(text) | Self::Marked(_, text) => json_text(text),
            Self::Flag(flag) => flag.to_string(),
            Self::NoNumber => "null".to_owned(),
        }
    }
}

/// A number as JSON, whole ones without a point.
pub fn json_number(value: f64, digits: usize) -> String {
    let text = significant(value, digits);
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() => text,
        Ok(_) | Err(_) => "null".to_owned(),
    }
}

/// A text as JSON in which everything that a terminal may obey is written as an escape.
pub fn json_text(text: &str) -> String {
    let quoted = serde_json::Value::from(text).to_string();
    if matches!(clean(&quoted), Cow::Borrowed(_)) {
        return quoted;
    }
    let mut out = String::with_capacity(quoted.len());
    for c in quoted.chars() {
        if matches!(clean(c.encode_utf8(&mut [0; 4])), Cow::Borrowed(_)) {
            out.push(c);
            continue;
        }
        for half in c.encode_utf16(&mut [0; 2]) {
            out.push_str(&format!("\\u{half:04x}"));
        }
    }
    out
}

/// A text for a spreadsheet.
fn held(text: &str) -> String {
    let mark = match text.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        true => "'",
        false => "",
    };
    format!("{mark}{}", clean(text))
}

impl Heading {
    /// A heading over texts.
    pub fn text(name: &str) -> Self {
        Self {
            name: name.to_owned(),
            unit: String::new(),
            is_number: false,
        }
    }

    fn words(&self, brackets: bool) -> String {
        let name = clean(&self.name);
        match (self.unit.is_empty(), brackets) {
            (true, _) => name.into_owned(),
            (false, true) => format!("{name} [{}]", self.unit),
            (false, false) => format!("{name} {}", self.unit),
        }
    }
}

impl<'a> Table<'a> {
    /// A table whose rows are made when they are asked for.
    pub fn new(
        headings: Vec<Heading>,
        n_rows: usize,
        row: impl Fn(usize) -> Vec<Datum> + 'a,
    ) -> Self {
        Self {
            headings,
            n_rows,
            row: Box::new(row),
        }
    }

    /// A small table of texts.
    pub fn of_texts(names: &[&str], rows: Vec<Vec<String>>) -> Self {
        let headings = names.iter().map(|name| Heading::text(name)).collect();
        Self::new(headings, rows.len(), move |at| {
            rows[at].iter().map(Datum::text).collect()
        })
    }

    /// Writes the table in a form.
    pub fn write(&self, form: Form, out: &mut Printer) {
        match form {
            Form::Table => self.write_aligned(out),
            Form::Csv => self.write_csv(out),
            Form::Json => self.write_json(out),
        }
    }

    /// The rows in order, until nobody reads any more.
    fn each(&self, out: &mut Printer, mut write: impl FnMut(usize, Vec<Datum>, &mut Printer)) {
        for at in 0..self.n_rows {
            if !out.is_open() {
                return;
            }
            write(at, (self.row)(at), out);
        }
    }

    fn write_aligned(&self, out: &mut Printer) {
        let head: Vec<String> = self
            .headings
            .iter()
            .map(|heading| heading.words(false))
            .collect();
        let widths = self.widths(&head);
        let limit = out.width();
        out.line(&self.aligned(&head, &widths, limit));
        self.each(out, |_, row, out| {
            let cells: Vec<String> = row.iter().map(Datum::shown).collect();
            out.line(&self.aligned(&cells, &widths, limit));
        });
    }

    /// How wide each column has to be.
    fn widths(&self, head: &[String]) -> Vec<usize> {
        let mut widths: Vec<usize> = head.iter().map(|cell| cell.width()).collect();
        for at in 0..self.n_rows {
            for (width, datum) in widths.iter_mut().zip((self.row)(at)) {
                *width = (*width).max(datum.shown().width());
            }
        }
        widths
    }

    fn aligned(&self, cells: &[String], widths: &[usize], limit: Option<usize>) -> String {
        let mut line = String::new();
        for ((cell, width), heading) in cells.iter().zip(widths).zip(&self.headings) {
            let gap = " ".repeat(width - cell.width());
            match heading.is_number {
                true => line.push_str(&format!("{gap}{cell}  ")),
                false => line.push_str(&format!("{cell}{gap}  ")),
            }
        }
        cut(line.trim_end(), limit)
    }

    fn write_csv(&self, out: &mut Printer) {
        let mut text = String::new();
        let head = self.headings.iter().map(|heading| heading.words(true));
        push_row(&mut text, head.map(|name| Cow::Owned(held(&name))));
        out.raw(&text);
        self.each(out, |_, row, out| {
            text.clear();
            push_row(&mut text, row.iter().map(|datum| Cow::Owned(datum.csv())));
            out.raw(&text);
        });
    }

    /// An object of rows, one a line, and units.
    fn write_json(&self, out: &mut Printer) {
        let names: Vec<String> = self.headings.iter().map(|h| json_text(&h.name)).collect();
        out.raw("{\"rows\":[");
        self.each(out, |at, row, out| {
            let cells = names.iter().zip(&row);
            let cells = cells.map(|(name, datum)| format!("{name}:{}", datum.json()));
            let cells = cells.collect::<Vec<_>>().join(",");
            let comma = if at == 0 { "" } else { "," };
            out.raw(&format!("{comma}\n{{{cells}}}"));
        });
        let units = self.headings.iter().zip(&names);
        let units = units.filter(|(heading, _)| !heading.unit.is_empty());
        let units = units.map(|(heading, name)| format!("{name}:{}", json_text(&heading.unit)));
        let units = units.collect::<Vec<_>>().join(",");
        out.line(&format!("\n],\"units\":{{{units}}}}}"));
    }
}

/// A line cut to the terminal, with a mark where something is left off.
fn cut(line: &str, limit: Option<usize>) -> String {
    let Some(limit) = limit.filter(|limit| line.width() > *limit && *limit > 1) else {
        return line.to_owned();
    };
    let mut out = String::new();
    for c in line.chars() {
        if out.width() + c.to_string().width() > limit - 1 {
            break;
        }
        out.push(c);
    }
    out.push('…');
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_for_programs_holds_nothing_that_acts() {
        assert_eq!(json_text("a \"b\" é"), "\"a \\\"b\\\" é\"");
        assert_eq!(
            json_text("\u{1b}\u{9b}\u{202e}"),
            "\"\\u001b\\u009b\\u202e\""
        );
        let back: String = serde_json::from_str(&json_text("x\u{9b}\u{202e}\ty")).unwrap();
        assert_eq!(back, "x\u{9b}\u{202e}\ty");
        for (text, csv) in [
            ("=1+1", "'=1+1"),
            ("\tx", "'\u{2409}x"),
            ("-3 dBm", "'-3 dBm"),
            ("a\u{1b}b", "a\u{241b}b"),
        ] {
            assert_eq!(Datum::text(text).csv(), csv);
        }
        assert_eq!(Datum::Number(-3.0, None).csv(), "-3");
    }

    #[test]
    fn numbers_for_programs_are_numbers() {
        for (value, text) in [(4.5, "4.5"), (300.0, "300"), (-0.0, "0"), (1e-9, "1e-9")] {
            assert_eq!(json_number(value, 15), text);
            assert!(serde_json::from_str::<f64>(text).is_ok());
        }
    }

    #[test]
    fn a_line_ends_where_the_terminal_does() {
        assert_eq!(cut("abcdef", Some(4)), "abc…");
        assert_eq!(cut("abcd", Some(4)), "abcd");
        assert_eq!(cut("水水水", Some(4)), "水…");
        assert_eq!(cut("abcdef", None), "abcdef");
    }
}
