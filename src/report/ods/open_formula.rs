//! A formula with marks as OpenFormula text (OpenDocument 1.3, part 4): references in brackets,
//! semicolons between arguments.
//!
//! Only prints; what a formula says was decided in `translate.rs`.

use crate::report::book::{Grid, Piece, Place, pieces};
use std::fmt::Write;

/// Functions that stand under the same name in both formats.
const SAME: &[&str] = &[
    "ABS",
    "AND",
    "COUNTIFS",
    "DATEVALUE",
    "EXP",
    "IF",
    "IFERROR",
    "INDEX",
    "INT",
    "LN",
    "LOG10",
    "MATCH",
    "MAX",
    "MIN",
    "NOT",
    "OR",
    "ROUND",
    "ROUNDDOWN",
    "ROUNDUP",
    "SQRT",
    "SUM",
    "SUMIFS",
    "SUMPRODUCT",
];

/// Functions that another format brought in, and which have its name in front.
const BROUGHT_IN: &[&str] = &["BINOM.DIST", "NORM.S.DIST"];

/// A formula with its places known, but for the row.
pub struct Printed {
    parts: Vec<Part>,
}

enum Part {
    Text(String),
    /// The number of the row.
    Row,
}

impl Printed {
    /// Prints a formula with marks for a page; `None` where it calls what the format has no name for.
    pub fn new(marked: &str, page: &str, grid: &Grid) -> Option<Self> {
        let mut parts = Vec::new();
        let mut text = "of:=".to_owned();
        for piece in pieces(marked) {
            match piece {
                Piece::Plain(plain) => convert(plain, &mut text)?,
                Piece::Cell(place) => {
                    text.push_str(&format!("[.{}", letters(grid, place)?));
                    parts.push(Part::Text(std::mem::take(&mut text)));
                    parts.push(Part::Row);
                    text.push(']');
                }
                Piece::Range(place) => {
                    let spot = grid.blocks.get(place.block)?;
                    let (letters, first) = (letters(grid, place)?, spot.first);
                    let last = first + spot.n_rows.max(1) - 1;
                    let sheet = beside(&spot.page, page);
                    text.push_str(&format!("[{sheet}.${letters}${first}:.${letters}${last}]"));
                }
                Piece::Assumed(at) => match grid.assumed.get(at) {
                    Some((sheet, row, letters)) => {
                        text.push_str(&format!("[{}.${letters}${row}]", beside(sheet, page)));
                    }
                    None => text.push_str("\"\""),
                },
            }
        }
        parts.push(Part::Text(text));
        Some(Self { parts })
    }

    /// Writes the formula of a row, from 1.
    pub fn write(&self, row: u32, into: &mut String) {
        into.clear();
        for part in &self.parts {
            match part {
                Part::Text(text) => into.push_str(text),
                Part::Row => {
                    // Writing to a text does not fail.
                    let _ = write!(into, "{row}");
                }
            }
        }
    }
}

fn letters(grid: &Grid, place: Place) -> Option<&str> {
    grid.blocks
        .get(place.block)?
        .letters
        .get(place.column)?
        .as_deref()
}

/// The name of another page in front of a reference.
fn beside(of: &str, page: &str) -> String {
    match of == page {
        true => String::new(),
        false => format!("${of}"),
    }
}

/// Text between references: separators, constants and names of functions. Texts in quotes stay.
fn convert(plain: &str, into: &mut String) -> Option<()> {
    let mut rest = plain;
    let mut in_array = false;
    while let Some(first) = rest.chars().next() {
        let length = match first {
            '"' => quoted(rest),
            '0'..='9' | '.' => number(rest),
            'A'..='Z' => word(rest),
            _ => first.len_utf8(),
        };
        let (token, after) = rest.split_at(length);
        match token {
            "{" | "}" => {
                in_array = token == "{";
                into.push_str(token);
            }
            "," => into.push(';'),
            ";" if in_array => into.push('|'),
            "TRUE" | "FALSE" if !after.starts_with('(') => {
                into.push_str(token);
                into.push_str("()");
            }
            _ if first.is_ascii_uppercase() => into.push_str(&function(token)?),
            _ => into.push_str(token),
        }
        rest = after;
    }
    Some(())
}

/// The length of a text in quotes; a quote in it stands twice, which reads as two texts.
fn quoted(rest: &str) -> usize {
    rest[1..].find('"').map_or(rest.len(), |end| end + 2)
}

fn number(rest: &str) -> usize {
    let is_digit = |c: char| c.is_ascii_digit() || c == '.';
    let end = rest.find(|c| !is_digit(c)).unwrap_or(rest.len());
    let Some(power) = rest[end..].strip_prefix('E') else {
        return end;
    };
    let digits = power.trim_start_matches(['+', '-']);
    let sign = power.len() - digits.len();
    let length = digits
        .find(|c: char| !c.is_ascii_digit())
        .unwrap_or(digits.len());
    end + 1 + sign + length
}

fn word(rest: &str) -> usize {
    let is_inside = |c: char| c.is_ascii_uppercase() || c.is_ascii_digit() || c == '.';
    rest.find(|c| !is_inside(c)).unwrap_or(rest.len())
}

fn function(name: &str) -> Option<String> {
    if SAME.contains(&name) {
        return Some(name.to_owned());
    }
    BROUGHT_IN
        .contains(&name)
        .then(|| format!("COM.MICROSOFT.{name}"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::book::{Spot, assumed};
    use crate::table::ParamId;

    fn grid() -> Grid {
        Grid {
            blocks: vec![Spot {
                page: "Links".to_owned(),
                first: 5,
                n_rows: 3,
                letters: vec![None, Some("H".to_owned())],
            }],
            assumed: vec![("Assumptions".to_owned(), 9, "E".to_owned())],
        }
    }

    fn printed(marked: &str, page: &str) -> Option<String> {
        let mut text = String::new();
        Printed::new(marked, page, &grid())?.write(7, &mut text);
        Some(text)
    }

    #[test]
    fn references_stand_in_brackets() {
        let place = Place {
            block: 0,
            column: 1,
        };
        let marked = format!(
            "{}+SUM({})*{}",
            place.cell(),
            place.range(),
            assumed(ParamId(0))
        );
        let text = printed(&marked, "Links").unwrap();
        assert_eq!(text, "of:=[.H7]+SUM([.$H$5:.$H$7])*[$Assumptions.$E$9]");
        assert_eq!(
            printed(&place.range(), "Switches").unwrap(),
            "of:=[$Links.$H$5:.$H$7]"
        );
    }

    #[test]
    fn separators_and_constants_are_turned_but_not_in_texts() {
        let text = printed("IF(TRUE,\"a,b;TRUE\"\"{\",ROUND(1.5E-6*2,0))", "Links").unwrap();
        assert_eq!(text, "of:=IF(TRUE();\"a,b;TRUE\"\"{\";ROUND(1.5E-6*2;0))");
        let text = printed("INDEX({1;2;3},MATCH(FALSE,{1,2}>=2,0))", "Links").unwrap();
        assert_eq!(text, "of:=INDEX({1|2|3};MATCH(FALSE();{1;2}>=2;0))");
    }

    #[test]
    fn an_unknown_function_is_not_printed() {
        assert_eq!(printed("UNHEARD(1)", "Links"), None);
        assert_eq!(
            printed("BINOM.DIST(1,2,0.5,TRUE)", "Links").unwrap(),
            "of:=COM.MICROSOFT.BINOM.DIST(1;2;0.5;TRUE())"
        );
    }
}
