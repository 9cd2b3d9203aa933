//! The hidden page with the plan as it was exported, from which a returned workbook can be compared.
//!
//! One cell holds one line of the plan file, in a form that no spreadsheet program takes for
//! something else: a bar in front, and nothing in it that a program would turn.

use super::super::{Base, Request};
use rust_xlsxwriter::Worksheet;
use rust_xlsxwriter::XlsxError;

/// The name of the page.
pub const BASE: &str = "_base";

/// A line goes on in the next cell after so many characters.
const MOST_OF_A_CELL: usize = 30_000;

/// What stands on the page above the plan.
pub const WORDS: &str = "The plan as it was when this workbook was made. Leave this page as it is.";

/// Writes the page.
///
/// # Errors
/// A file that cannot be written.
pub fn write(sheet: &mut Worksheet, request: &Request<'_>) -> Result<(), XlsxError> {
    sheet.set_hidden(true);
    sheet.write_string(0, 0, WORDS)?;
    let mut row = 0;
    each_cell(request.base, |cell| {
        row += 1;
        sheet.write_string(row, 0, cell).map(drop)
    })
}

/// Gives the cells of the page below its first, one after the other.
///
/// # Errors
/// The first that `put` says; it is not asked again then.
pub fn each_cell<E>(base: Base<'_>, mut put: impl FnMut(&str) -> Result<(), E>) -> Result<(), E> {
    let (mut cell, mut said) = ("|".to_owned(), Ok(()));
    let mut begin = |cell: &mut String, with: char| {
        if said.is_ok() {
            said = put(cell);
        }
        cell.clear();
        cell.push(with);
    };
    base(&mut |piece| {
        for c in piece.chars() {
            if c == '\n' {
                begin(&mut cell, '|');
                continue;
            }
            if cell.len() > MOST_OF_A_CELL {
                begin(&mut cell, '+');
            }
            encode(c, &mut cell);
        }
    });
    begin(&mut cell, '|');
    said
}

/// A character as it stands in the page: none is a control character, a blank at an end or part of
/// an escape of the file format.
fn encode(c: char, into: &mut String) {
    match c {
        '\\' => into.push_str("\\\\"),
        '_' => into.push_str("\\u"),
        ' ' => into.push_str("\\s"),
        c if c.is_control()
            || c.is_whitespace()
            || matches!(c, '\u{feff}' | '\u{fffe}' | '\u{ffff}') =>
        {
            into.push_str(&format!("\\{:x};", u32::from(c)));
        }
        c => into.push(c),
    }
}

/// The text of the plan from the cells of the page below its first; `None` where one was damaged.
pub fn decoded<'c>(cells: impl Iterator<Item = &'c str>) -> Option<String> {
    let mut text = String::new();
    for (at, cell) in cells.enumerate() {
        let mut rest = cell.chars();
        match rest.next()? {
            '|' if at > 0 => text.push('\n'),
            '|' | '+' => {}
            _ => return None,
        }
        while let Some(c) = rest.next() {
            if c != '\\' {
                text.push(c);
                continue;
            }
            match rest.next()? {
                '\\' => text.push('\\'),
                'u' => text.push('_'),
                's' => text.push(' '),
                digit => {
                    let mut digits = String::from(digit);
                    digits.extend(rest.by_ref().take_while(|c| *c != ';'));
                    text.push(char::from_u32(u32::from_str_radix(&digits, 16).ok()?)?);
                }
            }
        }
    }
    Some(text)
}
