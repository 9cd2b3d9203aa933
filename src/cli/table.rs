//! Data with headings, written as aligned text, CSV or JSON.
//!
//! Gets finished cells; which rows and columns there are is decided by the commands.

use super::args::Form;
use super::print::Printer;
use crate::files::table_text::push_row;
use crate::problem::clean;
use serde_json::{Map, Value, json};
use std::borrow::Cow;
use unicode_width::UnicodeWidthStr;

/// A cell both ways it can be written.
#[derive(Debug, Clone, PartialEq)]
pub struct Datum {
    /// For a person, without the unit.
    pub shown: String,
    /// For programs: exact, in the unit of the column.
    pub exact: Value,
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
#[derive(Debug, Clone, Default)]
pub struct Table {
    /// The headings.
    pub headings: Vec<Heading>,
    /// The rows, each as long as the headings.
    pub rows: Vec<Vec<Datum>>,
}

impl Datum {
    /// A text cell.
    pub fn text(text: impl Into<String>) -> Self {
        let text = text.into();
        let exact = if text.is_empty() {
            Value::Null
        } else {
            json!(text)
        };
        Self { shown: text, exact }
    }
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
        match (self.unit.is_empty(), brackets) {
            (true, _) => self.name.clone(),
            (false, true) => format!("{} [{}]", self.name, self.unit),
            (false, false) => format!("{} {}", self.name, self.unit),
        }
    }
}

impl Table {
    /// Writes the table in a form.
    pub fn write(&self, form: Form, out: &mut Printer) {
        match form {
            Form::Table => self.write_aligned(out),
            Form::Csv => self.write_csv(out),
            Form::Json => out.line(&self.json().to_string()),
        }
    }

    fn write_aligned(&self, out: &mut Printer) {
        let head: Vec<String> = self
            .headings
            .iter()
            .map(|heading| heading.words(false))
            .collect();
        let body: Vec<Vec<String>> = self
            .rows
            .iter()
            .map(|row| {
                row.iter()
                    .map(|datum| clean(&datum.shown).into_owned())
                    .collect()
            })
            .collect();
        let width_of = |at: usize| {
            let cells = body.iter().map(|row| row[at].width());
            cells.chain([head[at].width()]).max().unwrap_or(0)
        };
        let widths: Vec<usize> = (0..head.len()).map(width_of).collect();
        out.line(&self.aligned(&head, &widths, out.width()));
        for row in &body {
            out.line(&self.aligned(row, &widths, out.width()));
        }
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
        push_row(&mut text, head.map(Cow::Owned));
        for row in &self.rows {
            push_row(
                &mut text,
                row.iter().map(|datum| Cow::Owned(csv_cell(&datum.exact))),
            );
        }
        out.raw(&text);
    }

    /// The table as an object of rows and units.
    pub fn json(&self) -> Value {
        let units: Map<String, Value> = self
            .headings
            .iter()
            .filter(|heading| !heading.unit.is_empty())
            .map(|heading| (heading.name.clone(), json!(heading.unit)))
            .collect();
        let rows: Vec<Value> = self
            .rows
            .iter()
            .map(|row| {
                let cells = self.headings.iter().zip(row);
                Value::Object(
                    cells
                        .map(|(heading, datum)| (heading.name.clone(), datum.exact.clone()))
                        .collect(),
                )
            })
            .collect();
        json!({ "rows": rows, "units": units })
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

/// A cell for a spreadsheet: a text that would be taken for a formula is held as text by a mark.
fn csv_cell(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) if text.starts_with(['=', '+', '-', '@', '\t', '\r']) => {
            format!("'{text}")
        }
        Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}
