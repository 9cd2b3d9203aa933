//! Rows of cells as text (RFC 4180), for the plan file and for imports.
//!
//! Reading is lenient and never fails; which columns there are is decided by the caller. Unlike
//! the usual readers this one keeps the line of every row and says when a quote stays open.

use std::borrow::Cow;

/// A text of rows, read one row at a time.
#[derive(Debug)]
pub struct TableText<'t> {
    text: &'t str,
    separator: u8,
    at: usize,
    line: usize,
}

/// Where a row stood.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct RowAt {
    /// Its first line, counted from one.
    pub line: usize,
    /// Whether a quote was opened and never closed, so that it took in the rest of the text.
    pub open: bool,
}

impl<'t> TableText<'t> {
    /// Starts at the first row; the separator is one of the ASCII characters.
    pub fn new(text: &'t str, separator: char) -> Self {
        Self {
            text,
            separator: u8::try_from(separator).unwrap_or(b','),
            at: 0,
            line: 1,
        }
    }

    /// The next row into `cells`, which stays empty for an empty line; `None` after the last.
    pub fn next_row(&mut self, cells: &mut Vec<Cow<'t, str>>) -> Option<RowAt> {
        cells.clear();
        if self.at >= self.text.len() {
            return None;
        }
        let mut row = RowAt {
            line: self.line,
            open: false,
        };
        if self.line_end() {
            return Some(row);
        }
        loop {
            cells.push(self.cell(&mut row.open));
            if self.byte() == Some(self.separator) {
                self.at += 1;
                continue;
            }
            self.line_end();
            return Some(row);
        }
    }

    fn byte(&self) -> Option<u8> {
        self.text.as_bytes().get(self.at).copied()
    }

    fn cell(&mut self, open: &mut bool) -> Cow<'t, str> {
        if self.byte() != Some(b'"') {
            return Cow::Borrowed(self.plain());
        }
        let quoted = self.quoted(open);
        match self.plain() {
            "" => quoted,
            rest => Cow::Owned(quoted.into_owned() + rest),
        }
    }

    /// The text up to the end of the cell.
    fn plain(&mut self) -> &'t str {
        let rest = &self.text[self.at..];
        let separator = self.separator;
        let end = rest
            .bytes()
            .position(|byte| byte == separator || byte == b'\n' || byte == b'\r');
        let plain = &rest[..end.unwrap_or(rest.len())];
        self.at += plain.len();
        plain
    }

    /// The text within quotes, doubled ones made single.
    fn quoted(&mut self, open: &mut bool) -> Cow<'t, str> {
        let mut out = Cow::Borrowed("");
        self.at += 1;
        loop {
            let rest = &self.text[self.at..];
            let Some(end) = rest.find('"') else {
                *open = true;
                self.at = self.text.len();
                return self.joined(out, rest);
            };
            self.at += end + 1;
            if self.byte() != Some(b'"') {
                return self.joined(out, &rest[..end]);
            }
            out = self.joined(out, &rest[..=end]);
            self.at += 1;
        }
    }

    /// Adds a quoted part, counting its lines.
    fn joined(&mut self, out: Cow<'t, str>, part: &'t str) -> Cow<'t, str> {
        self.line += n_line_ends(part);
        if out.is_empty() {
            return Cow::Borrowed(part);
        }
        Cow::Owned(out.into_owned() + part)
    }

    /// Steps over the end of a line, if it stands here.
    fn line_end(&mut self) -> bool {
        let rest = &self.text.as_bytes()[self.at..];
        let length = match rest {
            [b'\r', b'\n', ..] => 2,
            [b'\r' | b'\n', ..] => 1,
            _ => 0,
        };
        self.at += length;
        self.line += usize::from(length > 0);
        length > 0
    }
}

/// How many lines end in a text.
pub fn n_line_ends(text: &str) -> usize {
    let bytes = text.as_bytes();
    // Almost always; many bytes are compared in one step then.
    if memchr::memchr(b'\r', bytes).is_none() {
        return memchr::memchr_iter(b'\n', bytes).count();
    }
    let ends = bytes.iter().enumerate().filter(|(at, byte)| match byte {
        b'\n' => true,
        b'\r' => bytes.get(at + 1) != Some(&b'\n'),
        _ => false,
    });
    ends.count()
}

/// Writes one row with commas, cells quoted where they have to be.
pub fn push_row<'c>(out: &mut String, cells: impl IntoIterator<Item = Cow<'c, str>>) {
    push_row_with(out, ',', cells);
}

/// Writes one row with a separator, one of the ASCII characters.
pub fn push_row_with<'c>(
    out: &mut String,
    separator: char,
    cells: impl IntoIterator<Item = Cow<'c, str>>,
) {
    let start = out.len();
    for (at, cell) in cells.into_iter().enumerate() {
        if at > 0 {
            out.push(separator);
        }
        push_cell(out, separator, &cell);
    }
    // A row of one empty cell would read back as an empty line.
    if out.len() == start {
        out.push_str("\"\"");
    }
    out.push('\n');
}

/// A text as a cell that no spreadsheet program takes for a formula: a mark in front of those that
/// begin like one. [`unguarded`] takes it back.
pub fn guarded(text: &str) -> Cow<'_, str> {
    match begins_like_a_formula(text) {
        true => Cow::Owned(format!("{GUARD}{text}")),
        false => Cow::Borrowed(text),
    }
}

/// The text of a cell without the mark that [`guarded`] puts in front, one at most.
pub fn unguarded(cell: &str) -> &str {
    match cell.strip_prefix(GUARD) {
        Some(text) if begins_like_a_formula(text) => text,
        Some(_) | None => cell,
    }
}

/// The mark that keeps a text a text.
const GUARD: char = '\'';

/// Whether a text, or one behind marks and blanks, begins like a formula, in narrow or wide signs.
fn begins_like_a_formula(text: &str) -> bool {
    // Marks in front never change the answer, so that one is put on and taken off in the same cases.
    let bare = text.trim_start_matches(GUARD);
    if bare.starts_with(['\t', '\r']) {
        return true;
    }
    let bare = bare.trim_start_matches(|c: char| c == GUARD || c.is_whitespace());
    bare.starts_with([
        '=', '+', '-', '@', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}',
    ])
}

fn push_cell(out: &mut String, separator: char, cell: &str) {
    let special = |c: char| c == separator || matches!(c, '"' | '\n' | '\r');
    if !cell.contains(special) {
        out.push_str(cell);
        return;
    }
    out.push('"');
    for (at, part) in cell.split('"').enumerate() {
        if at > 0 {
            out.push_str("\"\"");
        }
        out.push_str(part);
    }
    out.push('"');
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn rows(text: &str) -> Vec<(usize, bool, Vec<String>)> {
        let (mut reader, mut cells, mut out) = (TableText::new(text, ','), Vec::new(), Vec::new());
        while let Some(row) = reader.next_row(&mut cells) {
            let cells = cells.iter().map(|cell| cell.to_string()).collect();
            out.push((row.line, row.open, cells));
        }
        out
    }

    #[test]
    fn every_row_knows_its_line() {
        let text = "id,note\n\nL1,\"two\nlines\"\r\nL2,\"a \"\"b\"\"\"\rL3,\n";
        let cells = |list: &[&str]| list.iter().map(|cell| (*cell).to_owned()).collect();
        assert_eq!(
            rows(text),
            [
                (1, false, cells(&["id", "note"])),
                (2, false, Vec::new()),
                (3, false, cells(&["L1", "two\nlines"])),
                (5, false, cells(&["L2", "a \"b\""])),
                (6, false, cells(&["L3", ""])),
            ]
        );
    }

    #[test]
    fn an_open_quote_is_told() {
        assert!(rows("a,\"b\nc,d\n")[0].1);
        assert!(!rows("a,\"b\"\nc,d\n")[0].1);
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn rows_come_back_as_they_were_written(
            table in prop::collection::vec(prop::collection::vec("[a,\"\r\n é']{0,5}", 1..5), 0..6),
        ) {
            let mut text = String::new();
            for row in &table {
                push_row(&mut text, row.iter().map(|cell| Cow::Borrowed(cell.as_str())));
            }
            let back: Vec<Vec<String>> = rows(&text).into_iter().map(|row| row.2).collect();
            prop_assert_eq!(back, table);
        }

        #[test]
        fn a_mark_is_put_on_and_taken_off(text in "[ '\t\r=+\\-@\u{ff1d}a1]{0,6}") {
            let cell = guarded(&text);
            prop_assert!(!cell.trim_start().starts_with(['=', '+', '-', '@', '\u{ff1d}']), "{}", cell);
            prop_assert_eq!(unguarded(&cell), text.as_str());
        }

        #[test]
        fn another_reader_sees_the_same_cells(text in "[a,\"\r\n é]{0,40}") {
            let mut other = csv::ReaderBuilder::new()
                .has_headers(false)
                .flexible(true)
                .from_reader(text.as_bytes());
            let theirs: Vec<Vec<String>> = other
                .records()
                .map(|row| row.unwrap().iter().map(str::to_owned).collect())
                .collect();
            let ours: Vec<Vec<String>> = rows(&text)
                .into_iter()
                .map(|row| row.2)
                .filter(|row| !row.is_empty())
                .collect();
            prop_assert_eq!(ours, theirs);
        }
    }
}
